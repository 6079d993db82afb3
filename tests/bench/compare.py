#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Times fleck beside its peers: `compare.py BUILD_DIR SCANS_DIR ROUNDS PAGE.md`, called by run.sh.

Rounds are interleaved: in each round every program runs once on every scan. Tables hold the minimum, the
median and the spread (largest less smallest, in per cent of the median) of the rounds.
"""
import json
import os
import platform
import statistics
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
PYTHON = '/usr/bin/python3'
# name, width, height, ppi, coverage, formats
SCANS = [('5.8', 2480, 2339, 600, 0.35, 'png'), ('35', 4960, 7016, 600, 0.35, 'png,jpg,tif,lzw'),
         ('139', 9921, 14031, 1200, 0.35, 'png'), ('35-10', 4960, 7016, 600, 0.1, 'png'),
         ('35-50', 4960, 7016, 600, 0.5, 'png'), ('35-90', 4960, 7016, 600, 0.9, 'png')]
LARGE = {'139'}
STAGES = ('decode', 'tone', 'histogram', 'label', 'label_ink', 'label_bands', 'spectrum', 'bare_fft', 'first_record')


def make_scans(folder):
    for name, width, height, ppi, coverage, formats in SCANS:
        stem = os.path.join(folder, name)
        if not os.path.exists(stem + '.png'):
            subprocess.run([PYTHON, os.path.join(HERE, 'make_speckle.py'), stem, str(width), str(height), str(ppi),
                            '--coverage', str(coverage), '--formats', formats], check=True, stdout=subprocess.DEVNULL)
    noise, colour, batch = (os.path.join(folder, one) for one in ('noise.png', '35-rgb.png', 'batch'))
    if not os.path.exists(batch):
        import numpy as np
        from PIL import Image
        Image.MAX_IMAGE_PIXELS = None
        rng = np.random.default_rng(1)
        ink = rng.random((1500, 2000)) < 0.5
        Image.fromarray(np.where(ink, 40, 220).astype(np.uint8)).save(noise, dpi=(600, 600))
        grey = np.asarray(Image.open(os.path.join(folder, '35.png')))
        red = (grey.astype(np.uint16) * 3 // 4 + 60).clip(0, 255).astype(np.uint8)
        Image.fromarray(np.dstack([red, grey, grey // 2 + 100])).save(colour, dpi=(600, 600), compress_level=3)
        os.makedirs(batch)
        for i in range(200):
            top, left = 480 * (i // 10 % 14), 480 * (i % 10)
            patch = grey[top:top + 472, left:left + 472]
            Image.fromarray(np.roll(patch, 7 * (i // 140), 1)).save(os.path.join(batch, f'{i:03}.png'), dpi=(600, 600))


def timed(command):
    """Seconds, largest resident memory in MB and what was printed."""
    begin = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    out = child.stdout.read()
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode != 0:
        sys.exit(f'{" ".join(command)}: exit code {child.returncode}')
    return time.perf_counter() - begin, usage.ru_maxrss / 1024, out


class Times:
    def __init__(self):
        self.rounds, self.memory, self.last = {}, {}, {}

    def add(self, key, seconds, memory=0.0, out=None):
        self.rounds.setdefault(key, []).append(seconds)
        self.memory[key] = max(self.memory.get(key, 0.0), memory)
        self.last[key] = out

    def least(self, key):
        return min(self.rounds[key])

    def cells(self, key, unit=1.0):
        values = sorted(self.rounds[key])
        middle = statistics.median(values)
        spread = 100 * (values[-1] - values[0]) / middle
        return [f'{values[0] / unit:.2f}', f'{middle / unit:.2f}', f'{spread:.0f} %']


def table(header, rows):
    lines = ['| ' + ' | '.join(header) + ' |', '|' + '---|' * len(header)]
    return '\n'.join(lines + ['| ' + ' | '.join(row) + ' |' for row in rows]) + '\n'


def run_rounds(build, scans, rounds):
    fleck, stages, opencv = (os.path.join(build, one) for one in ('fleck', 'stages', 'opencv'))
    script = os.path.join(HERE, 'peers', 'script.py')
    times = Times()
    for turn in range(rounds):
        print(f'round {turn + 1} of {rounds}, load {os.getloadavg()[0]:.2f}', file=sys.stderr)
        for name, _, _, ppi, _, formats in SCANS:
            path = os.path.join(scans, name + '.png')
            for threads in (1, 2):
                line = json.loads(timed([stages, path, str(threads), '1'])[2])
                for stage in STAGES:
                    times.add((name, stage, threads), line[stage], out=line)
                times.add((name, 'fleck', threads),
                          *timed([fleck, 'measure', path, '--json', '-q', '--jobs', str(threads)]))
                tile = str(line['tile_px'])
                line = json.loads(timed([opencv, path, str(ppi), str(threads), '1', 'none', tile])[2])
                times.add((name, 'opencv', threads), line['total_no_whole'], line['hwm_mb'], line)
            if name not in LARGE:
                line = json.loads(timed([PYTHON, script, path, str(ppi), '--no-whole', '--tile=' + tile])[2])
                times.add((name, 'script', 1), line['total_no_whole'], line['hwm_mb'], line)
        for name in ('5.8', '35', '139'):
            times.add(('tight', name), *timed([fleck, 'measure', os.path.join(scans, name + '.png'), '--json', '-q',
                                               '--memory', '5M']))
        for kind in ('35.png', '35.jpg', '35.16.tif', '35.16lzw.tif', '35-rgb.png'):
            times.add(('kind', kind, 2), *timed([fleck, 'measure', os.path.join(scans, kind), '--ppi', '600', '--json', '-q']))
            if 'rgb' not in kind:
                line = json.loads(timed([stages, os.path.join(scans, kind), '1', '1'])[2])
                times.add(('kind decode', kind, 1), line['decode'])
        noise = os.path.join(scans, 'noise.png')
        times.add(('noise', 'label_ink', 1), json.loads(timed([stages, noise, '1', '1'])[2])['label_ink'])
        if turn == 0:  # some minutes: its outlines of millions of specks
            seconds = json.loads(timed([opencv, noise, '600', '2', '1'])[2])['seconds']
            times.add(('noise', 'best', 2), min(v for k, v in seconds.items() if 'warm' in k))
        for jobs in (1, 2):
            times.add(('batch', 'fleck', jobs), *timed([fleck, 'measure', os.path.join(scans, 'batch'), '--json', '-q',
                                                        '--jobs', str(jobs)]))
    return times


def page(times, rounds, load):
    cpu = next((line.split(':')[1].strip() for line in open('/proc/cpuinfo') if line.startswith('model name')), '?')
    parts = [f'''# How fast it is

Written by `sh tests/bench/run.sh {rounds}`: every program once in each round, all in one go, files in cache. Machine: {cpu},
{os.cpu_count()} threads, {platform.release()}; load before and after: {load[0]:.2f} and {load[1]:.2f}. Seconds mean nothing on
another machine: read the ratios. Scans are invented speckle (tests/bench/make_speckle.py), 8-bit grey PNG where nothing else is said.

*decode* is libpng with its rows thrown away. *fleck* is `fleck measure SCAN --json`: all of the record, shapes, gaps, summed
tone, intervals, 99 simulated patterns and 49 simulated grain fields included. *OpenCV* (peers/opencv.cpp) and *script*
(peers/script.py, scikit-image and SciPy) do what the core and the spectrum of fleck do: decode, Otsu, components with their
perimeters, nearest neighbours, spectrum of two fields, in the same tiles as fleck; none of them does the rest.

## Whole programs
''']
    rows = []
    for name, *_ in SCANS:
        decode = times.least((name, 'decode', 1))
        for who, threads in (('fleck', 1), ('fleck', 2), ('opencv', 1), ('opencv', 2), ('script', 1)):
            if (name, who, threads) not in times.rounds:
                continue
            rows.append([name, who, str(threads)] + times.cells((name, who, threads))
                        + [f'{times.least((name, who, threads)) / decode:.2f}', f'{times.memory[(name, who, threads)]:.0f}'])
    parts.append(table(['Mpx (-coverage %)', 'program', 'threads', 'least s', 'median s', 'spread', '/ decode', 'peak MB'], rows))
    parts.append('''
## Stages
On one thread, in ns a pixel. `tone` makes reflectances of codes, `label` finds runs of ink and the components of both phases with
area, box, centroid and place, `ink` the same of ink alone, which is what OpenCV's labellers do. `spectrum` is both fields, `FFTW` as
many bare transforms of tiles of the same size with the same planner flag.
''')
    rows = []
    for name, *_ in SCANS:
        pixels = times.last[(name, 'decode', 1)]['pixels']
        rows.append([name] + [f'{1e9 * times.least((name, stage, 1)) / pixels:.2f}'
                              for stage in ('decode', 'tone', 'histogram', 'label', 'label_ink', 'spectrum', 'bare_fft')])
    parts.append(table(['Mpx', 'decode', 'tone', 'histogram', 'label', 'ink', 'spectrum', 'FFTW'], rows))
    parts.append('''
Ratios. `core` is decode, tone, histogram and label one after the other on one thread. `file to spectra` goes from the file to components,
nearest neighbours, intercepts (for the length of boundary) and both spectra, on two threads as fleck does; the OpenCV program on two
threads and the script, whole, stand beside it. `second core` is how many times as fast two threads are as one.
''')
    rows = []
    for name, *_ in SCANS:
        one = {stage: times.least((name, stage, 1)) for stage in STAGES}
        two = {stage: times.least((name, stage, 2)) for stage in STAGES}
        core = one['decode'] + one['tone'] + one['histogram'] + one['label']
        peer = times.last[(name, 'opencv', 2)]
        warm = min(v for k, v in peer['seconds'].items() if 'warm' in k)
        row = [name, core / one['decode'], one['spectrum'] / one['bare_fft'], two['first_record'] / one['decode'],
               times.least((name, 'opencv', 2)) / two['first_record']]
        if (name, 'script', 1) in times.rounds:
            row.append(times.least((name, 'script', 1)) / two['first_record'])
        else:
            row.append('')
        row += [warm / one['label_ink'], peer['seconds']['label_stats'] / one['label_ink'],
                one['label'] / two['label_bands'], one['spectrum'] / two['spectrum']]
        rows.append([f'{cell:.2f}' if isinstance(cell, float) else cell for cell in row])
    parts.append(table(['Mpx', 'core / decode', 'spectrum / FFTW', 'file to spectra / decode', 'OpenCV program / file to spectra',
                        'script / file to spectra', 'OpenCV best warm / ink', 'OpenCV as called / ink', 'second core, label in bands',
                        'second core, spectrum'], rows))
    noise = times.least(('noise', 'best', 2)) / times.least(('noise', 'label_ink', 1))
    parts.append(f'\nOn 50 % noise OpenCV\'s best, warm, on two threads takes {noise:.2f} times as long as `ink` on one.\n')
    parts.append('\n## Kinds of files\n35 Mpx, two threads.\n')
    rows = []
    for kind in ('35.png', '35.jpg', '35.16.tif', '35.16lzw.tif', '35-rgb.png'):
        decode = ('kind decode', kind, 1)
        rows.append([kind] + times.cells(('kind', kind, 2))
                    + [f'{times.least(decode):.2f}' if decode in times.rounds else '', f'{times.memory[("kind", kind, 2)]:.0f}'])
    parts.append(table(['file', 'least s', 'median s', 'spread', 'decode s', 'peak MB'], rows))
    parts.append('''
## Memory
Peak with a quarter of the machine allowed, as it is by default, and with `--memory 5M`, which puts pixels and dots into
temporary files: same bytes. The last column is what dots and all else take beyond 24 MB then.
''')
    rows = []
    for name in ('5.8', '35', '139'):
        dots = json.loads(times.last[(name, 'fleck', 2)])['dots']['counted']
        tight = times.memory[('tight', name)]
        rows.append([name, f'{dots:,}', f'{times.memory[(name, "fleck", 2)]:.0f}', f'{tight:.0f}',
                     f'{times.least(("tight", name)) / times.least((name, "fleck", 2)):.2f}',
                     f'{(tight * 2 ** 20 - 24e6) / dots:.0f}'])
    parts.append(table(['Mpx', 'dots', 'peak MB', 'peak MB, 5M', 'times as long', 'bytes a dot beyond 24 MB'], rows))
    one, two = (times.least(('batch', 'fleck', jobs)) for jobs in (1, 2))
    small, large = (times.least((name, 'fleck', 2)) / times.last[(name, 'decode', 1)]['pixels'] for name in ('5.8', '139'))
    parts.append(f'''
## More cores, more patches, more pixels
200 patches of 20 mm at 600 ppi: {one:.2f} s on one thread, {two:.2f} s on two, {one / two:.2f} times as fast;
{1000 * two / 200:.0f} ms each. A pixel of the scan of 139 Mpx takes {large / small:.2f} times as long as one of 5.8 Mpx.
''')
    return '\n'.join(parts)


def main():
    if len(sys.argv) != 5:
        sys.exit('usage: compare.py BUILD_DIR SCANS_DIR ROUNDS PAGE.md')
    build, scans, rounds, path = sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4]
    make_scans(scans)
    before = os.getloadavg()[0]
    times = run_rounds(build, scans, rounds)
    text = page(times, rounds, (before, os.getloadavg()[0]))
    # what is written by hand stands behind this line and is kept
    mark = '<!-- by hand from here on -->'
    kept = ''
    if os.path.exists(path):
        with open(path, encoding='utf-8') as old:
            kept = old.read().partition(mark)[2]
    with open(path, 'w', encoding='utf-8') as out:
        out.write(f'{text}\n{mark}{kept or chr(10)}')
    print(text)


if __name__ == '__main__':
    main()
