"""What must hold between two measurements of the same pattern, whatever the numbers are.

usage: check_properties.py BUILD_DIR

A hard-edged phantom is turned, mirrored, inverted and given another resolution; the measures must
follow as geometry says: lengths unchanged under turning, halved at twice the ppi, and so on.
"""
import json, os, subprocess, sys, tempfile
import numpy as np
from PIL import Image

failures = 0
checks = 0


def measure(program, path, *options):
    out = subprocess.run([program, 'measure', path, '--json', *options], capture_output=True, text=True)
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
        for ending, power in (('_per_mm', -1), ('_per_cm2', -2), ('.per_cm2', -2), ('_mm2', 2), ('_mm', 1)):
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
    print(f'{checks - failures} passed, {failures} failed')
    sys.exit(1 if failures else 0)


# the Euler number leaves the right and the lower border out, so that turning moves what is left out
DIRECTED = ('ink.euler_per_cm2',)

if __name__ == '__main__':
    main()
