#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Building on what is installed: `builder_cases.py PREFIX SOURCE CC CXX CMAKE`.

The program itself, the samples in C and a program in C++ are built from the installed headers and
libraries alone, found by pkg-config and by CMake, also when the folder was moved."""
import csv
import os
import re
import shutil
import sys
import tempfile

import numpy as np
from PIL import Image

from checks import Checks, several

WARNINGS = ['-Wall', '-Wextra', '-Wpedantic', '-Wconversion', '-Wshadow', '-Werror']
PPI = 600


def flags(checks, prefix, *words):
    out = checks.run('pkg-config', ['pkg-config', *words, 'fleck'],
                     {'PKG_CONFIG_PATH': os.path.join(prefix, 'lib', 'pkgconfig')}, silent=True)
    return out.split()


def build(checks, case, compiler, sources, out, found, prefix, words=()):
    checks.run(case, [compiler, *WARNINGS, *words, '-o', out, *sources, *found,
                      f'-Wl,-rpath,{prefix}/lib'], silent=True)


def program_alone(checks, top, prefix, source, cc):
    """cli/*.c sees what is installed and nothing else of the source."""
    cli = os.path.join(top, 'cli')
    shutil.copytree(os.path.join(source, 'cli'), cli, ignore=shutil.ignore_patterns('pages', 'CMakeLists.txt'))
    out = os.path.join(top, 'fleck-again')
    build(checks, 'the program alone', cc, several(cli, '.c', 10), out,
          [*flags(checks, prefix, '--cflags', '--libs'), '-lm'], prefix,
          ['-std=c17', '-O0', '-D_POSIX_C_SOURCE=200809L'])
    version = checks.run('the program alone', [out, '--version'])
    checks.expect('the program alone', re.fullmatch(r'fleck \d+\.\d+\.\d+\n', version), version)
    help_text = checks.run('the program alone', [out, 'measure', '--help'])
    installed = checks.run('the program alone', [os.path.join(prefix, 'bin', 'fleck'), 'measure', '--help'])
    checks.expect('the program alone', help_text == installed, 'its help differs')


def picture(path, rings, discs):
    """Rings and discs that nowhere touch, black on white; the last disc is grey, of reflectance 0.35, and
    one more is too pale to be ink, 0.58: who takes codes for reflectances miscounts."""
    yy, xx = np.mgrid[0:240, 0:320]
    code = np.full(xx.shape, 255, np.uint8)
    for i in range(rings + discs):
        distance = np.hypot(xx - 30 - 50 * (i % 6), yy - 30 - 50 * (i // 6))
        code[distance <= 8 + i] = 160 if i == rings + discs - 1 else 0
        if i < rings:
            code[distance <= 4] = 255
    code[np.hypot(xx - 230, yy - 190) <= 10] = 200
    Image.fromarray(code).save(path, dpi=(PPI, PPI))
    Image.fromarray(code).save(path[:-4] + '.pgm')


def samples(checks, top, prefix, source, cc):
    found = flags(checks, prefix, '--cflags', '--libs')
    program = os.path.join(prefix, 'bin', 'fleck')
    scan = os.path.join(top, 'rings.png')
    made = {}
    for path in several(os.path.join(source, 'samples', 'c'), '.c', 4):
        name = os.path.basename(path)[:-2]
        with open(path, encoding='utf-8') as text:
            checks.expect(name, len(text.readlines()) < 60, 'is long for an example')
        made[name] = os.path.join(top, name)
        build(checks, name, cc, [path], made[name], found, prefix, ['-std=c17', '-O1'])

    picture(scan, 5, 8)
    run = os.path.join(top, 'one')
    checks.run('samples', [program, 'measure', scan, '-q', '--simulations', '0', '-o', run])
    with open(os.path.join(run, 'patches.csv'), encoding='utf-8', newline='') as table:
        row = next(csv.DictReader(table))
    expected = (f"rings: coverage {100 * float(row['ink.coverage']):.2f} %, {row['dots.counted']} dots, "
                f"median size {float(row['dots.d50_mm']):.3f} mm\n")
    out = checks.run('measure_scan', [made['measure_scan'], scan])
    checks.expect('measure_scan', out.startswith(expected), f'{out} is not {expected}')
    out = checks.run('count_rings', [made['count_rings'], scan])
    checks.expect('count_rings', out == 'rings: 5 of 13 dots are rings\n', out)
    with open(scan[:-4] + '.pgm', 'rb') as pgm:
        bytes_in = pgm.read()
    out = checks.run('own_decoder', [made['own_decoder'], str(PPI)], stdin=bytes_in)
    expected = f"13 dots, median size {float(row['dots.d50_mm']):.4f} mm\n"
    checks.expect('own_decoder', out == expected, f'{out} is not {expected}')

    for name, diameter in (('fine', '0.25'), ('coarse', '0.5')):
        folder = os.path.join(top, 'scans', name)
        os.makedirs(folder)
        for seed in '12345':
            checks.run(name, [program, 'phantom', 'discs', '-o', os.path.join(folder, seed + '.png'),
                              '--width', '6', '--height', '6', '--ppi', '400', '--coverage', '0.15',
                              '--diameter', diameter, '--seed', seed])
        checks.run(name, [program, 'measure', folder, '-q', '--simulations', '0', '-o',
                          os.path.join(top, name)])
    out = checks.run('compare_folders', [made['compare_folders'], os.path.join(top, 'fine'),
                                         os.path.join(top, 'coarse')])
    checks.expect('compare_folders', re.search(r'^dots\.d50_mm: 0\.2\d* against 0\.[456]\d* mm \(5 and 5\): '
                                               r'not the same$', out, re.M), out)


CMAKE = '''cmake_minimum_required(VERSION 3.18)
project(builder LANGUAGES C CXX)
find_package(fleck 0.1 REQUIRED COMPONENTS static)
add_executable(shared program.cpp)
target_link_libraries(shared fleck::fleck)
add_executable(static program.c)
target_link_libraries(static fleck::fleck_static)
'''
PROGRAM = '''#include <stdio.h>
#include <fleck/fleck.h>
int main(void)
{
    size_t count = 0;
    fleck_error err;
    fleck_keys(&count);
    return fleck_fail(&err, FLECK_BAD_CALL, "%d", 1) != FLECK_BAD_CALL || count < 100 || puts(fleck_version()) < 0;
}
'''


def finders(checks, top, prefix, cc, cmake):
    moved = os.path.join(top, 'moved to here')
    shutil.copytree(prefix, moved, symlinks=True)
    folder = os.path.join(top, 'builder')
    os.makedirs(folder)
    for name, text in (('CMakeLists.txt', CMAKE), ('program.c', PROGRAM), ('program.cpp', PROGRAM)):
        with open(os.path.join(folder, name), 'w', encoding='utf-8') as out:
            out.write(text)
    version = checks.run('a moved program', [os.path.join(moved, 'bin', 'fleck'), '--version'])
    built = os.path.join(folder, 'build')
    checks.run('find_package', [cmake, '-S', folder, '-B', built, f'-DCMAKE_PREFIX_PATH={moved}',
                                '-DCMAKE_BUILD_TYPE=Debug'])
    checks.run('find_package', [cmake, '--build', built])
    for name in ('shared', 'static'):
        out = checks.run(f'fleck::{name}', [os.path.join(built, name)])
        checks.expect(f'fleck::{name}', f'fleck {out}' == version, out)
    words = flags(checks, prefix, '--cflags', '--libs', '--static')
    words = ['-l:libfleck.a' if word == '-lfleck' else word for word in words]
    out = os.path.join(top, 'static')
    build(checks, 'pkg-config --static', cc, [os.path.join(folder, 'program.c')], out, words, prefix)
    checks.expect('pkg-config --static', f"fleck {checks.run('pkg-config --static', [out])}" == version)
    needed = checks.run('pkg-config --static', ['readelf', '-d', out])
    checks.expect('pkg-config --static', 'libfleck' not in needed, needed)


def main():
    prefix, source, cc, cxx, cmake = sys.argv[1:]
    checks = Checks()
    os.environ['CC'], os.environ['CXX'] = cc, cxx
    with tempfile.TemporaryDirectory() as top:
        program_alone(checks, top, prefix, source, cc)
        samples(checks, top, prefix, source, cc)
        finders(checks, top, prefix, cc, cmake)
    checks.end()


main()
