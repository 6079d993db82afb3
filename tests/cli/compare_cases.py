#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""From scans to verdicts: `compare_cases.py PROGRAM`.

The sample scenario drawn small: six patches each of three pastes, of which every patch has drawn sizes of
its own (samples/tiles.csv). Numbers are checked against SciPy from the run's own table.
"""
import csv
import itertools
import json
import os
import sys
import tempfile

import numpy as np
from scipy import stats

from cli_cases import Cases

WIDTH = 100
TILES = os.path.join(os.path.dirname(__file__), '..', '..', 'samples', 'tiles.csv')
KEYS = {'measure', 'group_a', 'group_b', 'n_a', 'n_b', 'mean_a', 'mean_b', 'sd_a', 'sd_b', 'difference',
        'ci_lo', 'ci_hi', 'p_welch', 'p_permutation', 'p_rank', 'hedges_g', 'g_lo', 'g_hi', 'p_holm',
        'verdict'}


def draw(cases):
    """The sample's tiles, 12 mm wide, with what they were drawn by in the manifest."""
    with open(TILES, newline='', encoding='utf-8') as table:
        rows = list(csv.DictReader(table))
    for i, row in enumerate(rows):
        path = cases.path(row['scan'])
        os.makedirs(os.path.dirname(path), exist_ok=True)
        cases.call('draw', ['phantom', 'discs', '-o', path, '--width', '12', '--height', '12',
                            '--diameter', row['drawn_diameter_mm'], '--gsd', '1.4',
                            '--coverage', row['drawn_coverage'], '--seed', row['seed']], 0)
        row['sheet'] = f's{i % 6}'
    lines = [','.join(rows[0])] + [','.join(row.values()) for row in rows]
    return cases.put('tiles.csv', '\n'.join(lines) + '\n')


def document(cases, case, *arguments):
    out, _ = cases.call(case, ['compare', *arguments, '--json'], 0)
    return json.loads(out)


def find(found, measure, a, b):
    return next(one for one in found['comparisons']
                if (one['measure'], one['group_a'], one['group_b']) == (measure, a, b))


def near(cases, case, what, value, wanted, tolerance=1e-6):
    cases.expect(case, value is not None and abs(value - wanted) <= tolerance * max(1, abs(wanted)),
                 f'{what} is {value}, not {wanted}')


def permutation_p(a, b):
    values = np.concatenate([a, b])
    seen = abs(b.mean() - a.mean()) * (1 - 1e-9)
    hits = [abs(values[list(chosen)].mean() - np.delete(values, chosen).mean()) >= seen
            for chosen in itertools.combinations(range(len(values)), len(a))]
    return np.mean(hits)


def against_scipy(cases, run):
    case = 'against SciPy'
    found = document(cases, case, run, '--by', 'paste_pct')
    cases.expect(case, found['schema'] == 'fleck-compare' and found['version'] == 1, 'schema')
    cases.expect(case, [g['group'] for g in found['groups']] == ['2.5', '3.5', '5.0'], 'groups')
    table = Cases.table(os.path.join(run, 'patches.csv'))
    for one in found['comparisons']:
        cases.expect(case, KEYS <= set(one), f'keys {KEYS - set(one)} are missing')
        a, b = (np.array([float(row[one['measure']]) for row in table
                          if float(row['paste_pct']) == float(group) and row[one['measure']]])
                for group in (one['group_a'], one['group_b']))
        if one['n_a'] < 2 or one['n_b'] < 2:
            continue
        what = f"{one['measure']} {one['group_a']} {one['group_b']}"
        near(cases, case, what, one['mean_b'], b.mean())
        near(cases, case, what, one['sd_a'], a.std(ddof=1))
        near(cases, case, what, one['difference'], b.mean() - a.mean())
        near(cases, case, what, one['p_welch'], stats.ttest_ind(b, a, equal_var=False).pvalue)
        near(cases, case, what, one['p_permutation'], permutation_p(a, b))
        if len(set(a) | set(b)) == len(a) + len(b):
            near(cases, case, what, one['p_rank'],
                 stats.mannwhitneyu(b, a, method='exact').pvalue)
    for measure in found['measures']:
        groups = [[float(row[measure['measure']]) for row in table
                   if float(row['paste_pct']) == paste and row[measure['measure']]]
                  for paste in (2.5, 3.5, 5)]
        if all(groups):
            near(cases, case, measure['measure'], measure['kruskal_p'],
                 stats.kruskal(*groups).pvalue)
        else:
            cases.expect(case, measure['kruskal_p'] is None, f'{measure} from no values')
    for one in found['sizes']:
        sizes = []
        for group in (one['group_a'], one['group_b']):
            dots = [Cases.table(os.path.join(run, 'dots', f"{row['id']}.csv")) for row in table
                    if float(row['paste_pct']) == float(group)]
            share = [[(float(dot['diameter_mm']), float(dot['weight_per_mm2'])) for dot in patch]
                     for patch in dots]
            # each patch's weights sum to 1, so that all patches count alike
            sizes.append((np.concatenate([[d for d, _ in patch] for patch in share]),
                          np.concatenate([[w / sum(w for _, w in patch) for _, w in patch]
                                          for patch in share])))
        near(cases, case, 'wasserstein_mm', one['wasserstein_mm'],
             stats.wasserstein_distance(sizes[0][0], sizes[1][0], sizes[0][1], sizes[1][1]))
        grid = np.unique(np.concatenate([sizes[0][0], sizes[1][0]]))
        curves = [np.array([w[d <= at].sum() for at in grid]) / w.sum() for d, w in sizes]
        near(cases, case, 'ks_d', one['ks_d'], np.abs(curves[0] - curves[1]).max())
        cases.expect(case, 0 < one['p_permutation'] <= 1 and 0 < one['p_ks'] <= 1, f'p of {one}')


