#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Editions from scan to verdict: `edition_cases.py PROGRAM`.

Blocks are drawn as discs at random places; a print of a block is its discs moved, turned and scanned
with noise. Each edition is measured once and then judged in several ways.
"""
import csv
import json
import os
import shutil
import sys
import tempfile

import numpy as np
from PIL import Image

from cli_cases import Cases

PPI, SIDE_MM = 600, 14
SIDE = round(SIDE_MM * PPI / 25.4)


def block(rng, spots):
    """Discs of a block that is 3 mm larger all round; the patch's middle is at 0."""
    half = SIDE_MM / 2 + 3
    return np.column_stack([rng.uniform(-half, half, spots), rng.uniform(-half, half, spots),
                            rng.uniform(0.12, 0.3, spots)])


def scan(path, discs, rng, shift=(0, 0), turn_deg=0):
    """A print of a block as an 8-bit scan."""
    turn = np.radians(turn_deg)
    x = np.cos(turn) * discs[:, 0] - np.sin(turn) * discs[:, 1] + shift[0]
    y = np.sin(turn) * discs[:, 0] + np.cos(turn) * discs[:, 1] + shift[1]
    code = np.full((SIDE, SIDE), 225.0)
    pixel = 25.4 / PPI
    for cx, cy, r in zip((x + SIDE_MM / 2) / pixel, (y + SIDE_MM / 2) / pixel, discs[:, 2] / pixel):
        left, right = max(0, int(cx - r)), min(SIDE, int(cx + r) + 2)
        top, below = max(0, int(cy - r)), min(SIDE, int(cy + r) + 2)
        if left >= right or top >= below:
            continue
        yy, xx = np.mgrid[top:below, left:right]
        code[top:below, left:right][(xx + 0.5 - cx) ** 2 + (yy + 0.5 - cy) ** 2 < r * r] = 60
    code += rng.normal(0, 3, code.shape)
    Image.fromarray(np.clip(code, 0, 255).astype(np.uint8)).save(path, dpi=(PPI, PPI))


def measure(cases, name, header, rows):
    """Measure a manifest's rows into the run of that name, which is returned."""
    manifest = cases.put(f'{name}.csv', '\n'.join([','.join(header)] + [','.join(map(str, row))
                                                                        for row in rows]) + '\n')
    run = cases.path(name)
    cases.call(name, ['measure', manifest, '-o', run], 0)
    return run


def judge(cases, case, run, *arguments, code=0):
    out, _ = cases.call(case, ['edition', run, '--json', *arguments], code)
    return json.loads(out) if out.strip() else None


def one(document, measure_key='ink.coverage'):
    return next(m for m in document['measures'] if m['measure'] == measure_key)


def spots_in_the_same_places(cases):
    """One block printed five times, moved, turned and with spots of its own in each; and five blocks."""
    rng = np.random.default_rng(11)
    same, rows, fresh = block(rng, 500), [], []
    for i in range(1, 6):
        own = block(rng, 120)
        scan(cases.path(f'same{i}.png'), np.vstack([same, own]), rng,
             rng.uniform(-1, 1, 2) * 0.8, rng.uniform(-0.4, 0.4))
        rows.append((f'same{i}.png', i))
        scan(cases.path(f'fresh{i}.png'), block(rng, 620), rng)
        fresh.append((f'fresh{i}.png', i))
    run = measure(cases, 'same', ('scan', 'no'), rows)
    found = judge(cases, 'a fixed pattern', run, '--order', 'no')
    pattern = found['pattern']
    cases.expect('a fixed pattern', 0.55 < pattern['correlation'] < 0.95 and pattern['lo'] > 0.4,
                 f'correlation {pattern["correlation"]}, from {pattern["lo"]}')
    cases.expect('a fixed pattern', 'Spots stand in the same places' in pattern['reason'],
                 pattern['reason'])
    cases.expect('a fixed pattern', one(found)['fixed_pattern'] == pattern['correlation'], 'two values')
    cases.expect('a fixed pattern', len(pattern['pairs']) == 4, 'pairs')

    other = measure(cases, 'fresh', ('scan', 'no'), fresh)
    found = judge(cases, 'random speckle', other, '--order', 'no')
    pattern = found['pattern']
    cases.expect('random speckle', pattern['lo'] < 0 < pattern['hi'] and abs(pattern['correlation']) < 0.08,
                 f'{pattern["correlation"]} from {pattern["lo"]} to {pattern["hi"]}')
    cases.expect('random speckle', 'in the same places from print to print:' not in pattern['reason'],
                 pattern['reason'])
    return run, other


