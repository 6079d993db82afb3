#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""How often the flat/blank decision is wrong: `presence_rates.py [PATCHES [SEED [WORD]]]`.

Draws PATCHES (default 400) random patches of each kind, without and with speckle, and lets the sources
in lib/segment decide, which are compiled here with `cc`. Prints a line for each kind: how many patches
were taken to have speckle or were missed, and for those with speckle how often cut_in_noise was said
when Otsu's coverage is off by more than 0.08 and when it is not. With WORD only the kinds whose name
holds it. All kinds take about half an hour; this is no part of the tests.
"""
import ctypes
import io
import os
import subprocess
import sys
import tempfile

import numpy as np
from PIL import Image
from scipy import ndimage

TOP = os.path.join(os.path.dirname(os.path.abspath(__file__)), '..', '..')
SOURCES = ['lib/segment/presence.c', 'lib/segment/presence_judge.c', 'lib/segment/presence_whole.c',
           'lib/segment/main_tone.c', 'lib/segment/cut.c', 'lib/core/error.c', 'lib/core/memory.c']
SIZES = [(64, 64), (64, 100), (128, 128), (150, 200), (256, 256), (300, 300), (400, 400),
         (500, 500), (1000, 1000)]
SHARES = [.05, .05, .15, .15, .15, .15, .15, .1, .05]


# ---- the library -------------------------------------------------------------------------------

class Finding(ctypes.Structure):
    _fields_ = [('present', ctypes.c_bool), ('statistic', ctypes.c_double),
                ('critical', ctypes.c_double), ('test', ctypes.c_int),
                ('cut_distance', ctypes.c_double), ('cut_in_noise', ctypes.c_bool),
                ('only_specks', ctypes.c_bool)]


class Cut(ctypes.Structure):
    _fields_ = [('k', ctypes.c_uint)] + [(name, ctypes.c_double) for name in (
        'between_variance', 'separability', 'ink', 'bare', 'mean', 'sd')]


def load(folder):
    path = os.path.join(folder, 'presence.so')
    subprocess.run(['cc', '-O2', '-std=c17', '-shared', '-fPIC', '-D_POSIX_C_SOURCE=200809L',
                    f'-I{TOP}/include', f'-I{TOP}/lib', '-o', path,
                    *(os.path.join(TOP, one) for one in SOURCES), '-lgsl', '-lgslcblas', '-lm'], check=True)
    library = ctypes.CDLL(path)
    library.fleck_presence_decide.restype = Finding
    return library


def decide(library, q):
    """Finding and Otsu's coverage for rows of quantised reflectance."""
    q = np.ascontiguousarray(q, np.uint16)
    counts = np.ascontiguousarray(np.bincount(q.ravel(), minlength=65536), np.uint64)
    pointer, cut = ctypes.c_void_p(), Cut()
    library.fleck_cut_otsu(ctypes.c_void_p(counts.ctypes.data), 0, ctypes.byref(cut),
                            None)
    library.fleck_presence_new(ctypes.c_size_t(q.shape[1]), False,
                               ctypes.byref(pointer), None)
    for y in range(q.shape[0]):
        library.fleck_presence_row(pointer, ctypes.c_void_p(q.ctypes.data + y * q.strides[0]),
                                   None, ctypes.c_size_t(0))
    finding = library.fleck_presence_decide(pointer, ctypes.c_void_p(counts.ctypes.data),
                                            ctypes.byref(cut))
    library.fleck_presence_free(pointer)
    return finding, counts[:cut.k + 1].sum() / q.size


# ---- scans -------------------------------------------------------------------------------------

def encode(linear):
    return np.where(linear <= .0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - .055)


def decode(code):
    return np.where(code <= .04045, code / 12.92, ((code + .055) / 1.055) ** 2.4)


def code_width(reflectance):
    """Of an 8-bit sRGB code."""
    at = encode(reflectance)
    return float(decode(at + .5 / 255) - decode(at - .5 / 255))


