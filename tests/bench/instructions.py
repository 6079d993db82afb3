#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Instructions that the library takes for a fixed picture, against those it took when they were stored.

usage: instructions.py BUILD_DIR [--renew]
Counted by callgrind of valgrind on one thread, so that a loaded machine makes no difference, for each source file of
libfleck: libpng, FFTW and the C library change with their packages. A count more than 5 % from the stored
one fails: slower is to be explained or mended, faster is to be stored with --renew, so that it is not lost again.
Another compiler or machine than that of the stored figure is skipped (exit code 77)."""
import json
import os
import platform
import re
import subprocess
import sys
import tempfile

import numpy as np
from PIL import Image

STORED = os.path.join(os.path.dirname(os.path.abspath(__file__)), 'instructions.json')
ALLOWED = 0.05
LEAST = 1000000  # instructions; files with fewer are not compared
SIDE = 400


def write_picture(path):
    """Soft discs of 4 to 20 pixels on paper with some noise, 600 ppi: whole numbers, the same everywhere."""
    random = np.random.default_rng(20261126)
    y, x = np.mgrid[0:SIDE, 0:SIDE]
    ink = np.zeros((SIDE, SIDE), np.int64)
    for _ in range(100):
        centre_x, centre_y, radius = random.integers(0, SIDE), random.integers(0, SIDE), random.integers(4, 21)
        square = (x - centre_x) ** 2 + (y - centre_y) ** 2
        ink = np.maximum(ink, np.clip(16 * (radius ** 2 - square) // radius + 64, 0, 128))
    code = 225 - ink * 5 // 4 + random.integers(-4, 5, (SIDE, SIDE))
    Image.fromarray(code.astype(np.uint8)).save(path, dpi=(600, 600))


def files_of_functions(build):
    """Which source file a function of the library stands in."""
    said = subprocess.run(['nm', '-A', '--defined-only', f'{build}/libfleck.a'], capture_output=True, text=True,
                          check=True).stdout
    files = {}
    for words in (line.split() for line in said.splitlines()):
        if len(words) == 3 and words[1] in 'tT':
            file = words[0].split(':')[1].removesuffix('.o')
            files[words[2]] = file if words[2] not in files else 'names that several files have'
    return files


def count(path, files):
    """Instructions of each source file in a callgrind file, calls left out."""
    names, counts, here, inclusive = {}, {}, None, False
    with open(path, encoding='utf-8') as lines:
        for line in lines:
            named = re.match(r'(c?)fn=(\(\d+\))(?: (.*))?', line)
            if named:
                if named.group(3):
                    names[named.group(2)] = named.group(3).strip().split("'")[0]
                if not named.group(1):
                    here = files.get(names[named.group(2)])
            elif line.startswith('calls='):
                inclusive = True
            elif re.match(r'[+*\d-]', line):
                if not inclusive and here is not None:
                    counts[here] = counts.get(here, 0) + int(line.split()[1])
                inclusive = False
    return {name: counts[name] for name in sorted(counts) if counts[name] >= LEAST}


def compiler(program):
    said = subprocess.run(['readelf', '-p', '.comment', os.path.realpath(program)], capture_output=True, text=True,
                          check=True).stdout
    return re.search(r'GCC: .*|clang version .*', said).group(0).strip()


def machine():
    """The machine and the widest of our loops that valgrind knows: each has its own number of instructions."""
    with open('/proc/cpuinfo', encoding='utf-8') as file:
        return platform.machine() + (' with AVX2' if ' avx2' in file.read() else '')


def compare(found, stored):
    """Names of files whose count has changed, each printed."""
    changed = []
    for name in sorted(found.keys() | stored.keys()):
        now, before = found.get(name, 0), stored.get(name, 0)
        slack = 2 * LEAST if 0 in (now, before) else ALLOWED * before  # near the least it may come and go
        if abs(now - before) > slack:
            changed.append(name)
            print(f'{name}: {now:,} instructions, {before:,} were stored')
    total, before = sum(found.values()), sum(stored.values())
    print(f'{len(found)} files, {total:,} instructions, {total / before - 1:+.2%} of what was stored')
    return changed


def main():
    build = os.path.abspath(sys.argv[1])
    with tempfile.TemporaryDirectory() as folder:
        write_picture(f'{folder}/patch.png')
        said = subprocess.run(['valgrind', '--tool=callgrind', f'--callgrind-out-file={folder}/out', f'{build}/fleck',
                               'measure', 'patch.png', '-o', 'run', '--jobs', '1', '--simulations', '19'],
                              cwd=folder, capture_output=True, text=True, check=False)
        if said.returncode != 0:
            sys.exit(f'fleck failed: {said.stderr}')
        found = count(f'{folder}/out', files_of_functions(build))
    now = {'compiler': compiler(f'{build}/fleck'), 'machine': machine(), 'instructions': found}
    if '--renew' in sys.argv:
        with open(STORED, 'w', encoding='utf-8') as file:
            file.write(json.dumps(now, indent=4) + '\n')
        return 0
    with open(STORED, encoding='utf-8') as file:
        stored = json.load(file)
    if any(stored[key] != now[key] for key in ('compiler', 'machine')):
        print(f'stored for {stored["compiler"]} on {stored["machine"]}, this is {now["compiler"]} on {now["machine"]}')
        return 77
    return 1 if compare(found, stored['instructions']) else 0


if __name__ == '__main__':
    sys.exit(main())
