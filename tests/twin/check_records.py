#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Compares the records of the program with its slow twin: `check_records.py BUILD_DIR [WORD]`.

Whole numbers, texts and null must be equal, reals agree to 1e-6 of their value. With WORD only the
cases whose name holds it. The word `flat` checks patches that hold noise and no speckle, which is
left out otherwise. Prints every difference; the exit code is 1 when there is one.
"""
import collections
import csv
import filecmp
import hashlib
import json
import math
import os
import subprocess
import sys
import tempfile
from urllib.parse import unquote

import numpy as np
from PIL import Image

import make_scans
import measure_twin as twin
from read_scan import read_scan

TOLERANCE, AIM = 1e-6, 1e-9
# a spread of equal values is 0 in one way of adding and a rounding error in another
ROUNDING = {'sd_diameter_mm': 1e-8, 'nn_cv': 1e-8, 'sd_reflectance': 1e-10, 'span': 1e-12,
            'clark_evans_p': 1e-300, 'x_mm': 1e-12, 'y_mm': 1e-12, 'density': 1e-12}
SIZES = ('counted', 'below_cutoff', 'at_edge', 'per_cm2', 'mean_area_mm2', 'd10_mm', 'd50_mm',
         'd90_mm', 'span', 'area_d50_mm', 'mean_diameter_mm', 'sd_diameter_mm',
         'lognormal_median_mm', 'lognormal_gsd')

# name, scan, options of the twin (and, in the same words, of the program)
OPTION_CASES = [
    ('cutoff', 'grey-field-30.png', {'cutoff': '0.2'}),
    ('cutoff none left', 'grey-discs-05.png', {'cutoff': '3'}),
    ('cutoff below a pixel', 'grey-field-30.png', {'cutoff': '0.001'}),
    ('cutoff edge only', 'grey-field-95.png', {'cutoff': '1'}),
    ('fixed', 'grey-field-30.png', {'threshold': 'fixed:0.5'}),
    ('fixed low', 'png-grey16.png', {'threshold': 'fixed:0.21'}),
    ('fixed whole level', 'png-grey16.png', {'threshold': 'fixed:0.6'}),
    ('light', 'light-ink.png', {'ink': 'light'}),
    ('light fixed', 'light-ink.png', {'ink': 'light', 'threshold': 'fixed:0.4'}),
    ('ppi', 'grey-field-30.png', {'ppi': '600'}),
    ('ppi fraction', 'grey-field-30.png', {'ppi': '609.6'}),
    ('ppi high', 'grey-discs-20.png', {'ppi': '1200'}),
    ('ppi pair', 'grey-discs-20.png', {'ppi': '600,1200'}),
    ('ppi pair 1.5', 'grey-discs-20.png', {'ppi': '900,600'}),
    ('ppi odd pair', 'grey-discs-20.png', {'ppi': '609.6,590'}),
    ('region', 'grey-discs-30.png', {'region': ('5', '4', '20', '15')}),
    ('region odd', 'grey-discs-30.png', {'region': ('3.3', '7.77', '12.34', '21.5')}),
    ('region small', 'grey-discs-30.png', {'region': ('3.3', '7.77', '1.5', '6')}),
    ('region in a corner', 'grey-discs-30.png', {'region': ('0', '0', '11', '3')}),
    ('region and ppi', 'grey-discs-30.png', {'region': ('1', '2', '9', '8'), 'ppi': '600,1200'}),
    ('margin', 'grey-discs-30.png', {'margin': '2'}),
    ('margin odd', 'grey-discs-20.png', {'margin': '1.23', 'cutoff': '0.15'}),
    ('margin in region', 'grey-discs-30.png',
     {'region': ('5', '4', '20', '15'), 'margin': '0.5'}),
    ('tilt', 'grey-discs-30.png', {'region': ('6', '5', '16', '11'), 'tilt': '7.5'}),
    ('tilt the other way', 'grey-discs-20.png',
     {'region': ('8.1', '6.3', '9', '14'), 'tilt': '-31.3', 'margin': '0.7'}),
    ('tilt of half a right angle', 'grey-field-30.png',
     {'region': ('8', '4.5', '9', '9'), 'tilt': '45', 'ppi': '600,640'}),
    ('tilt beyond a right angle', 'grey-discs-30.png',
     {'region': ('8', '8', '14', '9'), 'tilt': '123.4', 'tile': 32}),
    ('tilt of light ink', 'light-ink.png',
     {'region': ('4', '4', '6', '6'), 'tilt': '3', 'ink': 'light', 'cutoff': '0.15'}),
    ('tilt of none', 'grey-discs-30.png', {'region': ('5', '4', '20', '15'), 'tilt': '0'}),
    ('tile', 'grey-discs-30.png', {'tile': 128}),
    ('tile not a power of two', 'grey-discs-20.png', {'tile': 100}),
    ('pixels', 'pixels-40.png', {'ppi': '300,450', 'cutoff': '0.05'}),
    ('pixels, coarse', 'pixels-10.png', {'ppi': '150', 'cutoff': '0.15'}),
    ('pixels, oblong', 'pixels-60.png', {'ppi': '1200,600', 'cutoff': '0.03', 'ink': 'light'}),
    ('red', 'rgb-blue.png', {'channel': 'red'}),
    ('green', 'rgb-red.png', {'channel': 'green'}),
    ('blue', 'rgb-yellow.png', {'channel': 'blue'}),
    ('luminance', 'rgb-16bit.png', {'channel': 'luminance'}),
    ('luminance with alpha', 'rgba.png', {'channel': 'luminance'}),
    ('channel of a grey scan', 'png-grey16.png', {'channel': 'green'}),
    ('all together', 'tiff-rgb16.tif',
     {'channel': 'green', 'cutoff': '0.12', 'region': ('1', '1', '11', '10.5'), 'margin': '0.2',
      'tile': 64, 'threshold': 'fixed:0.4', 'ppi': '598,601'}),
]


class Checker:
    def __init__(self, program):
        self.program = program
        self.passed, self.failed = 0, 0
        self.worst = collections.defaultdict(float)

    def fail(self, case, what):
        self.failed += 1
        print(f'FAIL {case}: {what}')

    def expect(self, case, good, what):
        if good:
            self.passed += 1
        else:
            self.fail(case, what)

    def run(self, *arguments):
        """Without simulations: the twin has none, and they take longer than all the rest."""
        return subprocess.run([self.program, 'measure', '--simulations', '0', *arguments],
                              capture_output=True, timeout=300)

    def records(self, case, *arguments):
        """Records of a call with --json, always as a list; None when it went wrong."""
        done = self.run(*arguments, '--json')
        if done.returncode != 0:
            self.fail(case, f'exit code {done.returncode}: {done.stderr.decode().strip()}')
            return None
        try:
            parsed = json.loads(done.stdout)
        except ValueError as wrong:
            self.fail(case, f'not JSON: {wrong}')
            return None
        return parsed if isinstance(parsed, list) else [parsed]

    def value(self, case, key, actual, expected, scale=0.0):
        name = key.rsplit('.', 1)[-1]
        if expected is None or actual is None or isinstance(expected, str):
            good = actual == expected
        elif isinstance(expected, int):
            good = not isinstance(actual, str) and actual == expected
        else:
            difference = abs(actual - expected)
            allowed = ROUNDING.get(name, 0.0) + 1e-20 * scale
            good = difference <= TOLERANCE * abs(expected) + allowed
            if difference > allowed and expected:
                self.worst[key] = max(self.worst[key], difference / abs(expected))
        self.expect(case, good, f'{key} is {actual!r}, the twin has {expected!r}')

    def group(self, case, prefix, actual, expected):
        for name, wanted in expected.items():
            key = f'{prefix}{name}'
            if name not in actual:
                self.fail(case, f'{key} is missing')
            elif isinstance(wanted, dict):
                self.group(case, f'{key}.', actual[name], wanted)
            elif isinstance(wanted, list):
                have = actual[name] or []
                if len(have) != len(wanted):
                    self.fail(case, f'{key} has {len(have)} values, the twin {len(wanted)}')
                    continue
                scale = max(map(abs, wanted), default=0.0)
                for one, other in zip(have, wanted):
                    self.value(case, key, one, other, scale)
            else:
                self.value(case, key, actual[name], wanted)

    def record(self, case, actual, expected):
        self.expect(case, actual['schema'] == 'fleck-record' and actual['version'] == 1,
                    'schema or version')
        self.expect(case, actual['speckle'] == 'present', f'speckle is {actual["speckle"]!r}')
        self.group(case, '', actual, {k: v for k, v in expected.items()
                                      if k not in ('dot_table', 'fleck_table', 'covariance_begins')})
        for axis, wanted in expected['covariance_begins'].items():
            have = actual['covariance'][axis] or []
            for lag, (one, other) in enumerate(zip(have, wanted)):
                self.value(case, f'covariance.{axis} at {lag}', one, other)
        sampling, p = actual['sampling'], actual['ink']['coverage']
        if sampling['integral_range_mm2'] is not None:
            spread = p * (1 - p) * sampling['integral_range_mm2']
            self.value(case, 'ink.coverage_se', actual['ink']['coverage_se'],
                       math.sqrt(spread / actual['region']['area_mm2']))
            self.value(case, 'sampling.area_for_1pct_mm2', sampling['area_for_1pct_mm2'],
                       spread / 0.01 ** 2)


def program_arguments(options):
    words = []
    for name, value in options.items():
        words += [f'--{name}', ','.join(value) if isinstance(value, tuple) else str(value)]
    return words


def check_scans(checker, folder, names, word):
    """A third of the scans, whose pixels other tests compare file by file, and all ways to measure; `all`: all."""
    every = 1 if word else 3
    word = '' if word == 'all' else word
    cases = [(name, name, {}) for name in names[::every]] + OPTION_CASES
    for number, (case, name, options) in enumerate(cases):
        if word not in case:
            continue
        twin.WITH_SHAPES = number % 5 == 0
        path = os.path.join(folder, name)
        found = checker.records(case, path, *program_arguments(options))
        if found:
            checker.record(case, found[0], twin.measure(path, **options))


def check_flat(checker, folder, names):
    """A patch without speckle has no dots and no coverage, but a tone spectrum."""
    for name in names:
        found = checker.records(name, os.path.join(folder, name))
        if not found:
            continue
        record = found[0]
        checker.expect(name, record['speckle'] in ('flat', 'blank'),
                       f'speckle is {record["speckle"]!r}')
        for key in SIZES:
            for group in ('dots', 'flecks'):
                checker.value(name, f'{group}.{key}', record[group][key], None)
        for key, value in record['spacing'].items():
            checker.value(name, f'spacing.{key}', value, None)
        checker.value(name, 'ink.coverage', record['ink']['coverage'], None)
        checker.expect(name, bool(record['warnings']), 'no warning says why')
        expected = read_scan(os.path.join(folder, name))
        q = twin.quantised(expected, 'luminance')
        checker.value(name, 'tone.mean_reflectance', record['tone']['mean_reflectance'],
                      float(q.mean() / 65535))
        size = expected['ppi']
        px = 25.4 / float(size[0])
        spectrum = twin.spectrum_group(q > 0, q, size, px, px, None)
        del spectrum['ink_power_mm2']
        checker.group(name, 'spectrum.', record['spectrum'], spectrum)
        checker.expect(name, not record['spectrum']['ink_power_mm2'], 'an ink spectrum without ink')


def read_table(path):
    with open(path, newline='', encoding='utf-8') as text:
        return list(csv.DictReader(text))


def check_shapes(checker, name, thing, rows, wanted, order):
    """A table of dots or flecks against the twin's, both in one order."""
    table = sorted(wanted, key=lambda one: tuple(one[key] for key in order))
    checker.expect(name, len(rows) == len(table), f'{len(rows)} {thing}s, the twin {len(table)}')
    rows.sort(key=lambda one: tuple(float(one[key]) for key in order))
    for one, other in zip(rows, table):
        for key, value in other.items():
            cell = one[key]
            checker.value(name, f'{thing} {key}', None if cell == '' else float(cell), value)


