#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Small files that claim to be large: `hostile.py PROGRAM`.

Each is given to the commands that read such a file. It must be refused (exit code 1 or 2, one line that
says why), within one second of processor time and 64 MiB of memory in all. Large files are sparse.
"""
import os
import re
import struct
import sys
import tempfile
import zlib

from measured_call import Caller

SECONDS, BYTES = 1.0, 64 << 20
LONGEST = 10 # seconds after which a call is ended, having failed
MESSAGE = re.compile(r'fleck: .+: .+; .+|fleck: \S+: .+; .+|fleck: .+: warning [a-z-]+: .+'
                     r'|fleck: .+: \d+ measured, \d+ failed; .*')
GIANT = 1 << 30


def chunk(kind, body):
    return struct.pack('>I', len(body)) + kind + body + struct.pack('>I', zlib.crc32(kind + body))


def png(width, height, *chunks, interlace=0, bits=8, colour=0):
    header = struct.pack('>IIBBBBB', width, height, bits, colour, 0, 0, interlace)
    return b'\x89PNG\r\n\x1a\n' + chunk(b'IHDR', header) + b''.join(chunks)


def zeros(count):
    """A zlib stream of count zero bytes, made of one deflate block repeated; its Adler-32 is known."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    first = packer.compress(bytes(1 << 20)) + packer.flush(zlib.Z_FULL_FLUSH)
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    last = packer.compress(bytes(count & 0xfffff)) + packer.flush()
    return b'\x78\xda' + first * (count >> 20) + last + struct.pack('>HH', count % 65521, 1)


def png_files():
    idat = chunk(b'IDAT', zlib.compress(bytes(50)))
    end = chunk(b'IEND', b'')
    giant = zeros(GIANT)
    yield 'png-claims-60000', png(60000, 60000, idat, end)
    yield 'png-claims-60000-interlaced', png(60000, 60000, idat, end, interlace=1)
    yield 'png-claims-2e9', png(0x7fffffff, 0x7fffffff, idat, end, bits=16, colour=6)
    yield 'png-claims-16000-interlaced', png(16000, 16000, idat, end, interlace=1)
    yield 'png-bomb', png(60000, 60000, chunk(b'IDAT', zeros(60001 * 60000)), end)
    yield 'png-one-wide-row', png(0x7fffffff, 1, chunk(b'IDAT', zeros(64 << 20)), end)
    yield 'png-icc-bomb', png(64, 64, chunk(b'iCCP', b'x\0\0' + giant), idat, end)
    yield 'png-text-bombs', png(64, 64, *[chunk(b'zTXt', b'x\0\0' + giant)] * 8, idat, end)
    yield 'png-chunk-of-1GB', (png(64, 64) + struct.pack('>I', GIANT) + b'iCCP', GIANT + 100)
    yield 'png-unknown-of-1GB', (png(64, 64) + struct.pack('>I', GIANT) + b'fAKe', GIANT + 100)
    yield 'png-million-chunks', png(64, 64, chunk(b'tEXt', b'a\0b') * 1000000, idat, end)


def tiff(entries, big=False, after=b'', order='<'):
    """One directory; entries are (tag, type, count, value)."""
    if big:
        data = b'II+\0' + struct.pack('<HHQ', 8, 0, 16) + struct.pack('<Q', len(entries))
        for tag, kind, count, value in sorted(entries):
            data += struct.pack('<HHQQ', tag, kind, count, value)
        return data + struct.pack('<Q', 0) + after
    data = b'II*\0' + struct.pack('<IH', 8, len(entries))
    for tag, kind, count, value in sorted(entries):
        data += struct.pack('<HHII', tag, kind, count, value)
    return data + struct.pack('<I', 0) + after


def basic(width, height, rows=None, compression=1, strips=1, offsets=200, counts=100):
    return [(256, 4, 1, width), (257, 4, 1, height), (258, 3, 1, 8), (259, 3, 1, compression),
            (262, 3, 1, 1), (273, 4, strips, offsets), (277, 3, 1, 1), (278, 4, 1, rows or height),
            (279, 4, strips, counts)]