def scan(reflectance, bits, quality=None):
    """Quantised reflectance as it comes back from a file of 8 or 16 bits, perhaps a JPEG."""
    reflectance = np.clip(reflectance, 0, 1)
    full = 255 if bits == 8 else 65535
    codes = np.rint(full * encode(reflectance))
    if quality:
        data = io.BytesIO()
        Image.fromarray(codes.astype(np.uint8)).save(data, 'jpeg', quality=quality)
        codes = np.array(Image.open(data), float)
    return np.rint(65535 * decode(codes / full)).astype(np.uint16)


def smooth_field(rng, height, width, sigma_px):
    """Normal field of variance 1, smoothed with a Gaussian."""
    sigma_px = max(sigma_px, .3)
    reach = int(4 * sigma_px) + 1
    noise = rng.standard_normal((height + 2 * reach, width + 2 * reach))
    steps = np.arange(-reach, reach + 1)
    weights = np.exp(-steps ** 2 / (2 * sigma_px ** 2))
    weights /= weights.sum()
    smooth = ndimage.gaussian_filter(noise, sigma_px, mode='wrap')
    return smooth[reach:-reach, reach:-reach] / (weights ** 2).sum()


def unit_noise(rng, height, width, kind, pixel_mm):
    if kind == 'white':
        return rng.standard_normal((height, width))
    if kind == 'uniform':
        return rng.uniform(-3 ** .5, 3 ** .5, (height, width))
    fibres = smooth_field(rng, height, width, np.exp(rng.uniform(np.log(.03), np.log(.5)))
                          / 2 / pixel_mm)
    if kind == 'fibre':
        return fibres
    share = rng.uniform(.2, .8)
    return share ** .5 * fibres + (1 - share) ** .5 * rng.standard_normal((height, width))


def uneven_light(rng, height, width):
    """Slope, hill or half a wave of up to +-20 % over the patch."""
    y, x = np.linspace(-1, 1, height)[:, None], np.linspace(-1, 1, width)[None, :]
    size, angle, kind = rng.uniform(.02, .2), rng.uniform(0, 2 * np.pi), rng.integers(3)
    along = np.cos(angle) * x + np.sin(angle) * y
    if kind == 0:
        return 1 + size * along / (abs(np.cos(angle)) + abs(np.sin(angle)))
    if kind == 1:
        return 1 + size * (1 - 2 * ((x - rng.uniform(-.5, .5)) ** 2
                                    + (y - rng.uniform(-.5, .5)) ** 2) / 2.25)
    return 1 + size * np.cos(angle + np.pi / 2 * along)


def discs(rng, height, width, coverage, low_px, high_px):
    """Boolean model of discs with soft rims of one pixel; above one half its bare part."""
    part = min(coverage, 1 - coverage)
    area = np.pi / 12 * (low_px ** 2 + low_px * high_px + high_px ** 2)
    number = rng.poisson(-np.log(1 - part) / area * (height + 2 * high_px) * (width + 2 * high_px))
    ink = np.zeros((height, width))
    for y, x, d in zip(rng.uniform(-high_px, height + high_px, number),
                       rng.uniform(-high_px, width + high_px, number),
                       rng.uniform(low_px, high_px, number)):
        top, bottom = max(0, int(y - d / 2) - 1), min(height, int(y + d / 2) + 2)
        left, right = max(0, int(x - d / 2) - 1), min(width, int(x + d / 2) + 2)
        if top < bottom and left < right:
            yy = np.arange(top, bottom)[:, None] + .5 - y
            xx = np.arange(left, right)[None, :] + .5 - x
            spot = ink[top:bottom, left:right]
            np.maximum(spot, np.clip(d / 2 - np.hypot(yy, xx) + .5, 0, 1), out=spot)
    return ink if coverage <= .5 else 1 - ink


def pick_size(rng):
    return SIZES[rng.choice(len(SIZES), p=SHARES)]


FLAT = ['white', 'fibre', 'both', 'uniform', 'below a code', 'uneven light', 'jpeg', 'clipped']


