#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Headers and symbols: `headers_cases.py PREFIX SOURCE LIBRARY CC CXX`.

Each installed header compiles alone, as C17 and as C++17, and says something of all it declares; the
library exports what the headers declare, no more, and nothing that lib/package/symbols.txt lists has
gone. All its memory comes from lib/core/memory.c, where a caller's hooks stand."""
import os
import re
import subprocess
import sys

from checks import Checks, several

WARNINGS = ['-Wall', '-Wextra', '-Wpedantic', '-Werror', '-fsyntax-only']


def alone(checks, prefix, cc, cxx):
    folder = os.path.join(prefix, 'include')
    for path in several(os.path.join(folder, 'fleck'), '.h', 20):
        name = 'fleck/' + os.path.basename(path)
        # a second time, for the guard; a declaration, since a unit must not be empty
        text = f'#include <{name}>\n#include <{name}>\nextern int fleck_check;\n'
        for compiler, language, standard in ((cc, 'c', 'c17'), (cxx, 'c++', 'c++17')):
            checks.run(f'{name} alone as {standard}', [compiler, '-x', language, f'-std={standard}',
                       *WARNINGS, f'-I{folder}', '-'], stdin=text.encode())


def declared(path):
    with open(path, encoding='utf-8') as header:
        text = re.sub(r'/\*.*?\*/', ' ', header.read(), flags=re.S)
    text = re.sub(r'^#.*', ' ', text, flags=re.M)
    return set(re.findall(r'\bFLECK_API\b[^;{]*?\b(\w+)\s*\(', text))


def documented(checks, prefix):
    """Every function, struct, enum and handle has a comment of its own right above it."""
    count = 0
    for path in several(os.path.join(prefix, 'include', 'fleck'), '.h', 20):
        with open(path, encoding='utf-8') as header:
            lines = header.read().splitlines()
        for above, line in zip(lines, lines[1:]):
            if re.match(r'(FLECK_API|typedef|static inline)\b', line):
                count += 1
                checks.expect(os.path.basename(path), above.endswith('*/'), f'nothing is said of: {line}')
    checks.expect('documented', count > 300, count)


def all_in_one(checks, prefix, cc):
    """fleck/fleck.h leads to every header."""
    folder = os.path.join(prefix, 'include')
    made = checks.run('fleck/fleck.h', [cc, '-M', '-I' + folder, os.path.join(folder, 'fleck', 'fleck.h')])
    for path in several(os.path.join(folder, 'fleck'), '.h', 20):
        checks.expect('fleck/fleck.h', path in made.split(), f'{os.path.basename(path)} is left out')


def symbols(checks, prefix, source, library):
    package = os.path.join(source, 'lib', 'package')
    out = subprocess.run(['sh', os.path.join(package, 'list_symbols.sh'), library], check=True,
                         stdout=subprocess.PIPE).stdout.decode()
    exported = set(out.split())
    with open(os.path.join(package, 'symbols.txt'), encoding='utf-8') as listed:
        promised = set(listed.read().split())
    shown = set()
    for path in several(os.path.join(prefix, 'include', 'fleck'), '.h', 20):
        shown |= declared(path)
    checks.expect('symbols', len(promised) > 100, 'the list is short')
    for name in sorted(exported | promised | shown):
        checks.expect(name, name.startswith('fleck_'), 'an exported name must begin with fleck_')
        checks.expect(name, name in exported or name not in promised,
                      'was exported and has gone: programs built before stop working. Bring it back, or '
                      'raise the first number of the version and take it from lib/package/symbols.txt')
        checks.expect(name, name in exported or name not in shown,
                      'is declared FLECK_API in a header, but the library has it not')
        checks.expect(name, name in shown or name not in exported, 'is exported, but no header shows it')
        checks.expect(name, name in promised or name not in exported,
                      'is new: sh lib/package/list_symbols.sh LIBRARY >lib/package/symbols.txt adds it')


# what gives or takes memory back without asking the hooks
ALLOCATES = {'malloc', 'calloc', 'realloc', 'reallocarray', 'free', 'strdup', 'strndup', 'asprintf', 'vasprintf',
             'aligned_alloc', 'posix_memalign', 'getline', 'getdelim', 'open_memstream'}
# these free what the C library's realpath and libjpeg have allocated
FREE_ONLY = {'layout_csv.c.o', 'report_jpeg.c.o'}


def memory(checks, prefix):
    archive = os.path.join(prefix, 'lib', 'libfleck.a')
    parts = 0
    for line in checks.run('memory', ['nm', '-A', archive], silent=False).splitlines():
        _, part, rest = line.split(':', 2)
        parts += ' T fleck_set_memory_hooks' in rest
        name = rest.split()[-1]
        if ' U ' in rest and name in ALLOCATES and part != 'memory.c.o':
            checks.expect(part, name == 'free' and part in FREE_ONLY, f'calls {name}; fleck_free, fleck_alloc_array '
                          'and fleck_resize of core/memory.h ask the hooks of the caller')
    checks.expect('memory', parts == 1, 'the hooks are not in the archive')


def main():
    prefix, source, library, cc, cxx = sys.argv[1:]
    checks = Checks()
    alone(checks, prefix, cc, cxx)
    documented(checks, prefix)
    all_in_one(checks, prefix, cc)
    symbols(checks, prefix, source, library)
    memory(checks, prefix)
    checks.end()


main()