def tiff_files():
    yield 'tiff-claims-60000', tiff(basic(60000, 60000), after=bytes(300))
    yield 'tiff-claims-60000-turned', tiff(basic(60000, 60000) + [(274, 3, 1, 6)], after=bytes(300))
    yield 'tiff-claims-one-strip-4GB', tiff(basic(65536, 65535, counts=0xffffffff), after=bytes(300))
    flat = zeros(60000 * 60000)
    yield 'tiff-bomb', tiff(basic(60000, 60000, compression=8, offsets=122, counts=len(flat)), after=flat)
    yield 'tiff-2e31-strips', tiff(basic(8, 0x7fffffff, rows=1, strips=0x7fffffff), after=bytes(300))
    yield 'tiff-2e31-strips-sparse', (tiff(basic(8, 0x7fffffff, rows=1, strips=0x7fffffff)), 17 * GIANT)
    yield 'bigtiff-2e31-strips', tiff(basic(8, 0x7fffffff, rows=1, strips=1 << 31), big=True, after=bytes(300))
    yield 'tiff-tiles-of-1', tiff([(256, 4, 1, 0x7fffffff), (257, 4, 1, 0x7fffffff), (258, 3, 1, 8), (259, 3, 1, 1),
                                   (262, 3, 1, 1), (277, 3, 1, 1), (322, 4, 1, 16), (323, 4, 1, 16),
                                   (324, 4, 0x7fffffff, 200), (325, 4, 0x7fffffff, 200)], after=bytes(300))
    yield 'tiff-icc-of-1GB', (tiff(basic(64, 64, counts=4096) + [(34675, 7, GIANT, 300)]), GIANT + 5000)
    yield 'tiff-icc-claims-4GB', tiff(basic(64, 64, counts=4096) + [(34675, 7, 0xffffffff, 300)], after=bytes(9000))
    yield 'tiff-unknown-tag-of-1GB', (tiff(basic(64, 64) + [(65000, 7, GIANT, 300)]), GIANT + 5000)
    # chains of directories: of one entry each, and one that comes back to itself
    entry = struct.pack('<HHHII', 1, 256, 4, 1, 8)
    chain = b'II*\0' + struct.pack('<I', 8)
    yield 'tiff-million-directories', chain + b''.join(
        entry + struct.pack('<I', 8 + 18 * (i + 1) if i < 999999 else 0) for i in range(1000000))
    yield 'tiff-directory-loop', chain + entry + struct.pack('<I', 8)
    yield 'tiff-directory-long-loop', chain + b''.join(
        entry + struct.pack('<I', 8 + 18 * (i + 1) if i < 4000 else 8) for i in range(4001))
    yield 'tiff-exif-loop', tiff(basic(64, 64) + [(34665, 4, 1, 8), (330, 4, 1, 8)], after=bytes(300))
    yield 'tiff-65535-entries', b'II*\0' + struct.pack('<IH', 8, 65535) + struct.pack('<HHII', 256, 4, 1, 8) * 65535


def jpeg_files():
    def segment(mark, body):
        return b'\xff' + bytes([mark]) + struct.pack('>H', len(body) + 2) + body
    table = segment(0xdb, b'\0' + b'\1' * 64)
    dc = segment(0xc4, b'\0' + b'\0\1' + bytes(14) + b'\0')
    ac = segment(0xc4, b'\x10' + b'\0\1' + bytes(14) + b'\0')
    scan = segment(0xda, b'\1\1\0\0\x3f\0')
    for name, mark in (('', 0xc0), ('-progressive', 0xc2)):
        frame = segment(mark, struct.pack('>BHHB', 8, 60000, 60000, 1) + b'\1\x11\0')
        yield f'jpeg-claims-60000{name}', b'\xff\xd8' + table + frame + dc + ac + scan + bytes(20) + b'\xff\xd9'
        # many scans over one small frame make a decoder work for each
        frame = segment(mark, struct.pack('>BHHB', 8, 2000, 2000, 1) + b'\1\x11\0')
        first = segment(0xda, b'\1\1\0\0\0\0')
        yield f'jpeg-thousand-scans{name}', (b'\xff\xd8' + table + frame + dc + ac +
                                             (first + bytes(4)) * 2000 + b'\xff\xd9')
    part = segment(0xe2, b'ICC_PROFILE\0\1\xff' + bytes(65000))
    yield 'jpeg-icc-of-255-parts', (b'\xff\xd8' + b''.join(
        segment(0xe2, b'ICC_PROFILE\0' + bytes([i + 1, 255]) + bytes(65000)) for i in range(255)) + table +
        segment(0xc0, struct.pack('>BHHB', 8, 64, 64, 1) + b'\1\x11\0') + b'\xff\xd9')
    yield 'jpeg-icc-part-repeated', b'\xff\xd8' + part * 3000 + b'\xff\xd9'
    yield 'jpeg-comments', b'\xff\xd8' + segment(0xfe, bytes(65000)) * 3000 + b'\xff\xd9'


