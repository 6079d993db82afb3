#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures of measured patches: `picture_cases.py PROGRAM`."""
import hashlib
import os
import pty
import subprocess
import sys
import tempfile

import numpy as np
from PIL import Image

from cli_cases import Cases, png, speckle

QUICK = ['--simulations', '0', '--quiet']
KINDS = ('', 'plain', 'thumbs', 'cells')


def pictures(run):
    """Path below pictures -> digest, of every file there."""
    top, found = os.path.join(run, 'pictures'), {}
    for at, _, names in os.walk(top):
        for name in names:
            with open(os.path.join(at, name), 'rb') as data:
                found[os.path.relpath(os.path.join(at, name), top)] = \
                    hashlib.sha256(data.read()).hexdigest()
    return found


def measure(cases, case, run, arguments, code=0, pattern=''):
    run = cases.path(run)
    out, err = cases.call(case, ['measure', *arguments, '--pictures', '-o', run, *QUICK], code, pattern)
    return run, err


def wrong_calls(cases, good, manifest):
    for case, options, said in (
            ('pictures without a run', ['--pictures'], '-o RUN'),
            ('a scale without pictures', ['--picture-scale', '2', '-o', cases.path('no')], '--pictures'),
            ('an order without pictures', ['--sheet-by', 'x', '-o', cases.path('no')], '--pictures')):
        cases.call(case, ['measure', good, *options], 2, said)
    for scale in ('0', '-1', '17', '1e-9', 'nan', 'big', ''):
        cases.call(f'scale {scale!r}', ['measure', good, '--pictures', '--picture-scale', scale, '-o',
                                        cases.path('no')], 2, 'picture-scale')
    cases.call('an order without a manifest', ['measure', good, '--pictures', '--sheet-by', 'water', '-o',
                                               cases.path('no')], 2, 'there is no manifest; ')
    cases.call('an order misspelt', ['measure', manifest, '--pictures', '--sheet-by', 'watre', '-o',
                                     cases.path('no')], 2, 'did you mean water')
    cases.call('an order unknown', ['measure', manifest, '--pictures', '--sheet-by', 'qqqqqqqqq', '-o',
                                    cases.path('no')], 2, 'it has scan, patch, water')
    cases.expect('wrong calls', not os.path.exists(cases.path('no')), 'a run was begun')


def the_same_bytes(cases, manifest):
    """Whatever the threads, and whether in one go or resumed."""
    order = ['--sheet-by', 'water']
    run, _ = measure(cases, 'one thread', 'one', [manifest, '--jobs', '1', *order])
    first = pictures(run)
    cases.expect('one thread', len(first) == 4 * 5 + 1, f'pictures {sorted(first)}')
    run, _ = measure(cases, 'eight threads', 'eight', [manifest, '--jobs', '8', *order])
    cases.expect('eight threads', pictures(run) == first, 'other bytes')
    little, _ = measure(cases, 'little memory', 'little', [manifest, '--memory', '1K', *order])
    cases.expect('little memory', pictures(little) == first, 'other bytes')
    os.remove(os.path.join(run, 'records', sorted(os.listdir(os.path.join(run, 'records')))[2]))
    os.remove(os.path.join(run, 'pictures', 'contact-sheet.png'))
    measure(cases, 'resumed', 'eight', [manifest, '--resume', *order])
    cases.expect('resumed', pictures(run) == first, 'other bytes')
    without = cases.path('without')
    cases.call('without pictures', ['measure', manifest, '-o', without, *QUICK], 0)
    cases.expect('without pictures', not os.path.exists(os.path.join(without, 'pictures')), 'a folder')
    for table in ('patches.csv', 'records', 'dots'):
        cases.expect('pictures change no number', bytes_below(run, table) == bytes_below(without, table),
                     table)
    measure(cases, 'resumed for pictures', 'without', [manifest, '--resume'], 0,
            r'contact-sheet.png: 5 patches .* are left out; ')
    cases.expect('resumed for pictures', pictures(without) == {}, 'pictures')


