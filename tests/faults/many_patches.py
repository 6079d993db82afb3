#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Numbers under load: `many_patches.py PROGRAM [COUNT [SIMULATIONS]]`.

COUNT (default 2000) small scans, one in 40 (in 10 of fewer than 1000) damaged, each in another way or place, are measured with --jobs 8
and with --jobs 1. Every sound scan must give its record, equal to that of a call with this scan alone (a
sample of them), each damaged one a failure by name, and both runs must be the same bytes."""
import csv
import difflib
import io
import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
import zlib

import numpy as np
from PIL import Image

from support import comparable, files, speckle

SIDE = 160


def image_bytes(code, kind):
    out = io.BytesIO()
    if kind == 'png':
        Image.fromarray(code).save(out, 'PNG', dpi=(600, 600))
    elif kind == 'tif':
        Image.fromarray(code).save(out, 'TIFF', dpi=(600, 600), compression='tiff_lzw')
    else:
        Image.fromarray(code).save(out, 'JPEG', dpi=(600, 600), quality=95)
    return out.getvalue()


def ways_to_damage(chance):
    """Names and functions; data is a PNG of 160 x 160 pixels. Each can be done in many places."""
    def cut(data):
        return data[:chance.randrange(60, len(data) - 20)]

    def flip(data):
        # within the pixels: after the header and before the end, where a check sum covers it
        at = chance.randrange(200, len(data) - 30)
        return data[:at] + bytes([data[at] ^ 1 << chance.randrange(8)]) + data[at + 1:]

    def zeroed(data):
        at = chance.randrange(200, len(data) - 600)
        return data[:at] + bytes(512) + data[at + 512:]

    def moved(data):
        at = chance.randrange(200, len(data) - 600)
        return data[:at] + data[at + 7:]

    def no_size(data):
        header = data[12:16] + bytes(4) + data[20:29]
        return data[:12] + header + zlib.crc32(header).to_bytes(4, 'big') + data[33:]

    def taller(data):
        header = data[12:20] + (SIDE + 1 + chance.randrange(50000)).to_bytes(4, 'big') + data[24:29]
        return data[:12] + header + zlib.crc32(header).to_bytes(4, 'big') + data[33:]

    def empty(_):
        return b''

    def text(_):
        return b'this was a scan once\n' * chance.randrange(1, 90)

    def gone(_):
        return None

    def torn_tiff(_):
        data = image_bytes(speckle(SIDE, SIDE, 1), 'tif')
        return data[:len(data) - chance.randrange(40, 400)]

    def torn_jpeg(_):
        data = image_bytes(speckle(SIDE, SIDE, 1), 'jpg')
        return data[:chance.randrange(len(data) // 3, len(data) - 200)]

    return [cut, flip, zeroed, moved, no_size, taller, empty, text, gone, torn_tiff, torn_jpeg]


def make_scans(folder, count):
    """Names of the damaged scans, each with the way."""
    chance = random.Random(7)
    ways = ways_to_damage(chance)
    damaged, one_in = {}, 40 if count >= 1000 else 10
    with open(f'{folder}/many.csv', 'w', encoding='utf-8') as table:
        table.write('scan,patch,paste_pct\n')
        for number in range(count):
            # drawn patches are turned and mirrored, as drawing each anew would take minutes
            code = np.rot90(speckle(SIDE, SIDE, number // 8), number % 4)
            data = image_bytes(np.ascontiguousarray(code[:, ::-1] if number % 8 >= 4 else code), 'png')
            name = f's{number:04}.png'
            if number % one_in == 7:
                way = ways[number // one_in % len(ways)]
                damaged[name] = way.__name__
                data = way(data)
            if data is not None:
                with open(f'{folder}/{name}', 'wb') as file:
                    file.write(data)
            table.write(f'{name},P{number:04},{2 + number % 3}\n')
    return damaged


def main():
    program = os.path.abspath(sys.argv[1])
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 2000
    simulations = sys.argv[3] if len(sys.argv) > 3 else '19'
    wrong = []

    def measure(folder, what, out, jobs):
        begun = time.monotonic()
        done = subprocess.run([program, 'measure', what, '-o', out, '--simulations', simulations, '--jobs', str(jobs)],
                              cwd=folder, capture_output=True, text=True, errors='replace', check=False)
        return done, time.monotonic() - begun

    with tempfile.TemporaryDirectory() as folder:
        damaged = make_scans(folder, count)
        found = {}
        for jobs in (8, 1):
            done, seconds = measure(folder, 'many.csv', f'run{jobs}', jobs)
            print(f'--jobs {jobs}: {seconds:.0f} s, {done.stderr.splitlines()[-1]}', flush=True)
            if done.returncode != 1:
                wrong.append(f'--jobs {jobs}: exit code {done.returncode}')
            found[jobs] = files(f'{folder}/run{jobs}')
            said = re.sub(r'fleck: \d+ of \d+ patches, .* left\n', '', done.stderr) # by the clock
            found[jobs, 'said'] = done.stdout, said.replace(f'run{jobs}', 'run')
        one, eight = ({name: comparable(name, data) for name, data in found[jobs].items()} for jobs in (1, 8))
        wrong += [f'{name} differs' for name in sorted(set(one) | set(eight)) if one.get(name) != eight.get(name)]
        if found[1, 'said'] != found[8, 'said']:
            wrong += [f'what is said differs: {line}' for line in
                      difflib.unified_diff(*(''.join(found[jobs, 'said']).splitlines() for jobs in (1, 8)), n=0)]

        rows = list(csv.DictReader(io.StringIO(found[8]['patches.csv'].decode())))
        failures = list(csv.DictReader(io.StringIO(found[8]['failures.csv'].decode())))
        records = {name for name in found[8] if name.startswith('records/')}
        sound = [f'P{number:04}' for number in range(count) if f's{number:04}.png' not in damaged]
        print(f'{len(sound)} sound and {len(damaged)} damaged scans: {len(rows)} rows, {len(records)} records, '
              f'{len(failures)} failures', flush=True)
        if [row['id'] for row in rows] != sound:
            wrong.append('the table has not the sound patches in their order')
        if records != {f'records/{name}.json' for name in sound}:
            wrong.append('records are not those of the sound patches')
        if [os.path.basename(row['path']) for row in failures] != sorted(damaged):
            wrong.append('failures are not those of the damaged scans, in their order')
        for row in failures:
            if row['message'].count('; ') < 1:
                wrong.append(f'{row["path"]}: says {row["message"]!r}')

        # a sample of the records by themselves
        for number in range(0, count, max(1, count // 12)):
            name = f's{number:04}.png'
            if name in damaged:
                continue
            shutil.rmtree(f'{folder}/alone', ignore_errors=True)
            done, _ = measure(folder, name, 'alone', 1)
            alone = json.loads(files(f'{folder}/alone')[f'records/s{number:04}.json'])
            together = json.loads(found[8][f'records/P{number:04}.json'])
            for key in alone:
                if key not in ('id', 'factors', 'source', 'settings', 'columns', 'warnings') and alone[key] != together.get(key):
                    wrong.append(f'{name}: {key} differs from that of a call of its own')
    for line in wrong[:40]:
        print('WRONG', line)
    print(f'{len(wrong)} went wrong')
    return 1 if wrong else 0


if __name__ == '__main__':
    sys.exit(main())
