#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Planning prints and measuring contact: `plan_cases.py PROGRAM`."""
import csv
import io
import json
import math
import os
import sys
import tempfile

import numpy as np

from cli_cases import FAULT, Cases, png, speckle

PIXEL_MM = 1000 / 23622  # of the PNG files made here


def rows(text):
    return list(csv.DictReader(io.StringIO(text)))


def fits(cases, case, text):
    widest = max((len(line) for line in text.splitlines()), default=0)
    cases.expect(case, 0 < widest <= 100, f'a line of {widest} columns')


def orders(cases):
    call = ['plan', '--factors', 'paste_pct=2,2.5,3', '--repeats', '4', '--seed', '11']
    out, said = cases.call('an order', call, 0, '12 prints in 4 blocks, seed 11')
    found = rows(out)
    cases.expect('an order', [int(row['order']) for row in found] == list(range(1, 13)), out)
    for block in range(4):
        levels = sorted(row['paste_pct'] for row in found[3 * block:3 * block + 3])
        cases.expect('an order', levels == ['2', '2.5', '3'], f'block {block}: {levels}')
        cases.expect('an order', {row['block'] for row in found[3 * block:3 * block + 3]} ==
                     {str(block + 1)}, out)
    for column in ('scan', 'water_ml', 'force_kg', 'block_moisture_pct', 'paper_moisture_pct',
                   'air_humidity_pct', 'temperature_c'):
        cases.expect('an order', all(row[column] == '' for row in found), f'{column} is not empty')
    again, _ = cases.call('the same seed', call, 0)
    cases.expect('the same seed', again == out, 'another order')
    other, _ = cases.call('another seed', [*call[:-1], '12'], 0)
    cases.expect('another seed', other != out, 'the same order')

    path = cases.path('order.csv')
    stdout, _ = cases.call('an order in a file', [*call, '-o', path], 0)
    with open(path, encoding='utf-8') as text:
        cases.expect('an order in a file', text.read() == out and stdout == '', 'differs')
    cases.put('order.csv', 'filled in')
    cases.bad_call('an order that is filled in', [*call, '-o', path], 'is there already')
    with open(path, encoding='utf-8') as text:
        cases.expect('an order that is filled in', text.read() == 'filled in', 'it was overwritten')
    out, _ = cases.call('an order as JSON', [*call, '--json'], 0)
    cases.expect('an order as JSON', len(json.loads(out)['order']['prints']) == 12, out)

    # a filled-in manifest is one that can be measured
    cases.put('good.png', png(speckle(80, 70)))
    manifest = cases.put('prints.csv', again.replace(',,p', ',good.png,p'))
    cases.call('a manifest from a plan', ['measure', manifest, '-o', cases.path('planned')], 0)
    measured = cases.table(cases.path('planned/patches.csv'))
    cases.expect('a manifest from a plan', [row['paste_pct'] for row in measured] ==
                 [row['paste_pct'] for row in rows(again)], measured)
    for case, factors, said in (
            ('one level', ['a=1'], 'a: has one level'), ('a level twice', ['a=1,1'], 'twice'),
            ('no name', ['=1,2'], 'is not NAME=A,B'), ('no levels', ['a'], 'is not NAME=A,B'),
            ('an empty level', ['a=1,,2'], 'empty word'), ('scan', ['scan=a,b'], 'of its own'),
            ('a measure', ['dots.d50_mm=1,2'], 'of its own'),
            ('a factor twice', ['a=1,2', 'a=3,4'], 'given twice'),
            ('too many', [f'{name}=' + ','.join(map(str, range(60))) for name in 'abc'],
             'more than 100000')):
        words = [word for factor in factors for word in ('--factors', factor)]
        cases.bad_call(f'factors: {case}', ['plan', *words], said)
    cases.bad_call('repeats 0', ['plan', '--factors', 'a=1,2', '--repeats', '0'], 'repeats')
    cases.bad_call('order and difference', [*call, '--difference', 'ink.coverage=1'], '--difference')
    cases.bad_call('order and pilot', [*call, cases.path('planned')], 'pilot')


