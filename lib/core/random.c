/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/random.h"

#include <math.h>

uint64_t fleck_random_mix(uint64_t z)
{
    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

double fleck_random_uniform(uint64_t *state)
{
    *state += FLECK_RANDOM_STEP;
    /* the half keeps it off 0, and the top value off 1 */
    return ((double)(fleck_random_mix(*state) >> 12) + 0.5) * 0x1.0p-52;
}

void fleck_random_normal_pair(uint64_t *state, double pair[2])
{
    double x, y, s;

    do {
        x = 2 * fleck_random_uniform(state) - 1;
        y = 2 * fleck_random_uniform(state) - 1;
        s = x * x + y * y;
    } while (s >= 1 || s == 0);
    s = sqrt(-2 * log(s) / s);
    pair[0] = x * s;
    pair[1] = y * s;
}