def sample_scenario(cases, run):
    """Spots of 2.5 % paste are larger and lie farther apart than those of 5 %; a step of 1 % is found."""
    case = 'sample scenario'
    found = document(cases, case, run, '--by', 'paste_pct')
    for measure in ('dots.d50_mm', 'spacing.nn_mean_mm'):
        one = find(found, measure, '2.5', '5.0')
        cases.expect(case, one['difference'] < 0 and one['ci_hi'] < 0
                     and one['verdict'] == 'not the same', f'{one}')
    one = find(document(cases, case, run, '--by', 'paste_pct', '--groups', '2.5,3.5', '--measures',
                        'dots.d50_mm'), 'dots.d50_mm', '2.5', '3.5')
    cases.expect(case, one['n_a'] == one['n_b'] == 6 and one['verdict'] == 'not the same',
                 f'a step of 1 %: {one}')
    cases.expect(case, '3.5 against 2.5 % paste: dots ' in one['sentence'], one['sentence'])


def readable(cases, run):
    case = 'readable'
    out, err = cases.call(case, ['compare', run, '--by', 'paste_pct', '--tolerance',
                                 'ink.coverage=50%'], 0)
    cases.expect(case, max(map(len, out.splitlines())) <= WIDTH, 'lines are too long')
    cases.expect(case, 'same within' in ' '.join(out.split()), out)
    cases.expect(case, 'nan' not in out.lower().replace('dominant', ''), out)
    again, _ = cases.call(case, ['compare', run, '--by', 'paste_pct', '--tolerance',
                                 'ink.coverage=50%'], 0)
    cases.expect(case, out == again, 'not the same bytes')


def too_few(cases, run):
    case = 'three against three'
    table = open(os.path.join(run, 'patches.csv'), encoding='utf-8').read().splitlines()
    few = cases.path('few')
    os.makedirs(few)
    for part in ('records', 'dots'):
        os.symlink(os.path.join(run, part), os.path.join(few, part))
    cases.put('few/patches.csv', '\n'.join([table[0], *table[1:4], *table[13:16]]) + '\n')
    out, err = cases.call(case, ['compare', few, '--by', 'paste_pct', '--measures', 'dots.d50_mm'], 0,
                          'too-few-patches.*3 against 3 patches p cannot be below 0.1')
    cases.expect(case, 'cannot tell; with so few patches p cannot be below 0.10' in
                 ' '.join(out.split()), out)
    cases.put('few/patches.csv', '\n'.join([table[0], table[1], table[13]]) + '\n')
    one = document(cases, 'one patch', few, '--by', 'paste_pct')
    for comparison in one['comparisons']:
        cases.expect('one patch', comparison['p_welch'] is None and comparison['p_holm'] is None
                     and comparison['verdict'] == 'cannot tell', f'{comparison}')
    cases.expect('one patch', 'no-replicates' in [w['code'] for w in one['warnings']], 'no warning')
    cases.call('two runs', ['compare', run, few], 0)
    cases.call('one run alone', ['compare', run], 2, 'give --by COLUMN or a second run')


