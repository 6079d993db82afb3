#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-3.0-or-later
"""Prints the tables of test_local.c: `local_twin.py`.

The scan is drawn with whole numbers as in the test; thresholds of windows come from
skimage.filters.threshold_otsu, those between the windows' middles from scipy.ndimage.map_coordinates.
"""
import numpy as np
from scipy import ndimage
from skimage.filters import threshold_otsu

WIDTH, HEIGHT, SIDE, BIN = 153, 102, 51, 16
MASK = (1 << 64) - 1


def splitmix64(state):
    """Steele, Lea & Flood (2014), as test_random in tests/support/check.c."""
    while True:
        state = (state + 0x9e3779b97f4a7c15) & MASK
        z = ((state ^ (state >> 30)) * 0xbf58476d1ce4e5b9) & MASK
        z = ((z ^ (z >> 27)) * 0x94d049bb133111eb) & MASK
        yield z ^ (z >> 31)


def scan():
    """Discs of ink on a lattice, paper darker to the right and below, noise."""
    numbers = splitmix64(99)
    q = np.empty((HEIGHT, WIDTH), np.int64)
    for y in range(HEIGHT):
        for x in range(WIDTH):
            dx, dy = x % 17 - 8, y % 15 - 7
            tone = 9000 if dx * dx + dy * dy < 20 + x // 9 else 52000
            q[y, x] = tone * (1000 - 2 * x - y) // 1000 + next(numbers) % 4001 - 2000
    return q


def main():
    q = scan()
    rows, columns = HEIGHT // SIDE, WIDTH // SIDE
    print('dark pixels of each window:')
    k = np.empty((rows, columns))
    for row in range(rows):
        for column in range(columns):
            window = q[row * SIDE:(row + 1) * SIDE, column * SIDE:(column + 1) * SIDE]
            found = threshold_otsu(window // BIN)
            dark = window // BIN <= found
            # no level is taken between found and the next one: the middle of these
            upper = int((window[~dark] // BIN).min()) - 1
            k[row, column] = (int(found) + upper) // 2 * BIN + BIN - 1
            print(f'    {int(dark.sum())}, /* {int(k[row, column])} */')
    print('thresholds at x, y:')
    middle = SIDE // 2
    for x, y in ((0, 0), (25, 25), (26, 25), (40, 30), (76, 76), (77, 60), (100, 50), (127, 76),
                 (152, 101), (10, 60), (140, 40), (90, 25), (25, 75), (90, 74)):
        at = [[(y - middle) / SIDE], [(x - middle) / SIDE]]
        level = ndimage.map_coordinates(k, at, order=1, mode='nearest')[0]
        print(f'    {{ {x}, {y}, {level:.6f} }},')


if __name__ == '__main__':
    main()