def table_files():
    yield 'csv-line-of-1GB', (b'scan,patch\n', GIANT)
    yield 'csv-line-of-200MB', b'scan,patch\n' + b'a' * (200 << 20)
    yield 'csv-quote-of-200MB', b'scan,patch\n"' + b'a\n' * (100 << 20)
    yield 'csv-million-columns', b'scan' + b',' * 1000000
    yield 'csv-cells', b'scan' + b',' * 4000 + b'\n' + (b',' * 4001 + b'\n') * 500


def json_files():
    yield 'json-of-1GB', (b'{"schema": "fleck-calibration"', GIANT)
    yield 'json-nested', b'[' * 10000000
    yield 'json-nested-objects', b'{"a":' * 2000000
    yield 'json-numbers', b'[' + b'1,' * 2000000 + b'1]'


def cases(folder):
    """(name, words, exit codes allowed): every file with every command that would read it."""
    def write(name, data):
        head, size = data if isinstance(data, tuple) else (data, len(data))
        with open(f'{folder}/{name}', 'wb') as file:
            file.write(head)
            file.truncate(size)
        return name

    for maker, ending in ((png_files, '.png'), (tiff_files, '.tif'), (jpeg_files, '.jpg')):
        for name, data in maker():
            path = write(name + ending, data)
            yield name, ['measure', path, '--ppi', '600'], {1}
            yield name, ['locate', path], {1}
            yield name, ['calibrate', '--paper', path, '--ppi', '600'], {1}
            yield name, ['measure', 'good.png', '--mask', path, '--ppi', '600'], {1, 2}
            os.remove(f'{folder}/{path}')
    for name, data in table_files():
        path = write(name + '.csv', data)
        yield name, ['measure', path], {1, 2}
        yield name, ['calibrate', '--scan', 'good.png', '--steps', path], {1, 2}
        os.makedirs(f'{folder}/run', exist_ok=True)
        os.replace(f'{folder}/{path}', f'{folder}/run/patches.csv')
        yield name, ['compare', 'run', '--by', 'x'], {1, 2}
    os.remove(f'{folder}/run/patches.csv')
    for name, data in json_files():
        path = write(name + '.json', data)
        yield name, ['measure', 'good.png', '--calibration', path, '--ppi', '600'], {1, 2}
        os.replace(f'{folder}/{path}', f'{folder}/run/run.json')
        yield name, ['measure', 'good.png', '-o', 'run', '--resume', '--ppi', '600'], {1, 2}
        os.remove(f'{folder}/run/run.json')


def main():
    caller = Caller(LONGEST)
    program = os.path.abspath(sys.argv[1])
    told = 0
    wrong, tried, most_seconds, most_bytes = [], 0, ('', 0), ('', 0)
    with tempfile.TemporaryDirectory() as folder:
        with open(f'{folder}/good.png', 'wb') as file:
            file.write(png(64, 64, chunk(b'IDAT', zlib.compress(bytes(65 * 64))), chunk(b'IEND', b'')))
        for name, words, codes in cases(folder):
            if len(sys.argv) > 2 and not any(part in name for part in sys.argv[2:]):
                continue
            tried += 1
            call = f'{name}: {words[0]}'
            code, said, seconds, memory = caller.call(program, folder, words)
            most_seconds = max(most_seconds, (call, seconds), key=lambda one: one[1])
            most_bytes = max(most_bytes, (call, memory), key=lambda one: one[1])
            if code not in codes:
                wrong.append(f'{call}: exit code {code}: {said[:300]}')
            for line in said.splitlines():
                if not MESSAGE.fullmatch(line) or len(line) > 1000:
                    wrong.append(f'{call}: message {line[:300]!r}')
            if seconds > SECONDS:
                wrong.append(f'{call}: {seconds:.1f} s')
            if memory > BYTES:
                wrong.append(f'{call}: {memory >> 20} MiB')
            for line in wrong[told:]:
                print('WRONG', line, flush=True)
            told = len(wrong)
    print(f'{tried} calls, at most {most_seconds[1]:.2f} s ({most_seconds[0]}) and {most_bytes[1] >> 20} MiB '
          f'({most_bytes[0]}), {len(wrong)} went wrong')
    return 1 if wrong else 0


if __name__ == '__main__':
    sys.exit(main())