def bytes_below(run, name):
    path = os.path.join(run, name)
    if os.path.isfile(path):
        with open(path, 'rb') as data:
            return data.read()
    return [bytes_below(path, inside) for inside in sorted(os.listdir(path))]


def odd_ids(cases):
    """Each patch has pictures of its own, which stay in the folder."""
    ids = ['../up', 'a/b', 'a-plain', 'a', "d'e\"f<script>", '和紙', 'contact-sheet', '%41', 'A', 'x' * 300,
           'x' * 299 + 'y', 'plain', 'thumbs/a', '.hidden', ' blank ']
    cases.put('odd/scan.png', png(speckle(64, 64)))
    quoted = ['"' + name.replace('"', '""') + '"' for name in ids]
    manifest = cases.put('odd/odd.csv', 'scan,patch,region\n' + ''.join(
        f'scan.png,{name},0 0 2.{i % 6 + 1}1 2.2\n' for i, name in enumerate(quoted)))
    run, _ = measure(cases, 'odd ids', 'odd-run', [manifest, '--picture-scale', '1'])
    found = pictures(run)
    cases.expect('odd ids', len(found) == 4 * len(ids) + 1, f'{len(found)} pictures: {sorted(found)}')
    cases.expect('odd ids', all(name.count('/') <= 1 for name in found), 'a folder too many')
    cases.expect('odd ids', not os.path.exists(cases.path('up.png')), 'a picture outside')
    sheet = Image.open(os.path.join(run, 'pictures', 'contact-sheet.png'))
    cases.expect('odd ids', sheet.size[0] > 1000, f'the sheet is {sheet.size}')


def sizes(cases):
    """Overlay and plain picture are of one size; small ones keep to theirs."""
    wide = cases.put('wide.png', png(speckle(700, 40)))
    flat = cases.put('flat.png', png(np.full((90, 90), 230, np.uint8)))
    run, _ = measure(cases, 'sizes', 'sizes', [wide, flat])
    for name, patch in (('wide', (2100, 120)), ('flat', (900, 900))):
        size = {kind: Image.open(os.path.join(run, 'pictures', kind, name + '.png')) for kind in KINDS}
        cases.expect('sizes', size[''].size == size['plain'].size, f'{name}: two sizes')
        cases.expect('sizes', size[''].size[0] > patch[0] and size[''].size[1] > patch[1], f'{name}: cut')
        cases.expect('sizes', size[''].mode == 'P' and size['thumbs'].mode == 'L', f'{name}: colours')
        cases.expect('sizes', max(size['thumbs'].size) <= 240 and max(size['cells'].size) <= 400,
                     f'{name}: small pictures')
        dpi = size['cells'].info['dpi'][0] / size['cells'].size[0] * patch[0] / (3 if name == 'wide' else 10)
        cases.expect('sizes', abs(dpi - 600) < 0.5, f'{name}: {dpi} ppi')
    # a picture that would be too large: the numbers stand, and the call says so
    long = cases.put('long.png', png(speckle(4000, 20)))
    run, _ = measure(cases, 'too large', 'large', [long, wide, '--picture-scale', '8'], 1,
                     r'long.png: it is measured, but has no picture: .* 32000 pixels long; .* 7.5')
    cases.expect('too large', len(cases.table(os.path.join(run, 'patches.csv'))) == 2, 'a patch is lost')
    cases.expect('too large', sorted(pictures(run)) == ['cells/wide.png', 'contact-sheet.png',
                                                       'plain/wide.png', 'thumbs/wide.png', 'wide.png'],
                 f'{sorted(pictures(run))}')