def check_run(checker, case, run, expected):
    """patches.csv and dots/ against the records, the records against the twin (in this order)."""
    rows = read_table(os.path.join(run, 'patches.csv'))
    checker.expect(case, len(rows) == len(expected), f'{len(rows)} rows, {len(expected)} patches')
    files = {unquote(name[:-5]): name for name in os.listdir(os.path.join(run, 'records'))}
    checker.expect(case, sorted(files) == sorted(row['id'] for row in rows),
                   f'records {sorted(files)} for ids {[row["id"] for row in rows]}')
    with open(os.path.join(run, 'run.json'), encoding='utf-8') as text:
        json.load(text)
    for row, wanted in zip(rows, expected):
        name = f'{case}, {row["id"]}'
        with open(os.path.join(run, 'records', files[row['id']]), encoding='utf-8') as text:
            record = json.load(text)
        checker.expect(name, record['id'] == row['id'], f'id of the record is {record["id"]}')
        checker.record(name, record, wanted)
        checker.expect(name, None not in row and None not in row.values(),
                       'row and header of patches.csv have not the same number of cells')
        for column, cell in row.items():
            if column is None or cell is None or column.count('.') != 1:
                continue
            group, key = column.split('.')
            if group not in record or key not in record[group]:
                checker.fail(name, f'column {column} is not in the record')
                continue
            value = record[group][key]
            if isinstance(value, str):
                good = cell == value
            else:
                good = cell == '' if value is None else cell != '' and float(cell) == value
            checker.expect(name, good,
                           f'{column} is {cell!r} in the table, {value!r} in the record')
        for group in ('tone', 'ink', 'dots', 'spacing', 'flecks'):
            for key in wanted[group]:
                checker.expect(name, f'{group}.{key}' in row, f'no column {group}.{key}')
        dots = read_table(os.path.join(run, 'dots', files[row['id']][:-5] + '.csv'))
        check_shapes(checker, name, 'dot', dots, wanted['dot_table'], ('y_mm', 'x_mm'))
        flecks = os.path.join(run, 'flecks', files[row['id']][:-5] + '.csv')
        if os.path.exists(flecks):
            check_shapes(checker, name, 'fleck', read_table(flecks), wanted['fleck_table'],
                         ('top_mm', 'left_mm', 'area_mm2'))