def pilot(cases):
    """Two kinds of paste, three prints each; the second kind has one that is short of dots."""
    lines = ['scan,patch,paste_pct']
    for kind, seeds in ((2, (1, 2, 3)), (5, (4, 5, 6))):
        for seed in seeds:
            cases.put(f'pilot/s{seed}.png', png(speckle(300, 300, seed)))
            lines.append(f's{seed}.png,p{seed},{kind}')
    manifest = cases.put('pilot/prints.csv', '\n'.join(lines) + '\n')
    run = cases.path('pilot/run')
    cases.call('pilot', ['measure', manifest, '-o', run, '-q'], 0)
    return run


def numbers(cases, run):
    table = cases.table(os.path.join(run, 'patches.csv'))
    within = [np.array([float(row['ink.coverage']) for row in table if row['paste_pct'] == kind])
              for kind in ('2', '5')]
    sd = math.sqrt(sum(((part - part.mean()) ** 2).sum() for part in within) / 4)
    call = ['plan', run, '--by', 'paste_pct', '--difference', 'ink.coverage=0.02']
    out, _ = cases.call('numbers', [*call, '--json'], 0)
    found = json.loads(out)['patches']['measures'][0]
    cases.expect('numbers', abs(found['sd'] / sd - 1) < 1e-9 and found['sd_df'] == 4, found)
    cases.expect('numbers', found['per_group'] <= found['per_group_cautious'], found)
    cases.expect('numbers', found['power_reached'] >= 0.8, found)
    text, _ = cases.call('numbers in words', call, 0)
    fits(cases, 'numbers in words', text)
    text, _ = cases.call('what groups would show', ['plan', run], 0)
    fits(cases, 'what groups would show', text)
    path = cases.path('numbers.csv')
    cases.call('numbers in a file', [*call, '-o', path], 0)
    written = cases.table(path)
    cases.expect('numbers in a file', float(written[0]['sd']) == found['sd'], written)
    out, _ = cases.call('a given spread', ['plan', '--sd', 'dots.d50_mm=5%', '--difference',
                                           'dots.d50_mm=2.5%', '--json'], 0)
    cases.expect('R power.t.test: 63.77', json.loads(out)['patches']['measures'][0]['per_group'] == 64, out)
    for case, words, said in (
            ('nothing', [], 'nothing to plan from'), ('no spread', ['--difference', 'a=1'], ''),
            ('no column', [run, '--by', 'paste'], 'paste: no such column'),
            ('no measure', [run, '--difference', 'ink.cover=1'], 'ink.cover: no such measure'),
            ('a word', [run, '--difference', 'ink.coverage=much'], 'no number above 0'),
            ('no =', [run, '--difference', 'ink.coverage'], 'is not KEY=X'),
            ('power 1', [run, '--power', '1'], 'power 1'),
            ('power 0', [run, '--power', '0'], 'no number above 0'),
            ('text for numbers', [run, '--measures', 'patch'], 'patch: holds'),
            ('no ending', [run, '-o', cases.path('x.txt')], 'neither .json nor .csv'),
            ('the table itself', [run, '-o', run + '/patches.csv'], 'belongs to the run'),
            ('among the records', [run, '-o', run + '/records/x.json'], 'belongs to the run'),
            ('the run twice', [run, run + '/.'], 'given twice')):
        cases.bad_call(f'numbers: {case}', ['plan', *words], said)
    for case, name in (('missing', cases.path('none')), ('a file', run + '/run.json'),
                       ('no run', cases.path('pilot'))):
        out, _ = cases.call(f'a pilot that is {case}', ['plan', name], 1, FAULT.format(''))
        cases.expect(f'a pilot that is {case}', out == '', out)
    out, _ = cases.call('a folder missing for -o', [*call, '-o', cases.path('none/x.csv')], (2, 3))
    if os.path.exists('/dev/full'):
        with open('/dev/full', 'wb') as full:
            cases.call('stdout is full', [*call, '--json'], 3, 'stdout', stdout=full)


