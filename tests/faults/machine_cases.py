#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Two calls at once, files that change, full disks, ids and cells that mean harm:
`machine_cases.py PROGRAM LIBRARY [all] [CASE ...]` with LIBRARY libfail_nth.so. Each function of CASES
is one case; with `all` a scan changes before every single open and read, a disk has every size in pages and
the address space every size in steps, not one in 11.
"""
import csv
import os
import re
import resource
import shutil
import signal
import stat
import subprocess
import sys
import tempfile
import time
from collections import Counter

from PIL import Image

from support import differences, files, make_batch, speckle, whole

WORDS = ['measure', 'batch.csv', '-o', 'run', '--simulations', '0', '--jobs', '1']


class World:
    def __init__(self, program, library, step):
        self.step = step
        self.program, self.library = program, library
        self.folder = None
        self.wrong = []

    def check(self, holds, text):
        if not holds:
            self.wrong.append(text)

    def start(self, words, environment=None, **more):
        return subprocess.Popen([self.program, *words], cwd=self.folder, text=True, errors='replace',
                                env=os.environ | (environment or {}), stdout=subprocess.PIPE,
                                stderr=subprocess.PIPE, **more)

    def call(self, words, environment=None, **more):
        process = self.start(words, environment, **more)
        out, said = process.communicate(timeout=120)
        return process.returncode, out, said

    def start_paused(self, words, at, fault=None):
        """Start a call that stops before the call `at` (KIND:N); None when it ended before."""
        environment = {'LD_PRELOAD': self.library, 'FAIL_NTH_PAUSE': at}
        if fault:
            environment['FAIL_NTH'] = fault
        process = self.start(words, environment)
        while True:
            pid, status = os.waitpid(process.pid, os.WUNTRACED)
            if os.WIFSTOPPED(status):
                return process
            process.returncode = os.waitstatus_to_exitcode(status)
            process.communicate()
            return None

    @staticmethod
    def go_on(process):
        os.kill(process.pid, signal.SIGCONT)
        out, said = process.communicate(timeout=120)
        return process.returncode, out, said


def two_at_once(world):
    make_batch(world.folder, 3)
    code, _, said = world.call(WORDS)
    assert code == 0, said
    clean = files(f'{world.folder}/run')
    for at in ('sync:2', 'rename:2', 'rename:5', 'rename:8'):
        shutil.rmtree(f'{world.folder}/run')
        first = world.start_paused(WORDS, at)
        for more in ([], ['--resume']):
            before = files(f'{world.folder}/run')
            code, out, said = world.call(WORDS + more)
            world.check(code == 2, f'{at}: the second call {more} ends with {code}')
            world.check('fleck: run: is being written to by another call; ' in said,
                        f'{at}: the second call says {said!r}')
            world.check(files(f'{world.folder}/run') == before, f'{at}: the second call has written')
        code, _, said = world.go_on(first)
        world.check(code == 0, f'{at}: the first call ends with {code}: {said}')
        world.wrong += [f'{at}: {one}' for one in differences(f'{world.folder}/run', clean)]
    # the lock goes with the process, however it ends
    shutil.rmtree(f'{world.folder}/run')
    first = world.start_paused(WORDS, 'rename:4')
    first.kill()
    first.communicate()
    code, _, said = world.call(WORDS + ['--resume'])
    world.check(code == 0, f'after a killed call: {code}: {said}')
    world.wrong += [f'after a killed call: {one}' for one in differences(f'{world.folder}/run', clean)]
    # many at once, none paused: one at least wins, all others say so
    shutil.rmtree(f'{world.folder}/run')
    crowd = [world.start(WORDS + ['--resume']) for _ in range(6)]
    codes = []
    for process in crowd:
        _, said = process.communicate()
        codes.append(process.returncode)
        world.check(process.returncode == 0 or 'is being written to by another call' in said, said)
    world.check(0 in codes and set(codes) <= {0, 2}, f'six at once end with {codes}')
    world.wrong += [f'six at once: {one}' for one in differences(f'{world.folder}/run', clean)]


def changing_scan(world):
    """A scan is replaced, cut, or removed before any open or read: old record, new record, or failure."""
    old, new = f'{world.folder}/old.png', f'{world.folder}/new.png'
    Image.fromarray(speckle(64, 64, 1)).save(old, dpi=(600, 600))
    Image.fromarray(255 - speckle(64, 64, 2)).save(new, dpi=(600, 600))
    words = ['measure', 'scan.png', '-o', 'run', '--simulations', '0', '--jobs', '1', '-q']
    right = set()
    for source in (old, new):
        shutil.copyfile(source, f'{world.folder}/scan.png')
        code, _, said = world.call(words)
        assert code == 0, said
        right.add(files(f'{world.folder}/run')['records/scan.json'])
        shutil.rmtree(f'{world.folder}/run')

    def replaced(path):
        shutil.copyfile(new, path)

    def other_file(path):
        shutil.copyfile(new, path + '.tmp')
        os.rename(path + '.tmp', path)

    def cut(path):
        os.truncate(path, os.path.getsize(path) // 2)

    def other_size(path):
        Image.fromarray(speckle(48, 80, 3)).save(path, format='PNG', dpi=(600, 600))

    tried = caught = 0
    for memory in ('100M', '1K'):
        for kind in ('open', 'read'):
            for act in (replaced, other_file, cut, other_size, os.remove):
                # there are ten times as many reads as opens
                step = world.step * (9 if kind == 'read' and world.step > 1 else 1)
                number = 1 - step + tried % step
                while True:
                    number += step
                    shutil.copyfile(old, f'{world.folder}/scan.png')
                    shutil.rmtree(f'{world.folder}/run', ignore_errors=True)
                    process = world.start_paused(words + ['--memory', memory], f'{kind}:{number}')
                    if process is None:
                        break
                    act(f'{world.folder}/scan.png')
                    code, _, said = world.go_on(process)
                    tried += 1
                    name = f'{act.__name__} before {kind} {number} with --memory {memory}'
                    world.check(code in (0, 1), f'{name}: exit code {code}: {said}')
                    found = files(f'{world.folder}/run')
                    record = found.get('records/scan.json')
                    caught += code == 1
                    if code == 1:
                        world.check(record is None and 'failures.csv' in found,
                                    f'{name}: a failure with a record')
                    elif record not in right and act is not other_size:
                        world.wrong.append(f'{name}: a record of neither file')
    print(f'    {tried} times, {caught} caught, the others before or after all reading')


def disk(world, size):
    """A disk of its own below the world's folder; None where none can be mounted."""
    place = f'{world.folder}/disk'
    os.makedirs(place, exist_ok=True)
    mounted = subprocess.run(['mount', '-t', 'tmpfs', '-o', f'size={size}k', 'tmpfs', place],
                             capture_output=True).returncode == 0
    if not mounted:
        print('    no tmpfs can be mounted here; every_fault.py fills the disk by its library')
    return place if mounted else None


