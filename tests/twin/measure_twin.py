#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Slow twin of `fleck measure`, written from the definitions alone.

It reads a scan through other libraries, keeps everything in memory and follows each definition word
by word; where a comparison decides (a threshold, a quantile, a ring) it works in whole numbers or
fractions, so that rounding never decides. Used to check the records of the program.

    measure_twin.py SCAN [--ppi N[,M]] [--channel C] [--ink dark|light] [--threshold otsu|fixed:R]
                         [--cutoff MM] [--region X,Y,W,H] [--tilt DEG] [--margin MM] [--mask FILE]
                         [--tile PX]
"""
import argparse
import functools
import json
import math
from fractions import Fraction

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

import shape_twin
from read_scan import read_scan

LEVELS = 65536
WITH_SHAPES = True  # of single dots: they take longer than all the rest
CHANNELS = ('luminance', 'red', 'green', 'blue')


def quantised(scan, channel):
    light = scan['light']
    if light.shape[2] == 1:
        value = light[:, :, 0]
    elif channel == 'luminance':
        value = 0.2126 * light[:, :, 0] + 0.7152 * light[:, :, 1] + 0.0722 * light[:, :, 2]
    else:
        value = light[:, :, CHANNELS.index(channel) - 1]
    return np.floor(65535 * value + 0.5).astype(np.int64)


# ---- the region --------------------------------------------------------------------------------

def half_away(value):
    """Round a fraction of at least 0, halves up."""
    return math.floor(Fraction(value) + Fraction(1, 2))


def region_px(scan, ppi, region, margin):
    """First column and row, width and height in pixels. All in fractions of decimal numbers."""
    px, py = Fraction(254, 10) / ppi[0], Fraction(254, 10) / ppi[1]
    if region is None:
        x, y, w, h = 0, 0, scan['width_px'] * px, scan['height_px'] * py
    else:
        x, y, w, h = (Fraction(part) for part in region)
    m = Fraction(margin)
    x, y, w, h = x + m, y + m, w - 2 * m, h - 2 * m
    x0, x1 = half_away(x / px), half_away((x + w) / px)
    y0, y1 = half_away(y / py), half_away((y + h) / py)
    if x0 < 0 or y0 < 0 or x1 > scan['width_px'] or y1 > scan['height_px'] or x1 <= x0 or y1 <= y0:
        raise ValueError('region outside the scan or empty')
    return x0, y0, x1 - x0, y1 - y0


def axes_of(tilt):
    """Unit vectors of a box's own axes, turned anticlockwise where y runs downward."""
    cosine, sine = math.cos(math.radians(tilt)), math.sin(math.radians(tilt))
    return (cosine, -sine), (sine, cosine)


def tilted_pixels(scan, ppi, region, tilt, margin):
    """All pixels of the scan whose centres lie in a box turned about its own centre."""
    px, py = 25.4 / float(ppi[0]), 25.4 / float(ppi[1])
    x, y, w, h = (float(part) for part in region)
    right = (np.arange(scan['width_px']) + 0.5) * px - (x + w / 2)
    down = ((np.arange(scan['height_px']) + 0.5) * py - (y + h / 2))[:, None]
    inside = np.ones((scan['height_px'], scan['width_px']), bool)
    for axis, side in zip(axes_of(tilt), (w, h)):
        along = axis[0] * right + axis[1] * down
        inside &= (along > -side / 2 + margin) & (along <= side / 2 - margin)
    return inside


def area_px(scan, ppi, region, margin, tilt='0', mask=None):
    """The box of the patch as region_px, and its pixels inside; None for all of them."""
    if float(tilt) == 0 and mask is None:
        return region_px(scan, ppi, region, margin), None
    px, py = 25.4 / float(ppi[0]), 25.4 / float(ppi[1])
    if float(tilt) != 0:
        inside = tilted_pixels(scan, ppi, region, float(tilt), float(margin))
    else:
        x, y, w, h = region_px(scan, ppi, region, margin)
        inside = np.zeros((scan['height_px'], scan['width_px']), bool)
        inside[y:y + h, x:x + w] = True
    if mask is not None:
        white = quantised(read_scan(mask), 'luminance') >= 32768
        if float(margin) > 0 and not white.all():
            border = ndimage.distance_transform_edt(white, sampling=(py, px)) - max(px, py) / 2
            white &= border > float(margin)
        inside &= white
    rows, columns = np.nonzero(inside.any(1))[0], np.nonzero(inside.any(0))[0]
    x, y, w, h = columns[0], rows[0], np.ptp(columns) + 1, np.ptp(rows) + 1
    inside = inside[y:y + h, x:x + w]
    return (int(x), int(y), int(w), int(h)), None if inside.all() else inside


