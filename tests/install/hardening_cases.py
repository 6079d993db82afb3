#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""What protects the built program and library: `hardening_cases.py PROGRAM LIBRARY ARCHIVE START TYPE FLAG ...`.

FLAGs are what the compiler was found to take (FLECK_HARDENED of lib/hardening.cmake); each must show in
what was built, and on the usual kind of machine all of them must be there. TYPE is the type of the build,
as optimization is needed for some. START is the C library's crt1.o: the linker notes protection of jumps
(CET) only for a program all of whose parts have it, and where START has not, each of fleck's own parts is
looked at."""
import platform
import re
import shutil
import sys

from checks import Checks


def main():
    program, library, archive, start, build_type, *flags = sys.argv[1:]
    checks = Checks()
    if not shutil.which('readelf'):
        print('skipped: readelf is missing (package binutils)')
        sys.exit(0)

    if platform.machine() == 'x86_64' and platform.libc_ver()[0] == 'glibc':
        usual = {'-fstack-protector-strong', '-fstack-clash-protection', '-fcf-protection=full',
                 'relro', 'now', 'noexecstack'} | ({'fortify'} if build_type.startswith('Rel') else set())
        checks.expect('flags', usual <= set(flags), f'not found to be there: {usual - set(flags)}')

    def read(file, *options):
        return checks.run('readelf', ['readelf', '-W', *options, file])

    for file in (program, library):
        name = file.rsplit('/', 1)[-1]
        header, segments, dynamic = read(file, '-h'), read(file, '-l'), read(file, '-d')
        checks.expect('address', re.search(r'Type:\s+DYN', header), f'{name} is loaded at a fixed address')
        stack = re.search(r'GNU_STACK\s+(?:0x\w+\s+){5}(\S+)', segments)
        checks.expect('stack', 'noexecstack' not in flags or stack and 'E' not in stack[1],
                      f'{name}: code on the stack may run: {stack and stack[0]}')
        checks.expect('relro', 'relro' not in flags or 'GNU_RELRO' in segments, f'{name} has no RELRO')
        checks.expect('now', 'now' not in flags or re.search(r'FLAGS.*\b(BIND_)?NOW\b', dynamic),
                      f'{name} binds late')
        checks.expect('no path', 'TEXTREL' not in dynamic, f'{name} changes its own code when loaded')
        symbols = read(file, '--dyn-syms')
        checks.expect('canary', '-fstack-protector-strong' not in flags or '__stack_chk_fail' in symbols,
                      f'{name} has no stack protector')
        checked = set(re.findall(r'\b__(\w+)_chk\b', symbols))
        checks.expect('fortify', 'fortify' not in flags or len(checked) >= 3,
                      f'{name} calls no checked functions: {sorted(checked)}')
    checks.expect('pie', re.search(r'FLAGS_1.*\bPIE\b', read(program, '-d')), 'the program is no PIE')

    if '-fcf-protection=full' in flags:
        # a note for each of the archive's parts
        notes = re.split(r'^File: ', read(archive, '-n'), flags=re.M)[1:]
        checks.expect('cet', len(notes) > 100, f'the archive has {len(notes)} parts')
        for note in notes:
            checks.expect('cet', 'IBT, SHSTK' in note, f'no CET note: {note.splitlines()[0]}')
        if 'IBT, SHSTK' in read(start, '-n'):
            for file in (program, library):
                checks.expect('cet', 'IBT, SHSTK' in read(file, '-n'), f'{file} has no CET note')
        else:
            checks.skip('cet', 'this C library starts programs without CET, so that none has its note; '
                        'all of fleck\'s own parts have it')
    checks.end()


if __name__ == '__main__':
    main()
