#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Make the scans of this folder, and scans.txt with what a reader must give for each.

Run it in this folder: python3 make_scans.py. It needs numpy, PIL and tifffile. PNG and TIFF are written
here byte by byte, so that every combination can be had and the true pixels are known without a decoder;
PIL and tifffile read them back as a check where they can. JPEG data come from PIL, and so do their pixels.

A line of scans.txt: file page pages width height bits sample_bytes channels alpha ppi_x ppi_y hash,
hash being FNV-1a (64 bits) over the rows, samples of two bytes in little-endian order.
"""
import io
import itertools
import os
import struct
import zlib

import numpy as np
import tifffile
from PIL import Image, ImageCms

W, H = 27, 21
rng = np.random.default_rng(20240607)
lines = []
checked = {"PIL": 0, "tifffile": 0}


def noise(h, w, samples, bits):
    """Random patches of 5 x 3 pixels, so that compressors find something, on some true noise."""
    top = 1 << bits
    blocks = rng.integers(0, top, ((h + 2) // 3, (w + 4) // 5, samples))
    big = np.repeat(np.repeat(blocks, 3, axis=0), 5, axis=1)[:h, :w]
    dirt = rng.integers(0, top, big.shape)
    return np.where(rng.random(big.shape) < 0.1, dirt, big).astype(np.uint16)


def widen(a, bits):
    return a.astype(np.uint16) if bits == 16 else (a * (255 // ((1 << bits) - 1))).astype(np.uint8)


def fnv(data):
    h = 0xCBF29CE484222325
    for byte in data:
        h = ((h ^ byte) * 0x100000001B3) & 0xFFFFFFFFFFFFFFFF
    return h


def expect(name, pixels, bits, channels, alpha=0, ppi=(0, 0), page=1, pages=1):
    """pixels: height x width x samples, uint8 or uint16."""
    if pixels.ndim == 2:
        pixels = pixels[:, :, None]
    h, w, samples = pixels.shape
    assert samples == channels + alpha, name
    size = pixels.dtype.itemsize
    digest = fnv(pixels.astype(pixels.dtype.newbyteorder("<")).tobytes())
    lines.append(f"{name} {page} {pages} {w} {h} {bits} {size} {channels} {alpha} "
                 f"{ppi[0]!r} {ppi[1]!r} {digest:016x}")


def save(name, data):
    with open(name, "wb") as f:
        f.write(data)


def check_pil(name, pixels):
    """PIL reads 8-bit grey, RGB and RGBA as we do."""
    with Image.open(name) as image:
        if image.mode in ("L", "RGB", "RGBA", "LA"):
            a = np.asarray(image)
            a = a[:, :, None] if a.ndim == 2 else a
            assert np.array_equal(a, pixels.reshape(a.shape)), name
            checked["PIL"] += 1


def pack(a, bits):
    """Rows of samples to rows of bytes, most significant bits first; 16 bits big-endian."""
    h = a.shape[0]
    flat = a.reshape(h, -1)
    if bits == 16:
        return [row.astype(">u2").tobytes() for row in flat]
    if bits == 8:
        return [row.astype(np.uint8).tobytes() for row in flat]
    out = []
    for row in flat:
        ones = ((row[:, None] >> np.arange(bits - 1, -1, -1)) & 1).astype(np.uint8)
        out.append(np.packbits(ones.ravel()).tobytes())
    return out


# ---- PNG: ISO/IEC 15948 ------------------------------------------------------------------------

ADAM7 = [(0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2)]


def png_filter(rows, step):
    """All five filters in turn."""
    out, before = b"", None
    for y, row in enumerate(rows):
        kind = y % 5
        before = before if before is not None and len(before) == len(row) else bytes(len(row))
        line = bytearray()
        for i, value in enumerate(row):
            left = row[i - step] if i >= step else 0
            up = before[i]
            corner = before[i - step] if i >= step else 0
            p = left + up - corner
            paeth = min((abs(p - left), 0, left), (abs(p - up), 1, up), (abs(p - corner), 2, corner))[2]
            line.append((value - [0, left, up, (left + up) // 2, paeth][kind]) & 255)
        out += bytes([kind]) + bytes(line)
        before = row
    return out


def chunk(kind, data):
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(samples, bits, colour, interlace=0, before=(), idat=200):
    h, w = samples.shape[:2]
    step = max(1, samples.shape[2] * bits // 8)
    if interlace:
        raw = b""
        for x0, y0, dx, dy in ADAM7:
            part = samples[y0::dy, x0::dx]
            if part.size:
                raw += png_filter(pack(part, bits), step)
    else:
        raw = png_filter(pack(samples, bits), step)
    packed = zlib.compress(raw, 9)
    data = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", w, h, bits, colour, 0, 0, interlace))
    data += b"".join(chunk(k, d) for k, d in before)
    data += b"".join(chunk(b"IDAT", packed[i:i + idat]) for i in range(0, len(packed), idat))
    return data + chunk(b"IEND", b"")


def exif(orientation=None, ppi=None, unit=2, order="<"):
    """An Exif block, from its TIFF header on."""
    entries, tail = [], b""
    count = (orientation is not None) + (2 if ppi else 0) + (1 if ppi and unit else 0)
    at = 8 + 2 + 12 * count + 4
    if orientation is not None:
        entries.append(struct.pack(order + "HHIHH", 274, 3, 1, orientation, 0))
    if ppi:
        for tag, (above, below) in zip((282, 283), ppi):
            entries.append(struct.pack(order + "HHII", tag, 5, 1, at + len(tail)))
            tail += struct.pack(order + "II", above, below)
        if unit:
            entries.append(struct.pack(order + "HHIHH", 296, 3, 1, unit, 0))
    head = (b"II*\0" if order == "<" else b"MM\0*") + struct.pack(order + "I", 8)
    return head + struct.pack(order + "H", count) + b"".join(entries) + bytes(4) + tail


def turn(a, orientation):
    """The upright image of a stored one."""
    if orientation >= 5:
        a = a.swapaxes(0, 1)
    if orientation in (2, 3, 6, 7):
        a = a[:, ::-1]
    if orientation in (3, 4, 7, 8):
        a = a[::-1]
    return a


def make_png():
    for colour, (name, samples, depths) in {0: ("grey", 1, (1, 2, 4, 8, 16)), 2: ("rgb", 3, (8, 16)),
                                             4: ("greya", 2, (8, 16)), 6: ("rgba", 4, (8, 16))}.items():
        for bits, interlace in itertools.product(depths, (0, 1)):
            a = noise(H, W, samples, bits)
            file = f"{name}{bits}{'-adam7' if interlace else ''}.png"
            save(file, png(a, bits, colour, interlace))
            expect(file, widen(a, bits), bits, samples - (colour >= 4), int(colour >= 4))
            if bits == 8:
                check_pil(file, widen(a, bits))
    for bits, interlace in itertools.product((1, 2, 4, 8), (0, 1)):
        for alpha in (0, 1):
            a = noise(H, W, 1, bits)
            table = rng.integers(0, 256, (1 << bits, 4)).astype(np.uint8)
            clear = max(1, (1 << bits) // 2)
            table[clear:, 3] = 255
            before = [(b"PLTE", table[:, :3].tobytes())]
            if alpha:
                before.append((b"tRNS", table[:clear, 3].tobytes()))
            file = f"palette{bits}{'-trns' if alpha else ''}{'-adam7' if interlace else ''}.png"
            save(file, png(a, bits, 3, interlace, before))
            expect(file, table[a[:, :, 0]][:, :, :3 + alpha], bits, 3, alpha)
    for colour, bits in ((0, 1), (0, 2), (0, 4), (0, 8), (0, 16), (2, 8), (2, 16)):
        samples = 3 if colour else 1
        a = noise(H, W, samples, bits)
        key = a[4, 4]
        alpha = np.where((a == key).all(axis=2), 0, 65535 if bits == 16 else 255)
        file = f"{'rgb' if colour else 'grey'}{bits}-trns.png"
        save(file, png(a, bits, colour, 0, [(b"tRNS", key.astype(">u2").tobytes())]))
        expect(file, np.dstack([widen(a, bits), alpha.astype(widen(a, bits).dtype)]), bits, samples, 1)
    a = noise(5, 7, 1, 8)
    meter = [("600", 23622, 23622, 1), ("oblong", 23622, 47244, 1), ("none", 600, 600, 0), ("absurd", 30, 1 << 30, 1),
             ("zero", 0, 0, 1)]
    for label, x, y, unit in meter:
        file = f"phys-{label}.png"
        save(file, png(a, 8, 0, 0, [(b"pHYs", struct.pack(">IIB", x, y, unit))]))
        good = {"600": (23622 * 0.0254,) * 2, "oblong": (23622 * 0.0254, 47244 * 0.0254)}.get(label, (0, 0))
        expect(file, widen(a, 8), 8, 1, 0, good)
    for orientation in range(1, 9):
        a = noise(3, 5, 3, 8)
        file = f"exif-{orientation}.png"
        before = [(b"pHYs", struct.pack(">IIB", 10000, 20000, 1)),
                  (b"eXIf", exif(orientation, order="><"[orientation & 1]))]
        save(file, png(a, 8, 2, orientation & 1, before))
        ppi = (254.0, 508.0) if orientation < 5 else (508.0, 254.0)
        expect(file, turn(widen(a, 8), orientation), 8, 3, 0, ppi)
    a = noise(5, 7, 1, 8)
    save("exif-ppi.png", png(a, 8, 0, 0, [(b"eXIf", exif(None, ((1200, 2), (900, 3))))]))
    expect("exif-ppi.png", widen(a, 8), 8, 1, 0, (600.0, 300.0))
    profile = zlib.compress(SRGB)
    for name, before in {"iccp.png": [(b"iCCP", b"x\0\0" + profile)], "srgb.png": [(b"sRGB", b"\0")],
                         "gama.png": [(b"gAMA", struct.pack(">I", 45455))],
                         "texts.png": [(b"tEXt", b"Title\0speckle"), (b"zTXt", b"a\0\0" + zlib.compress(bytes(99)))]}.items():
        a = noise(5, 7, 3, 8)
        save(name, png(a, 8, 2, 0, before))
        expect(name, widen(a, 8), 8, 3)


# ---- TIFF: revision 6.0 ------------------------------------------------------------------------

NONE, FAX4, LZW, JPEG, DEFLATE, PACKBITS, OLD_DEFLATE = 1, 4, 5, 7, 8, 32773, 32946
WHITE0, BLACK0, RGB, PALETTE, CMYK, YCC = 0, 1, 2, 3, 5, 6
SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 7: 1, 11: 4, 12: 8, 16: 8}


def lzw(data):
    out, bits, held = bytearray(), 0, 0
    width, table, prefix = 9, {}, b""

    def put(code):
        nonlocal bits, held
        held = held << width | code
        bits += width
        while bits >= 8:
            bits -= 8
            out.append(held >> bits & 255)
            held &= (1 << bits) - 1

    def clear():
        nonlocal table, width
        put(256)
        table, width = {bytes([i]): i for i in range(256)}, 9

    clear()
    next_code = 258
    for byte in data:
        longer = prefix + bytes([byte])
        if longer in table:
            prefix = longer
            continue
        put(table[prefix])
        table[longer] = next_code
        next_code += 1
        if next_code == 4094:
            clear()
            next_code = 258
        elif next_code + 1 > 1 << width:
            width += 1
        prefix = bytes([byte])
    if prefix:
        put(table[prefix])
        next_code += 1
        if next_code + 1 > 1 << width and width < 12:
            width += 1
    put(257)
    if bits:
        out.append(held << (8 - bits) & 255)
    return bytes(out)


def packbits(data):
    out, i = bytearray(), 0
    while i < len(data):
        n = 1
        while n < 128 and i + n < len(data) and data[i + n] == data[i]:
            n += 1
        if n > 1:
            out += bytes([257 - n, data[i]])
        else:
            while n < 128 and i + n < len(data) and (i + n + 1 >= len(data) or data[i + n] != data[i + n + 1]):
                n += 1
            out += bytes([n - 1]) + data[i:i + n]
        i += n
    return bytes(out)


def jpeg_bytes(a, **options):
    mode = {1: "L", 3: "RGB", 4: "CMYK"}[a.shape[2]]
    buffer = io.BytesIO()
    Image.fromarray(a[:, :, 0] if mode == "L" else a, mode).save(buffer, "JPEG", **options)
    return buffer.getvalue()


class Tiff:
    """A file with pages added one after the other."""

    def __init__(self, order="<", big=False):
        self.o, self.big = order, big
        self.data = bytearray(b"II" if order == "<" else b"MM")
        self.data += struct.pack(order + ("HHHQ" if big else "HI"), *((43, 8, 0, 0) if big else (42, 0)))
        self.link = 8 if big else 4

    def block(self, rows, compression, predictor, bits, samples, fill):
        if bits == 16 and self.o == "<":
            rows = [np.frombuffer(r, ">u2").astype("<u2").tobytes() for r in rows]
        if predictor == 2:
            kind = np.dtype(self.o + "u2") if bits == 16 else np.dtype(np.uint8)
            done = []
            for r in rows:
                v = np.frombuffer(r, kind).astype(np.int64).reshape(-1, samples)
                d = np.vstack([v[:1], v[1:] - v[:-1]]) & ((1 << bits) - 1)
                done.append(d.astype(kind).tobytes())
            rows = done
        raw = b"".join(rows)
        if compression == PACKBITS:
            raw = b"".join(packbits(r) for r in rows)
        elif compression == "packbits-across":
            raw = packbits(raw)
        elif compression == LZW:
            raw = lzw(raw)
        elif compression in (DEFLATE, OLD_DEFLATE):
            raw = zlib.compress(raw, 9)
        if fill == 2:
            raw = bytes(int(f"{b:08b}"[::-1], 2) for b in raw)
        return raw

    def page(self, a, bits, photometric, compression=NONE, planar=1, tile=None, rps=7, predictor=1, fill=1,
             extra=(), tags=(), blocks=None, drop=(), front=False):
        """a: height x width x samples. tags: (tag, type, values) added or put in place of others. front: the
        directory stands before the pixels."""
        h, w, samples = a.shape
        planes = [a[:, :, k:k + 1] for k in range(samples)] if planar == 2 else [a]
        bw, bh = tile or (w, rps)
        parts = []
        for plane in planes:
            for y, x in itertools.product(range(0, h, bh), range(0, w, bw)):
                part = plane[y:y + bh, x:x + bw]
                if tile:
                    part = np.pad(part, ((0, bh - part.shape[0]), (0, bw - part.shape[1]), (0, 0)), "edge")
                parts.append(part)
        if blocks is None:
            blocks = [self.block(pack(p, bits), compression, predictor, bits, p.shape[2], fill) for p in parts]
        elif callable(blocks):
            blocks = [blocks(p) for p in parts]
        offsets, at = [], len(self.data)
        for b in blocks:
            offsets.append(at)
            at += len(b) + (len(b) & 1)
        word = 16 if self.big else 4
        ifd = {256: (4, [w]), 257: (4, [h]), 258: (3, [bits] * samples),
               259: (3, [PACKBITS if compression == "packbits-across" else compression]), 262: (3, [photometric]),
               277: (3, [samples]), 284: (3, [planar])}
        if tile:
            ifd.update({322: (3, [bw]), 323: (3, [bh]), 324: (word, offsets), 325: (4, [len(b) for b in blocks])})
        else:
            ifd.update({278: (4, [bh]), 273: (word, offsets), 279: (4, [len(b) for b in blocks])})
        if predictor != 1:
            ifd[317] = (3, [predictor])
        if fill != 1:
            ifd[266] = (3, [fill])
        if extra:
            ifd[338] = (3, list(extra))
        ifd.update({tag: (kind, values) for tag, kind, values in tags})
        for tag in drop:
            del ifd[tag]
        pixels = b"".join(b + bytes(len(b) & 1) for b in blocks)
        if not front:
            self.data += pixels
            self.directory(ifd)
            return self
        before, link = bytes(self.data), self.link
        self.directory(ifd)
        shift = len(self.data) - len(before)
        self.data, self.link = bytearray(before), link
        ifd[324 if tile else 273] = (word, [offset + shift for offset in offsets])
        self.directory(ifd)
        self.data += pixels
        return self

    def directory(self, ifd):
        o, entries = self.o, b""
        room = 8 if self.big else 4
        for tag in sorted(ifd):
            kind, values = ifd[tag]
            if kind in (1, 2, 7):
                raw = bytes(values)
            elif kind == 5:
                raw = b"".join(struct.pack(o + "II", *v) for v in values)
            else:
                raw = struct.pack(o + str(len(values)) + {3: "H", 4: "I", 11: "f", 12: "d", 16: "Q"}[kind], *values)
            count = len(raw) // SIZES[kind]
            if len(raw) > room:
                self.data += bytes(len(self.data) & 1)
                at = len(self.data)
                self.data += raw
                raw = struct.pack(o + ("Q" if self.big else "I"), at)
            entries += struct.pack(o + ("HHQ" if self.big else "HHI"), tag, kind, count) + raw.ljust(room, b"\0")
        self.data += bytes(len(self.data) & 1)
        at = len(self.data)
        self.data += struct.pack(o + ("Q" if self.big else "H"), len(ifd)) + entries
        self.data[self.link:self.link + room] = struct.pack(o + ("Q" if self.big else "I"), at)
        self.link = len(self.data)
        self.data += bytes(room)

    def save(self, name):
        save(name, self.data)


def check_tifffile(name, stored):
    """tifffile gives the stored samples, without what the photometric tag means."""
    try:
        with tifffile.TiffFile(name) as file:
            page = file.pages[0]
            a = page.asarray()
            if page.planarconfig == 2 and page.samplesperpixel > 1:
                a = np.moveaxis(a, 0, -1)
    except (ValueError, tifffile.TiffFileError, KeyError, NotImplementedError, RuntimeError, ImportError):
        return  # a codec that this installation lacks
    assert np.array_equal(a.reshape(stored.shape), stored), name
    checked["tifffile"] += 1


def tiff(name, a, bits, photometric, expected, channels, alpha=0, order="<", big=False, ppi=(0, 0), check=True, **options):
    Tiff(order, big).page(a, bits, photometric, **options).save(name)
    expect(name, expected, bits, channels, alpha, ppi)
    if check:
        check_tifffile(name, a)
    return name


def make_tiff():
    layouts = {"strip": dict(rps=7), "one": dict(rps=1 << 20), "tile": dict(tile=(16, 16)), "wide": dict(tile=(32, 16))}
    codecs = {"none": NONE, "lzw": LZW, "deflate": DEFLATE, "packbits": PACKBITS}
    number = 0
    # grey, both ways round
    for bits in (1, 2, 4, 8, 16):
        for photometric, label in ((BLACK0, "black0"), (WHITE0, "white0")):
            for codec in codecs:
                layout = list(layouts)[(number + number // 4) % 4]
                order = "<>"[number % 3 == 0]
                number += 1
                a = noise(H, W, 1, bits)
                shown = widen(a if photometric == BLACK0 else (1 << bits) - 1 - a, bits)
                name = f"grey{bits}-{label}-{codec}-{layout}.tif"
                tiff(name, a, bits, photometric, shown, 1, order=order, compression=codecs[codec], **layouts[layout])
                if bits == 8:
                    check_pil(name, shown)
    # RGB in planes or not, every layout and codec, with predictor where the codec has one
    for (codec, layout), planar in itertools.product(itertools.product(codecs, layouts), (1, 2)):
        bits = 16 if number % 4 == 0 else 8
        predictor = 2 if codec in ("lzw", "deflate") and number % 3 else 1
        number += 1
        a = noise(H, W, 3, bits)
        name = f"rgb{bits}-{codec}-{layout}-{'planar' if planar == 2 else 'chunky'}.tif"
        tiff(name, a, bits, RGB, widen(a, bits), 3, order="<>"[number % 2], compression=codecs[codec], planar=planar,
             predictor=predictor, **layouts[layout])
    for bits, planar in itertools.product((1, 2, 4), (1, 2)):
        a = noise(H, W, 3, bits)
        tiff(f"rgb{bits}-{'planar' if planar == 2 else 'chunky'}.tif", a, bits, RGB, widen(a, bits), 3, planar=planar,
             compression=LZW, check=False)
    for bits in (1, 2, 4, 8):
        for layout in ("strip", "tile"):
            a = noise(H, W, 1, bits)
            table = rng.integers(0, 256, (3, 1 << bits))
            scale = 257 if layout == "strip" else 256
            name = f"palette{bits}-{layout}.tif"
            tiff(name, a, bits, PALETTE, np.moveaxis(table[:, a[:, :, 0]], 0, -1).astype(np.uint8), 3, compression=LZW,
                 tags=[(320, 3, (table * scale).ravel().tolist())], check=False, **layouts[layout])
    a = noise(H, W, 1, 4)
    table = rng.integers(0, 256, (3, 16))
    tiff("palette4-bytes.tif", a, 4, PALETTE, np.moveaxis(table[:, a[:, :, 0]], 0, -1).astype(np.uint8), 3,
         tags=[(320, 3, table.ravel().tolist())], check=False)
    for planar in (1, 2):
        a = noise(H, W, 4, 8)
        tiff(f"cmyk8-{planar}.tif", a, 8, CMYK, widen(a, 8), 4, planar=planar)
    # extra samples: 0 unspecified, 1 associated alpha, 2 unassociated alpha
    for bits, planar, extra, colours in itertools.product((8, 16), (1, 2), ((0,), (1,), (2,), (0, 2), (1, 0)), (1, 3)):
        full = (1 << bits) - 1
        a = noise(7, 9, colours + len(extra), bits).astype(np.int64)
        at = next((colours + i for i, kind in enumerate(extra) if kind), None)
        shown = a[:, :, :colours]
        if at is not None:
            alpha = a[:, :, at:at + 1]
            if extra[at - colours] == 1:
                a[:, :, :colours] = a[:, :, :colours] * alpha // full
                shown = np.minimum(full, np.where(alpha == 0, 0, (a[:, :, :colours] * full + alpha // 2) // np.maximum(alpha, 1)))
            shown = np.dstack([shown, alpha])
        name = f"extra{bits}-{colours}-{''.join(map(str, extra))}-{planar}.tif"
        tiff(name, a.astype(np.uint16), bits, RGB if colours == 3 else BLACK0, widen(shown, bits), colours,
             int(at is not None), planar=planar, extra=extra, compression=DEFLATE)
    a = noise(7, 9, 2, 8).astype(np.int64)
    alpha = a[:, :, 1]
    a[:, :, 0] = a[:, :, 0] * alpha // 255
    straight = np.minimum(255, np.where(alpha == 0, 0, (a[:, :, 0] * 255 + alpha // 2) // np.maximum(alpha, 1)))
    tiff("extra-white0.tif", a.astype(np.uint16), 8, WHITE0, widen(np.dstack([255 - straight, alpha]), 8), 1, 1, extra=(1,))
    for orientation in range(1, 9):
        a = noise(3, 5, 3 if orientation & 1 else 1, 16)
        ppi = (254.0, 508.0) if orientation < 5 else (508.0, 254.0)
        tiff(f"turned-{orientation}.tif", a, 16, RGB if orientation & 1 else BLACK0, turn(widen(a, 16), orientation), a.shape[2],
             ppi=ppi, tags=[(274, 3, [orientation]), (282, 5, [(254, 1)]), (283, 5, [(508, 1)])])
    resolutions = {"inch": (2, (600, 1), (600, 1)), "oblong": (2, (12001, 10), (600, 1)), "cm": (3, (23622, 100), (47244, 100)),
                   "none": (1, (600, 1), (600, 1)), "default": (None, (300, 1), (300, 1)), "over0": (2, (600, 0), (600, 1)),
                   "zero": (2, (0, 1), (0, 1)), "absurd": (2, (1, 2), (4000000000, 1)), "missing": (2, None, None)}
    for label, (unit, x, y) in resolutions.items():
        a = noise(5, 7, 1, 8)
        tags = [(296, 3, [unit])] if unit else []
        tags += [(tag, 5, [v]) for tag, v in ((282, x), (283, y)) if v]
        factor = {1: 0, 2: 1, 3: 2.54, None: 1}[unit]
        ppi = tuple(0 if v is None or v[1] == 0 or not 1 <= v[0] / v[1] * factor <= 1e6 else v[0] / v[1] * factor for v in (x, y))
        tiff(f"ppi-{label}.tif", a, 8, BLACK0, widen(a, 8), 1, tags=tags, ppi=ppi, order=">")
    a = noise(5, 7, 1, 8)
    tiff("ppi-float.tif", a, 8, BLACK0, widen(a, 8), 1, tags=[(282, 11, [600.5]), (283, 11, [300.0])], ppi=(600.5, 300.0), check=False)
    for order, big, bits in (("<", True, 8), (">", True, 16)):
        a = noise(H, W, 3, bits)
        tiff(f"big{bits}.tif", a, bits, RGB, widen(a, bits), 3, order=order, big=big, compression=LZW, ppi=(600.0, 400.0),
             tags=[(282, 5, [(600, 1)]), (283, 5, [(400, 1)])])
    for order, big in (("<", False), (">", True)):
        book = Tiff(order, big)
        pages = [noise(4 + i, 9 - i, 1 + 2 * (i == 1), 8) for i in range(3)]
        name = f"pages{'-big' if big else ''}.tif"
        for a in pages:
            book.page(a, 8, RGB if a.shape[2] == 3 else BLACK0, compression=DEFLATE)
        book.save(name)
        for i, a in enumerate(pages):
            expect(name, widen(a, 8), 8, a.shape[2], page=i + 1, pages=3)
        first = pages[0] if not big else first
    # the last page's "next" leads back to the first: three pages, and an end
    looped = bytearray(open("pages.tif", "rb").read())
    looped[-4:] = looped[4:8]
    save("pages-loop.tif", looped)
    expect("pages-loop.tif", widen(first, 8), 8, 1, page=1, pages=3)
    a = noise(H, W, 1, 1)
    tiff("fill2.tif", a, 1, BLACK0, widen(a, 1), 1, fill=2, check=False)
    a = np.repeat(noise(H, 1, 1, 8), W, axis=1)
    a[1::2] = a[:-1:2]
    tiff("packbits-across.tif", a, 8, BLACK0, widen(a, 8), 1, compression="packbits-across")
    # the directory before the pixels, so that a file cut off still has one
    for codec in codecs:
        a = noise(H, W, 1, 8)
        tiff(f"front-{codec}.tif", a, 8, BLACK0, widen(a, 8), 1, compression=codecs[codec], front=True)
    a = noise(H, W, 3, 8).astype(np.uint8)
    blocks = [jpeg_bytes(a[y:y + 16], subsampling=2) for y in (0, 16)]
    whole = np.vstack([np.asarray(Image.open(io.BytesIO(b))) for b in blocks])
    tiff("front-jpeg.tif", a, 8, YCC, whole, 3, compression=JPEG, rps=16, blocks=blocks, tags=[(530, 3, [2, 2])],
         front=True, check=False)
    a = noise(H, W, 1, 8)
    tiff("deflate-old.tif", a, 8, BLACK0, widen(a, 8), 1, compression=OLD_DEFLATE, tags=[(34675, 7, SRGB)])
    for method in ("group3", "group4", "tiff_ccitt"):
        a = np.repeat(noise(H, 9, 1, 1), 6, axis=1)
        with Image.fromarray((a[:, :, 0] * 255).astype(np.uint8)).convert("1", dither=0) as image:
            image.save(f"fax-{method}.tif", compression=method)
        expect(f"fax-{method}.tif", widen(a, 1), 1, 1)
    # JPEG within TIFF: each block a JPEG file of its own; the true pixels are what PIL makes of them
    for label, photometric, samples, sub, options in (("grey", BLACK0, 1, (1, 1), {}), ("white0", WHITE0, 1, (1, 1), {}),
                                                     ("ycc444", YCC, 3, (1, 1), dict(subsampling=0)),
                                                     ("ycc422", YCC, 3, (2, 1), dict(subsampling=1)),
                                                     ("ycc420", YCC, 3, (2, 2), dict(subsampling=2))):
        for layout in (dict(tile=(16, 16)), dict(rps=16)):
            a = noise(H, W, samples, 8).astype(np.uint8)
            whole = np.zeros_like(a)
            bw, bh = layout.get("tile", (W, 16))
            for y, x in itertools.product(range(0, H, bh), range(0, W, bw)):
                part = a[y:y + bh, x:x + bw]
                if "tile" in layout:
                    part = np.pad(part, ((0, bh - part.shape[0]), (0, bw - part.shape[1]), (0, 0)), "edge")
                with Image.open(io.BytesIO(jpeg_bytes(part, **options))) as image:
                    back = np.asarray(image).reshape(part.shape)
                    whole[y:y + bh, x:x + bw] = back[:H - y, :W - x]
            whole = 255 - whole if photometric == WHITE0 else whole
            tiff(f"jpeg-{label}-{'tile' if 'tile' in layout else 'strip'}.tif", a, 8, photometric, whole, samples, compression=JPEG,
                 blocks=lambda p, o=options: jpeg_bytes(p, **o), tags=[(530, 3, list(sub))] if photometric == YCC else [],
                 check=False, **layout)
    for mode in ("L", "RGB"):
        a = noise(40, 50, len(mode), 8).astype(np.uint8)
        image = Image.fromarray(a.reshape((40, 50) if mode == "L" else a.shape), mode)
        image.save(f"jpeg-pil-{mode}.tif", compression="jpeg")
        with Image.open(f"jpeg-pil-{mode}.tif") as image:
            expect(f"jpeg-pil-{mode}.tif", np.asarray(image), 8, len(mode))
    a = noise(16, 16, 3, 8).astype(np.uint8)
    planes = [np.asarray(Image.open(io.BytesIO(jpeg_bytes(a[:, :, k:k + 1])))) for k in range(3)]
    tiff("jpeg-planar.tif", a, 8, RGB, np.dstack(planes), 3, compression=JPEG, planar=2, rps=16, blocks=jpeg_bytes, check=False)


# ---- JPEG --------------------------------------------------------------------------------------

def segments(data):
    """The header's segments, and the rest from SOS on."""
    at, out = 2, []
    while data[at + 1] != 0xDA:
        length = struct.unpack(">H", data[at + 2:at + 4])[0]
        out.append((data[at + 1], data[at + 4:at + 2 + length]))
        at += 2 + length
    return out, data[at:]