# ---- the threshold -----------------------------------------------------------------------------

def between_variance(n0, s0, n, s):
    """w0 w1 (m0 - m1)^2 as a fraction, in levels squared."""
    n1 = n - n0
    if n0 == 0 or n1 == 0:
        return Fraction(0)
    return Fraction((s0 * n1 - (s - s0) * n0) ** 2, n0 * n1 * n * n)


def otsu(q):
    """k and the between-class variance in levels squared; None for one tone only."""
    counts = [int(c) for c in np.bincount(q.ravel(), minlength=LEVELS)]
    occupied = [level for level in range(LEVELS) if counts[level]]
    if len(occupied) < 2:
        return None
    n, s = sum(counts), sum(level * counts[level] for level in occupied)
    best, first, last, n0, s0 = Fraction(-1), 0, 0, 0, 0
    for level, following in zip(occupied, occupied[1:]):
        n0 += counts[level]
        s0 += level * counts[level]
        value = between_variance(n0, s0, n, s)
        if value > best:
            best, first, last = value, level, following - 1
        elif value == best and last == level - 1:
            last = following - 1
    return (first + last) // 2, best


def threshold_group(q, ink_mask, k, method):
    n, s = q.size, int(q.sum())
    low = q <= k
    between = between_variance(int(low.sum()), int(q[low].sum()), n, s)
    total = Fraction(int((q * q).sum()) * n - s * s, n * n)

    def mean(mask):
        return int(q[mask].sum()) / int(mask.sum()) / 65535 if mask.any() else None
    return {'method': method, 'threshold_reflectance': (k + 0.5) / 65535,
            'separability': float(between / total) if total else None,
            'ink_reflectance': mean(ink_mask), 'bare_reflectance': mean(~ink_mask)}


def choose_channel(regions):
    """The channel of the largest mean between-class variance; regions: list of {channel: q}."""
    def merit(channel):
        cuts = [otsu(one[channel]) for one in regions]
        return sum((cut[1] if cut else Fraction(0)) for cut in cuts)
    return max(CHANNELS, key=merit)  # the first of equals


# ---- sizes -------------------------------------------------------------------------------------

def summed(inside):
    """At (y, x) the number of pixels inside above y and left of x."""
    total = np.zeros((inside.shape[0] + 1, inside.shape[1] + 1), np.int32)
    total[1:, 1:] = inside.cumsum(0, np.int32).cumsum(1)
    return total


def windows(total, w, h):
    """For each place of a w x h window, from the top left, whether it lies wholly inside."""
    if h >= total.shape[0] or w >= total.shape[1]:
        return np.zeros((0, 0), bool)
    return total[h:, w:] - total[:-h, w:] - total[h:, :-w] + total[:-h, :-w] == w * h


def components(phase, eight, inside=None):
    """Tables of the components of a phase: area, box and sums of coordinates, in pixels."""
    if inside is not None:
        edge = inside & ~ndimage.binary_erosion(inside, np.ones((3, 3)), border_value=0)
        phase = phase & inside
    labels, n = ndimage.label(phase, np.ones((3, 3)) if eight else None)
    height, width = phase.shape
    rows, columns = np.nonzero(labels)
    which = labels[rows, columns]
    area = np.bincount(which, minlength=n + 1)[1:].astype(np.int64)
    sum_x = np.bincount(which, columns, n + 1)[1:].astype(np.int64)
    sum_y = np.bincount(which, rows, n + 1)[1:].astype(np.int64)
    found = []
    for i, (ys, xs) in enumerate(ndimage.find_objects(labels)):
        found.append({'area': int(area[i]), 'sum_x': int(sum_x[i]), 'sum_y': int(sum_y[i]),
                      'w': xs.stop - xs.start, 'h': ys.stop - ys.start,
                      'x': xs.start, 'y': ys.start,
                      'at_edge': (xs.start == 0 or ys.start == 0 or xs.stop == width
                                  or ys.stop == height)})
        if inside is not None:
            found[-1]['at_edge'] = bool((edge[ys, xs] & (labels[ys, xs] == i + 1)).any())
    return found