def full_disk(world):
    """Disks of every size from almost nothing to enough: the run stops, is whole, and goes on."""
    words = ['measure', 'batch.csv', '-o', 'disk/run', '--simulations', '0']
    make_batch(world.folder, 3)
    code, _, said = world.call(WORDS)
    assert code == 0, said
    clean = files(f'{world.folder}/run')
    stopped = 0
    for size in range(4, 400, 4 * world.step):
        place = disk(world, size)
        if place is None:
            return
        try:
            code, _, said = world.call(words)
            stopped += code == 3
            world.check(code == 0 or code == 3 and ('go on with --resume' in said or 'cannot be' in said),
                        f'{size} KiB: {code}: {said}')
            if os.path.exists(f'{place}/run'):
                for name, data in files(f'{place}/run').items():
                    world.check('.part' not in name, f'{size} KiB: {name} is left')
                    world.check(whole(name, data) is None, f'{size} KiB: {name} is not whole')
            subprocess.run(['mount', '-o', 'remount,size=8m', place], check=True)
            if code == 0:
                break
            code, _, said = world.call(words + ['--resume'])
            world.check(code == 0, f'{size} KiB, after room was made: {code}: {said}')
            world.wrong += [f'{size} KiB: {one}' for one in differences(f'{place}/run', clean)]
        finally:
            subprocess.run(['umount', place], check=False)
    world.check(stopped > 0 and code == 0, 'no disk was full, or all were')
    print(f'    {stopped} sizes too small, then enough with {size} KiB')