def rebuild(parts, rest):
    return b"\xff\xd8" + b"".join(bytes([255, m]) + struct.pack(">H", len(d) + 2) + d for m, d in parts) + rest


def make_jpeg():
    def photo(samples):
        y, x = np.mgrid[0:29, 0:37]
        smooth = np.stack([127 + 100 * np.sin(x / (3 + k) + y / (5 - k)) for k in range(samples)], axis=2)
        return np.clip(smooth + rng.normal(0, 8, smooth.shape), 0, 255).astype(np.uint8)

    def done(name, data, channels, ppi=(0, 0), orientation=1):
        save(name, data)
        with Image.open(name) as image:
            a = np.asarray(image)
        if channels == 4 and b"Adobe" not in data:
            a = 255 - a  # PIL takes all CMYK for inverted
        expect(name, turn(a, orientation), 8, channels, 0, ppi)

    for label, samples, options in (("grey", 1, {}), ("grey-progressive", 1, dict(progressive=True)),
                                    ("444", 3, dict(subsampling=0, quality=90)), ("422", 3, dict(subsampling=1)),
                                    ("420", 3, dict(subsampling=2)), ("420-progressive", 3, dict(subsampling=2, progressive=True)),
                                    ("q30", 3, dict(quality=30)), ("q100", 1, dict(quality=100)), ("cmyk", 4, {})):
        done(f"{label}.jpg", jpeg_bytes(photo(samples), **options), samples)
    parts, rest = segments(jpeg_bytes(photo(4)))
    adobe = lambda flag: b"Adobe\0\x64\0\0\0\0" + bytes([flag])
    done("ycck.jpg", rebuild([(m, adobe(2) if m == 0xEE else d) for m, d in parts], rest), 4)
    done("cmyk-plain.jpg", rebuild([(m, d) for m, d in parts if m != 0xEE], rest), 4)
    parts, rest = segments(jpeg_bytes(photo(3), subsampling=0))
    done("rgb.jpg", rebuild([(0xEE, adobe(0))] + [(m, d) for m, d in parts if m != 0xE0], rest), 3)
    small = photo(1)[:3, :5]
    done("jfif-inch.jpg", jpeg_bytes(small, dpi=(600, 300)), 1, (600.0, 300.0))
    parts, rest = segments(jpeg_bytes(small))
    jfif = lambda unit, x, y: b"JFIF\0\1\1" + bytes([unit]) + struct.pack(">HH", x, y) + b"\0\0"
    swap = lambda app0, *more: rebuild([(0xE0, app0)] * bool(app0) + list(more) + [p for p in parts if p[0] != 0xE0], rest)
    block = lambda *a, **k: (0xE1, b"Exif\0\0" + exif(*a, **k))
    done("jfif-cm.jpg", swap(jfif(2, 236, 118)), 1, (236 * 2.54, 118 * 2.54))
    done("jfif-none.jpg", swap(jfif(0, 600, 600)), 1)
    done("jfif-over-exif.jpg", swap(jfif(1, 400, 400), block(None, ((600, 1), (600, 1)))), 1, (400.0, 400.0))
    done("exif-inch.jpg", swap(jfif(0, 1, 1), block(None, ((600, 1), (601, 2)))), 1, (600.0, 300.5))
    done("exif-cm.jpg", swap(None, block(None, ((300, 1), (200, 1)), 3, ">")), 1, (300 * 2.54, 200 * 2.54))
    done("exif-none.jpg", swap(None, block(None, ((300, 1), (200, 1)), 1)), 1)
    for orientation in range(1, 9):
        parts, rest = segments(jpeg_bytes(photo(3)[:6, :9]))
        ppi = (600.0, 300.0) if orientation < 5 else (300.0, 600.0)
        done(f"turned-{orientation}.jpg", swap(jfif(1, 600, 300), block(orientation, order="<>"[orientation & 1])), 3, ppi, orientation)
    done("icc.jpg", jpeg_bytes(photo(3)[:6, :9], icc_profile=SRGB), 3)


