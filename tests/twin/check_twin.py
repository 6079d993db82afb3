#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Checks the slow twin itself, against cases worked by hand and published values."""
import math
import os
import sys
from fractions import Fraction

import numpy as np

import measure_twin as twin
from read_scan import srgb_decode

HERE = os.path.dirname(os.path.abspath(__file__))
failures = []


def same(what, actual, expected, tolerance=1e-12):
    if actual is None or expected is None:
        good = actual is expected
    else:
        good = abs(actual - expected) <= tolerance * max(1, abs(expected))
    if not good:
        failures.append(what)
        print(f'{what}: {actual!r}, not {expected!r}')


def mask_of(*rows):
    return np.array([[c == '#' for c in row] for row in rows])


def check_tone():
    # IEC 61966-2-1: code 118 of 255, worked with a pocket calculator; ends are exact
    same('sRGB 118/255', float(srgb_decode(np.float64(118 / 255))), 0.18116424424986, 1e-12)
    same('sRGB white', float(srgb_decode(np.float64(1))), 1)
    same('sRGB foot', float(srgb_decode(np.float64(0.04045))), 0.04045 / 12.92)


def check_otsu():
    # two tones: every k from 10 to 19 is equal, the middle 14.5 goes down
    same('two tones', twin.otsu(np.array([10, 10, 10, 20]))[0], 14)
    # 0 0 1 9 9 9: the cut between 1 and 9 is best, k from 1 to 8, the middle 4.5 goes down
    same('three tones', twin.otsu(np.array([0, 0, 1, 9, 9, 9]))[0], 4)
    # w0 w1 (m0 - m1)^2 = 1/4 * 3/4 * 100
    same('between classes', float(twin.otsu(np.array([10, 10, 10, 20]))[1]), 18.75)
    same('one tone', twin.otsu(np.array([7, 7])), None)


def check_sizes():
    # 12 x 10 px of 0.1 mm: one dot of 1 px, one of 2 x 2, one of 3 px, one at the edge
    mask = np.zeros((10, 12), bool)
    mask[2, 2] = True
    mask[5:7, 5:7] = True
    for i in range(3):
        mask[6 + i, 8 + i] = True
    mask[0, 6:9] = True
    found = twin.components(mask, True)
    group, counted = twin.sizes_group(found, 12, 10, 0.1, 0.1, 0.11)
    w1, w4, w3 = 1 / (10 * 8), 1 / (9 * 7), 1 / (8 * 6)
    total = w1 + w3 + w4
    d1, d3, d4 = (2 * math.sqrt(a * 0.01 / math.pi) for a in (1, 3, 4))
    same('one pixel of 0.1 mm', d1, 0.112837916709551)
    same('counted', group['counted'], 4)
    same('at_edge', group['at_edge'], 1)
    same('per_cm2', group['per_cm2'], total * 10000)
    same('mean_area_mm2', group['mean_area_mm2'], (w1 + 3 * w3 + 4 * w4) / total * 0.01)
    # shares of the number 0.25, 0.42, 0.33: half is reached by the dot of 3 px
    same('d10', group['d10_mm'], d1)
    same('d50', group['d50_mm'], d3)
    same('d90', group['d90_mm'], d4)
    same('span', group['span'], (d4 - d1) / d3)
    # shares of the area: 0.0125, 0.0625, 0.0635: half falls into the dot of 3 px
    same('area_d50', group['area_d50_mm'], d3)
    mean = (w1 * d1 + w3 * d3 + w4 * d4) / total
    same('mean d', group['mean_diameter_mm'], mean)
    same('sd d', group['sd_diameter_mm'],
         math.sqrt((w1 * d1 ** 2 + w3 * d3 ** 2 + w4 * d4 ** 2) / total - mean ** 2))
    ln = (w1 * math.log(d1) + w3 * math.log(d3) + w4 * math.log(d4)) / total
    same('lognormal median', group['lognormal_median_mm'], math.exp(ln))
    group, counted = twin.sizes_group(found, 12, 10, 0.1, 0.1, 0.2)
    same('cutoff 0.2 leaves the dot of 4 px', group['counted'], 1)
    same('below_cutoff', group['below_cutoff'], 3)
    same('one dot has no spread', group['lognormal_gsd'], 1)
    group, counted = twin.sizes_group(found, 12, 10, 0.1, 0.1, 0.3)
    same('no dot per_cm2', group['per_cm2'], 0)
    same('no dot d50', group['d50_mm'], None)
    group, counted = twin.sizes_group(twin.components(mask_of('#..', '...'), True), 3, 2, 1, 1, 1)
    same('all at the edge per_cm2', group['per_cm2'], None)
    ring = mask_of('.....', '.###.', '.#.#.', '..#..', '.....')
    same('ink is 8-connected', len(twin.components(ring, True)), 1)
    same('bare is 4-connected', len(twin.components(~ring, False)), 2)
    same('tie of equal weights',
         twin.weighted_quantile([4, 1, 3, 2], [1, 1, 1, 1], Fraction(1, 2)), 2)


def check_chord():
    # rows: 2 changes, columns: 2 changes, 1 px of ink: (1 px_x + 1 px_y) / 2
    dot = mask_of('...', '.#.', '...')
    same('chord of one pixel', twin.mean_chord(dot, 0.1, 0.3), 0.2)
    same('chord of bare', twin.mean_chord(~dot, 0.1, 0.3), 8 * 0.4 / 2)
    same('no change', twin.mean_chord(mask_of('##', '##'), 1, 1), None)


