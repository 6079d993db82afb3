#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Masks, turned and several regions: what must be refused, and how: `area_cases.py PROGRAM`."""
import json
import os
import sys
import tempfile

import numpy as np
from PIL import Image

from cli_cases import FAULT, Cases, jpeg, png, speckle

WIDTH, HEIGHT = 80, 70


def picture(*boxes):
    """A mask, white in boxes of (left, top, right, bottom) pixels."""
    mask = np.zeros((HEIGHT, WIDTH), np.uint8)
    for left, top, right, bottom in boxes:
        mask[top:bottom, left:right] = 255
    return png(mask)


def records(cases, case, arguments, code=0):
    out, _ = cases.call(case, ['measure', *arguments, '--json'], code)
    found = json.loads(out) if out.strip() else []
    return found if isinstance(found, list) else [found]


def wrong_masks(cases, good):
    for case, name, data, said in (
            ('a mask of words', 'words.png', b'no picture', 'words.png'),
            ('an empty mask file', 'empty.png', b'', 'empty.png'),
            ('a mask cut off', 'cut.png', picture((0, 0, 9, 9))[:-30], 'cut.png'),
            ('a black mask', 'black.png', picture(), 'has no white pixel'),
            ('a mask too dark', 'dark.png', png(np.full((HEIGHT, WIDTH), 187, np.uint8)),
             'has no white pixel')):
        path = cases.put(name, data)
        cases.bad_call(case, ['measure', good, '--mask', path], f'the mask .*{said}')
    cases.bad_call('a missing mask', ['measure', good, '--mask', cases.path('gone.png')],
                   'the mask .*gone.png')
    cases.bad_call('a mask without a name', ['measure', good, '--mask', ''], 'mask')

    small = cases.put('small.png', png(np.full((HEIGHT, WIDTH - 1), 255, np.uint8)))
    cases.bad_input('a mask of another size', [good, '--mask', small],
                    FAULT.format('good.png') + r'|is 80 x 70 pixels, the mask 79 x 70')
    turned = cases.put('turned.png', png(np.full((WIDTH, HEIGHT), 255, np.uint8)))
    cases.bad_input('a mask turned', [good, '--mask', turned], 'the mask 70 x 80')
    corner = cases.put('corner.png', picture((0, 0, 20, 20)))
    cases.bad_input('a mask beside the region', [good, '--mask', corner, '--region', '2,2,0.5,0.5'],
                    FAULT.format('good.png'))
    cases.bad_input('a margin that eats the mask', [good, '--mask', corner, '--margin', '0.9'],
                    FAULT.format('good.png'))
    # the mask fits one scan of two: the other one alone fails
    other = cases.put('other.png', png(speckle(60, 60)))
    whole = cases.put('whole.png', picture((0, 0, WIDTH, HEIGHT)))
    found = records(cases, 'a mask for one of two', [good, other, '--mask', whole], 1)
    cases.expect('a mask for one of two', [one['id'] for one in found] == ['good'], 'records')


def strange_masks(cases, good):
    """Of one pixel, one row and of two parts: numbers or null, each null with a warning."""
    for case, boxes, speckled in (('one pixel', ((33, 20, 34, 21),), False),
                                  ('one row', ((0, 30, WIDTH, 31),), True),
                                  ('one column', ((40, 0, 41, HEIGHT),), True),
                                  ('two parts', ((0, 0, 30, 30), (50, 40, 80, 70)), True)):
        path = cases.put('strange.png', picture(*boxes))
        found = records(cases, case, [good, '--mask', path, '--cutoff', '0.05'])
        if not found:
            continue
        area = sum((x1 - x0) * (y1 - y0) for x0, y0, x1, y1 in boxes)
        region, pixel = found[0]['region'], 25.4 / (23622 * 0.0254)
        cases.expect(case, abs(region['area_mm2'] - area * pixel ** 2) < 1e-9, f'area {region}')
        cases.expect(case, (found[0]['speckle'] == 'present') == speckled, found[0]['speckle'])
        cases.expect(case, found[0]['spectrum']['tile_px'] is None, 'a spectrum without a tile')
        codes = [warning['code'] for warning in found[0]['warnings']]
        cases.expect(case, 'no-spectrum' in codes, f'warnings {codes}')
    grey = cases.path('grey.jpg')
    with open(grey, 'wb') as out:
        out.write(jpeg(cases.top, np.full((HEIGHT, WIDTH), 250, np.uint8)))
    plain = records(cases, 'a white JPEG', [good])[0]
    masked = records(cases, 'a white JPEG', [good, '--mask', grey])[0]
    for record in (plain, masked):
        del record['settings']
    cases.expect('a white JPEG', plain == masked, 'a white mask changes the record')


def tilts(cases, good):
    cases.bad_call('a tilt without a region', ['measure', good, '--tilt', '3'], 'tilt.*--region')
    for case, value in (('a word', 'steep'), ('too much', '181'), ('nan', 'nan'), ('empty', '')):
        cases.bad_call(f'a tilt of {case}', ['measure', good, '--region', '1,1,1,1', '--tilt', value],
                       'tilt')
    cases.bad_input('a tilt out of the scan', [good, '--region', '0,0,3,2', '--tilt', '5'],
                    FAULT.format('good.png'))
    cases.bad_input('a margin of half the tilted region',
                    [good, '--region', '1,1,1,1', '--tilt', '5', '--margin', '0.5'],
                    FAULT.format('good.png'))
    for case, name, text, said in (
            ('a tilt of a word', 'word.csv', 'scan,region,tilt_deg\ngood.png,1 1 1 1,steep\n',
             'tilt "steep"'),
            ('a tilt too large', 'large.csv', 'scan,region,tilt_deg\ngood.png,1 1 1 1,200\n',
             'tilt "200"'),
            ('a tilt and no region', 'lone.csv', 'scan,region,tilt_deg\ngood.png,,3\n',
             'a tilt and no region'),
            ('a tilt and no column', 'column.csv', 'scan,tilt_deg\ngood.png,3\n',
             'a tilt and no region')):
        cases.bad_input(case, [cases.put(name, text)], said)
    path = cases.put('none.csv', 'scan,tilt_deg\ngood.png,0\n')
    cases.expect('a tilt of 0 and no region', len(records(cases, 'a tilt of 0', [path])) == 1, '')


