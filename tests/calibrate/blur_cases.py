#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""The scanner's own blur, from a hard edge to the edge widths of prints: `blur_cases.py PROGRAM`."""
import json
import math
import os
import re
import subprocess
import sys
import tempfile

import numpy as np
from PIL import Image, PngImagePlugin

PPI = 1200
PIXEL = 25.4 / PPI
SCANNER = 0.02  # standard deviation of the scanner's blur in mm, without that of a pixel
NORMAL = 2.5631031310892007  # 10 to 90 % of a normal distribution, in standard deviations
failed = 0


def expect(case, good, what):
    global failed
    if not good:
        failed += 1
        print(f'FAIL {case}: {what}')


def save_edge(path, angle, ink=0.05, bare=0.85):
    side, fine = 300, 4
    turn = math.radians(angle)
    place = ((np.arange(side * fine) + 0.5) / fine - side / 2) * PIXEL
    away = (place[None, :] * math.sin(turn) + place[:, None] * math.cos(turn)) / SCANNER / math.sqrt(2)
    step = 0.5 * (1 + np.vectorize(math.erf)(np.clip(away, -6, 6)))
    linear = ink + (bare - ink) * step.reshape(side, fine, side, fine).mean((1, 3))
    code = 255 * np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    code += np.random.default_rng(1).normal(0, 1, code.shape)
    srgb = PngImagePlugin.PngInfo()
    srgb.add(b'sRGB', b'\0')
    Image.fromarray(np.clip(np.rint(code), 0, 255).astype(np.uint8)).save(path, dpi=(PPI, PPI),
                                                                          pnginfo=srgb)


def run(program, top, words, code=0):
    done = subprocess.run([program, *words.split()], cwd=top, timeout=300, capture_output=True, text=True)
    expect(words, done.returncode == code, f'exit code {done.returncode}: {done.stderr.strip()!r}')
    return done


def record(top, folder, name):
    with open(f'{top}/{folder}/records/{name}.json', encoding='utf-8') as file:
        return json.load(file)


def calls(program, top):
    for case, words, code, says in (
            ('empty', '--blur-edge', 2, 'blur-edge'),
            ('no name', '--blur-edge :1,1,2,2', 2, 'is no scan'),
            ('no such scan', '--blur-edge gone.png', 1, r'gone\.png: '),
            ('box outside', '--blur-edge edge.png:5,5,9,9', 1, r'edge\.png: box 5,5,9,9 mm'),
            ('no edge', '--blur-edge plain.png', 1, r'plain\.png: the box shows no edge'),
            ('a small box', '--blur-edge edge.png:3,3,0.2,0.2', 1, 'too small')):
        done = run(program, top, f'calibrate -o bad.json {words}', code)
        expect(case, re.search(says, done.stderr) is not None, f'said {done.stderr.strip()!r}, not {says!r}')
        expect(case, done.stdout == '' and not os.path.exists(f'{top}/bad.json'), 'wrote something')
    done = run(program, top, 'calibrate --blur-edge lying.png')
    expect('one direction', 'blur-edge-one-direction' in done.stderr, done.stderr)
    done = run(program, top, 'calibrate --blur-edge lying.png --blur-edge upright.png')
    expect('two directions', done.stderr == '', done.stderr)


def main(program):
    with tempfile.TemporaryDirectory() as top:
        save_edge(f'{top}/edge.png', 35)
        save_edge(f'{top}/lying.png', 5)
        save_edge(f'{top}/upright.png', 96)
        save_edge(f'{top}/plain.png', 35, ink=0.84)
        calls(program, top)

        # the pixels' own blur has a variance of a twelfth of their square
        hard = NORMAL * math.hypot(SCANNER, PIXEL / math.sqrt(12))
        done = run(program, top, 'calibrate -o cal.json --blur-edge edge.png:0.2,0.2,6,6')
        shown = re.search(r'blur +grey: a hard edge is ([0-9.]+) mm wide', done.stdout)
        expect('account', done.stderr == '' and shown is not None, done.stderr + done.stdout)
        with open(f'{top}/cal.json', encoding='utf-8') as file:
            cal = json.load(file)
        known = cal['blur']['edge_width_mm']['grey']
        expect('width', abs(known / hard - 1) < 0.015, f'{known}, not {hard}')
        expect('account', shown is not None and abs(float(shown[1]) - known) < 1e-4, done.stdout)
        expect('scans', [scan['part'] for scan in cal['scans']] == ['blur'], cal['scans'])
        expect('edges', len(cal['blur']['edges']) == 1 and
               abs(cal['blur']['edges'][0]['angle_deg'] - 35) < 0.1, cal['blur']['edges'])

        # from dry paper to wet, all through the same scanner
        os.mkdir(f'{top}/prints')
        prints = {'dry': 0, 'a': 0.012, 'b': 0.03, 'c': 0.07, 'wet': 0.14}
        for name, softness in prints.items():
            both = math.hypot(softness, SCANNER)
            run(program, top, f'phantom separate -o prints/{name}.png --ppi {PPI} --width 10 --height 10 '
                f'--coverage 0.1 --gsd 1 --diameter {0.3 + 7 * softness:.4f} --gap {0.15 + 2 * both:.4f} '
                f'--softness {both:.6f} --noise 0.01 --seed 3')
            os.remove(f'{top}/prints/{name}.truth.json')
        run(program, top, 'measure prints -o own --calibration cal.json')
        run(program, top, 'measure prints/dry.png prints/b.png -o raw')
        own = {name: record(top, 'own', name)['dots']['mean_edge_width_mm'] for name in prints}
        for name, softness in prints.items():
            true = NORMAL * softness
            if softness > 0:
                expect(name, abs(own[name] / true - 1) < 0.06, f'{own[name]}, not {true}')
            else:
                expect(name, own[name] < 0.25 * known, f'{own[name]} of an edge that is hard')
        expect('range', own['wet'] > 10 * own['a'], f'{own}')

        # only the edge widths know of it: the blur that grains are fitted with is that of the scan
        for name in ('dry', 'b'):
            with_it, without = record(top, 'own', name), record(top, 'raw', name)
            expect(name, with_it['settings']['scanner_edge_width_mm'] == known, 'settings')
            expect(name, without['settings']['scanner_edge_width_mm'] is None, 'settings')
            raw = without['dots']['mean_edge_width_mm']
            expect(name, raw > known * 0.98, f'{raw} is harder than the scanner')
            for phase in ('dots', 'flecks'):
                del with_it[phase]['mean_edge_width_mm'], without[phase]['mean_edge_width_mm']
            for one, code in ((with_it, 'no-optical-coverage'), (without, 'no-calibration')):
                one['warnings'] = [w for w in one['warnings'] if w['code'] != code]
            for key in with_it:
                if key not in ('settings', 'source'):
                    expect(name, with_it[key] == without[key],
                           f'{key}: {str(with_it[key])[:200]}, not {str(without[key])[:200]}')
    return 1 if failed else 0


if __name__ == '__main__':
    sys.exit(main(sys.argv[1]))
