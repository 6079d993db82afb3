#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The Debian package: `package_cases.py BUILD CPACK`.

It is packed, put into a root of its own, run from there and removed without a trace."""
import os
import re
import shutil
import subprocess
import sys
import tempfile

from checks import Checks, several


def dpkg(checks, case, root, words):
    """dpkg with a database of its own; what the package needs is that of this machine."""
    return checks.run(case, ['dpkg', f'--root={root}', '--force-not-root', '--force-script-chrootless',
                             '--force-depends', '--no-debsig', *words],
                      {'PATH': f"{os.path.join(root, 'no-ldconfig')}:{os.environ['PATH']}"})


def files(root):
    found = set()
    for folder, _, names in os.walk(root):
        found |= {os.path.relpath(os.path.join(folder, name), root) for name in names}
    return {name for name in found if not name.startswith(('var/', 'no-ldconfig/'))}


def new_root(top):
    root = os.path.join(top, 'root')
    for folder in ('var/lib/dpkg/updates', 'var/lib/dpkg/info', 'var/log', 'no-ldconfig'):
        os.makedirs(os.path.join(root, folder))
    for name in ('status', 'available'):
        with open(os.path.join(root, 'var/lib/dpkg', name), 'w', encoding='utf-8'):
            pass
    # the scripts call ldconfig, which must leave this machine's cache alone
    call = os.path.join(root, 'no-ldconfig', 'ldconfig')
    with open(call, 'w', encoding='utf-8') as script:
        script.write('#!/bin/sh\n')
    os.chmod(call, 0o755)
    return root


def main():
    build, cpack = sys.argv[1:]
    checks = Checks()
    if not all(shutil.which(word) for word in ('dpkg', 'dpkg-deb', 'dpkg-shlibdeps')):
        print('skipped: this is no Debian system, or dpkg-dev is missing')
        sys.exit(0)
    with tempfile.TemporaryDirectory() as top:
        # packed as it stands: Ninja is the generator for which cpack does not build anew first
        checks.run('cpack', [cpack, '-G', 'DEB', '-D', 'CPACK_CMAKE_GENERATOR=Ninja', '--config', os.path.join(build, 'CPackConfig.cmake'),
                             '-B', os.path.join(top, 'packed')], folder=top)
        package = several(os.path.join(top, 'packed'), '.deb')[0]
        control = checks.run('control', ['dpkg-deb', '--field', package])
        for line in (r'Package: fleck', r'Version: \d+\.\d+\.\d+', r'Depends: .*\blibc6 .*\blibcairo2 .*\blibgsl27 '
                     r'.*\blibpng16-16 .*\blibtiff6 ', r'Section: science', r'Maintainer: .+ <.+@.+>',
                     r'Description: measures speckled prints from scans'):
            checks.expect('control', re.search('^' + line, control, re.M), f'no line {line}: {control}')
        held = checks.run('contents', ['dpkg-deb', '--contents', package])
        checks.expect('contents', not re.search(r' root/root .*\./(?!usr/)\S', held), held)
        for line in held.splitlines():
            checks.expect('contents', line.split()[1] == 'root/root', line)
            checks.expect('contents', line.startswith(('drwxr-xr-x', '-rw-r--r--', 'lrwxrwxrwx')) or
                          '/bin/' in line, line)

        root = new_root(top)
        before = files(root)
        dpkg(checks, 'install', root, ['--install', package])
        status = dpkg(checks, 'install', root, ['--status', 'fleck'])
        checks.expect('install', 'Status: install ok installed' in status, status)
        usr = os.path.join(root, 'usr')
        library = {'LD_LIBRARY_PATH': os.path.join(usr, 'lib')}
        program = os.path.join(usr, 'bin', 'fleck')
        version = checks.run('run', [program, '--version'], library)
        checks.expect('run', re.fullmatch(r'fleck \d+\.\d+\.\d+\n', version), version)
        linked = checks.run('run', ['ldd', program], library)
        checks.expect('run', f'{usr}/' in linked and build not in linked, linked)
        tile = os.path.join(top, 'tile.png')
        checks.run('run', [program, 'phantom', 'discs', '-o', tile, '--width', '4', '--height', '4'], library)
        out = checks.run('run', [program, 'measure', tile, '-q', '--json', '--simulations', '0'], library)
        checks.expect('run', '"dots"' in out, out)
        dpkg(checks, 'remove', root, ['--purge', 'fleck'])
        checks.expect('remove', files(root) == before, files(root) - before)
        left = subprocess.run(['dpkg', f'--root={root}', '--status', 'fleck'], check=False,
                              stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        checks.expect('remove', left.returncode != 0, left.stdout)
    checks.end()


main()
