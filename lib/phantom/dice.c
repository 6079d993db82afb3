/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * splitmix64 (Steele, Lea & Flood 2014): a counter with a strong mixer. The counter's start is
 * itself mixed from seed, purpose and place, so that any part of a pattern can be drawn by itself.
 */
#include "phantom/dice.h"

#include <math.h>

static uint64_t mix(uint64_t z)
{
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9u;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebu;
    return z ^ (z >> 31);
}

fleck_dice fleck_dice_at(uint64_t seed, uint64_t purpose, int64_t column, int64_t row)
{
    static const uint64_t step = 0x9e3779b97f4a7c15u; /* 2^64 over the golden ratio */
    uint64_t state = mix(seed + step);

    state = mix(state ^ (purpose * step));
    state = mix(state + ((uint64_t)column + 1) * step);
    state = mix(state + ((uint64_t)row + 1) * step);
    return (fleck_dice){ state };
}

double fleck_dice_uniform(fleck_dice *dice)
{
    dice->state += 0x9e3779b97f4a7c15u;
    /* the half keeps it off 0, and the top value off 1 */
    return ((double)(mix(dice->state) >> 12) + 0.5) * 0x1.0p-52;
}

/* Polar method, Marsaglia & Bray (1964). */
void fleck_dice_normal_pair(fleck_dice *dice, double pair[2])
{
    double x, y, s;

    do {
        x = 2 * fleck_dice_uniform(dice) - 1;
        y = 2 * fleck_dice_uniform(dice) - 1;
        s = x * x + y * y;
    } while (s >= 1 || s == 0);
    s = sqrt(-2 * log(s) / s);
    pair[0] = x * s;
    pair[1] = y * s;
}
