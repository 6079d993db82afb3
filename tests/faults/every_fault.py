#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Fail every call of a kind in turn: `every_fault.py PROGRAM LIBRARY [RUNS] [JOB ...]`.

LIBRARY is libfail_nth.so (fail_nth.c). Each small job (see JOBS) runs once for each N of each kind of
call; where there are more than RUNS calls (default 400), every k-th, k the next prime that keeps to it.
Each run must end by itself with exit code 0, 1 or 3, or 2 where a file of the call could not be opened
or read, and say why; nothing half-written and no other number may be left; after a failed
measurement, --resume must end at the same bytes as a run never disturbed.
"""
import errno
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter

import numpy as np
from PIL import Image

from support import comparable, files, speckle, whole

KINDS = ('alloc', 'open', 'read', 'write', 'sync', 'rename', 'thread')
# exit codes that a fault of the kind may give: a scan that cannot be read fails alone (1); a table or
# a calibration that cannot be read makes the call wrong (2); all else is the machine's (3)
CODES = {kind: {0, 3} for kind in KINDS} | {'open': {0, 1, 2, 3}, 'read': {0, 1, 2, 3}}
# warnings that a part which was not asked for is left out, null in the file, as its scan or table cannot
# be read
GIVEN_UP = re.compile(r'no-blank-value|sizes-missing|pattern-scans: .*((cannot be|may not be) (read|opened)|is (not|damaged|a damaged) )')
# libraries that crash or abort by themselves in places when memory ends; what RUN holds must be whole all the
# same, and be gone on with
FRAGILE = ('libtiff.so', 'libfontconfig.so', 'libcairo.so', 'libfftw3.so')
CRASHES = (-signal.SIGSEGV, -signal.SIGABRT)
LAST_WORDS = re.compile(r'fftw: .*|fleck: .*/cairo-[a-z-]+\.c:.*|\*\*\* longjmp causes uninitialized stack frame \*\*\*.*')
# cairo leaves a letter out when memory ends in a font, and says nothing; where the stack is spoilt no library is told
DRAWING = ('locate', 'pictures', 'report')
# every second time all later calls fail too: a disk that stays full, a folder that is read-only
PERSISTENT = {'write': '+', 'open': f'+:{errno.EROFS}', 'alloc': '+'}
MESSAGE = re.compile(r'fleck: .+: .+; .+|fleck: .+: warning [a-z-]+: .+'
                     r'|fleck: .+: \d+ patches, [0-9.]+ MB')
SECONDS = 60


def make_inputs(folder):
    Image.fromarray(speckle(64, 64, 1)).save(f'{folder}/a.png', dpi=(600, 600))
    Image.fromarray(speckle(64, 64, 2)).save(f'{folder}/b.tif', dpi=(600, 600), compression='tiff_lzw')
    with open(f'{folder}/two.csv', 'w') as table:
        table.write('scan,patch,paste_pct\na.png,A,2.5\nb.tif,B,3\n')
    rgb = np.stack([speckle(64, 64, 3)] * 3, axis=-1)
    Image.fromarray(rgb).save(f'{folder}/c.jpg', dpi=(600, 600), quality=92)
    # four speckled patches on a sheet of 25 mm at 300 ppi
    sheet = np.full((300, 300), 225, np.uint8)
    for number, (x, y) in enumerate([(40, 40), (170, 40), (40, 170), (170, 170)]):
        sheet[y:y + 90, x:x + 90] = speckle(90, 90, 10 + number)
    Image.fromarray(sheet).save(f'{folder}/sheet.png', dpi=(300, 300))
    rng = np.random.default_rng(5)
    paper = np.clip(225 + rng.normal(0, 2, (128, 128)), 0, 255).astype(np.uint8)
    Image.fromarray(paper).save(f'{folder}/paper.png', dpi=(600, 600))
    Image.fromarray(paper // 4).save(f'{folder}/ink.png', dpi=(600, 600))
    with open(f'{folder}/four.csv', 'w') as table:
        table.write('scan,patch,group,paste_pct\n')
        for number in range(4):
            Image.fromarray(speckle(64, 64, 20 + number, 3 + number // 2)).save(
                f'{folder}/p{number}.png', dpi=(600, 600))
            table.write(f'p{number}.png,P{number},{"ab"[number // 2]},{2 + number}\n')


# name: (words of the call, what it writes); {o} is the folder of the run at hand
JOBS = {
    'measure': (['measure', 'two.csv', '-o', '{o}/run', '--simulations', '19', '--jobs', '1'], 'run'),
    'threads': (['measure', 'two.csv', '-o', '{o}/run', '--simulations', '19', '--jobs', '4'], 'run'),
    'spool': (['measure', 'two.csv', 'c.jpg', '-o', '{o}/run', '--simulations', '0', '--jobs', '1',
               '--threshold', 'pooled', '--memory', '1K'], 'run'),
    'resume': (['measure', 'two.csv', '-o', '{o}/run', '--simulations', '0', '--jobs', '1', '--resume'],
               'run'),
    'pictures': (['measure', 'two.csv', '-o', '{o}/run', '--simulations', '0', '--jobs', '1',
                  '--pictures'], 'run'),
    'compare': (['compare', 'four', '--by', 'group', '-o', '{o}/compare.json'], None),
    'relate': (['relate', 'four', '--factors', 'paste_pct', '-o', '{o}/relate.json'], None),
    'edition': (['edition', 'four', '--order', 'paste_pct', '-o', '{o}/edition.json'], None),
    'table': (['edition', 'four', '--order', 'paste_pct', '-o', '{o}/edition.csv'], None),
    'contact': (['contact', 'p0.png', '--load', '5', '-o', '{o}/contact.json'], None),
    'report': (['report', 'four', '-o', '{o}/report.html'], None),
    'phantom': (['phantom', 'discs', '--width', '5', '--height', '5', '-o', '{o}/phantom.png'], None),
    'locate': (['locate', 'sheet.png', '-o', '{o}/layout.csv'], None),
    'calibrate': (['calibrate', '--paper', 'paper.png', '--ink', 'ink.png', '-o', '{o}/cal.json'], None),
}


class Trial:
    def __init__(self, program, library, folder):
        self.program, self.library, self.folder = program, library, folder

    def call(self, job, out, fault=None, more=(), shim=True):
        os.makedirs(out, exist_ok=True)
        counts = f'{self.folder}/counts'
        if os.path.exists(counts):
            os.remove(counts)
        environment = dict(os.environ)
        if shim:
            environment |= {'LD_PRELOAD': self.library, 'FAIL_NTH_COUNTS': counts}
        if fault:
            environment['FAIL_NTH'] = fault
        words = [word.format(o=out) for word in JOBS[job][0]] + list(more)
        done = subprocess.run([self.program, *words], cwd=self.folder, env=environment,
                              capture_output=True, text=True, errors='replace', timeout=SECONDS)
        told = Counter()
        leaks, self.crash = [], None
        if os.path.exists(counts):
            with open(counts) as lines:
                for line in lines:
                    parts = line.split()
                    if parts[0] == 'crash':
                        self.crash = parts[1]
                    elif parts[0] == 'leak':
                        leaks.append(tuple(parts[1:]))
                    else:
                        told[parts[0]] = int(parts[1])
        return done, told, leaks


def check_files(code, said, out, clean_out, clean, pooled=False):
    """
    Complaints about what is left in a folder. code is negative for a crash. pooled: a scan that fails
    changes the threshold of all others.
    """
    wrong = []
    found = files(out)
    if code == 1 and pooled:
        return wrong
    for name, data in found.items():
        if '.part' in name:
            if code >= 0:
                wrong.append(f'{name} is left')
            continue
        why = whole(name, data)
        if why:
            wrong.append(f'{name} is not whole: {why}')
        elif name.endswith('run.json') and json.loads(data)['finished'] is None:
            if code != 3 and code not in CRASHES:
                wrong.append('run.json is not finished')
        elif code in (0, 3, *CRASHES) or '/records/' in name or '/dots/' in name or '/pictures/' in name:
            if name not in clean:
                wrong.append(f'{name} is not there without the fault')
            elif code == 1 and name.endswith('contact-sheet.png') or code == 0 and name == 'report.html':
                continue # without the scan that failed; a page does without a run.json it cannot read
            elif GIVEN_UP.search(said) or name.endswith('preview.png'):
                continue
            elif comparable(name, data, out) != comparable(name, clean[name], clean_out):
                wrong.append(f'{name} has other content')
        elif name.endswith('patches.csv'):
            # a manifest that cannot be read leaves a table without its columns and rows
            if 'two.csv: ' not in said and not set(data.splitlines()) <= set(clean[name].splitlines()):
                wrong.append(f'{name} has other rows')
    if code == 0 and set(found) != set(clean):
        wrong.append(f'{sorted(set(clean) - set(found))} are missing')
    if (code == 1 and 'run/run.json' in found and 'run/failures.csv' not in found and
            'has no picture' not in said and 'contact-sheet.png: ' not in said):
        wrong.append('exit code 1 without failures.csv')
    return wrong


def next_prime(number):
    while any(number % i == 0 for i in range(2, int(number ** 0.5) + 1)):
        number += 1
    return number


def numbers(count, runs):
    """All of 1 to count, or about `runs` of them in steps of a prime."""
    if count <= runs:
        return list(range(1, count + 1))
    step = next_prime(max(2, -(-count // runs)))
    return list(range(1, count + 1, step))


def run_job(trial, job, runs, kinds):
    clean_out = f'{trial.folder}/clean-{job}'
    done, told, clean_leaks = trial.call(job, clean_out)
    assert done.returncode == 0, done.stderr
    clean, clean_stdout = files(clean_out), done.stdout.replace(clean_out, '')
    report, leaked, faults, crashes = {}, Counter(), [], Counter()
    for kind in kinds:
        chosen = numbers(told[kind], runs)
        codes = Counter()
        for place, number in enumerate(chosen):
            out = f'{trial.folder}/out'
            shutil.rmtree(out, ignore_errors=True)
            fault = f'{kind}:{number}' + PERSISTENT.get(kind, '') * (number % 2 == 0)
            try:
                done, _, leaks = trial.call(job, out, fault)
            except subprocess.TimeoutExpired:
                faults.append(f'{job} {fault}: did not end')
                continue
            codes[done.returncode] += 1
            wrong = []
            crash = trial.crash or ('libcairo.so.2' if job in DRAWING else 'nothing known')
            crashed = done.returncode in CRASHES and kind == 'alloc' and crash.startswith(FRAGILE)
            if crashed:
                crashes[crash] += 1
            elif done.returncode not in CODES[kind]:
                wrong.append(f'exit code {done.returncode}')
            for line in done.stderr.splitlines():
                if not MESSAGE.fullmatch(line) and not (crashed and LAST_WORDS.fullmatch(line)):
                    wrong.append(f'message {line!r}')
            if done.returncode in (1, 2, 3) and not done.stderr:
                wrong.append('no message')
            if done.returncode >= 0 or crashed:
                wrong += check_files(done.returncode, done.stderr, out, clean_out, clean,
                                     'pooled' in JOBS[job][0])
            if (done.returncode == 0 and not GIVEN_UP.search(done.stderr) and
                    done.stdout.replace(out, '') != clean_stdout):
                wrong.append('stdout differs')
            for leak in set(leaks) - set(clean_leaks):
                leaked[leak[1]] += 1
                wrong.append(f'leak of {leak[0]} bytes taken at {leak[1]}')
            if JOBS[job][1] and not wrong and (crashed or done.returncode == 3 and place % 5 == 0):
                again, _, _ = trial.call(job, out, more=['--resume'], shim=False)
                if again.returncode != 0:
                    wrong.append(f'--resume gives {again.returncode}: {again.stderr}')
                else:
                    wrong += [f'after --resume: {one}'
                              for one in check_files(0, '', out, clean_out, clean)]
            faults += [f'{job} {fault}: {one}' for one in wrong]
        report[kind] = (told[kind], len(chosen), dict(sorted(codes.items())))
    return report, faults, crashes


def main():
    program, library = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
    runs = int(sys.argv[3]) if len(sys.argv) > 3 else 400
    jobs = sys.argv[4:] or list(JOBS)
    tried, all_faults = 0, []
    with tempfile.TemporaryDirectory() as folder:
        make_inputs(folder)
        trial = Trial(program, library, folder)
        subprocess.run([program, 'measure', 'four.csv', '-o', 'four', '--simulations', '0', '-q'],
                       cwd=folder, check=True, capture_output=True)
        for job in jobs:
            begun = time.monotonic()
            report, faults, crashes = run_job(trial, job, runs, KINDS)
            for kind, (calls, count, codes) in report.items():
                tried += count
                print(f'{job:10} {kind:7} {calls:6} calls, {count:4} failed in turn, exit codes {codes}')
            print(f'{job:10} {time.monotonic() - begun:.0f} s', flush=True)
            for library, times in crashes.items():
                print(f'{job:10} {times} crashes within {library}, which does not bear it; '
                      'RUN was whole and resumed')
            for line in faults[:20]:
                print('WRONG', line)
            all_faults += faults
    print(f'{tried} faults tried, {len(all_faults)} went wrong')
    return 1 if all_faults else 0


if __name__ == '__main__':
    sys.exit(main())
