"""What must hold between two measurements of the same pattern, whatever the numbers are.

usage: check_properties.py BUILD_DIR

A hard-edged phantom is turned, mirrored, inverted and given another resolution; the measures must
follow as geometry says: lengths unchanged under turning, halved at twice the ppi, and so on.
"""
import json, os, subprocess, sys, tempfile
import numpy as np
from PIL import Image
from scipy import ndimage

failures = 0
checks = 0


def measure(program, path, *options):
    out = subprocess.run([program, 'measure', '--simulations', '0', path, '--json', *options], capture_output=True, text=True)
    if out.returncode != 0:
        sys.exit(f'{path}: exit code {out.returncode}: {out.stderr}')
    return json.loads(out.stdout)


def scalars(record, groups):
    for group in groups:
        for key, value in record[group].items():
            if not isinstance(value, list):
                yield f'{group}.{key}', value


def compare(what, one, other, groups, factor=lambda key: 1.0, tolerance=1e-9, leave=()):
    """Every scalar of `one` times factor(key) is that of `other`."""
    global failures, checks
    found = dict(scalars(other, groups))
    for key, value in scalars(one, groups):
        if key in leave:
            continue
        checks += 1
        expected = None if value is None else value * factor(key)
        same = found[key] is None if expected is None else (
            found[key] is not None and abs(found[key] - expected) <= tolerance * max(abs(expected), 1e-12))
        if not same:
            failures += 1
            print(f'FAIL {what}: {key} is {found[key]}, should be {expected}')


def unit_factor(scale):
    """How a key changes when every length is multiplied by `scale`."""
    def factor(key):
        for ending, power in (('_per_mm', -1), ('_per_cm2', -2), ('.per_cm2', -2), ('.per_cm2_lo', -2), ('.per_cm2_hi', -2), ('_mm2', 2), ('_mm', 1)):
            if key.endswith(ending):
                return scale ** power
        return 1.0
    return factor


def main():
    global failures, checks
    program = os.path.join(sys.argv[1], 'fleck')
    mask_groups = ('ink', 'dots', 'spacing', 'flecks')
    with tempfile.TemporaryDirectory() as folder:
        for kind, options in (('discs', ['--coverage', '0.2', '--gsd', '1.6']),
                              ('field', ['--coverage', '0.45', '--correlation', '0.3'])):
            plain = os.path.join(folder, kind + '.png')
            subprocess.run([program, 'phantom', kind, '-o', plain, '--hard', '--noise', '0', '--softness', '0',
                            '--ppi', '508', '--width', '24', '--height', '17', '--seed', '5', *options], check=True)
            pixels = np.asarray(Image.open(plain))
            reference = measure(program, plain, '--ppi', '508')

            def variant(name, changed, *more):
                path = os.path.join(folder, f'{kind}-{name}.png')
                Image.fromarray(np.ascontiguousarray(changed)).save(path)
                return measure(program, path, '--ppi', '508', *more)

            for name, changed in (('turned', np.rot90(pixels)), ('turned twice', np.rot90(pixels, 2)),
                                  ('mirrored', pixels[:, ::-1]), ('transposed', pixels.T)):
                compare(f'{kind} {name}', reference, variant(name, changed), mask_groups, leave=DIRECTED)
            light = variant('inverted', 255 - pixels, '--ink', 'light')
            compare(f'{kind} inverted with light ink', reference, light, mask_groups)
            finer = measure(program, plain, '--ppi', '1016', '--cutoff', '0.05')
            compare(f'{kind} at twice the resolution', reference, finer, mask_groups, unit_factor(0.5))
            small_memory = measure(program, plain, '--ppi', '508', '--memory', '1K')
            checks += 1
            if small_memory != reference:
                failures += 1
                print(f'FAIL {kind}: the memory changes the record')
            if kind == 'discs':
                coarse = measure(program, plain, '--ppi', '508', '--cutoff', '0.3')
                small = reference['dots']['counted'] - coarse['dots']['counted']
                checks += 1
                if coarse['dots']['below_cutoff'] - reference['dots']['below_cutoff'] != small or small <= 0:
                    failures += 1
                    print('FAIL a larger cutoff does not move dots from counted to below_cutoff')
        check_scanning(program, folder)
        check_small_dots(program, folder)
    print(f'{checks - failures} passed, {failures} failed')
    sys.exit(1 if failures else 0)


def reduced(pixels, by, right=0, down=0):
    """Mean of by x by pixels, the first block beginning at a pixel of the finer picture."""
    fine = pixels[down:, right:].astype(float)
    height, width = fine.shape[0] // by, fine.shape[1] // by
    blocks = fine[:height * by, :width * by].reshape(height, by, width, by)
    return np.round(blocks.mean(axis=(1, 3))).astype(np.uint8)