def files(cases, run):
    case = 'files'
    for name in ('found.csv', 'found.json'):
        cases.call(case, ['compare', run, '--by', 'paste_pct', '-o', cases.path(name)], 0)
    rows = Cases.table(cases.path('found.csv'))
    found = json.load(open(cases.path('found.json'), encoding='utf-8'))
    cases.expect(case, len(rows) == len(found['comparisons']) + len(found['sizes']), 'rows')
    for row, one in zip(rows, found['comparisons']):
        for key in KEYS:
            cases.expect(case, row[key] == ('' if one[key] is None else str(one[key]))
                         or float(row[key]) == one[key], f'{key}: {row[key]}, not {one[key]}')
    cases.call('bad ending', ['compare', run, '--by', 'paste_pct', '-o', cases.path('x.txt')], 2)


def wrong_calls(cases, run):
    table = [
        ('no run', [], 'no run is named'),
        ('run that is none', [cases.path('nothing')], 'nothing'),
        ('column misspelt', [run, '--by', 'paste_pc'], 'did you mean paste_pct'),
        ('groups without by', [run, '--groups', '2.5,5'], '--by'),
        ('group that is none', [run, '--by', 'paste_pct', '--groups', '2.5,4'], 'there are 2.5'),
        ('one group', [run, '--by', 'paste_pct', '--groups', '5'], 'only the group'),
        ('text as a measure', [run, '--by', 'paste_pct', '--measures', 'batch'], 'is no number'),
        ('measure misspelt', [run, '--by', 'paste_pct', '--measures', 'dots.d5_mm'], 'did you mean'),
        ('tolerance of nothing', [run, '--by', 'paste_pct', '--tolerance', 'ink.coverage'],
         'tolerance'),
        ('tolerance of a word', [run, '--by', 'paste_pct', '--tolerance', 'ink.coverage=x'],
         'tolerance'),
        ('tolerance of 0', [run, '--by', 'paste_pct', '--tolerance', 'ink.coverage=0%'], 'tolerance'),
        ('tolerance of another measure', [run, '--by', 'paste_pct', '--tolerance', 'dots.d90_mm=1'],
         'not compared'),
        ('group and pair', [run, '--by', 'paste_pct', '--paired', 'paste_pct'], 'replicates'),
        ('rescans without prints', [run, '--by', 'paste_pct', '--rescan', 'batch'], '--print'),
        ('seed of a word', [run, '--by', 'paste_pct', '--seed', 'x'], 'seed'),
    ]
    for case, arguments, pattern in table:
        out, _ = cases.call(case, ['compare', *arguments], (1, 2), pattern)
        cases.expect(case, out == '', f'stdout holds {out[:200]!r}')


def different_settings(cases, manifest, run):
    case = 'different settings'
    other = cases.path('other')
    cases.call(case, ['measure', manifest, '-o', other, '--cutoff', '0.15'], 0)
    cases.call(case, ['compare', run, other], 2, 'cutoff_mm')
    out, _ = cases.call(case, ['compare', run, other, '--mixed'], 0, 'settings-differ')
    paired = document(cases, 'paired', run, '--by', 'paste_pct', '--paired', 'sheet')
    one = find(paired, 'dots.d50_mm', '2.5', '5.0')
    cases.expect('paired', one['p_welch'] is None and one['p_paired'] is not None
                 and one['p_permutation'] >= 2 / 64, f'{one}')


def main():
    with tempfile.TemporaryDirectory() as top:
        cases = Cases(os.path.abspath(sys.argv[1]), os.path.realpath(top))
        manifest = draw(cases)
        run = cases.path('run')
        cases.call('measure', ['measure', manifest, '-o', run], 0)
        against_scipy(cases, run)
        sample_scenario(cases, run)
        readable(cases, run)
        too_few(cases, run)
        files(cases, run)
        wrong_calls(cases, run)
        different_settings(cases, manifest, run)
    print(f'{cases.passed} passed, {cases.failed} failed')
    sys.exit(1 if cases.failed else 0)


if __name__ == '__main__':
    main()