def failed_patches(cases, good):
    """They have no pictures, and the others have theirs."""
    bad = cases.put('bad.png', b'no picture')
    run, _ = measure(cases, 'one of two fails', 'fails', [good, bad], 1)
    cases.expect('one of two fails', set(pictures(run)) == {'good.png', 'plain/good.png', 'thumbs/good.png',
                                                            'cells/good.png', 'contact-sheet.png'},
                 f'{sorted(pictures(run))}')
    run, _ = measure(cases, 'all fail', 'all-fail', [bad], 1)
    cases.expect('all fail', pictures(run) == {}, 'pictures')
    # something else stands where the folder should be: what holds pictures cannot be made
    run = cases.path('blocked')
    os.makedirs(run)
    cases.put('blocked/pictures', 'a file')
    cases.call('no folder', ['measure', good, '--pictures', '-o', run, *QUICK], 3, 'cannot be made; ')
    # a damaged small picture of an earlier part of the run
    run, _ = measure(cases, 'before the damage', 'damaged', [good])
    cases.put('damaged/pictures/cells/good.png', png(speckle(500, 20)))
    os.remove(os.path.join(run, 'pictures', 'contact-sheet.png'))
    measure(cases, 'a damaged small picture', 'damaged', [good, '--resume'], 1, 'good.png: .*; remove it')


BLOCKS = '\u2581\u2582\u2583\u2584\u2585\u2586\u2587\u2588\u2589\u258a\u258b\u258c\u258d\u258e\u258f'


def on_terminal(cases, scan, environment):
    """What a measurement prints on a terminal with these variables and no others."""
    ours, theirs = pty.openpty()
    child = subprocess.Popen([cases.program, 'measure', scan, '--simulations', '0'], stdout=theirs,
                             stderr=subprocess.DEVNULL, env=environment)
    os.close(theirs)
    said = b''
    while True:
        try:
            more = os.read(ours, 4096)
        except OSError:  # how Linux says that the other end is closed
            break
        if not more:
            break
        said += more
    os.close(ours)
    cases.expect(f'terminal {environment}', child.wait() == 0, f'exit code {child.returncode}')
    return said.decode('utf-8')


def bars(cases, scan):
    """Bars of blocks where the terminal can show them, plain ones everywhere else."""
    good = {'TERM': 'xterm', 'LANG': 'C.UTF-8'}
    drawn = on_terminal(cases, scan, good)
    cases.expect('a terminal', sum(c in BLOCKS for c in drawn) > 5, f'no blocks in {drawn!r}')
    cases.expect('a terminal', '\x1b' not in drawn, 'control sequences')
    for case, environment in (('a dumb terminal', {**good, 'TERM': 'dumb'}), ('no TERM', {'LANG': 'C.UTF-8'}),
                              ('NO_COLOR', {**good, 'NO_COLOR': '1'}), ('no UTF-8', {**good, 'LANG': 'C'}),
                              ('LC_ALL over LANG', {**good, 'LC_ALL': 'C'})):
        said = on_terminal(cases, scan, environment)
        cases.expect(case, said.isascii() and '###' in said, f'{said!r}')
    out = subprocess.run([cases.program, 'measure', scan, '--simulations', '0'], capture_output=True, env=good,
                         check=False).stdout.decode('utf-8')
    cases.expect('no terminal', out.isascii() and '###' in out, f'{out!r}')


def main():
    if len(sys.argv) != 2:
        sys.exit('usage: picture_cases.py PROGRAM')
    with tempfile.TemporaryDirectory() as top:
        cases = Cases(os.path.abspath(sys.argv[1]), top)
        good = cases.put('good.png', png(speckle(80, 70)))
        rows = ''
        for i, water in enumerate(('10', '9', '2.5', '10', '')):
            cases.put(f'set/{i}.png', png(speckle(90 + 10 * i, 100, seed=i)))
            rows += f'{i}.png,p{i},{water}\n'
        manifest = cases.put('set/set.csv', 'scan,patch,water\n' + rows)
        wrong_calls(cases, good, manifest)
        the_same_bytes(cases, manifest)
        odd_ids(cases)
        sizes(cases)
        failed_patches(cases, good)
        bars(cases, good)
        print(f'{cases.passed} passed, {cases.failed} failed')
    return cases.failed > 0


if __name__ == '__main__':
    sys.exit(main())
