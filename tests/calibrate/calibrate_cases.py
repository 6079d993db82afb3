#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""fleck calibrate as its users meet it: `calibrate_cases.py PROGRAM`."""
import json
import os
import re
import subprocess
import sys
import tempfile

import numpy as np
from PIL import Image

failed = 0


def expect(case, good, what):
    global failed
    if not good:
        failed += 1
        print(f'FAIL {case}: {what}')


def save(path, reflectance, ppi=600, gamma=2.2):
    rng = np.random.default_rng(5)
    code = np.clip(reflectance, 0, 1) ** (1 / gamma) * 255
    code = np.clip(np.rint(code + rng.normal(0, 1, code.shape)), 0, 255).astype(np.uint8)
    Image.fromarray(code).save(path, dpi=(ppi, ppi))


def call(program, top, case, words, code, says='', shows=''):
    done = subprocess.run([program, 'calibrate', *words.split()], cwd=top, timeout=60,
                          capture_output=True, text=True)
    expect(case, done.returncode == code, f'exit code {done.returncode}: {done.stderr.strip()!r}')
    expect(case, re.search(says, done.stderr) is not None, f'said {done.stderr.strip()!r}, not {says!r}')
    expect(case, re.search(shows, done.stdout) is not None, f'showed {done.stdout!r}, not {shows!r}')
    for line in done.stderr.splitlines():
        expect(case, re.fullmatch(r'fleck: .+', line) is not None, f'a message without form: {line!r}')
    if code != 0:
        expect(case, done.stdout == '', f'stdout holds {done.stdout!r}')
        expect(case, re.search(r'(?m)^fleck: .+: .+; .+', done.stderr) is not None,
               f'no message says what to do: {done.stderr!r}')


def main(program):
    with tempfile.TemporaryDirectory() as top:
        density = np.arange(0.05, 1.96, 0.15)
        save(f'{top}/scale.png', np.repeat(10 ** -density, 60)[None, :].repeat(80, 0))
        save(f'{top}/paper.png', np.full((400, 400), 0.8))
        save(f'{top}/ink: 2,3.png', np.full((300, 300), 0.05))
        save(f'{top}/coarse.png', np.full((300, 300), 0.8), ppi=300)
        Image.fromarray(np.zeros((9, 9, 4), np.uint8), 'CMYK').save(f'{top}/cmyk.tif')
        with open(f'{top}/steps.csv', 'w', encoding='utf-8') as table:
            table.write('density\n' + ''.join(f'{d:.2f}\n' for d in density))
        with open(f'{top}/notes.txt', 'w', encoding='utf-8') as notes:
            notes.write('keep me\n')
        start = set(os.listdir(top))

        wrong = [
            ('nothing', '-o cal.json', 'nothing is to be calibrated'),
            ('ink alone', '--ink paper.png', '--paper'),
            ('blank without ink', '--paper paper.png --blank paper.png', '--ink'),
            ('strip without steps', '--paper paper.png --strip 1,2,3,4', '--steps'),
            ('length without scan', '--length 10:0,0,100,0', '--scan'),
            ('length without colon', '--scan paper.png --length 10,0,0,100,0', 'MM:X1'),
            ('length of three numbers', '--scan paper.png --length 10:0,0,100', 'MM:X1'),
            ('length of words', '--scan paper.png --length ten:0,0,100,0', 'MM:X1'),
            ('two papers', '--paper paper.png --paper paper.png', 'given twice'),
            ('a scan without a part', 'paper.png', 'what this scan shows'),
            ('strip of words', '--steps steps.csv --strip a,b,c,d', 'is no line'),
            ('cutoff 0', '--paper paper.png --cutoff 0', 'is no diameter'),
            ('ppi 0', '--paper paper.png --ppi 0', 'above 0'),
            ('page 0', '--paper paper.png --page 0', 'is no page'),
            ('option misspelt', '--papr paper.png', 'did you mean --paper'),
            ('same point', '--scan paper.png --length 10:5,5,5,5 --length 9:0,0,0,90 -o cal.json',
             r'paper\.png: .*same point'),
            ('steps without a scan', '--steps steps.csv -o cal.json', r'steps\.csv: step 1 names no scan'),
            ('another file has the name', '--paper paper.png -o notes.txt', r'notes\.txt: .*stays as it is'),
        ]
        for case, words, says in wrong:
            call(program, top, case, words, 2, says)
        bad = [
            ('no such scan', '--paper gone.png -o cal.json', r'gone\.png: '),
            ('no such table', '--steps gone.csv --scan scale.png -o cal.json', r'gone\.csv: '),
            ('table of one column', '--steps notes.txt --scan scale.png', r'notes\.txt: .*density'),
            ('no picture', '--paper notes.txt -o cal.json', r'notes\.txt: '),
            ('CMYK', '--paper cmyk.tif -o cal.json', r'cmyk\.tif: '),
            ('another ppi', '--steps steps.csv --scan scale.png --paper coarse.png -o cal.json',
             r'coarse\.png: the calibration was made for 8-bit grey at 600 ppi, this scan is 8-bit grey '
             r'at 300 ppi'),
            ('box outside', '--paper paper.png:1,1,20,2 -o cal.json', r'paper\.png: box 1,1,20,2 mm'),
            ('two steps too few', '--steps steps.csv --scan paper.png -o cal.json', r'steps\.csv: '),
        ]
        for case, words, says in bad:
            call(program, top, case, words, 1, says)
        expect('after faults', set(os.listdir(top)) == start, f'left {set(os.listdir(top)) - start}')
        with open(f'{top}/notes.txt', encoding='utf-8') as notes:
            expect('notes', notes.read() == 'keep me\n', 'were overwritten')

        done = subprocess.run([program, 'calibrate', '-o', 'cal.json', '--steps', 'steps.csv', '--scan',
                               'scale.png', '--paper', 'paper.png:1,1,14,14', '--ink', 'ink: 2,3.png'],
                              cwd=top, capture_output=True, text=True, timeout=60)
        expect('all', done.returncode == 0 and done.stderr == '', done.stderr)
        for shows in (r'tone +grey: 13 steps, density 0\.05 to 1\.85', r'paper +grey: reflectance 0\.8',
                      r'ink +grey: reflectance 0\.05', r'false coverage 0 %', r'from 9 boxes',
                      r'cal\.json, SHA-256 [0-9a-f]{64}'):
            expect('all', re.search(shows, done.stdout) is not None, f'{shows!r} not in {done.stdout!r}')
        with open(f'{top}/cal.json', encoding='utf-8') as made:
            cal = json.load(made)
        expect('file', cal['schema'] == 'fleck-calibration' and cal['version'] == 1, 'schema')
        expect('file', abs(cal['paper']['reflectance']['grey'] - 0.8) < 0.005, 'paper')
        expect('file', [s['part'] for s in cal['scans']] == ['tone', 'paper', 'ink', 'blank'], 'scans')
        with open(f'{top}/cal.json', 'rb') as made:
            before = made.read()
        call(program, top, 'again the same bytes', '-q -o cal.json --steps steps.csv --scan scale.png', 0)
        call(program, top, 'account only', '--scan paper.png --length 10:10,10,246,10 '
             '--length 10:10,10,10,246', 0, 'length-exact', r'length +599\.44 ppi along x, 599\.44 along y')
        call(program, top, 'damaged input is not replaced', '-o cal.json --paper gone.png', 1)
        with open(f'{top}/cal.json', 'rb') as made:
            expect('replaced', made.read() != before, 'the calibration was not replaced')
    return 1 if failed else 0


if __name__ == '__main__':
    sys.exit(main(sys.argv[1]))
