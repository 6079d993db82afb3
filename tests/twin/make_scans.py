#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Writes seeded speckle scans of many kinds: `make_scans.py FOLDER [SEED]`.

Speckle comes from a smoothed random field cut at a level or from discs thrown at random, its edges
softened, with noise. The PNG files are written here byte by byte, so that each chunk is known; TIFF
and JPEG come from other libraries.
"""
import os
import struct
import sys
import zlib

import numpy as np
import tifffile
from PIL import Image
from scipy import ndimage

PAPER, INK = 0.83, 0.06  # reflectances, common practice, no source


# ---- speckle -----------------------------------------------------------------------------------

def field(rng, width, height, coverage, grain_px):
    """Ink where a smoothed random field lies below the level that gives the coverage."""
    smooth = ndimage.gaussian_filter(rng.standard_normal((height, width)), grain_px, mode='wrap')
    return smooth <= np.quantile(smooth, coverage)


def discs(rng, width, height, coverage, grain_px):
    """Ink as discs of lognormal radius, thrown until the coverage is reached."""
    ink = np.zeros((height, width), bool)
    while ink.mean() < coverage:
        radius = grain_px * np.exp(0.35 * rng.standard_normal())
        x, y = rng.uniform(-radius, width + radius), rng.uniform(-radius, height + radius)
        x0, x1 = max(0, int(x - radius) - 1), min(width, int(x + radius) + 2)
        y0, y1 = max(0, int(y - radius) - 1), min(height, int(y + radius) + 2)
        yy, xx = np.mgrid[y0:y1, x0:x1]
        ink[y0:y1, x0:x1] |= (xx + 0.5 - x) ** 2 + (yy + 0.5 - y) ** 2 <= radius ** 2
    return ink


def equal_boxes():
    """Twenty dots of four areas (2, 8, 8 and 2 of them) in boxes of one size, so of one weight."""
    ink = np.zeros((151, 201), bool)
    for i, cut in enumerate([0] * 2 + [1] * 8 + [2] * 8 + [3] * 2):
        y, x = 30 + 25 * (i % 4), 30 + 30 * (i // 4)
        ink[y:y + 7, x:x + 7] = True
        ink[y:y + cut, x:x + cut] = False
    return ink


def reflectance(rng, ink, soft_px=0.7, noise=0.01):
    value = ndimage.gaussian_filter(np.where(ink, INK, PAPER), soft_px, mode='nearest')
    return np.clip(value + noise * rng.standard_normal(ink.shape), 0, 1)


def encode(linear):
    """sRGB code 0 to 1, IEC 61966-2-1."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def bytes8(linear):
    return np.round(255 * encode(linear)).astype(np.uint8)


def words16(linear):
    return np.round(65535 * encode(linear)).astype(np.uint16)


# ---- files -------------------------------------------------------------------------------------

def png(samples, colour, bits=8, ppi=600, chunks=()):
    """A PNG as bytes. samples: rows of uint8 or uint16; colour: PNG colour type; filters unused."""
    def chunk(kind, body):
        return (struct.pack('>I', len(body)) + kind + body
                + struct.pack('>I', zlib.crc32(kind + body)))
    height, width = samples.shape[:2]
    if bits < 8:
        bitmap = np.unpackbits(samples.astype(np.uint8)[:, :, None], axis=2)[:, :, 8 - bits:]
        rows = np.packbits(bitmap.reshape(height, width * bits), axis=1)
    else:
        rows = samples.astype('>u2' if bits == 16 else np.uint8).reshape(height, -1)
        rows = rows.view(np.uint8)
    raw = b''.join(b'\0' + row.tobytes() for row in rows)
    data = b'\x89PNG\r\n\x1a\n' + chunk(b'IHDR', struct.pack('>IIBBBBB', width, height, bits,
                                                             colour, 0, 0, 0))
    if ppi:
        metre = round(ppi / 0.0254)
        data += chunk(b'pHYs', struct.pack('>IIB', metre, metre, 1))
    for kind, body in chunks:
        data += chunk(kind, body)
    return data + chunk(b'IDAT', zlib.compress(raw, 6)) + chunk(b'IEND', b'')


