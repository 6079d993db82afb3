/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The start of the random numbers is itself mixed from seed, purpose and place, so that any part of a
 * pattern can be drawn by itself.
 */
#include "phantom/dice.h"

#include "core/random.h"

fleck_dice fleck_dice_at(uint64_t seed, uint64_t purpose, int64_t column, int64_t row)
{
    const uint64_t step = FLECK_RANDOM_STEP;
    uint64_t state = fleck_random_mix(seed + step);

    state = fleck_random_mix(state ^ (purpose * step));
    state = fleck_random_mix(state + ((uint64_t)column + 1) * step);
    state = fleck_random_mix(state + ((uint64_t)row + 1) * step);
    return (fleck_dice){ state };
}

double fleck_dice_uniform(fleck_dice *dice)
{
    return fleck_random_uniform(&dice->state);
}

void fleck_dice_normal_pair(fleck_dice *dice, double pair[2])
{
    fleck_random_normal_pair(&dice->state, pair);
}
