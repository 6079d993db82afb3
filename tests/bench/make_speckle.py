# SPDX-License-Identifier: GPL-3.0-or-later
"""Deterministic synthetic speckle scans for benchmarks (invented data, no real print).

usage: make_speckle.py OUTSTEM WIDTH HEIGHT PPI [--coverage .35] [--median-mm .25] [--gsd 1.6] [--edge-mm .02]
                      [--noise .012] [--seed 1] [--formats png,jpg,tif,lzw] [--png-level 6]
Writes OUTSTEM.png (8-bit grey, adaptive row filters), OUTSTEM.jpg (8-bit, quality 92), OUTSTEM.16.tif (16-bit, uncompressed)
and OUTSTEM.16lzw.tif (16-bit, LZW with horizontal predictor), and prints one JSON line with the truth: dots drawn, true coverage.

Model: discs, Poisson centres, lognormal diameters (median, geometric standard deviation), overlaps allowed, so the ink is a Boolean
set with coverage 1 - exp(-density * mean disc area). Edge: Gaussian of edge-mm plus 0.3 px optics. Reflectance 0.82 paper, 0.12 ink;
paper noise is half white, half correlated over about 0.08 mm (fibres). Tone is the sRGB curve. Noise is seeded per band of
512 rows, so the picture is the same for the same arguments. The 16-bit files keep the real 16-bit noise, not 8 bits repeated.
"""
import argparse, json, math
import numpy as np, cv2, tifffile
from PIL import Image

Image.MAX_IMAGE_PIXELS = None
BAND = 512


def parse():
    p = argparse.ArgumentParser()
    p.add_argument('stem'); p.add_argument('width', type=int); p.add_argument('height', type=int); p.add_argument('ppi', type=float)
    for name, default in (('coverage', .35), ('median-mm', .25), ('gsd', 1.6), ('edge-mm', .02), ('noise', .012)):
        p.add_argument('--' + name, type=float, default=default)
    p.add_argument('--seed', type=int, default=1); p.add_argument('--png-level', type=int, default=6)
    p.add_argument('--formats', default='png,jpg,tif,lzw')
    return p.parse_args()


def ink_mask(a, px):
    """8-bit anti-aliased union of discs, the number drawn, and its coverage before blur."""
    rng = np.random.default_rng(a.seed)
    disc = math.pi / 4 * a.median_mm ** 2 * math.exp(2 * math.log(a.gsd) ** 2)   # mean disc area, mm^2
    n = rng.poisson(-math.log(1 - a.coverage) / disc * a.width * a.height * px * px)
    x, y = rng.uniform(0, a.width, n), rng.uniform(0, a.height, n)
    r = a.median_mm / 2 / px * a.gsd ** rng.standard_normal(n)
    m = np.zeros((a.height, a.width), np.uint8)
    sub = np.maximum(1, (r * 16 - 8).astype(int))   # 1/16 px; the anti-aliased rim adds half a pixel
    for u, v, s in zip((x * 16).astype(int).tolist(), (y * 16).astype(int).tolist(), sub.tolist()):
        cv2.circle(m, (u, v), s, 255, -1, cv2.LINE_AA, 4)
    return m, int(n), float(m.mean(dtype=np.float64) / 255)


def tone16(m, a, px):
    """Reflectance with noise, sRGB coded, as 16-bit codes, band by band in place of a float picture."""
    out = np.empty(m.shape, np.uint16)
    for band, y in enumerate(range(0, m.shape[0], BAND)):
        rng = np.random.default_rng((a.seed, 7, band))
        f = m[y:y + BAND].astype(np.float32) / 255
        white = rng.standard_normal(f.shape, dtype=np.float32)
        fibre = cv2.GaussianBlur(rng.standard_normal(f.shape, dtype=np.float32), (0, 0), .04 / px)
        R = np.clip(.82 - .70 * f + a.noise * math.sqrt(.5) * (white + fibre / fibre.std()), 0, 1)
        out[y:y + BAND] = np.round(65535 * np.where(R <= .0031308, 12.92 * R, 1.055 * R ** np.float32(1 / 2.4) - .055))
    return out


a = parse(); px = 25.4 / a.ppi
m, n, cov = ink_mask(a, px)
m = cv2.GaussianBlur(m, (0, 0), a.edge_mm / px + .3)
g16 = tone16(m, a, px); del m
g8 = ((g16.astype(np.uint32) * 255 + 32767) // 65535).astype(np.uint8)
kinds = a.formats.split(',')
if 'png' in kinds: Image.fromarray(g8).save(a.stem + '.png', compress_level=a.png_level, dpi=(a.ppi, a.ppi))
if 'jpg' in kinds: Image.fromarray(g8).save(a.stem + '.jpg', quality=92, dpi=(a.ppi, a.ppi))
res = dict(resolution=(a.ppi, a.ppi), resolutionunit='INCH', rowsperstrip=64, photometric='minisblack')
if 'tif' in kinds: tifffile.imwrite(a.stem + '.16.tif', g16, **res)
if 'lzw' in kinds:   # LZW through libtiff (OpenCV): tag 259 = 5, predictor 2
    cv2.imwrite(a.stem + '.16lzw.tif', g16, [cv2.IMWRITE_TIFF_COMPRESSION, 5, cv2.IMWRITE_TIFF_XDPI, int(a.ppi), cv2.IMWRITE_TIFF_YDPI, int(a.ppi)])
print(json.dumps(dict(stem=a.stem.split('/')[-1], width=a.width, height=a.height, ppi=a.ppi, dots_drawn=n, coverage_true=round(cov, 5), seed=a.seed)))
