#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Kill a batch at random moments and go on: `interrupted.py PROGRAM [COUNT] [SEED]`.

COUNT times (default 200) a batch of 20 patches is ended by SIGKILL, SIGINT or SIGTERM, some several
times in a row, then resumed to its end. What stands in the folder after each end must be whole, and the
run at last the same bytes as one never disturbed, times in run.json aside. SIGINT and SIGTERM must end
with 128 + their number and say how to go on, and leave no temporary file.
"""
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time

from support import comparable, differences, files, make_batch, whole


def call(program, folder, more=()):
    return subprocess.Popen([program, 'measure', 'batch.csv', '-o', 'run', '--simulations', '19', *more],
                            cwd=folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)


def check_between(folder, clean, may_have_parts):
    """Complaints about a folder whose run was ended: all whole, all records those of the clean run."""
    wrong = []
    for name, data in files(f'{folder}/run').items():
        if '.part' in name:
            if not may_have_parts:
                wrong.append(f'{name} is left')
            continue
        if os.stat(f'{folder}/run/{name}').st_mode & 0o777 != 0o644:
            wrong.append(f'{name} has other permissions')
        why = whole(name, data)
        if why:
            wrong.append(f'{name} is not whole: {why}')
        elif name == 'run.json' and json.loads(data)['finished'] is None:
            continue
        elif comparable(name, data) != comparable(name, clean[name]):
            wrong.append(f'{name} has other content')
    return wrong


def main():
    program = os.path.abspath(sys.argv[1])
    count = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    chance = random.Random(int(sys.argv[3]) if len(sys.argv) > 3 else 1)
    wrong, ends, swept = [], {}, 0
    os.umask(0o022)
    signal.signal(signal.SIGINT, signal.default_int_handler) # a shell's background job ignores it
    with tempfile.TemporaryDirectory() as folder:
        make_batch(folder, 20)
        begun = time.monotonic()
        process = call(program, folder)
        _, said = process.communicate()
        assert process.returncode == 0, said
        seconds = time.monotonic() - begun
        clean = files(f'{folder}/run')
        for number in range(count):
            shutil.rmtree(f'{folder}/run')
            trial = []
            for again in range(chance.choice((1, 1, 2, 3))):
                kind = (signal.SIGKILL, signal.SIGKILL, signal.SIGINT, signal.SIGTERM)[number % 4]
                process = call(program, folder, ['--resume'] if again else [])
                time.sleep(chance.uniform(0, 0.9 * seconds))
                process.send_signal(kind)
                _, said = process.communicate()
                code = process.returncode
                ends[(kind.name, code)] = ends.get((kind.name, code), 0) + 1
                if kind != signal.SIGKILL and code == 128 + kind:
                    if f'fleck: run: stopped by {kind.name}; ' not in said:
                        trial.append(f'{kind.name}: says {said!r}')
                elif code not in (0, -kind):
                    trial.append(f'{kind.name}: exit code {code}: {said}')
                if os.path.exists(f'{folder}/run'):
                    parts = [name for name in files(f'{folder}/run') if '.part' in name]
                    swept += len(parts)
                    # a signal before the program has begun to listen ends it as it does any other
                    trial += check_between(folder, clean, kind == signal.SIGKILL or code == -kind)
            process = call(program, folder, ['--resume'])
            _, said = process.communicate()
            if process.returncode != 0:
                trial.append(f'--resume: exit code {process.returncode}: {said}')
            trial += differences(f'{folder}/run', clean)
            wrong += [f'{number}: {one}' for one in trial]
    for line in wrong[:40]:
        print('WRONG', line)
    for (name, code), times in sorted(ends.items()):
        print(f'{name}: exit code {code} {times} times')
    print(f'{count} runs ended {sum(ends.values())} times, {swept} temporary files of killed calls removed '
          f'later, {len(wrong)} went wrong')
    return 1 if wrong else 0


if __name__ == '__main__':
    sys.exit(main())
