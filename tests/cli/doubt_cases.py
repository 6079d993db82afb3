#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Doubts that rest on several patches or windows, and where they stand: `doubt_cases.py PROGRAM`."""
import csv
import json
import os
import sys
import tempfile

import numpy as np

from cli_cases import Cases, png

SIDE = 240


def patch(paper, seed, ink=60, number=90):
    """Dots of ink on noisy paper, 8-bit codes at 600 ppi."""
    rng = np.random.default_rng(seed)
    code = np.full((SIDE, SIDE), float(paper))
    yy, xx = np.mgrid[0:SIDE, 0:SIDE]
    for _ in range(number):
        x, y, r = rng.uniform(0, SIDE), rng.uniform(0, SIDE), rng.uniform(3, 7)
        code[(xx - x) ** 2 + (yy - y) ** 2 <= r * r] = ink
    return np.clip(code + rng.normal(0, 2, code.shape), 0, 255).astype(np.uint8)


def records(run):
    found = {}
    for name in sorted(os.listdir(os.path.join(run, 'records'))):
        with open(os.path.join(run, 'records', name), 'rb') as text:
            found[name[:-5]] = text.read()
    return found


def codes(text):
    return [warning['code'] for warning in json.loads(text)['warnings']]


def run_warnings(run):
    with open(os.path.join(run, 'run.json'), encoding='utf-8') as text:
        return json.load(text)['warnings']


def papers(cases):
    """Seven scans of one exposure, two of another."""
    case = 'papers'
    names = [f'scan{i}' for i in range(9)]
    apart = ['scan3', 'scan7']
    for i, name in enumerate(names):
        cases.put(f'papers/{name}.png', png(patch(200 if name in apart else 230, i)))
    folder, run = cases.path('papers'), cases.path('papers-run')
    _, said = cases.call(case, ['measure', folder, '-o', run, '--jobs', '2'], 0, 'paper-differs')
    cases.expect(case, said.count('paper-differs') == 2, f'said {said[-900:]!r}')
    for name in names:
        cases.expect(case, said.count(f'{name}.png: warning paper-differs') == (name in apart),
                     f'stderr about {name}')
    doubts = run_warnings(run)
    cases.expect(case, [one['code'] for one in doubts] == ['paper-differs'], f'run.json: {doubts}')
    cases.expect(case, [os.path.basename(one) for one in doubts[0]['scans']]
                 == [f'{name}.png' for name in apart], f'scans {doubts[0]["scans"]}')
    cases.expect(case, '2 of 9' in doubts[0]['message'], doubts[0]['message'])
    first = records(run)
    for name in names:
        cases.expect(case, codes(first[name]).count('paper-differs') == (name in apart),
                     f'record of {name}: {codes(first[name])}')
    with open(os.path.join(run, 'patches.csv'), newline='', encoding='utf-8') as table:
        for row in csv.DictReader(table):
            cases.expect(case, ('paper-differs' in row['warnings'].split()) == (row['id'] in apart),
                         f'row of {row["id"]}')

    # what stdout gives is what the folder holds
    out, _ = cases.call(case, ['measure', folder, '--json'], 0)
    for record in json.loads(out):
        cases.expect(case, record == json.loads(first[record['id']]), f'stdout, {record["id"]}')

    # the same bytes whatever the order and the threads
    other = cases.path('papers-other')
    files = [os.path.join(folder, f'{name}.png') for name in reversed(names)]
    cases.call(case, ['measure', *files, '-o', other, '--jobs', '1'], 0)
    cases.expect(case, records(other) == first, 'another order, other records')

    # going on with a whole run, and with one that lacks a scan, changes nothing
    cases.call(case, ['measure', folder, '-o', run, '--resume'], 0)
    cases.expect(case, records(run) == first, 'resumed, other records')
    os.remove(os.path.join(run, 'records', 'scan3.json'))
    cases.call(case, ['measure', folder, '-o', run, '--resume'], 0)
    cases.expect(case, records(run) == first, 'resumed without a record, other records')
    cases.expect(case, run_warnings(run) == doubts, 'resumed, another run.json')

    # a scan that no longer stands apart loses the doubt again
    for i in (0, 1, 2, 4, 5, 6, 8):
        os.remove(os.path.join(folder, f'scan{i}.png'))
    cases.call(case, ['measure', folder, '-o', run, '--resume'], 0)
    cases.expect(case, run_warnings(run) == [], 'two scans cannot stand apart')
    for name in apart:
        cases.expect(case, 'paper-differs' not in codes(records(run)[name]), f'{name} of two')

    alike = cases.path('alike')
    for i in range(4):
        cases.put(f'alike/scan{i}.png', png(patch(230, i)))
    _, said = cases.call(case, ['measure', alike, '-o', cases.path('alike-run')], 0)
    cases.expect(case, 'paper-differs' not in said, 'papers alike')
    cases.expect(case, run_warnings(cases.path('alike-run')) == [], 'papers alike, run.json')


def bare_windows(cases):
    """Print in one corner: most windows have no threshold of their own."""
    case = 'bare windows'
    code = patch(230, 3, number=160)
    everywhere = cases.put('everywhere.png', png(code))
    corner = code.copy()
    blank = patch(230, 4, number=0)
    corner[:, SIDE // 4:] = blank[:, SIDE // 4:]
    corner = cases.put('corner.png', png(corner))
    for name, wanted in ((everywhere, 0), (corner, 1)):
        out, _ = cases.call(case, ['measure', name, '--threshold', 'local:2.5', '--json'], 0)
        record = json.loads(out)
        cases.expect(case, codes(out).count('local-bare-windows') == wanted,
                     f'{os.path.basename(name)}: {codes(out)}')
        cases.expect(case, record['speckle'] == 'present', 'there is speckle')
    cases.expect(case, 'of 16 windows' in out, out[-600:])
    # one window, and it is as good as the whole patch
    out, _ = cases.call(case, ['measure', corner, '--threshold', 'local:10', '--json'], 0)
    cases.expect(case, 'local-bare-windows' not in codes(out), codes(out))
    out, _ = cases.call(case, ['measure', corner, '--json'], 0)
    cases.expect(case, 'local-bare-windows' not in codes(out), 'Otsu has no windows')


def touching(cases):
    """Six patches; the last two touch: one row with a note, said on stderr too."""
    case = 'touching'
    rng = np.random.default_rng(8)
    code = np.full((300, 440), 235.0)
    for top in (20, 160):
        for left in (20, 160, 300):
            code[top:top + 100, left:left + 100] = 60
    code[160:260, 260:300] = 60
    sheet = cases.put('sheet.png', png(np.clip(code + rng.normal(0, 2, code.shape), 0, 255)
                                       .astype(np.uint8), ppm=5000))
    layout = cases.path('layout.csv')
    words = 'perhaps several patches that touch'
    _, said = cases.call(case, ['locate', sheet, '-o', layout], 0, words)
    rows = cases.table(layout)
    cases.expect(case, [row['note'] for row in rows] == ['', '', '', '', words],
                 f'notes {[row["note"] for row in rows]}')
    cases.expect(case, said.count(words) == 1 and f'patch 5: {words}' in said, said)


def main():
    if len(sys.argv) != 2:
        sys.exit('usage: doubt_cases.py PROGRAM')
    with tempfile.TemporaryDirectory() as top:
        cases = Cases(os.path.abspath(sys.argv[1]), top)
        papers(cases)
        bare_windows(cases)
        touching(cases)
    print(f'{cases.passed} passed, {cases.failed} failed')
    return 1 if cases.failed else 0


if __name__ == '__main__':
    sys.exit(main())