def draw_flat(rng, kind):
    height, width = pick_size(rng)
    pixel_mm = 25.4 / rng.choice([600, 1200])
    tone = rng.choice([.8, .1, .9, .5]) + rng.uniform(-.02, .02)
    bits, quality = int(rng.choice([8, 8, 16])), None
    sd = np.exp(rng.uniform(np.log(.0005), np.log(.1)))
    noise = rng.choice(['white', 'fibre', 'both'])
    if kind in ('white', 'fibre', 'both', 'uniform'):
        noise = kind
    if kind == 'below a code':
        bits, sd = 8, code_width(tone) * np.exp(rng.uniform(np.log(.03), np.log(1.5)))
    if kind == 'jpeg':
        bits, quality = 8, int(rng.integers(30, 96))
    if kind == 'clipped':
        tone = rng.choice([0, .02, .98, 1])
    paper = np.full((height, width), tone)
    if kind == 'uneven light' or (kind == 'jpeg' and rng.random() < .3):
        paper *= uneven_light(rng, height, width)
        paper *= min(1, .98 / paper.max())
    return scan(paper + sd * unit_noise(rng, height, width, noise, pixel_mm), bits, quality)


def draw_speckle(rng, coverage, contrast, shape, quality):
    """Returns the scan and its true coverage; contrast in standard deviations of the noise."""
    height, width = pick_size(rng)
    pixel_mm = 25.4 / rng.choice([600, 1200])
    depth, paper = rng.uniform(.05, .7), rng.uniform(.75, .9)
    while True:
        if shape == 'discs':
            ink = discs(rng, height, width, coverage, .1 / pixel_mm, .5 / pixel_mm)
        else:
            field = smooth_field(rng, height, width, rng.uniform(.04, .15) / pixel_mm)
            ink = (field <= np.quantile(field, coverage)) * 1.
        # a small patch may hold no dot at all
        if .75 <= ink.mean() / coverage and .75 <= (1 - ink.mean()) / (1 - coverage):
            break
        height, width = pick_size(rng)
    soft = ndimage.gaussian_filter(ink, rng.uniform(.01, .03) / pixel_mm, mode='nearest')
    noise = unit_noise(rng, height, width, rng.choice(['white', 'fibre', 'both']), pixel_mm)
    bits = 8 if quality else int(rng.choice([8, 8, 16]))
    return scan(paper - depth * soft + depth / contrast * noise, bits, quality), ink.mean()


# ---- rates -------------------------------------------------------------------------------------

def rate_flat(library, kind, patches, seed):
    rng = np.random.default_rng([seed, FLAT.index(kind)])
    present = 0
    for _ in range(patches):
        q = draw_flat(rng, kind)
        present += q.min() < q.max() and decide(library, q)[0].present
    print(f'flat, {kind:14} {patches:5} patches, present {100 * present / patches:6.2f} %',
          flush=True)


def rate_speckle(library, coverage, contrast, patches, seed):
    rng = np.random.default_rng([seed, 100, int(100 * coverage), contrast])
    present, said = 0, {True: [], False: []}
    for i in range(patches):
        q, truth = draw_speckle(rng, coverage, contrast, 'discs' if i % 2 else 'field',
                                80 if i % 4 > 1 else None)
        finding, otsu = decide(library, q)
        present += finding.present
        if finding.present:
            said[abs(otsu - truth) > .08].append(finding.cut_in_noise)
    told = [f'{sum(said[off])} of {len(said[off])}' for off in (True, False)]
    print(f'speckle {coverage:4} contrast {contrast:2} {patches:5} patches, '
          f'missed {100 - 100 * present / patches:6.2f} %, cut_in_noise {told[0]:>10} when off, '
          f'{told[1]:>10} when not', flush=True)


def main():
    patches = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    word = sys.argv[3] if len(sys.argv) > 3 else ''
    with tempfile.TemporaryDirectory() as folder:
        library = load(folder)
        for kind in FLAT:
            if word in f'flat, {kind}':
                rate_flat(library, kind, patches, seed)
        for contrast in (5, 7, 10, 20):
            for coverage in (.02, .05, .1, .3, .5, .7, .9, .95, .98):
                if word in f'speckle {coverage} contrast {contrast}':
                    rate_speckle(library, coverage, contrast, patches, seed)


if __name__ == '__main__':
    main()
