#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""A run measured in slices and put together: `gather_cases.py PROGRAM`."""
import json
import os
import re
import shutil
import subprocess
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


def many_machines(word):
    """The blocks of docs/many-machines.md that hold a word."""
    page = os.path.join(os.path.dirname(os.path.abspath(__file__)), '..', '..', 'docs', 'many-machines.md')
    with open(page, encoding='utf-8') as text:
        blocks = re.findall(r'(?:^    .*\n)+', text.read(), re.M)
    return [re.sub('(?m)^    ', '', block) for block in blocks if word in block]


def by_parallel(cases, good, whole):
    """The documented call of GNU parallel, with this machine alone."""
    call = re.sub(r'--sshlogin \S+ --jobs 1', '--sshlogin : --jobs 2', many_machines('parallel')[0])
    place = cases.path('par')
    shutil.copytree(os.path.dirname(good), place)
    shutil.copy(good, os.path.join(place, 'plan.csv'))
    # scans by the names that the other run has
    call = call.replace('plan.csv', good).replace('--quiet', ' '.join(QUICK)).replace('/10', '/3').replace('seq 10', 'seq 3')
    for case in ('by parallel', 'by parallel once more'):
        done = subprocess.run(['sh', '-c', call], cwd=place, stdin=subprocess.DEVNULL, capture_output=True, text=True,
                              timeout=60, check=False, env={**os.environ, 'HOME': place, 'PATH': os.path.dirname(
                                  cases.program) + os.pathsep + os.environ['PATH']})
        cases.expect(case, done.returncode == 0, f'{done.returncode}: {done.stdout} {done.stderr}')
        same(cases, case, whole, os.path.join(place, 'run'))
        shutil.rmtree(os.path.join(place, 'run'), ignore_errors=True)


def changed(document, **members):
    return json.dumps({**document, **members}).encode()


def pictures(cases, manifest):
    """With their contact sheet, in the order asked for."""
    whole, gathered = cases.path('seen-whole'), cases.path('seen-all')
    cases.call('pictures', ['measure', manifest, '-o', whole, '--pictures', '--sheet-by', 'n', *QUICK], 0)
    runs = slices(cases, 'seen', [manifest], 2, ['--pictures'])
    cases.call('pictures', ['gather', *runs, '-o', gathered, '--sheet-by', 'm'], 2, 'no column')
    cases.expect('pictures', not os.path.exists(gathered), 'a run was begun')
    cases.call('pictures', ['gather', *runs, '-o', gathered, '--sheet-by', 'n'], 0)
    same(cases, 'pictures', whole, gathered)
    cases.expect('pictures', len([name for name in files(gathered) if name.startswith('pictures/')]) == 13, 'pictures')
    plain = slices(cases, 'unseen', [manifest], 2)
    cases.call('pictures of one slice', ['gather', runs[0], plain[1], '-o', cases.path('some')], 0, '1 patches .* without')
    cases.call('an order of no pictures', ['gather', *plain, '-o', cases.path('none'), '--sheet-by', 'n'], 1, 'no slice has')
    os.remove(os.path.join(runs[0], 'pictures', 'plain', 'a.png'))
    cases.call('a picture missing', ['gather', *runs, '-o', cases.path('less')], 1, 'plain/a.png cannot be read')


