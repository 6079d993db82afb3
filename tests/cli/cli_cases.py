#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Calls of the program that must go wrong in the right way: `cli_cases.py PROGRAM`.

Each case has a call, its exit code and an expression that the messages must hold. After each case:
every message is one line that starts with `fleck: ` and says what to do behind a semicolon, and no
part of a result is left behind.
"""
import csv
import json
import os
import re
import resource
import struct
import subprocess
import sys
import tempfile
import zlib

import numpy as np
from PIL import Image

SECONDS = 60
RESULT_FILES = re.compile(r'(patches\.csv|run\.json|failures\.csv|records/[^/]+\.json'
                          r'|dots/[^/]+\.csv|pictures/[^/]+\.png)$')
# what a failed patch says: one line, path, fault, advice
FAULT = r'(?m)^fleck: [^\n]*{}[^\n]*: [^\n]+; [^\n]+$'


# ---- files -------------------------------------------------------------------------------------

def speckle(width, height, seed=3):
    """Soft blots of ink on paper as 8-bit codes."""
    rng = np.random.default_rng(seed)
    code = np.full((height, width), 230.0)
    yy, xx = np.mgrid[0:height, 0:width]
    for _ in range(width * height // 150):
        x, y, r = rng.uniform(0, width), rng.uniform(0, height), rng.uniform(1.5, 4)
        code[(xx - x) ** 2 + (yy - y) ** 2 <= r * r] = 60
    return np.clip(code + rng.normal(0, 2, code.shape), 0, 255).astype(np.uint8)


def chunk(kind, body):
    return struct.pack('>I', len(body)) + kind + body + struct.pack('>I', zlib.crc32(kind + body))


def png(samples, ppm=23622, width=None, height=None, bits=8, colour=0):
    """A grey PNG; a width or height of its own makes the header lie."""
    rows = b''.join(b'\0' + row.tobytes() for row in samples)
    header = struct.pack('>IIBBBBB', samples.shape[1] if width is None else width,
                         samples.shape[0] if height is None else height, bits, colour, 0, 0, 0)
    data = b'\x89PNG\r\n\x1a\n' + chunk(b'IHDR', header)
    if ppm:
        data += chunk(b'pHYs', struct.pack('>IIB', ppm, ppm, 1))
    return data + chunk(b'IDAT', zlib.compress(rows)) + chunk(b'IEND', b'')


def tiff(samples, width=None, height=None, bits=8, rows_per_strip=None):
    """A grey TIFF, directory first, pixels last."""
    height = samples.shape[0] if height is None else height
    width = samples.shape[1] if width is None else width
    pixels = 8 + 2 + 11 * 12 + 4 + 16
    entries = [(256, 4, width), (257, 4, height), (258, 3, bits), (259, 3, 1), (262, 3, 1),
               (273, 4, pixels), (277, 3, 1),
               (278, 4, height if rows_per_strip is None else rows_per_strip),
               (279, 4, samples.size), (282, 5, pixels - 16), (283, 5, pixels - 8)]
    data = b'II*\0' + struct.pack('<IH', 8, len(entries))
    for tag, kind, value in entries:
        data += struct.pack('<HHII', tag, kind, 1, value)
    return data + struct.pack('<I', 0) + struct.pack('<IIII', 600, 1, 600, 1) + samples.tobytes()


def jpeg(folder, samples):
    path = os.path.join(folder, 'made.jpg')
    Image.fromarray(samples).save(path, quality=85, dpi=(600, 600))
    with open(path, 'rb') as made:
        data = made.read()
    os.remove(path)
    return data


def jpeg_size(data, width, height):
    """The same JPEG with another size in its frame header."""
    at = data.index(b'\xff\xc0')
    return data[:at + 5] + struct.pack('>HH', height, width) + data[at + 9:]


# ---- the runner --------------------------------------------------------------------------------

class Cases:
    def __init__(self, program, top):
        self.program, self.top = program, top
        self.passed = self.failed = self.skipped = self.runs = 0

    def path(self, name):
        return os.path.join(self.top, name)

    def put(self, name, data):
        os.makedirs(os.path.dirname(self.path(name)), exist_ok=True)
        with open(self.path(name), 'wb') as out:
            out.write(data if isinstance(data, bytes) else data.encode())
        return self.path(name)

    def expect(self, case, good, what):
        if good:
            self.passed += 1
        else:
            self.failed += 1
            print(f'FAIL {case}: {what}')

    def call(self, case, arguments, code, pattern='', stdout=subprocess.PIPE):
        """Run the program; code: the exit code wanted, or several."""
        wanted = code if isinstance(code, tuple) else (code,)
        try:
            done = subprocess.run([self.program, *arguments], stdin=subprocess.DEVNULL,
                                  stdout=stdout, stderr=subprocess.PIPE, timeout=SECONDS)
        except subprocess.TimeoutExpired:
            self.expect(case, False, f'not done after {SECONDS} s')
            return '', ''
        out = (done.stdout or b'').decode(errors='replace')
        err = done.stderr.decode(errors='replace')
        self.expect(case, done.returncode in wanted,
                    f'exit code {done.returncode}, not {code}; said {err.strip()[-600:]!r}')
        self.expect(case, re.search(pattern, err) is not None,
                    f'said {err.strip()[-600:]!r}, not {pattern!r}')
        for line in err.splitlines():
            self.expect(case, line.startswith('fleck: ') and len(line) > 12,
                        f'a message without its form: {line!r}')
        if done.returncode in (1, 2, 3):
            self.expect(case, re.search(r'(?m)^fleck: .+; .+', err) is not None,
                        f'no message says what to do: {err.strip()[-300:]!r}')
        return out, err

    def bad_call(self, case, arguments, pattern=''):
        """Exit code 2: nothing was done, so there is no run and nothing on stdout."""
        self.runs += 1
        run = self.path(f'run{self.runs}')
        for given in (arguments, [*arguments, '-o', run]) if arguments[:1] == ['measure'] \
                else (arguments,):
            out, _ = self.call(case, given, 2, pattern)
            self.expect(case, out == '', f'stdout holds {out[:200]!r}')
        self.expect(case, not os.path.exists(run), 'a run was begun')

    def bad_input(self, case, arguments, pattern='', failures=1):
        """Exit code 1 with a lone bad input: a line in failures.csv and no record."""
        out, _ = self.call(case, ['measure', *arguments], 1, pattern)
        self.expect(case, out.strip() in ('', '[]'), f'stdout holds {out[:200]!r}')
        self.runs += 1
        run = self.path(f'run{self.runs}')
        self.call(case, ['measure', *arguments, '-o', run], 1, pattern)
        self.expect(case, self.left(run, 'records') == [], 'a record is left')
        self.expect(case, self.left(run, 'dots') == [], 'a dots table is left')
        self.whole(case, run)
        if failures:
            rows = self.table(os.path.join(run, 'failures.csv'))
            self.expect(case, len(rows) == failures, f'failures.csv has {len(rows)} rows')

    @staticmethod
    def left(run, sub):
        folder = os.path.join(run, sub)
        return sorted(os.listdir(folder)) if os.path.isdir(folder) else []

    @staticmethod
    def table(path):
        if not os.path.exists(path):
            return []
        with open(path, newline='', encoding='utf-8') as text:
            return list(csv.DictReader(text))

    def whole(self, case, run):
        """Nothing but finished files of a run."""
        for at, _, names in os.walk(run):
            for name in names:
                inside = os.path.relpath(os.path.join(at, name), run)
                self.expect(case, RESULT_FILES.fullmatch(inside) is not None, f'left {inside}')


# ---- the cases ---------------------------------------------------------------------------------

def wrong_calls(cases, good):
    table = [
        ('cutoff 0', ['--cutoff', '0'], 'cutoff'),
        ('cutoff below 0', ['--cutoff', '-0.1'], 'cutoff'),
        ('cutoff nan', ['--cutoff', 'nan'], 'cutoff'),
        ('cutoff inf', ['--cutoff', 'inf'], 'cutoff'),
        ('cutoff empty', ['--cutoff', ''], 'cutoff'),
        ('cutoff with a unit', ['--cutoff', '0.1mm'], 'cutoff'),
        ('cutoff hexadecimal', ['--cutoff', '0x1'], 'cutoff'),
        ('ppi word', ['--ppi', 'abc'], 'ppi'),
        ('ppi 0', ['--ppi', '0'], 'ppi'),
        ('ppi below 0', ['--ppi', '-600'], 'ppi'),
        ('ppi second missing', ['--ppi', '600,'], 'ppi'),
        ('ppi three', ['--ppi', '600,600,600'], 'ppi'),
        ('ppi second 0', ['--ppi', '600,0'], 'ppi'),
        ('ppi too large', ['--ppi', '1e400'], 'ppi'),
        ('pixel 0', ['--pixel', '0'], 'pixel'),
        ('jobs below 0', ['--jobs', '-1'], 'jobs'),
        ('jobs word', ['--jobs', 'many'], 'jobs'),
        ('jobs part', ['--jobs', '1.5'], 'jobs'),
        ('jobs beyond', ['--jobs', '99999999999999999999999'], 'jobs'),
        ('region three', ['--region', '1,2,3'], 'region'),
        ('region five', ['--region', '1,2,3,4,5'], 'region'),
        ('region word', ['--region', 'a,b,c,d'], 'region'),
        ('region without width', ['--region', '1,1,0,5'], 'region'),
        ('region of negative height', ['--region', '1,1,5,-5'], 'region'),
        ('region before the scan', ['--region', '-1,0,2,2'], 'region'),
        ('region nan', ['--region', '1,1,nan,5'], 'region'),
        ('margin below 0', ['--margin', '-1'], 'margin'),
        ('margin word', ['--margin', 'wide'], 'margin'),
        ('threshold word', ['--threshold', 'otso'], 'threshold'),
        ('threshold fixed empty', ['--threshold', 'fixed:'], 'threshold'),
        ('threshold fixed word', ['--threshold', 'fixed:half'], 'threshold'),
        ('threshold above 1', ['--threshold', 'fixed:1.5'], 'threshold'),
        ('threshold below 0', ['--threshold', 'fixed:-0.1'], 'threshold'),
        ('threshold nan', ['--threshold', 'fixed:nan'], 'threshold'),
        ('channel', ['--channel', 'purple'], 'channel'),
        ('ink', ['--ink', 'grey'], 'ink'),
        ('tile 0', ['--tile', '0'], 'tile'),
        ('tile below 0', ['--tile', '-64'], 'tile'),
        ('tile of 7', ['--tile', '7'], 'tile'),
        ('tile odd', ['--tile', '65'], 'tile'),
        ('tile word', ['--tile', 'big'], 'tile'),
        ('page 0', ['--page', '0'], 'page'),
        ('page word', ['--page', 'first'], 'page'),
        ('memory word', ['--memory', 'lots'], 'memory'),
        ('option misspelt', ['--cutof', '0.1'], r'--cutoff'),
        ('option misspelt, with =', ['--cutof=0.1'], r'--cutoff'),
        ('option misspelt 2', ['--treshold', 'otsu'], r'--threshold'),
        ('option unknown', ['--qqqqqqqq'], r'--qqqqqqqq'),
        ('short option unknown', ['-Z'], r'-Z'),
    ]
    for case, options, pattern in table:
        cases.bad_call(case, ['measure', good, *options], pattern)
    for option in ('--ppi', '--cutoff', '--region', '--threshold', '--jobs', '-o'):
        cases.call(f'{option} without its value', ['measure', good, option], 2,
                   re.escape(option))
    cases.bad_call('no inputs', ['measure'], '')
    cases.bad_call('options but no inputs', ['measure', '--ppi', '600'], '')
    cases.bad_call('command misspelt', ['mesure', good], r'\bmeasure\b')
    cases.bad_call('command unknown', ['zzzzzz'], r'zzzzzz')
    done = subprocess.run([cases.program], capture_output=True, timeout=SECONDS)
    cases.expect('no command', done.returncode == 2 and done.stdout == b'' and b'measure' in
                 done.stderr, f'exit code {done.returncode}, said {done.stderr[-300:]}')


def bad_inputs(cases, good):
    scan = speckle(64, 64)
    made = jpeg(cases.top, scan)
    zeros = np.zeros((1, 10), np.uint8)
    table = [
        ('not an image', 'text.png', 'these are words, no picture\n' * 40),
        ('empty', 'empty.png', b''),
        ('one byte', 'one.png', b'\x89'),
        ('PNG of 0 columns', 'w0.png', png(scan, width=0)),
        ('PNG of 0 rows', 'h0.png', png(scan, height=0)),
        ('PNG of absurd size', 'huge.png', png(zeros, width=2**31 - 1, height=2**31 - 1)),
        ('PNG beyond the format', 'beyond.png', png(zeros, width=2**32 - 1, height=1)),
        ('PNG with a lying height', 'tall.png', png(scan, height=100000)),
        ('PNG with a lying width', 'wide.png', png(scan, width=1000)),
        ('PNG of 3 bits', 'bits.png', png(scan, bits=3)),
        ('PNG of colour type 7', 'type.png', png(scan, colour=7)),
        ('TIFF of 0 columns', 'w0.tif', tiff(scan, width=0)),
        ('TIFF of 0 rows', 'h0.tif', tiff(scan, height=0)),
        ('TIFF of absurd size', 'huge.tif', tiff(zeros, width=2**32 - 1, height=2**32 - 1)),
        ('TIFF with a lying height', 'tall.tif', tiff(scan, height=1000000)),
        ('TIFF of 0 rows per strip', 'strip.tif', tiff(scan, rows_per_strip=0)),
        ('TIFF of 7 bits', 'bits.tif', tiff(scan, bits=7)),
        ('TIFF without a directory', 'nodir.tif', b'II*\0\x08\0\0\0'),
        ('JPEG of 0 columns', 'w0.jpg', jpeg_size(made, 0, 64)),
        ('JPEG of 0 rows', 'h0.jpg', jpeg_size(made, 64, 0)),
        ('JPEG of absurd size', 'huge.jpg', jpeg_size(made, 65500, 65500)),
        ('JPEG with a lying height', 'tall.jpg', jpeg_size(made, 64, 640)),
        ('a GIF', 'picture.gif', b'GIF89a' + bytes(100)),
        ('a PNG with a wrong check sum', 'crc.png',
         png(scan)[:-20] + b'\0\0\0\0' + png(scan)[-16:]),
    ]
    for case, name, data in table:
        path = cases.put(name, data)
        cases.bad_input(case, [path], FAULT.format(re.escape(name)))

    cases.bad_input('missing file', [cases.path('missing.png')], FAULT.format('missing.png'))
    cases.bad_input('missing folder', [cases.path('missing') + '/'], FAULT.format('missing/?'))
    cases.bad_input('missing manifest', [cases.path('missing.csv')], FAULT.format('missing.csv'))
    os.makedirs(cases.path('empty-folder'))
    cases.bad_input('folder without scans', [cases.path('empty-folder')],
                    FAULT.format('empty-folder'), failures=0)
    if os.geteuid() == 0:
        cases.skipped += 1
        print('skipped: unreadable file (root reads everything)')
    else:
        os.chmod(cases.put('locked.png', png(scan)), 0)
        cases.bad_input('unreadable file', [cases.path('locked.png')], FAULT.format('locked.png'))

    path = cases.put('nosize.png', png(scan, ppm=0))
    cases.bad_input('no resolution', [path], FAULT.format('nosize.png').replace('+$', '*ppi.*$'))
    cases.call('no resolution but --ppi', ['measure', path, '--ppi', '600'], 0)
    name = 'two\nlines.png'
    cases.bad_input('a name of two lines', [cases.put(name, 'no image')], 'lines.png')

    for case, region in (('region to the right', '10,10,1,1'), ('region too wide', '0,0,50,1'),
                         ('region of no pixel', '1,1,0.001,0.001'),
                         ('region far away', '1e30,1e30,1,1')):
        cases.bad_input(case, [good, '--region', region], FAULT.format('good.png'))
    cases.bad_input('margin eats the scan', [good, '--margin', '2'], FAULT.format('good.png'))
    cases.bad_input('page 2 of a PNG', [good, '--page', '2'], FAULT.format('good.png'))


def manifests(cases):
    for case, name, text, pattern in (
            ('manifest without scan', 'noscan.csv', 'patch,region\nA,1 1 1 1\n', 'scan'),
            ('manifest of a header only', 'header.csv', 'scan,patch\n', ''),
            ('manifest empty', 'nothing.csv', '', ''),
            ('manifest with a short row', 'short.csv', 'scan,patch,paste\ngood.png,A\n', '2'),
            ('manifest with a long row', 'long.csv', 'scan,patch\ngood.png,A,B\n', '2'),
            ('manifest with an open quote', 'quote.csv', 'scan,patch\n"good.png,A\n', ''),
            ('manifest with a column twice', 'twice.csv', 'scan,a,a\ngood.png,1,2\n', 'a'),
            ('manifest with the same patch twice', 'same.csv',
             'scan,patch\ngood.png,A\ngood.png,A\n', 'A'),
            ('manifest with a bad region', 'region.csv', 'scan,region\ngood.png,1 1 1\n', ''),
            ('manifest with a missing scan', 'gone.csv', 'scan\nnowhere.png\n', 'nowhere'),
            ('manifest with a region outside', 'outside.csv', 'scan,region\ngood.png,9 9 9 9\n',
             '')):
        path = cases.put(name, text)
        cases.bad_input(case, [path], FAULT.format(r'(good|nowhere|' + name[:-4] + r')\.') if not
                        pattern else r'(?m)^fleck: .*' + pattern + '.*; .+$', failures=0)


def truncated(cases, good):
    """Each file cut at every tenth byte fails, says so, and leaves the good ones alone."""
    scan = speckle(40, 30)
    made = jpeg(cases.top, scan)
    # what may be missing at the end without a pixel being lost
    for ending, data, spare in (('png', png(scan), 16), ('tif', tiff(scan), 0), ('jpg', made, 4)):
        paths = [cases.put(f'cut/{ending}/{at:05d}.{ending}', data[:at])
                 for at in range(0, len(data) - spare, 10)]
        case = f'truncated {ending}'
        out, err = cases.call(case, ['measure', *paths, good, '--json'], 1)
        for path in paths:
            cases.expect(case, re.search(FAULT.format(re.escape(os.path.basename(path))), err),
                         f'nothing said about {os.path.basename(path)} of {len(data)} bytes')
        try:
            records = json.loads(out)
            ids = [r['id'] for r in (records if isinstance(records, list) else [records])]
        except ValueError:
            ids = out[:100]
        cases.expect(case, ids == ['good'], f'records of {ids}')
        run = cases.path(f'run-{ending}')
        cases.call(case, ['measure', *paths, good, '-o', run], 1)
        cases.whole(case, run)
        cases.expect(case, cases.left(run, 'records') == ['good.json'],
                     f'records {cases.left(run, "records")}')
        cases.expect(case, len(cases.table(os.path.join(run, 'failures.csv'))) == len(paths),
                     'failures.csv does not name them all')
        cases.expect(case, [row['id'] for row in cases.table(os.path.join(run, 'patches.csv'))]
                     == ['good'], 'patches.csv')


def good_calls(cases, good):
    path = cases.put('really-a-png.jpg', png(speckle(64, 64)))
    out, _ = cases.call('a PNG named .jpg', ['measure', path, '--json'], 0)
    cases.expect('a PNG named .jpg', '"png"' in out, 'its format is not png')
    out, _ = cases.call('summary', ['measure', good], 0)
    cases.expect('summary', 0 < len(out.splitlines()) < 60, f'{len(out.splitlines())} lines')
    out, _ = cases.call('--option=value', ['measure', good, '--cutoff=0.2', '--json'], 0)
    cases.expect('--option=value', json.loads(out)['settings']['cutoff_mm'] == 0.2,
                 'cutoff not taken')
    out, _ = cases.call('measure --help', ['measure', '--help'], 0)
    for option in ('ppi', 'pixel', 'channel', 'ink', 'threshold', 'cutoff', 'region',
                   'margin', 'tile', 'page', 'jobs', 'memory', 'resume', 'json'):
        cases.expect('measure --help', f'--{option}' in out, f'--{option} is not explained')
    out, _ = cases.call('--help', ['--help'], 0)
    cases.expect('--help', 'measure' in out, 'measure is not named')
    out, _ = cases.call('--version', ['--version'], 0)
    cases.expect('--version', re.fullmatch(r'fleck \d+\.\d+\.\d+\n', out), repr(out))

    text = cases.put('words.txt', 'no image')
    run = cases.path('mixed')
    cases.call('one good, one bad', ['measure', text, good, '-o', run], 1,
               FAULT.format(r'words\.txt'))
    cases.expect('one good, one bad', cases.left(run, 'records') == ['good.json'],
                 'the good one is missing')
    cases.whole('one good, one bad', run)
    rows = cases.table(os.path.join(run, 'failures.csv'))
    cases.expect('one good, one bad', len(rows) == 1 and any('words.txt' in (value or '')
                                                             for value in rows[0].values()),
                 f'failures.csv {rows}')
    run = cases.path('fine')
    cases.call('a run without faults', ['measure', good, '-o', run], 0)
    cases.whole('a run without faults', run)


def locating(cases):
    """A sheet of two patches through locate and measure, and calls of locate that must fail."""
    sheet = np.full((300, 600), 230, np.uint8)
    for left in (60, 340):
        sheet[60:260, left:left + 200] = speckle(200, 200, left)
    path = cases.put('sheets/sheet.png', png(sheet, ppm=5906))
    blank = cases.put('blank.png', png(np.full((300, 600), 230, np.uint8), ppm=5906))
    os.makedirs(cases.path('layouts'))
    layout = cases.path('layouts/sheet.csv')
    cases.call('locate', ['locate', path, '-o', layout, '--grid', '1x2'], 0)
    rows = cases.table(layout)
    cases.expect('locate', [row['patch'] for row in rows] == ['r1c1', 'r1c2'] and
                 rows[0]['scan'] == '../sheets/sheet.png', f'layout {rows}')
    cases.expect('locate', os.path.exists(cases.path('layouts/sheet-preview.png')), 'no preview')
    cases.call('measure a layout', ['measure', layout, '-o', cases.path('located')], 0)
    rows = cases.table(cases.path('located/patches.csv'))
    cases.expect('measure a layout', len(rows) == 2, f'{len(rows)} patches')
    out, _ = cases.call('locate to stdout', ['locate', path], 0)
    cases.expect('locate to stdout', out.startswith('scan,patch,region,tilt_deg,note\n'), out[:200])

    cases.call('locate: no patch', ['locate', blank], 1, FAULT.format('blank.png'))
    cases.call('locate: no scan', ['locate', cases.put('no.png', 'words')], 1, FAULT.format('no.png'))
    cases.call('locate: folder missing', ['locate', path, '-o', cases.path('none/x.csv')], 1, 'none')
    for case, options in (('nothing named', []), ('two sheets', [path, blank]),
                          ('grid', [path, '--grid', '4']), ('grid of 0', [path, '--grid', '0x2']),
                          ('grid too large', [path, '--grid', '1001x2']),
                          ('size 0', [path, '--min-size', '0']), ('ink', [path, '--ink', 'red'])):
        cases.bad_call('locate: ' + case, ['locate', *options], '')
    with open(path, 'rb') as before:
        kept = before.read()
    for case, options in (('layout', ['-o', path]), ('preview', ['--preview', path]),
                          ('preview by another name',
                           ['--preview', cases.path('layouts/../sheets/sheet.png')])):
        cases.bad_call('locate: the sheet as its own ' + case, ['locate', path, *options], 'input')
        with open(path, 'rb') as after:
            cases.expect('locate: the sheet', after.read() == kept, 'it was written over')


def machine_failures(cases, good):
    if os.path.exists('/dev/full'):
        with open('/dev/full', 'wb') as full:
            cases.call('stdout is full', ['measure', good, '--json'], 3, stdout=full)
            cases.call('stdout is full, summary', ['measure', good], 3, stdout=full)
    else:
        cases.skipped += 1
    blocked = cases.put('blocked', 'a file where a folder should come')
    for case, run in (('run where a file is', blocked), ('run below a file', blocked + '/run')):
        cases.call(case, ['measure', good, '-o', run], (2, 3), 'blocked')
        with open(blocked, encoding='utf-8') as text:
            cases.expect(case, text.read().startswith('a file'), 'the file was overwritten')


def main():
    if len(sys.argv) != 2:
        sys.exit('usage: cli_cases.py PROGRAM')
    with tempfile.TemporaryDirectory() as top:
        cases = Cases(os.path.abspath(sys.argv[1]), top)
        good = cases.put('good.png', png(speckle(80, 70)))
        good_calls(cases, good)
        wrong_calls(cases, good)
        bad_inputs(cases, good)
        manifests(cases)
        truncated(cases, good)
        locating(cases)
        machine_failures(cases, good)
        largest = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024
        cases.expect('memory', largest < 1024, f'a run took {largest} MB')
    print(f'{cases.passed} passed, {cases.failed} failed, {cases.skipped} skipped')
    return 1 if cases.failed else 0


if __name__ == '__main__':
    sys.exit(main())