def same_trees(checker, case, one, other):
    """All files but run.json, which holds times, have the same bytes."""
    def files(top):
        return sorted(os.path.relpath(os.path.join(at, name), top)
                      for at, _, names in os.walk(top) for name in names)
    checker.expect(case, files(one) == files(other), f'{files(one)} and {files(other)}')
    for name in files(one):
        if name != 'run.json' and os.path.exists(os.path.join(other, name)):
            checker.expect(case, filecmp.cmp(os.path.join(one, name), os.path.join(other, name),
                                             shallow=False), f'{name} differs')


def check_folder(checker, folder, work):
    top = os.path.join(folder, 'folder')
    for name, text in (('notes.txt', 'no scan'), ('.hidden.png', 'hidden'), ('a/empty.png', '')):
        with open(os.path.join(top, name), 'w', encoding='utf-8') as out:
            out.write(text)
    with open(os.path.join(folder, 'rgb-blue.png'), 'rb') as scan:
        make_scans.write_bytes(os.path.join(top, 'no ending'), scan.read())
    names = ['a b:c.png', 'a/print.png', 'b/print.png', 'no ending']  # byte order of the path
    expected = twin.measure_patches([(os.path.join(top, name), None) for name in names])
    runs = [os.path.join(work, f'folder-jobs{jobs}') for jobs in (1, 4)]
    for run, jobs in zip(runs, ('1', '4')):
        done = checker.run(top, '-o', run, '--phase', 'both', '--jobs', jobs)
        checker.expect('folder', done.returncode == 0,
                       f'exit code {done.returncode}: {done.stderr.decode().strip()}')
        if done.returncode:
            return
    check_run(checker, 'folder', runs[0], expected)
    ids = [row['id'] for row in read_table(os.path.join(runs[0], 'patches.csv'))]
    checker.expect('folder', ids == ['a b:c', 'a/print', 'b/print', 'no ending'], f'ids {ids}')
    same_trees(checker, 'jobs 1 against 4', *runs)