def areas(cases, run):
    table = cases.table(os.path.join(run, 'patches.csv'))
    one_per_cent = np.mean([float(row['sampling.area_for_1pct_mm2']) for row in table])
    out, _ = cases.call('area', ['plan', run, '--se', '0.01', '--json'], 0)
    found = json.loads(out)['area']['measures'][0]
    cases.expect('area', abs(found['area_mm2'] / one_per_cent - 1) < 1e-9, found)
    out, _ = cases.call('area at another error', ['plan', run, '--se', '0.005', '--json'], 0)
    found = json.loads(out)['area']['measures'][0]
    cases.expect('area at another error', abs(found['area_mm2'] / one_per_cent - 4) < 1e-9, found)
    text, _ = cases.call('area in words', ['plan', run, '--area'], 0)
    fits(cases, 'area in words', text)
    scan = cases.path('pilot/s1.png')
    out, _ = cases.call('area from a scan', ['plan', scan, '--area', '--json'], 0)
    found = json.loads(out)['area']['measures'][0]
    p, expected = float(table[0]['ink.coverage']), float(table[0]['sampling.integral_range_mm2'])
    expected *= p * (1 - p) * (1.959963984540054 / 0.02) ** 2
    cases.expect('area from a scan', abs(found['area_mm2'] / expected - 1) < 1e-9, found)
    out, _ = cases.call('area from numbers', ['plan', '--se', '0.01', '--integral-range', '0.2',
                                              '--coverage', '0.5', '--json'], 0)
    found = json.loads(out)['area']['measures'][0]
    cases.expect('area from numbers', abs(found['area_mm2'] - 500) < 1e-9, found)
    out, _ = cases.call('both questions', ['plan', run, '--area', '--by', 'paste_pct', '--json'], 0)
    cases.expect('both questions', {'patches', 'area'} <= set(json.loads(out)), out)
    for case, words, said in (
            ('no pilot', ['--area'], 'no pilot is named'),
            ('half the numbers', ['--se', '0.01', '--coverage', '0.5'], 'belong together'),
            ('numbers and a pilot', [run, '--se', '0.01', '--integral-range', '1', '--coverage', '0.5'],
             'stand for a pilot'),
            ('coverage 1', ['--se', '0.01', '--integral-range', '1', '--coverage', '1'], 'no share'),
            ('error 2', [run, '--se', '2'], 'standard error 2'),
            ('no interval', [run, '--tolerance', 'tone.density=1'], 'tone.density: no such measure'),
            ('twice', [run, '--tolerance', 'ink.coverage=1,ink.coverage=2'], 'two tolerances'),
            ('two tables', [run, '--area', '--by', 'paste_pct', '-o', cases.path('x.csv')],
             'two tables|two questions')):
        cases.bad_call(f'area: {case}', ['plan', *words], said)
    cases.call('area from a missing scan', ['plan', cases.path('none.png'), '--area'], 1, 'none.png')


