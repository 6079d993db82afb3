#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Factors and recipes from scans to sentences: `relate_cases.py PROGRAM`.

The scans are small and alike; what they are related by is a column `y` of the manifest, so that the
right answer is known.
"""
import csv
import json
import os
import sys
import tempfile

import numpy as np

from cli_cases import Cases, png, speckle

PASTES = (2, 2, 2.5, 2.5, 3, 3, 4, 4)
DEPTHS = (0.41, 0.43, 0.40, 0.37, 0.36, 0.35, 0.29, 0.31)
WIDTH = 100


def measure(cases, name, header, rows, *options, separator=','):
    """A run of one small scan a row."""
    lines = [separator.join(['scan', 'patch', *header])]
    for i, row in enumerate(rows):
        cases.put(f'p{i}.png', png(speckle(64, 64, seed=i)))
        lines.append(separator.join([f'p{i}.png', f'P{i}', *map(str, row)]))
    manifest = cases.put(f'{name}.csv', '\n'.join(lines) + '\n')
    run = cases.path(name)
    cases.call(name, ['measure', manifest, '-o', run, *options], 0)
    return run


def document(cases, case, run, *arguments):
    out, _ = cases.call(case, ['relate', run, '--json', *arguments], 0)
    return json.loads(out)


def one_factor(cases, run):
    case = 'one factor'
    found = document(cases, case, run, '--factors', 'paste_pct', '--measures', 'y')
    measure_ = found['measures'][0]
    slope, offset = np.polyfit(PASTES, DEPTHS, 1)
    cases.expect(case, found['schema'] == 'fleck-relate' and found['version'] == 1, 'schema')
    cases.expect(case, set(measure_) >= {'measure', 'n', 'r2', 'r2_adjusted', 'residual_sd', 'terms'},
                 f'keys {set(measure_)}')
    cases.expect(case, [term['term'] for term in measure_['terms']] == ['intercept', 'paste_pct'],
                 'names of terms')
    cases.expect(case, set(measure_['terms'][0]) == {'term', 'coefficient', 'se', 't', 'p', 'ci_lo',
                                                     'ci_hi'}, 'keys of terms')
    for term, wanted in zip(measure_['terms'], (offset, slope)):
        cases.expect(case, abs(term['coefficient'] - wanted) < 1e-9, f'{term}, not {wanted}')
    factor = measure_['factors'][0]
    cases.expect(case, factor['verdict'] == 'falls' and factor['kendall_tau_b'] < -0.9
                 and 0 < factor['detectable_slope'] < 0.06, f'factor {factor}')

    out, _ = cases.call(case, ['relate', run, '--factors', 'paste_pct', '--measures', 'y'], 0)
    cases.expect(case, 'each 1 % more paste: y 0.059 lower' in out, out)
    cases.expect(case, max(map(len, out.splitlines())) <= WIDTH, 'lines are too long')
    cases.expect(case, 'recipe' not in out and 'recipe' not in found, 'a recipe nobody asked for')


def recipes(cases, run):
    ask = ('--factors', 'paste_pct', '--measures', 'y')
    found = document(cases, 'recipe', run, *ask, '--target', 'y=0.34')['recipe']
    cases.expect('recipe', found['verdict'] == 'one setting' and abs(found['setting'] - 3.29567) < 1e-4
                 and abs(found['lo'] - 3.10406) < 1e-4 and abs(found['hi'] - 3.54219) < 1e-4, f'{found}')
    found = document(cases, 'recipe outside', run, *ask, '--target', 'y=0.1')
    cases.expect('recipe outside', found['recipe']['verdict'] == 'no setting in the tried range'
                 and found['recipe']['setting'] is None and found['recipe']['answers'] == [], f'{found}')
    cases.expect('recipe outside', 'outside-tried-range' in [w['code'] for w in found['warnings']],
                 'no warning')
    found = document(cases, 'recipe of nothing', run, '--factors', 'noise', '--measures', 'y',
                     '--target', 'y=0.36')
    cases.expect('recipe of nothing', found['recipe']['verdict'] == 'cannot tell'
                 and found['recipe']['setting'] is None and found['recipe']['not_excluded'] != [],
                 f'{found["recipe"]}')
    out, err = cases.call('recipe of nothing', ['relate', run, '--factors', 'noise', '--measures', 'y',
                                                '--target', 'y=0.36'], 0)
    cases.expect('recipe of nothing', 'cannot tell' in out and 'recipe-open' in err, out)


def outputs(cases, run):
    for name in ('out.json', 'out.csv'):
        path = cases.path(name)
        cases.call(name, ['relate', run, '--factors', 'paste_pct', '--measures', 'y', '-o', path], 0)
    with open(cases.path('out.csv'), newline='', encoding='utf-8') as text:
        rows = list(csv.DictReader(text))
    cases.expect('out.csv', [row['term'] for row in rows] == ['intercept', 'paste_pct']
                 and rows[0]['measure'] == 'y' and rows[0]['n'] == '8', f'{rows}')
    with open(cases.path('out.json'), encoding='utf-8') as text:
        cases.expect('out.json', json.load(text)['measures'][0]['terms'][1]['coefficient']
                     == float(rows[1]['coefficient']), 'CSV and JSON differ')
    one, _ = cases.call('same bytes', ['relate', run, '--factors', 'paste_pct', '--json'], 0)
    other, _ = cases.call('same bytes', ['relate', run, '--factors', 'paste_pct', '--json'], 0)
    cases.expect('same bytes', one == other, 'two calls differ')


def pastes_and_papers(cases):
    """Volumes, decimal commas, a category and a batch, in one run."""
    rows = [(stock, 100 - stock, paper, f'b{stock}{paper}', f'{stock / 10 + extra + cup / 50:.3f}'.replace('.', ','))
            for stock in (10, 14, 20) for paper, extra in (('laid', 0), ('wove', 1)) for cup in (0, 1)]
    run = measure(cases, 'mixes', ('stock_ml', 'water_ml', 'paper', 'batch', 'y'), rows, separator=';')
    case = 'paste percent'
    ask = ('--paste-percent', 'stock_ml,water_ml,0.25', '--factors', 'paste_pct', '--category', 'paper',
           '--measures', 'y')
    found = document(cases, case, run, *ask)
    cases.expect(case, [mix['paste_pct'] for mix in found['mixes']] == [2.5, 3.5, 5], f'{found["mixes"]}')
    cases.expect(case, found['unit'] == 'batch' and found['units'] == 6 and found['patches'] == 12,
                 'batches are not averaged')
    terms = {term['term']: term['coefficient'] for term in found['measures'][0]['terms']}
    cases.expect(case, abs(terms['paste_pct'] - 0.4) < 1e-9 and abs(terms['paper=wove'] - 1) < 1e-9,
                 f'{terms}')
    out, _ = cases.call(case, ['relate', run, *ask], 0)
    cases.expect(case, '14 ml of stock x 0.25 g/ml = 3.5 g in 14 + 86 = 100 ml' in out, out)
    cases.call('recipe without a level', ['relate', run, *ask, '--target', 'y=2'], 2, '--at paper=laid')
    found = document(cases, 'recipe on wove', run, *ask, '--target', 'y=2.61', '--at', 'paper=wove')
    cases.expect('recipe on wove', abs(found['recipe']['setting'] - 4) < 1e-6, f'{found["recipe"]}')


def wrong_calls(cases, run):
    ask = ['relate', run, '--measures', 'y']
    for case, words, pattern in (
            ('no factors', [], '--factors'),
            ('unknown factor', ['--factors', 'pasta_pct'], 'paste_pct'),
            ('text as factor', ['--factors', 'paper'], r'paper.*--category'),
            ('constant factor', ['--factors', 'force_kg'], 'force_kg'),
            ('collinear factors', ['--factors', 'paste_pct,double_pct'], 'double_pct.*paste_pct'),
            ('empty factor', ['--factors', 'paste_pct,'], 'factors'),
            ('unknown measure', ['--factors', 'paste_pct', '--target', 'dots.d51_mm=3'], 'd51'),
            ('target without a value', ['--factors', 'paste_pct', '--target', 'y'], 'target'),
            ('target of a word', ['--factors', 'paste_pct', '--target', 'y=big'], 'target'),
            ('at without target', ['--factors', 'paste_pct', '--at', 'paste_pct=3'], '--target'),
            ('at without value', ['--factors', 'paste_pct', '--target', 'y=1', '--at', 'paste_pct'], 'at'),
            ('sign missing', ['--factors', 'paste_pct', '--expect', 'paste_pct'], 'expect'),
            ('sign of another', ['--factors', 'paste_pct', '--expect', 'force:+'], 'force'),
            ('two volumes', ['--factors', 'paste_pct', '--paste-percent', 'a,b'], 'paste-percent'),
            ('no weight', ['--factors', 'paste_pct', '--paste-percent', 'a,b,c'], 'paste-percent'),
            ('column made twice', ['--factors', 'paste_pct', '--paste-percent', 'noise,noise,1'],
             'paste_pct'),
            ('power', ['--factors', 'paste_pct', '--terms', 'paste_pct^7'], r'\^3'),
            ('unknown option', ['--factor', 'paste_pct'], '--factors'),
            ('output of another kind', ['--factors', 'paste_pct', '-o', cases.path('out.txt')], 'out'),
    ):
        out, _ = cases.call(case, [*ask, *words], 2, pattern)
        cases.expect(case, out == '', f'stdout holds {out[:200]!r}')
    cases.call('no run', ['relate', '--factors', 'paste_pct'], 2, '')
    cases.call('missing run', ['relate', cases.path('nowhere'), '--factors', 'paste_pct'], 1, 'nowhere')
    cases.expect('output of another kind', not os.path.exists(cases.path('out.txt')), 'written')


def different_settings(cases, run):
    rows = list(zip(PASTES, DEPTHS))
    other = measure(cases, 'coarse', ('paste_pct', 'y'), rows, '--cutoff', '0.2')
    ask = ['relate', run, other, '--factors', 'paste_pct', '--measures', 'y']
    cases.call('different cutoffs', ask, 2, 'cutoff_mm.*--mixed')
    _, err = cases.call('different cutoffs, mixed', [*ask, '--mixed'], 0, 'settings-differ')
    cases.expect('different cutoffs, mixed', 'cutoff_mm' in err, err)


def too_few(cases):
    run = measure(cases, 'two', ('paste_pct', 'y'), [(2, 1), (4, 2)])
    cases.call('two patches', ['relate', run, '--factors', 'paste_pct', '--measures', 'y'], 1,
               '2 patches')


def main():
    with tempfile.TemporaryDirectory() as top:
        cases = Cases(sys.argv[1], top)
        noise = (3, 1, 2, 5, 4, 1, 5, 3)
        run = measure(cases, 'run', ('paste_pct', 'double_pct', 'force_kg', 'paper', 'noise', 'y'),
                      [(x, 2 * x, 8, 'laid', e, y) for x, e, y in zip(PASTES, noise, DEPTHS)])
        one_factor(cases, run)
        recipes(cases, run)
        outputs(cases, run)
        wrong_calls(cases, run)
        different_settings(cases, run)
        pastes_and_papers(cases)
        too_few(cases)
        print(f'{cases.passed} passed, {cases.failed} failed')
        return 1 if cases.failed else 0


if __name__ == '__main__':
    sys.exit(main())