def check_scanning(program, folder):
    """One print, scanned turned, shifted by parts of a pixel and at 600 to 2400 ppi: coverage within
    0.003 and the median dot within 2 % (in linear light, so that a mean of pixels is one of light)."""
    global failures, checks
    path = os.path.join(folder, 'fine.png')
    subprocess.run([program, 'phantom', 'discs', '-o', path, '--hard', '--noise', '0', '--softness', '0', '--ppi',
                    '4800', '--width', '22', '--height', '22', '--coverage', '0.2', '--diameter', '0.35', '--gsd',
                    '1.4', '--seed', '9'], check=True)
    ink = np.where(np.asarray(Image.open(path)) < 128, 25, 230).astype(np.uint8)
    core = ink.shape[0] // 2 - round(7.5 / 25.4 * 4800)
    found = {}
    for name, angle, by, right, down in (('2400 ppi', 0, 2, 0, 0), ('1200 ppi', 0, 4, 0, 0), ('600 ppi', 0, 8, 0, 0),
                                         ('shifted', 0, 4, 1, 3), ('turned by 7', 7, 4, 0, 0),
                                         ('turned by 33', 33, 4, 2, 1), ('turned by 45', 45, 4, 0, 0)):
        turned = Image.fromarray(ink)
        if angle:
            turned = turned.rotate(angle, Image.Resampling.BICUBIC)
        kept = np.asarray(turned)[core + down:-core + down, core + right:-core + right]
        scan = os.path.join(folder, 'scanned.tif')
        # a picture in linear light: a TIFF whose profile is none is read as sRGB, so it is written that way
        linear = reduced(kept, by) / 255
        code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
        Image.fromarray(np.round(255 * code).astype(np.uint8)).save(scan)
        # all see the same disc, whatever the angle
        size = reduced(kept, by).shape[0]
        y, x = np.mgrid[:size, :size] + 0.5 - size / 2
        mask = os.path.join(folder, 'disc.png')
        Image.fromarray(np.where(np.hypot(x, y) < 0.49 * size, 255, 0).astype(np.uint8)).save(mask)
        record = measure(program, scan, '--ppi', str(4800 // by), '--mask', mask)
        found[name] = record['ink']['coverage'], record['dots']['d50_mm']
    coverage, d50 = found['2400 ppi']
    for name, (one, other) in found.items():
        checks += 1
        if abs(one - coverage) >= 0.003 or abs(other / d50 - 1) >= 0.02:
            failures += 1
            print(f'FAIL {name}: coverage {one:.4f}, median dot {other:.4f} mm; at 2400 ppi {coverage:.4f}, {d50:.4f}')
    worst = (max(abs(one - coverage) for one, _ in found.values()), max(abs(d / d50 - 1) for _, d in found.values()))
    print(f'turned, shifted, coarser: coverage within {worst[0]:.4f}, median dot within {100 * worst[1]:.2f} %')


def check_small_dots(program, folder):
    """Discs of 0.1 and 0.2 mm, drawn eight times finer than scanned and blurred by 0.02 mm (SciPy's Gaussian):
    their areas by summed tone are true within 5 % at 600 ppi and 2 % at 1200."""
    global failures, checks
    path = os.path.join(folder, 'small.tif')
    for ppi, tolerance in ((600, 0.05), (1200, 0.02)):
        fine, fine_mm = 4800 // ppi, 25.4 / 4800
        for diameter in (0.1, 0.2):
            rng = np.random.default_rng(3)
            side, pitch = int(8 / 25.4 * ppi), 0.45
            ink = np.zeros((side * fine, side * fine), np.float32)
            for i in range(1, int(8 / pitch) - 1):
                for j in range(1, int(8 / pitch) - 1):
                    x, y = (np.array((i, j)) + 0.5) * pitch + rng.uniform(-0.08, 0.08, 2)
                    (left, right), (top, bottom) = ([int((at - diameter) / fine_mm), int((at + diameter) / fine_mm)]
                                                    for at in (x, y))
                    rows, columns = np.mgrid[top:bottom, left:right] + 0.5
                    inside = np.hypot(columns * fine_mm - x, rows * fine_mm - y) <= diameter / 2
                    ink[top:bottom, left:right][inside] = 1
            blurred = ndimage.gaussian_filter(ink, 0.02 / fine_mm)
            soft = blurred.reshape(side, fine, side, fine).mean(axis=(1, 3))
            linear = 0.85 - 0.8 * soft + 0.004 * rng.standard_normal(soft.shape)
            code = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 0) ** (1 / 2.4) - 0.055)
            Image.fromarray(np.round(65535 * np.clip(code, 0, 1)).astype(np.uint16)).save(path)
            record = measure(program, path, '--ppi', str(ppi), '--cutoff', '0.05')
            area = (record['dots']['tone_d50_mm'] / diameter) ** 2
            checks += 1
            if abs(area - 1) > tolerance:
                failures += 1
                print(f'FAIL dots of {diameter} mm at {ppi} ppi: {area:.3f} of their area')
            else:
                print(f'dots of {diameter} mm at {ppi} ppi: {area:.4f} of their area')


# the Euler number leaves the right and the lower border out, so that turning moves what is left out; cells
# and tiles are laid from the top left, and so the intervals and errors that rest on them move too
DIRECTED = ('ink.euler_per_cm2', 'ink.coverage_se') + tuple(
    f'{group}.{figure}' for group in ('dots', 'flecks') for figure in
    [f'{name}_{end}_mm' for name in ('d10', 'd50', 'd90', 'area_d50', 'mean_diameter') for end in ('lo', 'hi')]
    + ['per_cm2_lo', 'per_cm2_hi'])

if __name__ == '__main__':
    main()