def the_same_bytes(cases, run):
    """Twice, from another folder, and with the rows of the table in another order."""
    first, _ = cases.call('twice', ['edition', run, '--order', 'no', '--json'], 0)
    again, _ = cases.call('twice', ['edition', run, '--order', 'no', '--json'], 0)
    cases.expect('twice', first == again, 'other bytes')
    path = os.path.join(run, 'patches.csv')
    with open(path, encoding='utf-8') as text:
        kept = text.read()
    lines = kept.splitlines()
    cases.put(path, '\n'.join([lines[0], *lines[:0:-1]]) + '\n')
    again, _ = cases.call('rows turned round', ['edition', run, '--order', 'no', '--json'], 0)
    cases.expect('rows turned round', first == again, 'other bytes')
    cases.put(path, kept)


def outputs(cases, run):
    table, document = cases.path('result.csv'), cases.path('result.json')
    for out in (table, document):
        text, _ = cases.call('outputs', ['edition', run, '--order', 'no', '--no-pattern', '-o', out,
                                         '--edition-size', '40'], 0)
        wide = [line for line in text.splitlines() if len(line) > 100]
        cases.expect('outputs', not wide, f'wider than 100: {wide[:1]}')
        cases.expect('outputs', 'Cannot tell whether the edition is reproducible' in text, text[:200])
        cases.expect('outputs', 'look at' in text, 'no plan')
    with open(document, encoding='utf-8') as text:
        found = json.load(text)
    wanted = {'measure', 'n', 'mean', 'sd', 'cv', 'within_sd', 'between_sd', 'repeatability_limit',
              'icc', 'trend_tau', 'trend_p', 'centre', 'lcl', 'ucl', 'out_of_limits', 'outliers',
              'equivalence_p', 'fixed_pattern', 'verdict'}
    for entry in found['measures']:
        cases.expect('outputs', wanted <= set(entry), f'without {wanted - set(entry)}')
        cases.expect('outputs', entry['verdict'] == 'undecided', entry['verdict'])
    cases.expect('outputs', found['schema'] == 'fleck-edition' and found['plan']['edition_size'] == 40,
                 'head')
    with open(table, newline='', encoding='utf-8') as text:
        rows = list(csv.DictReader(text))
    cases.expect('outputs', [row['measure'] for row in rows] ==
                 [entry['measure'] for entry in found['measures']], 'rows of the table')
    cases.expect('outputs', float(rows[0]['mean']) == found['measures'][0]['mean'], 'mean in the table')


def references(cases, run, approved):
    rng = np.random.default_rng(3)
    scan(cases.path('dense.png'), block(rng, 1100), rng)
    proof = measure(cases, 'dense', ('scan', 'no'), [('dense.png', 1)])
    wide = ['--tolerance', 'ink.coverage=40%']
    found = judge(cases, 'a run of approved prints', run, '--order', 'no', '--no-pattern', '--reference',
                  approved, *wide, '--measures', 'ink.coverage')
    entry = one(found)
    cases.expect('a run of approved prints', entry['n'] == 5 and entry['verdict'] == 'reproducible' and
                 entry['equivalence_p'] < 0.05 and found['verdict'] == 'reproducible', str(entry))
    found = judge(cases, 'a patch of the run', run, '--order', 'no', '--no-pattern', '--reference', 'same1',
                  *wide, '--tolerance', 'dots.d50_mm=0.5', '--measures', 'ink.coverage')
    cases.expect('a patch of the run', one(found)['n'] == 4 and one(found, 'dots.d50_mm')['tolerance'] == 0.5,
                 str(found['measures']))
    tight = judge(cases, 'too tight', run, '--order', 'no', '--no-pattern', '--reference', 'same1',
                  '--tolerance', 'ink.coverage=0.000001')
    cases.expect('too tight', tight['verdict'] == 'undecided' and
                 'not shown to be within' in one(tight)['reason'], str(tight['reason']))
    far = judge(cases, 'a denser proof', run, '--order', 'no', '--no-pattern', '--reference', proof,
                '--tolerance', 'ink.coverage=10%')
    cases.expect('a denser proof', far['verdict'] == 'not reproducible', str(far['reason']))


