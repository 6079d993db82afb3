#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Reads a scan for the slow twin: Pillow and tifffile give samples, the curve is applied here."""
import hashlib
import struct
import zlib
from fractions import Fraction

import numpy as np
import tifffile
from PIL import Image


def srgb_decode(code):
    """IEC 61966-2-1, code and result 0 to 1."""
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def png_chunks(data):
    at = 8
    while at + 8 <= len(data):
        size, kind = struct.unpack('>I4s', data[at:at + 8])
        yield kind, data[at + 8:at + 8 + size]
        at += 12 + size


def png_deep_colour(data):
    """Samples of a 16-bit PNG with several channels, which Pillow would cut to 8 bits."""
    chunks = list(png_chunks(data))
    width, height, bits, colour, _, _, interlace = struct.unpack('>IIBBBBB', chunks[0][1])
    samples = {2: 3, 4: 2, 6: 4}[colour]
    raw = zlib.decompress(b''.join(body for kind, body in chunks if kind == b'IDAT'))
    rows = np.frombuffer(raw, np.uint8).reshape(height, 1 + width * samples * 2)
    if bits != 16 or interlace or rows[:, 0].any():
        raise ValueError('the twin reads deep colour PNG without filters only')
    return rows[:, 1:].copy().view('>u2').reshape(height, width, samples).astype(np.float64) / 65535


def read_png(path, data, scan):
    colour, palette_alpha = None, False
    for kind, body in png_chunks(data):
        if kind == b'IHDR':
            scan['bits'], colour = body[8], body[9]
        elif kind == b'pHYs' and body[8] == 1:
            x, y = struct.unpack('>II', body[:8])
            scan['ppi'] = (Fraction(x) * Fraction(254, 10000), Fraction(y) * Fraction(254, 10000))
        elif kind == b'gAMA':
            gamma = struct.unpack('>I', body)[0] / 100000
            if scan['tone_from'] != 'png-srgb':
                scan['tone_from'] = 'png-gama'
                scan['decode'] = lambda code: code ** (1 / gamma)
        elif kind == b'sRGB':
            scan['tone_from'], scan['decode'] = 'png-srgb', srgb_decode
        elif kind == b'tRNS':
            palette_alpha = True
    if scan['bits'] == 16 and colour in (2, 4, 6):
        return png_deep_colour(data), colour in (4, 6)
    image = Image.open(path)
    if colour == 3:
        image = image.convert('RGBA' if palette_alpha else 'RGB')
    elif palette_alpha:
        raise ValueError('the twin reads a transparent colour in palettes only')
    samples = np.array(image)
    if scan['bits'] == 1 and colour == 0:
        return samples.astype(np.float64), False
    full = 65535 if scan['bits'] == 16 else 255
    return samples.astype(np.float64) / full, colour in (4, 6) or (colour == 3 and palette_alpha)


def read_tiff(path, scan):
    with tifffile.TiffFile(path) as tiff:
        page = tiff.pages[0]
        scan['bits'] = page.bitspersample
        x, y = (page.tags[name].value if name in page.tags else (0, 1)
                for name in ('XResolution', 'YResolution'))
        unit = page.tags['ResolutionUnit'].value if 'ResolutionUnit' in page.tags else 2
        if x[0] and y[0] and unit in (2, 3):
            scale = Fraction(1) if unit == 2 else Fraction(254, 100)
            scan['ppi'] = (Fraction(*x) * scale, Fraction(*y) * scale)
        alpha = bool(page.extrasamples)
        samples = page.asarray() if page.compression == 1 else np.array(Image.open(path))
        if page.planarconfig == 2 and samples.ndim == 3:
            samples = np.moveaxis(samples, 0, 2)
        if page.photometric == 0 and page.compression == 1:  # white is zero
            samples = (not samples) if page.bitspersample == 1 else \
                (1 << page.bitspersample) - 1 - samples.astype(np.int64)
        full = 1 if page.bitspersample == 1 else (1 << page.bitspersample) - 1
    return samples.astype(np.float64) / full, alpha


def read_jpeg(path, scan):
    image = Image.open(path)
    scan['bits'] = 8
    unit = image.info.get('jfif_unit', 0)
    if unit in (1, 2):
        scale = Fraction(1) if unit == 1 else Fraction(254, 100)
        x, y = image.info['jfif_density']
        scan['ppi'] = (x * scale, y * scale)
    return np.array(image).astype(np.float64) / 255, False


def read_scan(path):
    """A scan as linear light: height x width x 1 or 3, alpha composited on white."""
    data = open(path, 'rb').read()
    scan = {'ppi': None, 'tone_from': 'srgb-assumed', 'decode': srgb_decode,
            'sha256': hashlib.sha256(data).hexdigest()}
    if data[:4] == b'\x89PNG':
        scan['format'] = 'png'
        code, alpha = read_png(path, data, scan)
    elif data[:2] in (b'II', b'MM'):
        scan['format'] = 'tiff'
        code, alpha = read_tiff(path, scan)
    elif data[:2] == b'\xff\xd8':
        scan['format'] = 'jpeg'
        code, alpha = read_jpeg(path, scan)
    else:
        raise ValueError(f'{path}: not an image')
    if code.ndim == 2:
        code = code[:, :, None]
    if alpha:
        cover = code[:, :, -1:]
        light = scan['decode'](code[:, :, :-1]) * cover + (1 - cover)
    else:
        light = scan['decode'](code)
    scan['light'] = light
    scan['height_px'], scan['width_px'], scan['channels'] = code.shape  # alpha is one of them
    return scan