def contacts(cases):
    """A pad that touched in stripes of ink."""
    code = np.full((120, 203), 230, np.uint8)
    for x in range(10, 150, 20):
        code[10:110, x:x + 9] = 40
    code += np.random.default_rng(5).integers(0, 4, code.shape, dtype=np.uint8)
    scan = cases.put('trace.png', png(code))
    ink = code < 128
    call = ['contact', scan, '--load', '5']
    out, _ = cases.call('contact', [*call, '--json'], 0)
    found = json.loads(out)
    area = ink.sum() * PIXEL_MM ** 2
    cases.expect('contact', abs(found['contact_area_mm2'] / area - 1) < 1e-6, found)
    cases.expect('contact', abs(found['contact_fraction'] - ink.mean()) < 1e-12, found)
    cases.expect('contact', abs(found['mean_pressure_kpa'] / (5 * 9.80665 / area * 1000) - 1) < 1e-6, found)
    cases.expect('contact', sum('pressure at the paper' in text or 'how hard' in text
                                for text in found['cautions']) == 2, found['cautions'])
    for bands, across in ((1, 'x'), (7, 'x'), (4, 'y')):
        case = f'{bands} bands across {across}'
        out, _ = cases.call(case, [*call, '--bands', str(bands), '--across', across, '--json'], 0)
        parts = json.loads(out)['bands']
        axis = 1 if across == 'x' else 0
        edges = [math.floor(i * ink.shape[axis] / bands + 0.5) for i in range(bands + 1)]
        for part, start, end in zip(parts, edges, edges[1:]):
            own = ink[:, start:end] if across == 'x' else ink[start:end]
            cases.expect(case, abs(part['contact_area_mm2'] - own.sum() * PIXEL_MM ** 2) < 1e-6, part)
            cases.expect(case, (part['mean_pressure_kpa'] is None) == (own.sum() == 0), part)
        cases.expect(case, abs(sum(part['contact_area_mm2'] for part in parts) - area) < 1e-5, parts)
    text, _ = cases.call('contact in words', call, 0, 'no-contact')
    fits(cases, 'contact in words', text)
    cases.expect('contact in words', 'not pressure at the paper' in text and 'how hard' in text, text)
    path = cases.path('contact.csv')
    cases.call('contact in a file', [*call, '-o', path], 0)
    cases.expect('contact in a file', [row['part'] for row in cases.table(path)] ==
                 ['whole'] + [f'band {i}' for i in range(1, 6)], '')
    blank = cases.put('blank.png', png(np.full((90, 90), 231, np.uint8)))
    out, _ = cases.call('a blank trace', ['contact', blank, '--load', '5', '--json'], 0, 'no-trace')
    found = json.loads(out)
    cases.expect('a blank trace', found['mean_pressure_kpa'] is None, found)
    for case, words, said in (
            ('no load', [scan], 'load is missing'), ('load 0', [scan, '--load', '0'], 'no weight'),
            ('load below 0', [scan, '--load', '-1'], 'no weight'),
            ('load a word', [scan, '--load', 'five'], 'no weight'),
            ('no scan', ['--load', '5'], 'one scan'), ('two scans', [scan, blank, '--load', '5'], 'one scan'),
            ('bands 0', [*call[1:], '--bands', '0'], 'no number of bands'),
            ('bands 1001', [*call[1:], '--bands', '1001'], 'no number of bands'),
            ('across z', [*call[1:], '--across', 'z'], 'neither x nor y'),
            ('pooled', [*call[1:], '--threshold', 'pooled'], 'no threshold'),
            ('ink', [*call[1:], '--ink', 'red'], 'neither dark nor light'),
            ('channel', [*call[1:], '--channel', 'cyan'], 'no channel'),
            ('ppi 0', [*call[1:], '--ppi', '0'], 'above 0'),
            ('region', [*call[1:], '--region', '1,2,3'], 'no region')):
        cases.bad_call(f'contact: {case}', ['contact', *words], said)
    for case, words in (('missing', [cases.path('none.png')]), ('no scan', [cases.put('w.png', 'words')]),
                        ('no resolution', [cases.put('n.png', png(code, ppm=0))]),
                        ('outside', [scan, '--region', '90,90,5,5'])):
        out, _ = cases.call(f'contact: {case}', ['contact', *words, '--load', '5'], 1, FAULT.format(''))
        cases.expect(f'contact: {case}', out == '', out)


def main():
    if len(sys.argv) != 2:
        sys.exit('usage: plan_cases.py PROGRAM')
    with tempfile.TemporaryDirectory() as top:
        cases = Cases(os.path.abspath(sys.argv[1]), top)
        orders(cases)
        run = pilot(cases)
        numbers(cases, run)
        areas(cases, run)
        contacts(cases)
    print(f'{cases.passed} passed, {cases.failed} failed')
    return 1 if cases.failed else 0


if __name__ == '__main__':
    sys.exit(main())