def read_only_disk(world):
    make_batch(world.folder, 2)
    place = disk(world, 8192)
    if place is None:
        return
    try:
        assert world.call(['measure', 'batch.csv', '-o', 'disk/old', '--simulations', '0'])[0] == 0
        before = files(place)
        subprocess.run(['mount', '-o', 'remount,ro', place], check=True)
        for words in (['measure', 'batch.csv', '-o', 'disk/new'], ['measure', 'batch.csv', '-o', 'disk/old', '--simulations', '0', '--resume'],
                      ['measure', 's0.png', '--pictures', '-o', 'disk/pictures'],
                      ['compare', 'disk/old', '--by', 'paste_pct', '-o', 'disk/compare.json'],
                      ['report', 'disk/old', '-o', 'disk/report.html'], ['report', 'disk/old'],
                      ['phantom', 'discs', '-o', 'disk/p.png'],
                      ['calibrate', '--paper', 's0.png', '-o', 'disk/cal.json']):
            code, _, said = world.call(words)
            world.check(code == 3 and said.startswith('fleck: ') and 'cannot be' in said,
                        f'{words} on a read-only disk: {code}: {said}')
        world.check(files(place) == before, 'a read-only disk has changed')
    finally:
        subprocess.run(['umount', place], check=False)


def little_address_space(world):
    """From what loads no library to enough: the machine's fault (3) with a message, never a crash."""
    Image.fromarray(speckle(64, 64, 1)).save(f'{world.folder}/a.png', dpi=(600, 600))
    Image.fromarray(speckle(64, 64, 2)).save(f'{world.folder}/b.tif', dpi=(600, 600), compression='tiff_lzw')
    codes = Counter()
    for kib in range(24000, 60000, 10 * min(world.step, 5)):
        shutil.rmtree(f'{world.folder}/run', ignore_errors=True)
        code, _, said = world.call(['measure', 'a.png', 'b.tif', '-o', 'run', '--simulations', '0', '--jobs', '1'],
                                   preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (kib << 10, kib << 10)))
        if code == 127:
            continue # the loader's, before main
        codes[code] += 1
        world.check(code in (0, 3) and 'fleck: ' in said, f'{kib} KiB of addresses: {code}: {said}')
        if codes[0] > 20:
            break
    print(f'    exit codes {dict(codes)}')


def full_stdout(world):
    make_batch(world.folder, 4)
    assert world.call(WORDS)[0] == 0
    for words in (['measure', 's0.png'], ['measure', 's0.png', '--json'], ['describe'], ['--version'],
                  ['--help'], ['measure', '--help'], ['compare', 'run', '--by', 'paste_pct'],
                  ['compare', 'run', '--by', 'paste_pct', '--json'], ['locate', 's0.png'],
                  ['relate', 'run', '--factors', 'paste_pct'], ['edition', 'run', '--order', 'paste_pct'],
                  ['plan', '--factors', 'paste_pct=2,3', '--repeats', '2']):
        if world.call(words)[0] != 0:
            continue # what fails anyway is not what is asked here
        with open('/dev/full', 'w') as full:
            process = subprocess.run([world.program, *words], cwd=world.folder, stdout=full,
                                     stderr=subprocess.PIPE, text=True)
        world.check(process.returncode == 3 and 'fleck: stdout: ' in process.stderr,
                    f'{words} into a full disk: {process.returncode}: {process.stderr}')


def ids_stay_inside(world):
    ids = ['..', '../../out', '/etc/passwd', '.', 'a/../../b', 'a\nb', 'a\x01b', 'CON', 'nul.txt', 'run.json',
           '.hidden', '~', '%2e%2e', 'a' * 300, 'ä' * 200, '-o', 'records', 'a\\b', 'a:b', ' ', 'x ', 'A', 'a']
    os.makedirs(f'{world.folder}/deep/er')
    Image.fromarray(speckle(64, 64, 1)).save(f'{world.folder}/deep/er/s.png', dpi=(600, 600))
    with open(f'{world.folder}/deep/er/m.csv', 'w', newline='') as table:
        writer = csv.writer(table)
        writer.writerow(['scan', 'patch'])
        writer.writerows(['s.png', one] for one in ids)
    before = set(files(world.folder))
    code, _, said = world.call(['measure', 'deep/er/m.csv', '-o', 'deep/er/run', '--simulations', '0',
                                '--pictures'])
    world.check(code in (0, 1), f'harmful ids: {code}: {said}')
    new = set(files(world.folder)) - before
    for name in new:
        world.check(name.startswith('deep/er/run/'), f'{name} was written')
        world.check(os.path.basename(name) not in ('.', '..') and '/.' not in name, f'{name} hides')
    records = [name for name in new if '/records/' in name]
    with open(f'{world.folder}/deep/er/run/patches.csv', newline='') as table:
        rows = list(csv.DictReader(table))
    world.check(len(records) == len(rows), f'{len(records)} records for {len(rows)} patches')
    world.check(len(rows) == len(ids) or code == 1, 'patches were lost without a word')
    # no id holds a NUL
    with open(f'{world.folder}/nul.csv', 'wb') as table:
        table.write(b'scan,patch\ndeep/er/s.png,a\0b\n')
    code, _, said = world.call(['measure', 'nul.csv', '-o', 'nul', '--simulations', '0'])
    world.check(code in (1, 2) and 'NUL' in said, f'an id with NUL: {code}: {said}')