def check_spacing():
    # three points in 10 x 8 mm: (2,4) (4,4) (4.5,7); d = 2, 2, sqrt(9.25); the first lies 2 from
    # the border, not more than its d; the second 4 > 2; the third 1 < 3.04
    group = twin.spacing_group([(2, 4), (4, 4), (4.5, 7)], 10, 8)
    raw = (4 + math.sqrt(9.25)) / 3
    same('raw', group['nn_mean_raw_mm'], raw)
    same('hanisch', group['nn_mean_mm'], 2)
    same('cv of one', group['nn_cv'], 0)
    expected = 0.5 * math.sqrt(80 / 3) + (0.0514 + 0.0412 / math.sqrt(3)) * 36 / 3
    same('donnelly', group['clark_evans'], raw / expected)
    same('one point', twin.spacing_group([(1, 1)], 2, 2)['nn_mean_raw_mm'], None)
    # as far from the border as from each other, pixels of 25.4 / 300 mm: so left out
    px = Fraction(254, 3000)
    exact = [(Fraction(3 * i), Fraction(60)) for i in range(1, 40)]
    points = [(float(x * px), float(y * px)) for x, y in exact]
    side, pixels = float(120 * px), ((px, px), exact, (120, 120))
    group = twin.spacing_group(points, side, side, pixels)
    kept = [twin.border_exceeds(points, pixels, i, i - 1 if i else 1, float(3 * px), side, side)
            for i in range(39)]
    same('ties at the border', sum(kept), 37)
    same('all as far', group['nn_mean_mm'], float(3 * px))
    # weights 1/((X-2d)(Y-2d)): pairs 1 and 2 mm apart, deep inside 100 x 50 mm
    group = twin.spacing_group([(30, 20), (31, 20), (60, 20), (62, 20)], 100, 50)
    w1, w2 = 1 / (98 * 48), 1 / (96 * 46)
    same('hanisch weights', group['nn_mean_mm'], (w1 + 2 * w2) / (w1 + w2))
    same('weighted median', group['nn_median_mm'], 2)


def check_spectrum():
    same('600 ppi', twin.tile_side(2000, 2000, 25.4 / 600, 25.4 / 600), 256)
    same('1200 ppi', twin.tile_side(2000, 2000, 25.4 / 1200, 25.4 / 1200), 512)
    same('shorter side', twin.tile_side(2000, 200, 25.4 / 600, 25.4 / 600), 128)
    same('coarse scan', twin.tile_side(2000, 200, 1, 1), 64)
    same('too small', twin.tile_side(2000, 63, 1, 1), 0)
    rings = twin.ring_numbers(8, (Fraction(100), Fraction(100)))
    # 8 x 8: radius 1 and 1.41 | 2, 2.24 | 2.83, 3, 3.16 | 3.6, 4, 4.12, 4.24 (-4 stands once)
    for r, count in enumerate((1, 8, 12, 16)):
        same(f'ring {r} of 8', int((rings == r).sum()), count)
    # oblong 1.5 : 1: kx = 1 lies at 1.5 steps, which belongs to ring 2
    rings = twin.ring_numbers(8, (Fraction(900), Fraction(600)))
    same('on the border of rings', int(rings[0, 1]), 2)
    same('along y', int(rings[1, 0]), 1)
    # Parseval: the sum over the plane times the cell is the windowed mean square
    rng = np.random.default_rng(5)
    tile, side, px, py = rng.standard_normal((16, 16)), 16, 0.1, 0.2
    hann = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(side) / side)
    window = np.outer(hann, hann)
    cell = 1 / (side * px * side * py)
    same('parseval', twin.plane_power(tile, px, py).sum() * cell,
         ((window * (tile - tile.mean())) ** 2).sum() / (window ** 2).sum())
    # a cosine of amplitude A on bin 4 under a Hann window: S at the bin is A^2/4 (sum w)^2 /
    # sum w^2 pixel area = A^2/4 * (N/2)^4 / (3N/8)^2 * area
    wave = np.tile(0.3 * np.cos(2 * np.pi * 4 * np.arange(16) / 16), (16, 1))
    same('cosine', twin.plane_power(wave, px, py)[0, 4],
         0.09 / 4 * 8 ** 4 / 6 ** 2 * px * py)


def check_heather():
    # Diggle (1981) heather, distributed with the R package spatstat.data (GPL 2 or later); numbers
    # by scikit-image and scipy from the same file, at 0.1 mm per pixel
    r = twin.measure(os.path.join(HERE, 'heather_coarse.png'), ppi='254', cutoff='0.001')
    same('heather coverage', r['ink']['coverage'], 0.50055)
    same('heather dots', r['dots']['counted'], 58)
    same('heather flecks', r['flecks']['counted'], 13)
    same('heather ink chord', r['ink']['mean_chord_mm'], 0.8529073482428115)
    same('heather bare chord', r['flecks']['mean_chord_mm'], 0.8510330138445154)


def main():
    for check in (check_tone, check_otsu, check_sizes, check_chord, check_spacing, check_spectrum,
                  check_heather):
        check()
    print(f'{len(failures)} failed')
    return 1 if failures else 0


if __name__ == '__main__':
    sys.exit(main())