def check_order(checker, folder, work):
    """Several scans give the same bytes in any order; auto takes one channel for all of them."""
    names = ['grey-field-30.png', 'jpeg-rgb.jpg', 'rgb-blue.png', 'rgb-red.png', 'rgb-yellow.png']
    paths = [os.path.join(folder, name) for name in names]
    expected = twin.measure_patches([(path, None) for path in paths])
    there = checker.records('order', *paths, '--jobs', '1')
    back = checker.records('order', *reversed(paths), '--jobs', '4')
    if not there or not back:
        return
    for record, wanted, name in zip(there, expected, names):
        checker.record(f'several, {name}', record, wanted)
    checker.expect('order', there == back, 'records depend on the order of the files')
    run = os.path.join(work, 'several')
    done = checker.run(*paths, '-o', run)
    checker.expect('several', done.returncode == 0, f'exit code {done.returncode}')
    if done.returncode == 0:
        check_run(checker, 'several', run, expected)


def check_manifest(checker, folder, work):
    """Ids, regions and factors; the same with semicolons, decimal commas and a byte-order mark."""
    patches = [('A1', 'grey-discs-30.png', '2 3 12 10', '1.5', 'first, "wet"'),
               ('A2', 'grey-discs-30.png', '20 3 12.5 20.25', '2', 'two\nlines'),
               ('B/1', 'folder/a/print.png', '', '2.25', 'ä'),
               ('B 2', 'rgb-blue.png', '1 1 9 9', '', '')]
    plain, german = os.path.join(folder, 'list.csv'), os.path.join(folder, 'liste.csv')
    header = ['patch', 'scan', 'region', 'paste_pct', 'note']
    with open(plain, 'w', newline='', encoding='utf-8') as out:
        writer = csv.writer(out)
        writer.writerow(header)
        writer.writerows(patches)
    with open(german, 'w', newline='', encoding='utf-8-sig') as out:
        writer = csv.writer(out, delimiter=';')
        writer.writerow(header)
        writer.writerows([a, b, c.replace('.', ','), d.replace('.', ','), e]
                         for a, b, c, d, e in patches)
    expected = twin.measure_patches([(os.path.join(folder, scan), region.split() or None)
                                     for _, scan, region, _, _ in patches])
    runs = []
    for name, path in (('manifest', plain), ('manifest with semicolons', german)):
        run = os.path.join(work, os.path.basename(path))
        done = checker.run(path, '-o', run, '--jobs', '2')
        checker.expect(name, done.returncode == 0,
                       f'exit code {done.returncode}: {done.stderr.decode().strip()}')
        if done.returncode:
            return
        check_run(checker, name, run, expected)
        rows = read_table(os.path.join(run, 'patches.csv'))
        runs.append(run)
        for row, (patch, _, _, paste, note) in zip(rows, patches):
            checker.expect(name, row['id'] == patch, f'id {row["id"]}, patch {patch}')
            checker.expect(name, row['note'] == note, f'note {row["note"]!r}, not {note!r}')
            checker.expect(name, row['paste_pct'].replace(',', '.') == paste,
                           f'paste_pct {row["paste_pct"]!r}, not {paste!r}')
    for sub in ('records', 'dots'):
        same_trees(checker, f'both manifests, {sub}', *(os.path.join(run, sub) for run in runs))


