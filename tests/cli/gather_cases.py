#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A run measured in slices and put together: `gather_cases.py PROGRAM`."""
import json
import os
import shutil
import sys
import tempfile

import numpy as np

from cli_cases import Cases, png, speckle

QUICK = ['--simulations', '0', '--quiet']


def files(run):
    """Path below a run -> bytes, but for the times in run.json."""
    found = {}
    for at, _, names in os.walk(run):
        for name in names:
            path = os.path.join(at, name)
            with open(path, 'rb') as data:
                found[os.path.relpath(path, run)] = data.read()
    about = json.loads(found['run.json'])
    del about['started'], about['finished']
    found['run.json'] = json.dumps(about)
    return found


def same(cases, case, whole, gathered):
    one, other = files(whole), files(gathered)
    cases.expect(case, sorted(one) == sorted(other), f'{sorted(one)} and {sorted(other)}')
    for name in sorted(set(one) & set(other)):
        cases.expect(case, one[name] == other[name], f'{name} differs')


def slices(cases, case, names, count, options=(), code=0):
    runs = []
    for i in range(1, count + 1):
        run = cases.path(f'{case}-{i}')
        done_code = code if isinstance(code, int) else code[i - 1]
        cases.call(f'{case}, slice {i}', ['measure', *names, '--slice', f'{i}/{count}', '-o', run, *QUICK, *options],
                   done_code)
        runs.append(run)
    return runs


def whole_and_gathered(cases, case, names, count, options=(), code=0, slice_code=0):
    whole, gathered = cases.path(f'{case}-whole'), cases.path(f'{case}-all')
    cases.call(f'{case}, whole', ['measure', *names, '-o', whole, *QUICK, *options], code)
    runs = slices(cases, case, names, count, options, slice_code)
    cases.call(f'{case}, gathered', ['gather', *reversed(runs), '-o', gathered], code)
    same(cases, case, whole, gathered)
    return runs, whole, gathered


def main():
    if len(sys.argv) != 2:
        sys.exit('usage: gather_cases.py PROGRAM')
    with tempfile.TemporaryDirectory() as top:
        cases = Cases(os.path.abspath(sys.argv[1]), top)
        rows = ''
        for i in range(5):
            cases.put(f'set/{i}.png', png(speckle(120, 100, seed=i)))
            rows += f'{i}.png,p{i}a,{i},0 0 2 3\n{i}.png,,{i},2 0 2 3\n'
        # a paper that stands apart tells only when all are together
        dark = np.asarray(speckle(120, 100, seed=9)).astype(int) * 3 // 4
        cases.put('set/dark.png', png(dark.astype(np.uint8)))
        cases.put('set/broken.png', b'\x89PNG\r\n\x1a\n nothing')
        rows += 'dark.png,dark,"a, b",\nbroken.png,,=1+1,\nnot there.png,gone,7,\n4.png,,8,1 2 3\n'
        manifest = cases.put('set/set.csv', 'scan,patch,water,region\n' + rows)
        runs, whole, _ = whole_and_gathered(cases, 'three', [manifest, cases.path('no such.png')], 3, ['--phase', 'both'],
                                            1, (1, 1, 0))
        with open(os.path.join(whole, 'run.json'), encoding='utf-8') as text:
            about = json.load(text)
        cases.expect('three', [one['code'] for one in about['warnings']] == ['paper-differs'],
                     f'the paper does not differ: {about["warnings"]}')
        good = cases.put('set/good.csv', 'scan,patch\n0.png,a\n1.png,b\n')
        more, _, _ = whole_and_gathered(cases, 'more slices than scans', [good], 4)

        for case, names, said in (
                ('a slice missing', more[:1] + more[2:], '1 of 4 slices are missing: 2;'),
                ('slices missing', more[1:2], '3 of 4 slices are missing: 1, 3, 4;'),
                ('a slice twice', more + more[:1], 'slice 1 is there twice'),
                ('slices of different lists', runs[:1] + more[1:], 'another setting of flecks_table'),
                ('a whole run', [whole], 'no slice'),
                ('no run', [cases.path('set')], 'holds no run'),
                ('nothing', [], 'nothing to gather')):
            code = 1 if case in ('a whole run', 'no run') else 2
            cases.call(case, ['gather', *names, '-o', cases.path('no')], code, said)
        other = cases.put('set/other.csv', 'scan,patch\n0.png,a\n1.png,c\n')
        others = slices(cases, 'other', [other], 4)
        cases.call('another list', ['gather', *more[:1], *others[1:], '-o', cases.path('no')], 2, 'different lists')
        others = slices(cases, 'two', [good], 2)
        cases.call('other numbers', ['gather', *more[:1], others[1], '-o', cases.path('no')], 2, 'one of 2')
        cases.call('a run is there', ['gather', *more, '-o', whole], 2, 'holds a run already')
        cases.call('no folder', ['gather', *more], 2, '-o RUN')
        cases.expect('wrong calls', not os.path.exists(cases.path('no')), 'a run was begun')

        # what a stranger or a bad disk leaves behind
        for name, put in (('dots/a.csv', None), ('records/a.json', b'{}'), ('patches.csv', b'id\n'),
                          ('run.json', b'{"schema":"fleck-run"}')):
            copy = cases.path('damaged')
            shutil.rmtree(copy, ignore_errors=True)
            shutil.copytree(more[0], copy)
            path = os.path.join(copy, name)
            os.remove(path)
            if put is not None:
                with open(path, 'wb') as out:
                    out.write(put)
            shutil.rmtree(cases.path('partly'), ignore_errors=True)
            cases.call(f'damaged {name}', ['gather', copy, *more[1:], '-o', cases.path('partly')], 1, 'damaged')

        # slices can be stopped and gone on with like any run
        os.remove(os.path.join(more[0], 'records', 'a.json'))
        cases.call('resume', ['measure', good, '--slice', '1/4', '--resume', '-o', more[0], *QUICK], 0)
        cases.call('resume as another', ['measure', good, '--slice', '2/4', '--resume', '-o', more[0], *QUICK], 2,
                   'another slice')
        cases.call('resume whole', ['measure', good, '--resume', '-o', more[0], *QUICK], 2, 'another slice')
        cases.call('gathered after a resume', ['gather', *more, '-o', cases.path('again')], 0)
        same(cases, 'gathered after a resume', cases.path('more slices than scans-whole'), cases.path('again'))

        grey = speckle(90, 80)
        colour = cases.put('set/colour.png', png(np.dstack([grey, grey, grey // 2]), colour=2))
        cases.call('colour', ['measure', colour, '--slice', '1/2', '-o', cases.path('colour'), *QUICK], 2, 'give --channel')
        whole_and_gathered(cases, 'colour by name', [colour, cases.path('set/0.png')], 2, ['--channel', 'blue'])
        for slice_text in ('0/2', '3/2', '2', '1/0', 'a/b', '-1/2', '1/2/3'):
            cases.call(f'slice {slice_text}', ['measure', good, '--slice', slice_text, '-o', cases.path('no')], 2, 'slice')
        cases.call('no folder for a slice', ['measure', good, '--slice', '1/2'], 2, '-o RUN')
        cases.call('pooled', ['measure', good, '--slice', '1/2', '--threshold', 'pooled', '-o', cases.path('no')], 2,
                   'pooled')
        print(f'{cases.passed} passed, {cases.failed} failed')
    return cases.failed > 0


if __name__ == '__main__':
    sys.exit(main())