def write_bytes(path, data):
    with open(path, 'wb') as out:
        out.write(data)


def tint(grey, ink_colour, paper_colour):
    """Grey reflectance to RGB between two colours, all in linear light."""
    share = ((grey - INK) / (PAPER - INK))[:, :, None]
    return np.clip(share * np.array(paper_colour) + (1 - share) * np.array(ink_colour), 0, 1)


def speckle(rng, width, height, coverage, grain_px, kind=field, **more):
    return reflectance(rng, kind(rng, width, height, coverage, grain_px), **more)


def write_scans(folder, seed=1):
    """Write all scans; returns their paths relative to the folder, in a fixed order."""
    names = []

    def place(name):
        names.append(name)
        path = os.path.join(folder, name)
        os.makedirs(os.path.dirname(path), exist_ok=True)
        return path

    def fresh():
        """Each scan has its own stream, so that adding one changes no other."""
        return np.random.default_rng([seed, len(names)])

    # grey PNG over the range of coverages, both kinds of speckle
    for kind, coverage, grain, width, height in (
            (field, 0.02, 2.0, 300, 200), (field, 0.1, 1.5, 400, 300), (field, 0.3, 2.5, 640, 480),
            (field, 0.5, 2.0, 512, 512), (field, 0.7, 3.0, 500, 333), (field, 0.95, 2.0, 350, 350),
            (discs, 0.05, 2.5, 300, 200), (discs, 0.2, 4.0, 801, 603), (discs, 0.45, 5.0, 700, 400),
            (discs, 0.6, 6.0, 400, 700), (discs, 0.3, 3.0, 1200, 1000)):
        rng = fresh()
        grey = speckle(rng, width, height, coverage, grain, kind)
        write_bytes(place(f'grey-{kind.__name__}-{round(100 * coverage):02d}.png'),
                    png(bytes8(grey), 0))

    # shapes at the limits
    for width, height in ((64, 64), (63, 200), (200, 65), (300, 1), (1, 300), (5, 4)):
        rng = fresh()
        ink = field(rng, width, height, 0.4, 1.5 if min(width, height) > 10 else 0.6)
        write_bytes(place(f'size-{width}x{height}.png'),
                    png(bytes8(reflectance(rng, ink, 0.3)), 0))

    # other kinds of PNG
    write_bytes(place('png-1bit.png'), png(~field(fresh(), 333, 222, 0.35, 2), 0, bits=1))
    rng = fresh()
    levels = np.round(3 * encode(speckle(rng, 303, 202, 0.35, 2))).astype(np.uint8)
    write_bytes(place('png-2bit.png'), png(levels, 0, bits=2))
    rng = fresh()
    levels = np.round(15 * encode(speckle(rng, 301, 250, 0.35, 2))).astype(np.uint8)
    write_bytes(place('png-4bit.png'), png(levels, 0, bits=4))
    write_bytes(place('png-grey16.png'), png(words16(speckle(fresh(), 320, 240, 0.3, 2)), 0, 16))
    write_bytes(place('png-1200ppi.png'),
                png(bytes8(speckle(fresh(), 900, 700, 0.25, 4)), 0, ppi=1200))
    write_bytes(place('png-300ppi.png'),
                png(bytes8(speckle(fresh(), 400, 300, 0.25, 1.5)), 0, ppi=300))
    grey = speckle(fresh(), 320, 240, 0.3, 2)
    write_bytes(place('png-gama.png'), png(np.round(255 * grey ** 0.45455), 0,
                                           chunks=[(b'gAMA', struct.pack('>I', 45455))]))
    grey = speckle(fresh(), 320, 240, 0.3, 2)
    write_bytes(place('png-gama-linear.png'), png(np.round(65535 * grey).astype(np.uint16), 0, 16,
                                                  chunks=[(b'gAMA', struct.pack('>I', 100000))]))
    grey = speckle(fresh(), 320, 240, 0.3, 2)
    write_bytes(place('png-srgb.png'),
                png(bytes8(grey), 0, chunks=[(b'sRGB', b'\0'),
                                             (b'gAMA', struct.pack('>I', 45455))]))
    colours = {'blue': (0.03, 0.08, 0.45), 'red': (0.5, 0.03, 0.02), 'green': (0.03, 0.35, 0.06),
               'yellow': (0.75, 0.62, 0.03), 'black': (0.05, 0.05, 0.05)}
    for name, ink_colour in colours.items():
        rgb = tint(speckle(fresh(), 360, 280, 0.3, 2), ink_colour, (0.85, 0.82, 0.74))
        write_bytes(place(f'rgb-{name}.png'), png(bytes8(rgb), 2))
    rgb = tint(speckle(fresh(), 300, 260, 0.4, 2), colours['blue'], (0.85, 0.82, 0.74))
    write_bytes(place('rgb-16bit.png'), png(words16(rgb), 2, 16))
    rng = fresh()
    rgb = tint(speckle(rng, 310, 250, 0.3, 2), colours['red'], (0.85, 0.82, 0.74))
    alpha = np.clip(rng.uniform(0.5, 1.3, rgb.shape[:2]), 0, 1)
    samples = np.dstack([bytes8(rgb), np.round(255 * alpha).astype(np.uint8)])
    write_bytes(place('rgba.png'), png(samples, 6))
    rng = fresh()
    grey = speckle(rng, 310, 250, 0.3, 2)
    alpha = np.round(255 * (1 - 0.6 * field(rng, 310, 250, 0.3, 12)))
    write_bytes(place('grey-alpha.png'), png(np.dstack([bytes8(grey), alpha]), 4))
    for name, transparent in (('palette', False), ('palette-alpha', True)):
        rng = fresh()
        grey = speckle(rng, 300, 220, 0.35, 2)
        ramp = np.linspace(0, 1, 64)
        rgb = bytes8(tint(INK + ramp[None, :] * (PAPER - INK), colours['green'], (0.85,) * 3))[0]
        index = np.clip(np.round(63 * (grey - INK) / (PAPER - INK)), 0, 63)
        chunks = [(b'PLTE', rgb.tobytes())]
        if transparent:
            chunks.append((b'tRNS', bytes([120 + 2 * i for i in range(50)])))
        write_bytes(place(f'{name}.png'), png(index, 3, chunks=chunks))

    # TIFF
    def deep(width, height, coverage, grain):
        return Image.fromarray(words16(speckle(fresh(), width, height, coverage, grain)), 'I;16')

    deep(420, 310, 0.3, 2.5).save(place('tiff-16bit-lzw.tif'), dpi=(600, 600),
                                  compression='tiff_lzw')
    grey = bytes8(speckle(fresh(), 420, 310, 0.3, 2.5))
    Image.fromarray(grey).save(place('tiff-600x300.tif'), dpi=(600, 300))
    grey = bytes8(speckle(fresh(), 420, 310, 0.3, 2.5))
    Image.fromarray(grey).save(place('tiff-600x900.tif'), dpi=(600, 900),
                               compression='tiff_deflate')
    grey = bytes8(speckle(fresh(), 411, 299, 0.3, 2.5))
    Image.fromarray(grey).save(place('tiff-packbits.tif'), dpi=(609.6, 609.6),
                               compression='packbits')
    rgb = words16(tint(speckle(fresh(), 333, 300, 0.25, 2.5), colours['blue'], (0.85, 0.82, 0.74)))
    tifffile.imwrite(place('tiff-rgb16.tif'), rgb, photometric='rgb', resolution=(240, 240),
                     resolutionunit='CENTIMETER')
    rgb = words16(tint(speckle(fresh(), 333, 300, 0.25, 2.5), colours['red'], (0.85, 0.82, 0.74)))
    tifffile.imwrite(place('tiff-rgb16-planar-big.tif'), np.moveaxis(rgb, 2, 0), photometric='rgb',
                     planarconfig='separate', byteorder='>', resolution=(600, 600))
    grey = bytes8(speckle(fresh(), 350, 270, 0.4, 2.5))
    tifffile.imwrite(place('tiff-white-is-zero.tif'), 255 - grey, photometric='miniswhite',
                     resolution=(600, 600))
    grey = words16(speckle(fresh(), 350, 270, 0.4, 2.5))
    tifffile.imwrite(place('tiff-tiled-16bit.tiff'), grey, photometric='minisblack', tile=(64, 64),
                     resolution=(600, 600))

    # JPEG
    grey = bytes8(speckle(fresh(), 401, 297, 0.3, 2.5))
    Image.fromarray(grey).save(place('jpeg-grey.jpg'), quality=92, dpi=(600, 600))
    rgb = bytes8(tint(speckle(fresh(), 401, 297, 0.3, 2.5), colours['blue'], (0.85, 0.82, 0.74)))
    Image.fromarray(rgb).save(place('jpeg-rgb.jpg'), quality=90, dpi=(600, 600), subsampling=0)
    rgb = bytes8(tint(speckle(fresh(), 401, 297, 0.3, 2.5), colours['red'], (0.85, 0.82, 0.74)))
    Image.fromarray(rgb).save(place('jpeg-rgb-420.jpg'), quality=80, dpi=(600, 600),
                              subsampling=2, progressive=True)

    # pale pigment on dark paper
    grey = speckle(fresh(), 380, 290, 0.3, 2.5)
    write_bytes(place('light-ink.png'), png(bytes8(PAPER + INK - grey), 0))
    # the same name in two folders, and a name with unsafe characters
    write_bytes(place('folder/a/print.png'), png(bytes8(speckle(fresh(), 200, 150, 0.3, 2)), 0))
    write_bytes(place('folder/b/print.png'), png(bytes8(speckle(fresh(), 200, 150, 0.3, 2)), 0))
    write_bytes(place('folder/a b:c.png'), png(bytes8(speckle(fresh(), 200, 150, 0.3, 2)), 0))
    # nothing printed: scanner noise alone, a soft gradient, one tone
    noise = fresh().standard_normal((260, 300))
    write_bytes(place('flat/paper.png'), png(bytes8(0.8 + 0.01 * noise), 0))
    shade = np.linspace(0.6, 0.8, 300)[None, :] + 0.005 * noise
    write_bytes(place('flat/shade.png'), png(bytes8(shade), 0))
    write_bytes(place('flat/solid.png'), png(bytes8(0.06 + 0.004 * noise), 0))
    write_bytes(place('flat/one-tone.png'), png(np.full((200, 200), 190), 0))
    # few dots, and dots whose shares reach 10, 50 and 90 % exactly
    write_bytes(place('ties.png'), png(~equal_boxes(), 0, bits=1))
    yy, xx = np.mgrid[0:200, 0:240]
    radius = np.hypot(xx - 100.3, yy - 90.6)
    for name, ink in (('one-dot', radius < 12),
                      ('dot-in-ring', (radius < 6) | (abs(radius - 20) < 4)),
                      ('two-dots', (radius < 9) | (np.hypot(xx - 150, yy - 120) < 7)),
                      ('dot-at-edge', np.hypot(xx, yy - 50) < 15)):
        write_bytes(place(f'{name}.png'),
                    png(bytes8(reflectance(fresh(), ink, 0.5, 0.005)), 0))
    # single pixels at random: tangled components, many equal distances
    for width, height, coverage in ((179, 173, 0.4), (150, 97, 0.1), (101, 130, 0.6)):
        ink = fresh().random((height, width)) < coverage
        write_bytes(place(f'pixels-{round(100 * coverage)}.png'), png(~ink, 0, bits=1))
    return names


if __name__ == '__main__':
    if len(sys.argv) < 2:
        sys.exit('usage: make_scans.py FOLDER [SEED]')
    for written in write_scans(sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 1):
        print(written)