# ---- Files that must be refused ----------------------------------------------------------------

def make_bad():
    os.makedirs("bad", exist_ok=True)
    a = noise(4, 6, 1, 8)
    grey = lambda name, **k: Tiff().page(a, k.pop("bits", 8), k.pop("photometric", BLACK0), **k).save(f"bad/{name}.tif")
    with_bits = lambda bits, count: dict(tags=[(258, 3, [bits])], blocks=[bytes(count)], rps=4)
    grey("float", tags=[(258, 3, [32]), (339, 3, [3])], blocks=[bytes(96)], rps=4)
    grey("signed", tags=[(339, 3, [2])])
    grey("bits12", **with_bits(12, 36))
    grey("bits32", **with_bits(32, 96))
    grey("codec", tags=[(259, 3, [34712])])
    grey("codec-unknown", tags=[(259, 3, [12345])])
    grey("codec-ojpeg", tags=[(259, 3, [6])])
    grey("lab", photometric=8)
    grey("cfa", photometric=32803)
    grey("meaning", drop=[262])
    grey("palette", photometric=PALETTE)
    grey("inks", photometric=CMYK, tags=[(332, 3, [2])])
    grey("too-few", photometric=RGB)
    grey("width0", tags=[(256, 4, [0])])
    grey("height0", tags=[(257, 4, [0])])
    grey("huge", tags=[(256, 4, [0x7FFFFFFF]), (257, 4, [0x7FFFFFFF])], compression=LZW)
    grey("strip-short", tags=[(279, 4, [12, 5])], rps=2)
    grey("strip-missing", tags=[(273, 4, [99999])], rps=4)
    grey("tile-huge", tile=(16, 16), tags=[(322, 4, [0x7FFFFFF0])], compression=LZW)
    grey("icc", tags=[(34675, 7, b"x" * 9)])
    data = bytearray(open("bad/icc.tif", "rb").read())
    at = data.index(struct.pack("<HHI", 34675, 7, 9))
    data[at + 8:at + 12] = struct.pack("<I", 1 << 30)
    save("bad/icc.tif", data)
    rgb = noise(4, 6, 3, 8)
    Tiff().page(rgb, 8, YCC, tags=[(530, 3, [1, 1])]).save("bad/ycc.tif")
    Tiff().page(rgb, 8, RGB, tags=[(258, 3, [8, 8, 4])]).save("bad/bits-mixed.tif")
    save("bad/no-directory.tif", b"II*\0\xff\xff\xff\x7f")
    save("bad/header.tif", b"II*\0\x08")
    a8 = noise(5, 7, 1, 8)
    good = png(a8, 8, 0)
    flip = lambda data, at: data[:at] + bytes([data[at] ^ 1]) + data[at + 1:]
    ihdr = lambda w, h, interlace=0: good[:8] + chunk(b"IHDR", struct.pack(">IIBBBBB", w, h, 8, 0, 0, 0, interlace)) + good[33:]
    save("bad/width0.png", ihdr(0, 5))
    save("bad/huge.png", ihdr(0x7FFFFFFF, 0x7FFFFFFF))
    save("bad/over.png", ihdr(0x80000000, 5))
    save("bad/large-adam7.png", ihdr(20000, 20000, 1))
    save("bad/large-held.png", ihdr(70000, 70000, 1)[:33] + struct.pack(">I", 1 << 20) + b"IDAT")
    save("bad/crc.png", flip(good, good.index(b"IDAT") + 8))
    save("bad/crc-phys.png", flip(png(a8, 8, 0, 0, [(b"pHYs", struct.pack(">IIB", 23622, 23622, 1))]), 44))
    save("bad/no-end.png", good[:-12])
    save("bad/palette.png", png(noise(5, 7, 1, 4) | 8, 4, 3, 0, [(b"PLTE", bytes(24))]))
    save("bad/palette-adam7.png", png(noise(5, 7, 1, 4) | 8, 4, 3, 1, [(b"PLTE", bytes(24))]))
    save("bad/icc-large.png", png(a8, 8, 0, 0, [(b"iCCP", b"x\0\0" + zlib.compress(struct.pack(">I", 65 << 20) + rng.bytes(300)))]))
    grey_jpeg = jpeg_bytes(a8.astype(np.uint8))
    sof = grey_jpeg.index(b"\xff\xc0")
    patch = lambda at, raw: grey_jpeg[:at] + raw + grey_jpeg[at + len(raw):]
    save("bad/bits12.jpg", patch(sof + 4, b"\x0c"))
    save("bad/height0.jpg", patch(sof + 5, b"\0\0"))
    save("bad/lossless.jpg", patch(sof + 1, b"\xc3"))
    save("bad/huge.jpg", patch(sof + 5, b"\xff\xff\xff\xff"))
    save("bad/no-end.jpg", grey_jpeg[:-2])
    save("bad/half.jpg", grey_jpeg[:-20])
    parts, rest = segments(grey_jpeg)
    sof2 = [(0xC2 if m == 0xC0 else m, struct.pack(">BHH", 8, 16000, 16000) + d[5:] if m == 0xC0 else d) for m, d in parts]
    save("bad/large-progressive.jpg", rebuild(sof2, rest))
    progressive = jpeg_bytes(a8.astype(np.uint8), progressive=True)
    # 560 passes that each say nothing: one coefficient, one bit, end of block
    first = progressive.index(b"\xff\xda")
    second = progressive.index(b"\xff\xc4", first)
    dull = b"\xff\xc4\0\x14\x10\1" + bytes(15) + b"\0"
    for k, low in itertools.product(range(1, 41), range(13, -1, -1)):
        dull += b"\xff\xda\0\x08\1\1\0" + bytes([k, k, (low + 1 if low < 13 else 0) << 4 | low]) + b"\x7f"
    save("bad/scans.jpg", progressive[:second] + dull + b"\xff\xd9")
    # what libjpeg only warns of: an end mark within the data, and data left over before it
    start = grey_jpeg.index(b"\xff\xda") + 10
    save("bad/premature.jpg", grey_jpeg[:start + 6] + b"\xff\xd9")
    save("bad/left-over.jpg", grey_jpeg[:-2] + b"\1\2\3\4\5\6\7" + grey_jpeg[-2:])
    two = np.asarray(noise(8, 8, 3, 8).astype(np.uint8))
    parts, rest = segments(jpeg_bytes(two, subsampling=0))
    sof = [(m, d[:5] + b"\x02" + d[6:12] if m == 0xC0 else d) for m, d in parts]
    save("bad/components.jpg", rebuild(sof, b"\xff\xda\0\x0a\2\1\0\2\x11\0\x3f\0" + rest[14:]))
    # the same within TIFF, where libtiff warns, and fax data that it complains of but goes on with
    grey("premature", compression=JPEG, rps=4,
         blocks=lambda p: (lambda j: j[:j.index(b"\xff\xda") + 13] + b"\xff\xd9")(jpeg_bytes(p.astype(np.uint8))))
    Tiff().page(noise(16, 64, 1, 1), 1, BLACK0, FAX4, blocks=[b"\x26\xa0\x00\x02\x9b" * 20], rps=16).save("bad/fax.tif")
    save("bad/text.tif", b"This is not an image.\n")
    save("bad/empty.png", b"")
    save("bad/gif.png", b"GIF89a\1\0\1\0\0\0\0;")