def place_counter(width, height, inside):
    """A function that counts the places of a component's box, grown by a pixel on all sides; 0 when
    its own is not inside."""
    total = None if inside is None else summed(inside)

    @functools.lru_cache(maxsize=None)
    def grown(w, h):
        where = windows(total, w + 2, h + 2)
        return where, int(where.sum())

    def count(one):
        if inside is None:
            return (width - one['w'] - 1) * (height - one['h'] - 1)
        where, number = grown(one['w'], one['h'])
        return number if number and where[one['y'] - 1, one['x'] - 1] else 0
    return count


def weighted_quantile(values, weights, share):
    """Smallest value at which the cumulative share of the weights, added exactly, reaches it."""
    total, cumulative = sum(weights), 0
    for i in sorted(range(len(values)), key=lambda j: values[j]):
        cumulative += weights[i]
        if cumulative >= share * total:
            return values[i]
    raise AssertionError('shares end at one')


def weighted_mean(values, weights):
    return math.fsum(v * w for v, w in zip(values, weights)) / math.fsum(weights)


def weighted_sd(values, weights):
    mean = weighted_mean(values, weights)
    return math.sqrt(weighted_mean([(v - mean) ** 2 for v in values], weights))


def sizes_group(found, width, height, px, py, cutoff, inside=None):
    """The group `dots` or `flecks`, and the counted components."""
    for one in found:
        one['area_mm2'] = one['area'] * px * py
        one['d'] = 2 * math.sqrt(one['area_mm2'] / math.pi)
    counted = [one for one in found if one['d'] >= cutoff]
    inner = [one for one in counted if not one['at_edge']]
    at_edge = len(counted) - len(inner)
    places = place_counter(width, height, inside)
    inner = [one for one in inner if places(one)]
    group = {'counted': len(counted), 'below_cutoff': len(found) - len(counted),
             'at_edge': at_edge}
    names = ('mean_area_mm2', 'd10_mm', 'd50_mm', 'd90_mm', 'span', 'area_d50_mm',
             'mean_diameter_mm', 'sd_diameter_mm', 'lognormal_median_mm', 'lognormal_gsd')
    group.update(dict.fromkeys(names))
    group['per_cm2'] = None if counted else 0.0
    if not inner:
        return group, counted
    d = [one['d'] for one in inner]
    chances = [places(one) for one in inner]
    weights = [1 / chance for chance in chances]
    exact = [(1 << 160) // chance for chance in chances]
    group['per_cm2'] = math.fsum(weights) / (px * py) * 100
    group['mean_area_mm2'] = weighted_mean([one['area_mm2'] for one in inner], weights)
    for name, share in (('d10_mm', 1), ('d50_mm', 5), ('d90_mm', 9)):
        group[name] = weighted_quantile(d, exact, Fraction(share, 10))
    group['span'] = (group['d90_mm'] - group['d10_mm']) / group['d50_mm']
    by_area = [w * one['area'] for w, one in zip(exact, inner)]
    group['area_d50_mm'] = weighted_quantile(d, by_area, Fraction(1, 2))
    group['mean_diameter_mm'] = weighted_mean(d, weights)
    group['sd_diameter_mm'] = weighted_sd(d, weights)
    logs = [math.log(one) for one in d]
    group['lognormal_median_mm'] = math.exp(weighted_mean(logs, weights))
    group['lognormal_gsd'] = math.exp(weighted_sd(logs, weights))
    return group, counted


def mean_chord(phase, px, py, inside=None):
    if inside is None:
        inside = np.ones(phase.shape, bool)
    phase = phase & inside
    changes = int(((phase[:, 1:] != phase[:, :-1]) & inside[:, 1:] & inside[:, :-1]).sum()
                  + ((phase[1:] != phase[:-1]) & inside[1:] & inside[:-1]).sum())
    return int(phase.sum()) * (px + py) / (changes / 2) if changes else None


# ---- spacing -----------------------------------------------------------------------------------

def nearest(points):
    if len(points) < 2:
        return [None] * len(points)
    distance, _ = cKDTree(points).query(points, k=2)
    return list(distance[:, 1])


def border_exceeds(points, exact, i, j, d, x_mm, y_mm):
    """Whether point i lies farther from the border than d, its distance from point j."""
    x, y = points[i]
    border = min(x, y, x_mm - x, y_mm - y)
    if exact is None or abs(border - d) > 1e-9 * d:
        return border > d
    (px, py), ((xi, yi), (xj, yj)) = exact[0], (exact[1][i], exact[1][j])  # too near for doubles
    width, height = exact[2]
    border = min(xi * px, yi * py, (width - xi) * px, (height - yi) * py)
    return border ** 2 > ((xi - xj) * px) ** 2 + ((yi - yj) * py) ** 2


def outline(inside, px, py):
    """Crofton's formula in four directions, all beyond the box being outside."""
    wide = np.pad(inside, 1)
    slanted = (wide[1:, 1:] != wide[:-1, :-1]).sum() + (wide[1:, :-1] != wide[:-1, 1:]).sum()
    return math.pi / 8 * ((wide[:, 1:] != wide[:, :-1]).sum() * py
                          + (wide[1:] != wide[:-1]).sum() * px
                          + slanted * px * py / math.hypot(px, py))


def masked_border(points, distance, inside, px, py):
    """Distances of the points nearer to their neighbours than to the border, and their weights."""
    border = ndimage.distance_transform_edt(np.pad(inside, 1), sampling=(py, px))[1:-1, 1:-1]
    border -= max(px, py) / 2
    kept = [d for (x, y), d in zip(points, distance)
            if border[int(y / py), int(x / px)] > d * (1 + 1e-12)]
    ascending = np.sort(border, axis=None)
    beyond = [border.size - np.searchsorted(ascending, d * (1 + 1e-12), 'right') for d in kept]
    return kept, [1 / (int(count) * px * py) for count in beyond]


def spacing_group(points, x_mm, y_mm, exact=None, inside=None, pixel=None):
    """exact: pixel size, centroids in pixels and the region in pixels, all in fractions."""
    names = ('nn_mean_raw_mm', 'nn_mean_mm', 'nn_median_mm', 'nn_cv', 'clark_evans',
             'clark_evans_z', 'clark_evans_p')
    group = dict.fromkeys(names)
    n = len(points)
    if n < 2:
        return group
    both, which = cKDTree(points).query(points, k=2)
    distance, other = list(both[:, 1]), which[:, 1]
    raw = math.fsum(distance) / n
    group['nn_mean_raw_mm'] = raw
    kept = [distance[i] for i in range(n)
            if border_exceeds(points, exact, i, other[i], distance[i], x_mm, y_mm)]
    weights = [1 / ((x_mm - 2 * d) * (y_mm - 2 * d)) for d in kept]
    if inside is not None:
        kept, weights = masked_border(points, distance, inside, *pixel)
    if kept:
        group['nn_mean_mm'] = weighted_mean(kept, weights)
        group['nn_median_mm'] = weighted_quantile(kept, [Fraction(w) for w in weights],
                                                  Fraction(1, 2))
        if group['nn_mean_mm'] > 0:
            group['nn_cv'] = weighted_sd(kept, weights) / group['nn_mean_mm']
    area, border = x_mm * y_mm, 2 * (x_mm + y_mm)
    if inside is not None:
        area, border = int(inside.sum()) * pixel[0] * pixel[1], outline(inside, *pixel)
    expected = 0.5 * math.sqrt(area / n) + (0.0514 + 0.0412 / math.sqrt(n)) * border / n
    variance = 0.0703 * area / n ** 2 + 0.037 * border * math.sqrt(area / n ** 5)
    group['clark_evans'] = raw / expected
    group['clark_evans_z'] = (raw - expected) / math.sqrt(variance)
    group['clark_evans_p'] = math.erfc(abs(group['clark_evans_z']) / math.sqrt(2))
    return group


# ---- spectrum ----------------------------------------------------------------------------------

def tile_side(width, height, px, py):
    shorter = min(width, height)
    if shorter < 64:
        return 0
    wanted = 2 ** round(math.log2(10.8 / math.sqrt(px * py)))
    largest = 2 ** (shorter.bit_length() - 1)
    return max(64, min(wanted, largest))


@functools.lru_cache(maxsize=32)
def ring_numbers(side, ppi):
    """The ring of each point of the frequency plane, row = y; decided in whole numbers."""
    coarse = min(ppi)
    fx, fy = Fraction(ppi[0]) / coarse, Fraction(ppi[1]) / coarse
    k = [i if i < side // 2 else i - side for i in range(side)]
    x2, y2 = ([(fraction * i) ** 2 for i in k] for fraction in (fx, fy))
    # |f| / step lies in ring r when (2r - 1)^2 <= 4 |f|^2 / step^2 < (2r + 1)^2
    rings = np.zeros((side, side), np.int64)
    for i in range(side):
        for j in range(side):
            rings[i, j] = (math.isqrt(math.floor(4 * (x2[j] + y2[i]))) + 1) // 2
    return rings


def plane_power(tile, px, py):
    side = tile.shape[0]
    hann = 0.5 - 0.5 * np.cos(2 * np.pi * np.arange(side) / side)
    window = np.outer(hann, hann)
    transform = np.fft.fft2(window * (tile - tile.mean()))
    return np.abs(transform) ** 2 * (px * py) / (window ** 2).sum()


def masked_tiles(inside, side):
    """First row and column of the tiles on the grid, of all offsets, that holds most of them."""
    half, fits = side // 2, windows(summed(inside), side, side)
    counts = {(dy, dx): int(fits[dy::half, dx::half].sum())
              for dy in range(min(half, fits.shape[0])) for dx in range(min(half, fits.shape[1]))}
    if not counts or not max(counts.values()):
        return []
    dy, dx = min(offset for offset, count in counts.items() if count == max(counts.values()))
    return [(y, x) for y in range(dy, fits.shape[0], half) for x in range(dx, fits.shape[1], half)
            if fits[y, x]]


def spectrum_group(ink_mask, q, ppi, px, py, asked, inside=None):
    height, width = q.shape
    side = asked if asked else tile_side(width, height, px, py)
    tiles = []
    while inside is not None and side >= (asked or 64):
        tiles = masked_tiles(inside, side)
        if tiles:
            break
        side //= 2
    if inside is not None and not tiles:
        side = 0
    if side == 0 or side > min(width, height):
        return {'tile_px': None, 'tiles': None, 'frequency_per_mm': [], 'ink_power_mm2': [],
                'tone_power_mm2': [], 'samples': []}
    starts = [(y, x) for y in range(0, height - side + 1, side // 2)
              for x in range(0, width - side + 1, side // 2)]
    if inside is not None:
        starts = tiles
    step = 1 / (side * max(px, py))
    rings = ring_numbers(side, ppi).ravel()
    wanted = range(1, side // 2 + 1)
    samples = np.bincount(rings, minlength=side)[1:side // 2 + 1]
    group = {'tile_px': side, 'tiles': len(starts), 'frequency_per_mm': [r * step for r in wanted],
             'samples': [int(c) for c in samples]}
    for name, picture in (('ink_power_mm2', ink_mask.astype(np.float64)),
                          ('tone_power_mm2', q / 65535)):
        total = np.zeros((side, side))
        for y, x in starts:
            total += plane_power(picture[y:y + side, x:x + side], px, py)
        sums = np.bincount(rings, (total / len(starts)).ravel(), side)[1:side // 2 + 1]
        group[name] = [float(v) for v in sums / samples]
    return group


# ---- shapes and random set ----------------------------------------------------------------------

def shapes_of(phase, eight, found, counted, inside, q, px, py):
    """Shapes of the counted components, which are those of `found` in the order of the labels."""
    if inside is not None:
        phase = phase & inside
    labels, _ = ndimage.label(phase, np.ones((3, 3)) if eight else None)
    wanted = set(map(id, counted))
    chosen = [i + 1 for i, one in enumerate(found) if id(one) in wanted]
    gap = shape_twin.gaps(labels, chosen, px, py)
    shapes = []
    for label, distance in zip(chosen, gap):
        one = found[label - 1]
        box = np.s_[one['y']:one['y'] + one['h'], one['x']:one['x'] + one['w']]
        dot = labels[box] == label
        row = shape_twin.shape(dot, eight, px, py)
        row['gap_mm'] = distance
        row['mean_reflectance'] = int(q[box][dot].sum()) / one['area'] / 65535
        row['density'] = -math.log10(row['mean_reflectance']) if row['mean_reflectance'] else None
        shapes.append(row)
    return shapes


def shape_means(found, counted, shapes, places, phase_px):
    weighted = [(row['circularity'], 1 / places(one)) for one, row in zip(counted, shapes)
                if not one['at_edge'] and places(one)]
    return {'mean_circularity': weighted_mean(*zip(*weighted)) if weighted else None,
            'largest_share': max(one['area'] for one in found) / phase_px if found else None}


def covariance_group(ink, px, py, inside):
    """The first three lags along rows and columns."""
    return {axis: [shape_twin.covariance(ink, lag, number, inside) for lag in range(3)]
            for axis, number in (('along_x', 1), ('along_y', 0))}


# ---- the record --------------------------------------------------------------------------------

def ppi_pair(text):
    parts = [Fraction(part) for part in str(text).split(',')]
    return (parts[0], parts[-1])


def measure(path, ppi=None, channel='auto', ink='dark', threshold='otsu', cutoff='0.1',
            region=None, margin='0', tile=None, tilt='0', mask=None):
    """Numbers of one patch. Lengths may be given as decimal text, so that they stay exact."""
    return measure_patches([(path, region, tilt)], ppi, channel, ink, threshold, cutoff, margin,
                           tile, mask)[0]


def measure_patches(patches, ppi=None, channel='auto', ink='dark', threshold='otsu', cutoff='0.1',
                    margin='0', tile=None, mask=None):
    """The records of one call: patches is a list of (path, region or None[, tilt])."""
    prepared = []
    for path, region, *turned in patches:
        tilt = turned[0] if turned else '0'
        scan = read_scan(path)
        size = ppi_pair(ppi) if ppi else scan['ppi']
        if size is None:
            raise ValueError(f'{path}: no resolution')
        (x, y, w, h), inside = area_px(scan, size, region, margin, tilt, mask)
        cut = {name: quantised(scan, name)[y:y + h, x:x + w] for name in CHANNELS}
        prepared.append((path, scan, size, (x, y, w, h), cut, inside, float(tilt)))
    colour = [{name: q if one[5] is None else q[one[5]] for name, q in one[4].items()}
              for one in prepared if one[1]['light'].shape[2] == 3]
    if channel == 'auto' and colour:
        channel = choose_channel(colour)
    elif channel == 'auto':
        channel = 'luminance'
    return [patch_record(one, channel, ink, threshold, cutoff, tile, ppi) for one in prepared]


def patch_record(prepared, channel, ink, threshold, cutoff, tile, ppi_option):
    path, scan, ppi, (x, y, width, height), cut, inside, tilt = prepared
    q = cut[channel]
    measured = q.ravel() if inside is None else q[inside]
    px, py = 25.4 / float(ppi[0]), 25.4 / float(ppi[1])
    if threshold.startswith('fixed:'):
        method, k = 'fixed', math.floor(65535 * float(threshold[6:]))
    else:
        method, found = 'otsu', otsu(measured)
        if found is None:
            raise ValueError(f'{path}: one tone only')
        k = found[0]
    mask = q <= k if ink == 'dark' else q > k
    ink_px = int((mask if inside is None else mask & inside).sum())
    n, s = measured.size, int(measured.sum())
    mean = s / n / 65535
    place = (width, height, px, py, float(cutoff), inside)
    every_dot, every_fleck = components(mask, True, inside), components(~mask, False, inside)
    dots, counted = sizes_group(every_dot, *place)
    flecks, counted_flecks = sizes_group(every_fleck, *place)
    places = place_counter(width, height, inside)
    length = shape_twin.crofton(shape_twin.changes_of(mask, inside), px, py)
    flecks['mean_chord_mm'] = mean_chord(~mask, px, py, inside)
    points = [((one['sum_x'] / one['area'] + 0.5) * px, (one['sum_y'] / one['area'] + 0.5) * py)
              for one in counted]
    half = Fraction(1, 2)
    exact = ((Fraction(254, 10) / ppi[0], Fraction(254, 10) / ppi[1]),
             [(Fraction(one['sum_x'], one['area']) + half,
               Fraction(one['sum_y'], one['area']) + half) for one in counted], (width, height))
    shapes, fleck_shapes = [{}] * len(counted), [{}] * len(counted_flecks)
    spacing = spacing_group(points, width * px, height * py, exact, inside, (px, py))
    if WITH_SHAPES:
        shapes = shapes_of(mask, True, every_dot, counted, inside, q, px, py)
        fleck_shapes = shapes_of(~mask, False, every_fleck, counted_flecks, inside, q, px, py)
        dots.update(shape_means(every_dot, counted, shapes, places, ink_px))
        flecks.update(shape_means(every_fleck, counted_flecks, fleck_shapes, places, n - ink_px))
        spacing['gap_mean_mm'] = (sum(row['gap_mm'] for row in shapes) / len(shapes)
                                  if len(shapes) > 1 else None)
    return {
        'source': {'sha256': scan['sha256'], 'format': scan['format'], 'bits': scan['bits'],
                   'width_px': scan['width_px'], 'height_px': scan['height_px'],
                   'channels': scan['channels'],
                   'ppi_x': float(ppi[0]), 'ppi_y': float(ppi[1]),
                   'ppi_from': 'option' if ppi_option else 'file'},
        'settings': {'tilt_deg': tilt, 'tone_from': scan['tone_from'], 'ink': ink,
                     'channel_used': channel if scan['light'].shape[2] == 3 else 'grey'},
        'region': {'x_mm': x * px, 'y_mm': y * py, 'width_mm': width * px,
                   'height_mm': height * py, 'area_mm2': n * px * py},
        'threshold': threshold_group(measured, mask.ravel() if inside is None else mask[inside], k,
                                     method),
        'tone': {'mean_reflectance': mean,
                 'sd_reflectance': math.sqrt(Fraction(int((measured * measured).sum()) * n - s * s,
                                                      n * n)) / 65535,
                 'density': -math.log10(mean) if mean > 0 else None},
        'ink': {'coverage': ink_px / n,
                'counted_coverage': sum(one['area'] for one in counted) / n,
                'mean_chord_mm': mean_chord(mask, px, py, inside),
                'perimeter_per_area_per_mm': length / (n * px * py),
                **({} if inside is not None else
                   {'euler_per_cm2': shape_twin.euler(mask) / (n * px * py) * 100})},
        'dots': dots,
        'spacing': spacing,
        'covariance_begins': covariance_group(mask, px, py, inside),
        'flecks': flecks,
        'spectrum': spectrum_group(mask, q, ppi, px, py, tile, inside),
        'dot_table': [{'x_mm': p[0], 'y_mm': p[1], 'area_mm2': one['area_mm2'],
                       'diameter_mm': one['d'], 'at_edge': int(one['at_edge']), 'nn_mm': d, **row}
                      for p, one, d, row in zip(points, counted, nearest(points), shapes)],
        'fleck_table': [{'area_mm2': one['area_mm2'], 'left_mm': one['x'] * px,
                         'top_mm': one['y'] * py, **row}
                        for one, row in zip(counted_flecks, fleck_shapes)],
    }


def main():
    parser = argparse.ArgumentParser(description=__doc__.split('\n')[0])
    parser.add_argument('scan')
    parser.add_argument('--ppi')
    parser.add_argument('--channel', default='auto')
    parser.add_argument('--ink', default='dark')
    parser.add_argument('--threshold', default='otsu')
    parser.add_argument('--cutoff', default='0.1')
    parser.add_argument('--region', type=lambda text: text.split(','))
    parser.add_argument('--tilt', default='0')
    parser.add_argument('--margin', default='0')
    parser.add_argument('--mask')
    parser.add_argument('--tile', type=int)
    asked = parser.parse_args()
    record = measure(asked.scan, asked.ppi, asked.channel, asked.ink, asked.threshold,
                     asked.cutoff, asked.region, asked.margin, asked.tile, asked.tilt, asked.mask)
    print(json.dumps(record, indent=1))


if __name__ == '__main__':
    main()