def names_are_links(world):
    """A folder of RUN that is a link elsewhere is the user's own doing; a record that is one is replaced."""
    make_batch(world.folder, 1)
    with open(f'{world.folder}/precious', 'w') as file:
        file.write('precious')
    os.makedirs(f'{world.folder}/run/records')
    os.symlink('../../precious', f'{world.folder}/run/records/P0.json')
    os.symlink('../precious', f'{world.folder}/run/patches.csv')
    code, _, said = world.call(WORDS)
    world.check(code == 0, f'links in the run: {code}: {said}')
    with open(f'{world.folder}/precious') as file:
        world.check(file.read() == 'precious', 'a file was written through a link')


def nothing_is_open_before_its_time(world):
    make_batch(world.folder, 1)
    for mask in (0o022, 0o002, 0o077, 0o000):
        shutil.rmtree(f'{world.folder}/run', ignore_errors=True)
        process = None
        old = os.umask(mask)
        try:
            for at in ('sync:2', 'rename:2'):
                shutil.rmtree(f'{world.folder}/run', ignore_errors=True)
                process = world.start_paused(WORDS, at)
                parts = [name for name in files(f'{world.folder}/run') if '.part' in name]
                world.check(len(parts) == 1, f'{at}: {parts} at once')
                for name in parts if at.startswith('sync') else []:
                    mode = os.stat(f'{world.folder}/run/{name}').st_mode & 0o777
                    world.check(mode & 0o077 == 0, f'{name} has the mode {mode:o}')
                world.go_on(process)
        finally:
            os.umask(old)
        for name in files(f'{world.folder}/run'):
            mode = stat.S_IMODE(os.stat(f'{world.folder}/run/{name}').st_mode)
            world.check(mode == 0o666 & ~mask, f'{name} has the mode {mode:o} under umask {mask:o}')


def cells_are_no_formulas(world):
    """fleck's own cells never begin a formula; the user's are carried untouched, and named."""
    Image.fromarray(speckle(64, 64, 1)).save(f'{world.folder}/=cmd().png', dpi=(600, 600))
    with open(f'{world.folder}/m.csv', 'w', newline='') as table:
        writer = csv.writer(table)
        writer.writerow(['scan', 'patch', 'note', 'load', '=head'])
        writer.writerow(['=cmd().png', '=1+2', '=HYPERLINK("x")', '-5', 'x'])
        writer.writerow(['=cmd().png', '-7', '', '+5.5', 'y'])
        writer.writerow(['gone.png', '@gone', '', '1', 'z'])
    code, _, said = world.call(['measure', 'm.csv', '-o', 'run', '--simulations', '0'])
    world.check(code == 1, f'formulas: {code}: {said}')
    with open(f'{world.folder}/run/patches.csv', newline='') as table:
        rows = list(csv.DictReader(table))
    world.check(rows[0]['note'] == '=HYPERLINK("x")' and rows[0]['load'] == '-5' and
                rows[1]['load'] == '+5.5', f'the user\'s cells are {rows[0]["note"]!r} and so on')
    for line in said.splitlines():
        world.check('load' not in line, f'numbers are called formulas: {line}')
    for column in ('note', '=head', 'id'):
        world.check(any(column in line and 'formula' in line for line in said.splitlines()),
                    f'column {column} is not named: {said}')
    with open(f'{world.folder}/run/failures.csv', newline='') as table:
        for row in csv.DictReader(table):
            world.check(row['message'][0] not in '=+-@', f'a message is a formula: {row}')


