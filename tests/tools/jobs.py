#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Small jobs of every command, run under a tool: `jobs.py PROGRAM CALL ...`.

PROGRAM draws the inputs; CALL is what runs the jobs: the program of another build, or valgrind and its
options before the program. Each must end with exit code 0, and without a word of the tool on stderr."""
import os
import re
import subprocess
import sys
import tempfile

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), '..', 'faults'))
from every_fault import JOBS, make_inputs # noqa: E402

# what a tool says, each in its own words
COMPLAINT = re.compile(r'ThreadSanitizer|==\d+==')
# as in samples/draw.sh, but small; one scan with two regions, so that patches share threads too
TILES = [('t1.png', '0.35', '0.2'), ('t2.png', '0.30', '0.3'), ('t3.png', '0.25', '0.4')]
THREADED = {
    'pooled': ['measure', 'tiles.csv', 'c.jpg', '-o', '{o}/run', '--threshold', 'pooled', '--jobs', '4',
               '--simulations', '39'],
    'pooled again': ['measure', 'tiles.csv', '-o', '{o}/run', '--threshold', 'pooled', '--jobs', '4',
                     '--simulations', '39', '--resume'],
    'little memory': ['measure', 'tiles.csv', '-o', '{o}/run', '--jobs', '4', '--memory', '1K',
                      '--simulations', '39', '--pictures'],
    'one scan': ['measure', 't1.png', '--jobs', '4', '--simulations', '39'],
    'groups': ['compare', 'four', '--by', 'group', '--json'],
}


def draw(program, folder):
    make_inputs(folder)
    for number, (name, diameter, coverage) in enumerate(TILES):
        subprocess.run([program, 'phantom', 'discs', '-o', name, '--width', '6', '--height', '6', '--ppi', '1200',
                        '--diameter', diameter, '--gsd', '1.5', '--coverage', coverage, '--softness', '0.012',
                        '--noise', '0.012', '--seed', str(number + 1)], cwd=folder, check=True, capture_output=True)
    with open(f'{folder}/tiles.csv', 'w', encoding='utf-8') as table:
        table.write('scan,patch,region\n')
        for name, _, _ in TILES:
            table.write(f'{name},{name[:2]}a,0 0 3 6\n{name},{name[:2]}b,3 0 3 6\n')
    subprocess.run([program, 'measure', 'four.csv', '-o', 'four', '--simulations', '0', '-q'], cwd=folder,
                   check=True, capture_output=True)


def main():
    program, call = os.path.abspath(sys.argv[1]), sys.argv[2:]
    call[-1] = os.path.abspath(call[-1])
    jobs = {name: words for name, (words, _) in JOBS.items()} | THREADED
    wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        draw(program, folder)
        for name, words in jobs.items():
            out = f'{folder}/{name.split()[0]}'
            os.makedirs(out, exist_ok=True)
            done = subprocess.run([*call, *(word.format(o=out) for word in words)], cwd=folder,
                                  capture_output=True, text=True, errors='replace', check=False)
            if done.returncode != 0 or COMPLAINT.search(done.stderr):
                wrong += 1
                print(f'WRONG {name}: exit code {done.returncode}\n{done.stderr[:6000]}')
    print(f'{len(jobs)} jobs, {wrong} went wrong')
    return 1 if wrong else 0


if __name__ == '__main__':
    sys.exit(main())