def area_masks(height, width):
    """White where it is measured: pictures in many shapes and pixel formats."""
    y, x = np.mgrid[0:height, 0:width]
    far = np.hypot(x + 0.5 - width / 2, y + 0.5 - height / 2) / min(width, height)
    blobs = np.sin(x / 47) + np.sin(y / 61 + x / 200) + np.sin((x + y) / 83)
    masks = {
        'disc.png': far < 0.48,
        'ring.tif': (far < 0.49) & (far > 0.15),
        'comb.png': (y < height // 3) | (x % 90 < 70),
        'blobs.png': blobs > -0.6,
        'box.png': (y > 40) & (y < height - 90) & (x >= 33) & (x < width - 20),
        'all.png': far >= 0,
        'holes.png': (x % 149 > 1) | (y % 131 > 1),
        'strip.png': abs(y - height / 2) < 24,
        'lone.png': (x == 100) & (y == 120) | (x > 200) & (x < 400) & (y > 200) & (y < 420),
    }
    pictures = {name: np.where(mask, 255, 0).astype(np.uint8) for name, mask in masks.items()}
    # half of full scale in linear light decides: sRGB 188 is just above it, 187 below
    pictures['greys.png'] = np.where(masks['blobs.png'], 188, 187).astype(np.uint8)
    colour = np.zeros((height, width, 3), np.uint8)
    colour[..., 1] = pictures['disc.png']  # green alone is bright enough, red and blue are not
    colour[..., 0] = 255 - pictures['disc.png']
    pictures['green.png'] = colour
    return pictures


def check_areas(checker, folder):
    """Masks of any shape, alone and with region, tilt and margin."""
    cases = [(name, 'grey-discs-30.png', name, {}) for name in
             ('disc.png', 'ring.tif', 'comb.png', 'blobs.png', 'box.png', 'all.png', 'holes.png',
              'strip.png', 'lone.png', 'greys.png', 'green.png')]
    cases += [
        ('margin', 'grey-discs-30.png', 'ring.tif', {'margin': '0.8'}),
        ('margin of blobs', 'grey-field-30.png', 'blobs.png', {'margin': '0.35', 'cutoff': '0.15'}),
        ('margin of all', 'grey-discs-30.png', 'all.png', {'margin': '1.2'}),
        ('oblong pixels', 'grey-discs-20.png', 'blobs.png', {'ppi': '600,900', 'margin': '0.3'}),
        ('region', 'grey-discs-30.png', 'blobs.png', {'region': ('3', '4', '15', '18')}),
        ('region and margin', 'grey-discs-30.png', 'disc.png',
         {'region': ('3', '0', '15', '18'), 'margin': '0.6'}),
        ('tilt', 'grey-discs-30.png', 'ring.tif',
         {'region': ('6', '6', '14', '12'), 'tilt': '-12', 'margin': '0.2'}),
        ('tile', 'grey-discs-30.png', 'ring.tif', {'tile': 100}),
        ('too large a tile', 'grey-discs-30.png', 'ring.tif', {'tile': 400}),
        ('light', 'grey-discs-30.png', 'blobs.png', {'ink': 'light', 'threshold': 'fixed:0.45'}),
        ('colour', 'rgb-blue.png', 'disc.png', {}),
    ]
    top = os.path.join(folder, 'masks')
    os.makedirs(top)
    for number, (case, scan, name, options) in enumerate(cases):
        twin.WITH_SHAPES = number % 5 == 0
        path, mask = os.path.join(folder, scan), os.path.join(top, f'{scan}-{name}')
        info = read_scan(path)
        picture = area_masks(info['height_px'], info['width_px'])[name]
        Image.fromarray(picture).save(mask)
        found = checker.records(f'mask, {case}', path, '--mask', mask, *program_arguments(options))
        if not found:
            continue
        checker.record(f'mask, {case}', found[0], twin.measure(path, mask=mask, **options))
        with open(mask, 'rb') as data:
            digest = hashlib.sha256(data.read()).hexdigest()
        checker.value(case, 'settings.mask', found[0]['settings']['mask'], mask)
        checker.value(case, 'settings.mask_sha256', found[0]['settings']['mask_sha256'], digest)
        if name == 'all.png':
            plain = checker.records(case, path, *program_arguments(options))[0]
            for key in ('mask', 'mask_sha256'):
                plain['settings'][key] = found[0]['settings'][key]
            checker.expect(f'mask, {case}', plain == found[0], 'a white mask changes the record')
    twin.WITH_SHAPES = True


def check_quarter_turns(checker, folder):
    """A region turned by right angles has the numbers of the box it then covers."""
    path = os.path.join(folder, 'grey-discs-30.png')
    turned = checker.records('turn', path, '--region', '6,5,16,10', '--tilt', '90')[0]
    plain = checker.records('turn', path, '--region', '9,2,10,16')[0]
    back = checker.records('turn', path, '--region', '6,5,16,10', '--tilt', '-180')[0]
    straight = checker.records('turn', path, '--region', '6,5,16,10')[0]
    for one, other in ((turned, plain), (back, straight)):
        for record in (one, other):
            del record['settings']['region'], record['settings']['tilt_deg']
        checker.expect('turn', one == other, 'a quarter turn is not the turned box')


def check_regions(checker, folder, work):
    """Several regions of a call are patches of their own; a manifest's tilt is that of the call."""
    path = os.path.join(folder, 'grey-discs-30.png')
    boxes = (('2', '3', '12', '10'), ('9', '7', '11', '8'))
    for case, words, tilt in (('regions', [], '0'), ('regions, tilted', ['--tilt', '9.5'], '9.5')):
        found = checker.records(case, path, *words, *(word for box in boxes for word in
                                                      ('--region', ','.join(box))))
        if not found:
            continue
        checker.expect(case, [one['id'] for one in found]
                       == ['grey-discs-30-1', 'grey-discs-30-2'], 'ids of the regions')
        expected = twin.measure_patches([(path, box, tilt) for box in boxes])
        for one, other in zip(found, expected):
            checker.record(case, one, other)
    manifest = os.path.join(folder, 'tilted.csv')
    with open(manifest, 'w', encoding='utf-8') as out:
        out.write('scan;patch;region;tilt_deg;paste\n'
                  'grey-discs-30.png;A;2 3 12 10;9,5;1,5\ngrey-discs-30.png;B;9 7 11 8;;2\n')
    run = os.path.join(work, 'tilted')
    done = checker.run(manifest, '-o', run)
    checker.expect('tilt of a manifest', done.returncode == 0, f'exit code {done.returncode}')
    if done.returncode == 0:
        check_run(checker, 'tilt of a manifest', run,
                  twin.measure_patches([(path, boxes[0], '9.5'), (path, boxes[1], '0')]))


def main():
    if len(sys.argv) not in (2, 3):
        sys.exit('usage: check_records.py BUILD_DIR [WORD]')
    checker = Checker(os.path.join(os.path.abspath(sys.argv[1]), 'fleck'))
    word = sys.argv[2] if len(sys.argv) == 3 else ''
    with tempfile.TemporaryDirectory() as top:
        folder, work = os.path.join(top, 'scans'), os.path.join(top, 'runs')
        os.makedirs(work)
        names = make_scans.write_scans(folder)
        plain = [name for name in names if '/' not in name]
        check_scans(checker, folder, plain, word)
        twin.WITH_SHAPES = True
        if word == 'flat':
            check_flat(checker, folder, [one for one in names if one.startswith('flat/')])
        for name, check in (
                ('one tone', lambda: check_flat(checker, folder, ['flat/one-tone.png'])),
                ('folder', lambda: check_folder(checker, folder, work)),
                ('mask', lambda: check_areas(checker, folder)),
                ('turn', lambda: check_quarter_turns(checker, folder)),
                ('regions', lambda: check_regions(checker, folder, work)),
                ('order', lambda: check_order(checker, folder, work)),
                ('manifest', lambda: check_manifest(checker, folder, work))):
            if word in ('all', '') or word in name:
                check()
    for key, worst in sorted(checker.worst.items(), key=lambda item: -item[1]):
        if worst > AIM and not math.isinf(worst):
            print(f'largest relative difference of {key}: {worst:.3g}')
    print(f'{checker.passed} passed, {checker.failed} failed')
    return 1 if checker.failed else 0


if __name__ == '__main__':
    sys.exit(main())