def rescans(cases):
    """Four prints, each scanned on two days, moved and turned."""
    rng = np.random.default_rng(5)
    rows = []
    for i in range(1, 5):
        discs = block(rng, 400 + 60 * i)
        for day in 'ab':
            scan(cases.path(f'r{i}{day}.png'), discs, rng, rng.uniform(-1, 1, 2) * 0.1,
                 rng.uniform(-0.2, 0.2))
            rows.append((f'r{i}{day}.png', i, day))
    run = measure(cases, 'rescans', ('scan', 'no', 'day'), rows)
    found = judge(cases, 'rescans', run, '--order', 'no', '--rescan', 'day')
    entry = one(found)
    cases.expect('rescans', found['prints'][0]['patches'] == 2 and entry['n'] == 4, 'prints')
    cases.expect('rescans', entry['scan_design'] == 'crossed' and entry['scan_share'] < 0.2,
                 f'{entry["scan_design"]} {entry["scan_share"]}')
    text, _ = cases.call('rescans', ['edition', run, '--order', 'no', '--rescan', 'day'], 0)
    cases.expect('rescans', 'scanning alone makes' in text, 'nothing of scanning')
    # scans of one print as an edition: spots in the same places, all of them
    found = judge(cases, 'one print twice', run, '--order', 'no', '--print', 'id', '--measures',
                  'ink.coverage')
    cases.expect('one print twice', len(found['prints']) == 8 and
                 found['pattern']['pairs'][0]['correlation'] > 0.9, str(found['pattern']))


def scans_that_are_gone(cases, run):
    elsewhere = cases.path('elsewhere')
    os.makedirs(elsewhere)
    moved = os.path.join(elsewhere, 'run')
    shutil.copytree(run, moved)
    for i in range(1, 6):
        os.rename(cases.path(f'same{i}.png'), cases.path(f'gone{i}.png'))
    out, err = cases.call('scans gone', ['edition', moved, '--order', 'no', '--json'], 0, 'pattern-scans')
    found = json.loads(out)
    cases.expect('scans gone', found['pattern']['correlation'] is None and
                 one(found)['fixed_pattern'] is None and one(found)['mean'] > 0, str(found['pattern']))
    cases.expect('scans gone', 'same1: ' in err, err)
    small = Image.open(cases.path('gone1.png')).crop((0, 0, 200, 200))
    small.save(cases.path('same1.png'), dpi=(PPI, PPI))
    cases.call('another scan', ['edition', run, '--order', 'no', '--json'], 0, 'another size')


def wrong_calls(cases, run):
    for case, arguments, said in (
            ('no run', ['edition', '--order', 'no'], 'no run is named'),
            ('no order', ['edition', run], '--order'),
            ('an order that is not there', ['edition', run, '--order', 'nr'], 'no such column'),
            ('an order of words', ['edition', run, '--order', 'scan'], 'no number'),
            ('a tolerance alone', ['edition', run, '--order', 'no', '--tolerance', 'ink.coverage=5%'],
             '--reference'),
            ('a tolerance without a number', ['edition', run, '--order', 'no', '--tolerance',
                                              'ink.coverage'], 'is no tolerance'),
            ('a tolerance of nothing', ['edition', run, '--order', 'no', '--tolerance', 'ink.coverage=0'],
             'no number above 0'),
            ('a tolerance of words', ['edition', run, '--order', 'no', '--tolerance', 'ink.coverage=x%'],
             'no number above 0'),
            ('a reference that is not there', ['edition', run, '--order', 'no', '--reference', 'gone'],
             'gone'),
            ('an edition of none', ['edition', run, '--order', 'no', '--edition-size', '0'], 'above 0'),
            ('a certainty', ['edition', run, '--order', 'no', '--confidence', '1'], 'between 0 and 1'),
            ('two runs', ['edition', run, run, '--order', 'no'], '2 runs are named'),
            ('itself as reference', ['edition', run, '--order', 'no', '--reference', run], 'given twice')):
        cases.bad_call(case, arguments, said)
    out, _ = cases.call('no such run', ['edition', cases.path('nothing'), '--order', 'no'], 1, 'is not there')
    cases.expect('no such run', out == '', out)


def main():
    if len(sys.argv) != 2:
        sys.exit('usage: edition_cases.py PROGRAM')
    with tempfile.TemporaryDirectory() as top:
        cases = Cases(os.path.abspath(sys.argv[1]), top)
        run, other = spots_in_the_same_places(cases)
        the_same_bytes(cases, run)
        outputs(cases, run)
        references(cases, run, other)
        wrong_calls(cases, run)
        rescans(cases)
        scans_that_are_gone(cases, run)
    print(f'{cases.passed} passed, {cases.failed} failed')
    return 1 if cases.failed else 0


if __name__ == '__main__':
    sys.exit(main())