def terminal_is_left_alone(world):
    """Names and cells from others never reach the terminal as commands to it, nor fake a line."""
    mean = '\x1b[31m\x9b2J\x07\x7f\rx\nfleck: all is well'
    scan = f's{mean}.png'
    for number in range(6):
        Image.fromarray(speckle(64, 64, number, 3 + number // 3)).save(f'{world.folder}/s{number}{mean}.png', dpi=(600, 600))
    with open(f'{world.folder}/{scan}', 'w') as file:
        file.write('no scan')
    with open(f'{world.folder}/m{mean}.csv', 'w', newline='') as table:
        writer = csv.writer(table)
        writer.writerow(['scan', 'patch', f'group{mean}', 'load', f'=n{mean}'])
        for number in range(6):
            writer.writerow([f's{number}{mean}.png', f'P{mean}{number}', f'g{mean}{number // 3}', number,
                             f'={mean}'])
        writer.writerow([f'gone{mean}.png', f'gone{mean}', 'a', 1, ''])
    steps = ['scan', 'patch', f'w{mean}', '']
    with open(f'{world.folder}/bad{mean}.csv', 'w', newline='') as table:
        csv.writer(table).writerows([steps, [mean] * 4])
    tried = 0
    for words in (['measure', f'm{mean}.csv', '-o', f'run{mean}', '--simulations', '0'],
                  ['measure', f's0{mean}.png', '--simulations', '0'], ['measure', scan],
                  ['measure', f'bad{mean}.csv'], ['measure', f'gone{mean}.csv'], ['locate', f's0{mean}.png'],
                  ['locate', scan], ['calibrate', '--scan', f's0{mean}.png', '--steps', f'bad{mean}.csv'],
                  ['calibrate', '--paper', f's0{mean}.png', '--ink', f's1{mean}.png'],
                  ['compare', f'run{mean}', '--by', f'group{mean}'], ['compare', f'run{mean}', '--by', mean],
                  ['compare', f'run{mean}', '--by', f'group{mean}', '--groups', f'g{mean}0,{mean}'],
                  ['relate', f'run{mean}', '--factors', f'load,group{mean}'],
                  ['relate', f'run{mean}', '--factors', f'group{mean}'], ['relate', f'run{mean}', '--factors', 'load'],
                  ['edition', f'run{mean}', '--order', f'group{mean}'], ['edition', f'run{mean}', '--order', 'load'],
                  ['edition', f'run{mean}', '--order', 'load', '--reference', f'P{mean}0'],
                  ['contact', f's0{mean}.png', f's1{mean}.png', '--load', '5'], ['plot', f'run{mean}', '--by', f'group{mean}'],
                  ['report', f'run{mean}', '--by', f'group{mean}', '-o', f'page{mean}.html'], ['report', mean],
                  ['describe', mean], [mean], ['measure', f'--{mean}'], ['measure', '--ppi', mean],
                  ['phantom', mean], ['phantom', 'discs', '-o', f'nowhere{mean}/p.png']):
        # as bytes: Python's text turns carriage returns into newlines
        done = subprocess.run([world.program, *words], cwd=world.folder, capture_output=True, timeout=120)
        tried += 1
        world.check(done.returncode in (0, 1, 2, 3), f'{words[0]}: exit code {done.returncode}')
        for data, stream in (done.stdout, 'stdout'), (done.stderr, 'stderr'):
            text = data.decode(errors='replace')
            bad = [line for line in text.split('\n') if re.search('[\x00-\x08\x0b-\x1f\x7f-\x9f]', line)]
            world.check(not bad, f'{words[0]} {words[-1]!r}: {stream}: {bad[:1]}')
            world.check('\nfleck: all is well' not in text, f'{words[0]} {words[-1]!r}: {stream} has a false line')
    print(f'    {tried} calls')


CASES = [two_at_once, changing_scan, full_disk, read_only_disk, little_address_space, full_stdout,
         ids_stay_inside, names_are_links, nothing_is_open_before_its_time, cells_are_no_formulas,
         terminal_is_left_alone]


def main():
    chosen = sys.argv[3:]
    world = World(os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2]), 1 if 'all' in chosen else 11)
    chosen = [name for name in chosen if name != 'all']
    for case in CASES:
        if chosen and case.__name__ not in chosen:
            continue
        begun, before = time.monotonic(), len(world.wrong)
        with tempfile.TemporaryDirectory() as folder:
            world.folder = folder
            case(world)
        print(f'{case.__name__}: {len(world.wrong) - before} wrong, {time.monotonic() - begun:.0f} s',
              flush=True)
        for line in world.wrong[before:][:40]:
            print('  WRONG', line)
    return 1 if world.wrong else 0


if __name__ == '__main__':
    sys.exit(main())
