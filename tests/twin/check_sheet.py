"""A test sheet through calibrate, locate and measure, against the truth it was drawn from.

usage: check_sheet.py BUILD_DIR [ROWSxCOLUMNS [GAMMA...]]

The sheet is scanned by an invented scanner: tilted, its light uneven by +-20 %, its tone curve a plain
power, with noise, paper fibre and blur; its blank and solid sheets have noise and fibre of their own. An ideal drawing of the same dots (no scanner in between) gives
the true coverage and the median dot; drawn by the program's own phantom, whose drawing is checked
against geometry apart.
"""
import csv, json, os, subprocess, sys, tempfile

failures = 0


def check(good, what):
    global failures
    if not good:
        failures += 1
        print('FAIL ' + what)


def run(program, *words, code=0):
    if words[0] == 'measure':  # nothing here looks at what is simulated
        words += ('--simulations', '0')
    out = subprocess.run([program, *words], capture_output=True, text=True)
    if out.returncode != code:
        sys.exit(f'{" ".join(words)}: exit code {out.returncode}: {out.stderr}')
    return out


def scenario(program, folder, gamma, grid):
    rows, columns = map(int, grid.split('x'))
    common = ['--grid', grid, '--ppi', '1200', '--patch-size', '12', '--coverage-from', '0.12', '--coverage-to', '0.5',
              '--diameter', '0.35', '--gsd', '1.4', '--bits', '16', '--seed', '11', '--tilt', '1.5']
    scanner = ['--light', '0.2', '--gamma', str(gamma), '--chunk', 'none', '--noise', '0.01', '--fibre', '0.008',
               '--softness', '0.012']
    at = lambda name: os.path.join(folder, name)
    run(program, 'phantom', 'sheet', '-o', at('sheet.png'), *common, *scanner, '--steps-out', at('steps.csv'))
    run(program, 'phantom', 'sheet', '-o', at('blank.png'), *common, *scanner, '--blank', '--seed', '12')
    run(program, 'phantom', 'sheet', '-o', at('solid.png'), *common, *scanner, '--solid', '--seed', '13')
    run(program, 'phantom', 'sheet', '-o', at('ideal.png'), *common, '--softness', '0', '--noise', '0', '--fibre', '0',
        '--hard')
    truth = json.load(open(at('sheet.truth.json')))
    lengths = [word for ruler in truth['rulers'].values() for mark in ruler['lengths'] for word in ('--length', mark)]
    inner = truth['patches'][0]
    box = f'{inner["x_mm"] + 2},{inner["y_mm"] + 2},8,8'
    run(program, 'calibrate', '-o', at('cal.json'), '--scan', at('sheet.png'), *lengths, '--steps', at('steps.csv'),
        '--evenness', at('blank.png'), '--paper', at('blank.png') + ':20,16,30,30', '--ink', at('solid.png') + ':' + box)
    run(program, 'locate', at('sheet.png'), '-o', at('layout.csv'), '--calibration', at('cal.json'))
    layout = list(csv.DictReader(open(at('layout.csv'))))
    check(len(layout) == rows * columns, f'gamma {gamma}: {len(layout)} patches found, {rows * columns} drawn')
    check(os.path.exists(at('layout-preview.png')), 'no preview is drawn')
    for row, patch in zip(layout, truth['patches']):
        x, y, width, height = map(float, row['region'].split())
        off = max(abs(x + width / 2 - patch['x_mm'] - patch['width_mm'] / 2),
                  abs(y + height / 2 - patch['y_mm'] - patch['height_mm'] / 2))
        check(off < 0.75, f'gamma {gamma}: patch {row["patch"]} lies {off:.2f} mm off {patch["patch"]}: wrong order?')
        check(abs(float(row['tilt_deg']) - patch['tilt_deg']) < 0.5, f'gamma {gamma}: tilt of patch {row["patch"]}')
    run(program, 'measure', at('layout.csv'), '-o', at('run'), '--calibration', at('cal.json'), '--margin', '0.5')
    with open(at('truth.csv'), 'w') as out, open(at('ideal.csv'), 'w') as ideal:
        for file, scan in ((out, 'sheet.png'), (ideal, 'ideal.png')):
            file.write('scan,patch,region,tilt_deg\n')
            for patch in truth['patches']:
                file.write(f'{scan},{patch["patch"]},{patch["region"]},{patch["tilt_deg"]}\n')
    measured = json.loads(run(program, 'measure', at('truth.csv'), '--json', '--calibration', at('cal.json')).stdout)
    plain = json.loads(run(program, 'measure', at('truth.csv'), '--json').stdout)
    ideal = json.loads(run(program, 'measure', at('ideal.csv'), '--json', '--threshold', 'fixed:0.5').stdout)
    for options in (['--threshold', 'pooled'], ['--threshold', 'local']):
        other = json.loads(run(program, 'measure', at('truth.csv'), '--json', '--calibration', at('cal.json'),
                               *options).stdout)
        worst = max(abs(a['ink']['coverage'] - b['exact_coverage']) for a, b in zip(other, truth['patches']))
        check(worst < 0.005, f'gamma {gamma} {options[1]}: coverage is off by {worst:.4f}')
        if options[1] == 'pooled':
            check(len({r['threshold']['threshold_reflectance'] for r in other}) == 1, 'pooled thresholds differ')
            single = json.loads(run(program, 'measure', at('truth.csv'), '--json', '--calibration', at('cal.json'),
                                    '--jobs', '1', '--memory', '1K', *options).stdout)
            check(single == other, 'a pooled run depends on jobs or memory')
    coverage = max(abs(a['ink']['coverage'] - b['exact_coverage']) for a, b in zip(measured, truth['patches']))
    raw = max(abs(a['ink']['coverage'] - b['exact_coverage']) for a, b in zip(plain, truth['patches']))
    median = max(abs(a['dots']['d50_mm'] / b['dots']['d50_mm'] - 1) for a, b in zip(measured, ideal))
    optical = max(abs(a['tone']['optical_coverage'] - b['exact_coverage']) for a, b in zip(measured, truth['patches']))
    check(coverage < 0.005, f'gamma {gamma}: coverage is off by {coverage:.4f}')
    check(median < 0.02, f'gamma {gamma}: d50 is off by {100 * median:.2f} %')
    check(optical < 0.01, f'gamma {gamma}: optical coverage is off by {optical:.4f}')
    check(all(r['settings']['calibration_sha256'] for r in measured), 'a record does not name its calibration')
    print(f'gamma {gamma}: coverage within {coverage:.4f} ({raw:.4f} without calibration), d50 within '
          f'{100 * median:.2f} %, optical coverage within {optical:.4f}')
    # a scan of another kind does not fit
    run(program, 'phantom', 'discs', '-o', at('eight.png'), '--bits', '8', '--width', '8', '--height', '8')
    wrong = run(program, 'measure', at('eight.png'), '--calibration', at('cal.json'), code=1)
    check('8-bit' in wrong.stderr and '16-bit' in wrong.stderr, f'what differs is not said: {wrong.stderr}')
    blank = json.loads(run(program, 'measure', at('blank.png'), '--json', '--calibration', at('cal.json'), '--region',
                           '20,16,30,30').stdout)
    check(blank['speckle'] == 'blank' and blank['ink']['coverage'] == 0, f'blank paper is {blank["speckle"]}')
    solid = json.loads(run(program, 'measure', at('solid.png'), '--json', '--calibration', at('cal.json'), '--region',
                           box).stdout)
    check(solid['speckle'] == 'flat' and solid['ink']['coverage'] == 1, f'solid ink is {solid["speckle"]}')


def main():
    program = os.path.join(sys.argv[1], 'fleck')
    grid = sys.argv[2] if len(sys.argv) > 2 else '2x3'
    for gamma in map(float, sys.argv[3:] or ('1.0', '1.8', '2.6')):
        with tempfile.TemporaryDirectory() as folder:
            scenario(program, folder, gamma, grid)
    print('failed' if failures else 'passed')
    sys.exit(1 if failures else 0)


if __name__ == '__main__':
    main()