def same_name(cases, names):
    """Each machine had a calibration, or a mask, of its own under the same name."""
    edge = [np.full((100, 120), 255, np.uint8) for _ in range(2)]
    edge[0][:, :9] = edge[1][:, -9:] = 0
    for what in ('calibration', 'mask'):
        path = cases.path(f'set/{what}')
        runs = []
        for i in (1, 2):
            if what == 'mask':
                cases.put(path, png(edge[i - 1]))
            else:
                cases.call(what, ['calibrate', '-o', path, '--scan', names[0], '--length', f'4.{i}:0,50,100,50',
                                  '--length', '4:50,0,50,95'], 0)
            runs.append(cases.path(f'{what}-{i}'))
            cases.call(f'{what} {i}', ['measure', *names, '--slice', f'{i}/2', f'--{what}', path, '-o', runs[-1], *QUICK], 0)
        cases.call(what, ['gather', *runs, '-o', cases.path('no')], 2, f'{what} of the same name and other content')


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

        # what a stranger or a bad disk leaves behind: nothing is begun
        with open(os.path.join(more[0], 'run.json'), encoding='utf-8') as text:
            about = json.load(text)
        with open(os.path.join(more[0], 'records/a.json'), encoding='utf-8') as text:
            record = json.load(text)
        with open(os.path.join(more[0], 'patches.csv'), 'rb') as data:
            table = data.read()
        for name, put in (('dots/a.csv', None), ('records/a.json', b'{}'), ('records/a.json', None),
                          ('records/a.json', changed(record, id=None)), ('records/a.json', changed(record, id='b')),
                          ('records/a.json', changed(record, source={**record['source'], 'path': None})),
                          ('patches.csv', b'id\n'), ('patches.csv', None), ('patches.csv', table + table.splitlines(True)[1]),
                          ('patches.csv', table[:table.index(b'\n') + 20]),
                          ('run.json', b'{"schema":"fleck-run"}'), ('run.json', changed(about, settings=None)),
                          ('run.json', changed(about, settings=[1])), ('run.json', changed(about, slice={})),
                          *(('run.json', changed(about, slice={**about['slice'], **one})) for one in (
                              {'measured_at': '1'}, {'measured_at': '0,0'}, {'measured_at': '7'}, {'measured_at': ''},
                              {'measured_at': None}, {'measured_at': '0,'}, {'failed_at': '1'}, {'patches': 3},
                              {'slice': 0}, {'slice': 9}))):
            copy = cases.path('damaged')
            shutil.rmtree(copy, ignore_errors=True)
            shutil.copytree(more[0], copy)
            path = os.path.join(copy, name)
            os.remove(path)
            if put is not None:
                with open(path, 'wb') as out:
                    out.write(put)
            case = f'damaged {name}: {(put or b"")[-200:]}'
            shutil.rmtree(cases.path('no'), ignore_errors=True)
            cases.call(case, ['gather', copy, *more[1:], '-o', cases.path('no')], 1,
                       'damaged|missing|no slice|hold 2 patches')
            cases.expect(case, not os.path.exists(cases.path('no')), 'a run was begun')

        by_parallel(cases, good, cases.path('more slices than scans-whole'))

        # slices can be stopped and gone on with like any run
        os.remove(os.path.join(more[0], 'records', 'a.json'))
        cases.call('resume', ['measure', good, '--slice', '1/4', '--resume', '-o', more[0], *QUICK], 0)
        cases.call('resume as another', ['measure', good, '--slice', '2/4', '--resume', '-o', more[0], *QUICK], 2,
                   'another slice')
        cases.call('resume whole', ['measure', good, '--resume', '-o', more[0], *QUICK], 2, 'another slice')
        cases.call('gathered after a resume', ['gather', *more, '-o', cases.path('again')], 0)
        same(cases, 'gathered after a resume', cases.path('more slices than scans-whole'), cases.path('again'))
        # and so can the gathering
        os.remove(cases.path('again/dots/b.csv'))
        os.remove(cases.path('again/patches.csv'))
        cases.put('again/dots/b.csv.partAbCdEf', 'half')
        cases.call('gathering anew', ['gather', *more, '-o', cases.path('again')], 2, '--resume')
        cases.call('gathering gone on with', ['gather', *more, '-o', cases.path('again'), '--resume'], 0)
        same(cases, 'gathering gone on with', cases.path('more slices than scans-whole'), cases.path('again'))
        cases.call('gathering into another run', ['gather', *more, '-o', whole, '--resume'], 2, 'flecks_table')

        grey = speckle(90, 80)
        colour = cases.put('set/colour.png', png(np.dstack([grey, grey, grey // 2]), colour=2))
        cases.call('colour', ['measure', colour, '--slice', '1/2', '-o', cases.path('colour'), *QUICK], 2, 'give --channel')
        cases.expect('colour', not os.path.exists(cases.path('colour')), 'a run was begun')
        # scans without a manifest have no columns; 17 digits must come through
        whole_and_gathered(cases, 'colour by name', [colour, cases.path('set/0.png')], 2,
                           ['--channel', 'blue', '--pixel', '5.3', '--seed', '9007199254740991'])
        pictures(cases, cases.put('set/sheet.csv', 'scan,patch,n\n0.png,a,2\n1.png,contact-sheet,1\n2.png,a b,3\n'))
        same_name(cases, [cases.path('set/0.png'), cases.path('set/1.png')])
        for slice_text in ('0/2', '3/2', '2', '1/0', 'a/b', '-1/2', '1/2/3'):
            cases.call(f'slice {slice_text}', ['measure', good, '--slice', slice_text, '-o', cases.path('no')], 2, 'slice')
        cases.call('no folder for a slice', ['measure', good, '--slice', '1/2'], 2, '-o RUN')
        cases.call('pooled', ['measure', good, '--slice', '1/2', '--threshold', 'pooled', '-o', cases.path('no')], 2,
                   'pooled')
        print(f'{cases.passed} passed, {cases.failed} failed')
    return cases.failed > 0


if __name__ == '__main__':
    sys.exit(main())