def make_odd():
    """Files that are wrong in a way that does not matter."""
    a = np.stack([rng.integers(0, 256, (5, 7)), rng.integers(0, 256, (5, 7))], axis=2)
    straight = np.minimum(255, np.where(a[:, :, 1] == 0, 0, (a[:, :, 0] * 255 + a[:, :, 1] // 2) // np.maximum(a[:, :, 1], 1)))
    tiff("alpha-overflow.tif", a.astype(np.uint16), 8, BLACK0, widen(np.dstack([straight, a[:, :, 1]]), 8), 1, 1, extra=(1,))
    a = noise(5, 7, 1, 8)
    save("iccp-of-rgb.png", png(a, 8, 0, 0, [(b"iCCP", b"x\0\0" + zlib.compress(SRGB))]))
    expect("iccp-of-rgb.png", widen(a, 8), 8, 1)
    save("exif-no-unit.png", png(a, 8, 0, 0, [(b"eXIf", exif(None, ((600, 1), (300, 1)), None))]))
    expect("exif-no-unit.png", widen(a, 8), 8, 1, 0, (600.0, 300.0))


SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
SRGB = SRGB[:24] + struct.pack(">6H", 2024, 6, 7, 0, 0, 0) + SRGB[36:]  # no date of today
make_png()
make_tiff()
make_jpeg()
make_bad()
make_odd()
with open("scans.txt", "w") as f:
    f.write("\n".join(lines) + "\n")
print(len(lines), "images;", checked)