def several_regions(cases, good):
    boxes = ['--region', '0,0,1,1', '--region', '1,1,1.5,1.5', '--region', '2,0,1,1']
    found = records(cases, 'three regions', [good, *boxes])
    cases.expect('three regions', [one['id'] for one in found] == ['good-1', 'good-2', 'good-3'],
                 f'ids {[one["id"] for one in found]}')
    cases.expect('three regions', [one['settings']['region'] for one in found]
                 == boxes[1::2], 'regions')
    cases.bad_call('a wrong one of three', ['measure', good, *boxes[:2], '--region', '1,1,0,1',
                                            *boxes[2:]], 'region 1,1,0,1')
    found = records(cases, 'one of three outside', [good, *boxes[:2], '--region', '9,9,1,1'], 1)
    cases.expect('one of three outside', [one['id'] for one in found] == ['good-1'], 'ids')
    # ids that the numbers make equal
    text = ('scan,patch,region\ngood.png,a,\ngood.png,a-1,0 0 1 1\ngood.png,b,0 0 2 2\n')
    path = cases.put('equal.csv', text)
    _, said = cases.call('equal ids', ['measure', path, *boxes[:4], '--json'], 1, '"a-1" stands twice')
    cases.expect('equal ids', said.count('"a-1" stands twice') == 2, said)
    found = records(cases, 'equal ids', [path, *boxes[:4]], 1)
    cases.expect('equal ids', [one['id'] for one in found] == ['a-2', 'b'],
                 f'ids {[one["id"] for one in found]}')


def resumed(cases, good):
    """A run goes on only with the same mask; another one of the same name is measured anew."""
    path, run = cases.put('mask.png', picture((0, 0, 60, 60))), cases.path('masked-run')
    call = ['measure', good, '--mask', path, '-o', run]
    cases.call('resume', call, 0)
    cases.call('resume with the same mask', [*call, '--resume'], 0)
    cases.call('resume without the mask', ['measure', good, '-o', run, '--resume'], 2, 'mask')
    cases.call('resume with a tilt', [*call, '--region', '1,1,1,1', '--tilt', '2', '--resume'], 2,
               'another setting')
    cases.put('mask.png', picture((0, 0, 50, 60)))
    cases.call('resume with a new mask', [*call, '--resume'], 0)
    with open(os.path.join(run, 'records', 'good.json'), encoding='utf-8') as text:
        width = json.load(text)['region']['width_mm']
    cases.expect('resume with a new mask', abs(width - 50 * 25.4 / 600) < 1e-3, f'width {width}')
    cases.whole('resume', run)


def ring_of_phantoms(cases):
    """Speckle of known density seen through a ring: without bias within three standard errors."""
    scan, mask = cases.path('phantom.png'), cases.path('ring.png')
    density, coverage, uncorrected = [], [], []
    for seed in range(1, 17):
        cases.call('ring of phantoms', [
            'phantom', 'separate', '-o', scan, '--width', '16', '--height', '16', '--ppi', '400', '--coverage',
            '0.2', '--diameter', '0.6', '--gsd', '1.5', '--gap', '0.15', '--seed', str(seed)],
            0)
        with open(cases.path('phantom.truth.json'), encoding='utf-8') as text:
            drawn = json.load(text)['drawn']
        if seed == 1:
            width, height = Image.open(scan).size
            y, x = np.mgrid[0:height, 0:width]
            far = np.hypot(x + 0.5 - width / 2, y + 0.5 - height / 2) / width
            Image.fromarray(np.where((far < 0.33) & (far > 0.1), 255, 0).astype(np.uint8)).save(mask)
        record = records(cases, 'ring of phantoms', [scan, '--mask', mask, '--cutoff', '0.05'])[0]
        density.append(record['dots']['per_cm2'] / drawn['dots_per_cm2'] - 1)
        coverage.append(record['ink']['coverage'] - drawn['exact_coverage'])
        uncorrected.append(record['dots']['counted'] / record['region']['area_mm2'] * 100
                           / drawn['dots_per_cm2'] - 1)
    for name, values, biased in (('density', density, False), ('coverage', coverage, False),
                                 ('all dots over the area', uncorrected, True)):
        error = np.std(values, ddof=1) / len(values) ** 0.5
        cases.expect('ring of phantoms', (abs(np.mean(values)) > 3 * error) == biased,
                     f'{name} is off by {np.mean(values):.4f}, standard error {error:.4f}')


def main():
    if len(sys.argv) != 2:
        sys.exit('usage: area_cases.py PROGRAM')
    with tempfile.TemporaryDirectory() as top:
        cases = Cases(os.path.abspath(sys.argv[1]), top)
        good = cases.put('good.png', png(speckle(WIDTH, HEIGHT)))
        for check in (wrong_masks, strange_masks, tilts, several_regions, resumed):
            check(cases, good)
        ring_of_phantoms(cases)
    print(f'{cases.passed} passed, {cases.failed} failed')
    return 1 if cases.failed else 0


if __name__ == '__main__':
    sys.exit(main())
