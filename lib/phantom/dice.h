/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Random numbers that depend on a seed, a purpose and a place, and on nothing else. */
#ifndef FLECK_PHANTOM_DICE_H
#define FLECK_PHANTOM_DICE_H

#include <stdint.h>

typedef struct fleck_dice {
    uint64_t state;
} fleck_dice;

/* What a stream is for; streams of different purposes or places are independent. */
enum {
    FLECK_DICE_DISCS = 1,
    FLECK_DICE_SEPARATE,
    FLECK_DICE_LATTICE,
    FLECK_DICE_FIELD,
    FLECK_DICE_NOISE,
    FLECK_DICE_FIBRE,
    FLECK_DICE_WRITING,
    FLECK_DICE_PATCH
};

fleck_dice fleck_dice_at(uint64_t seed, uint64_t purpose, int64_t column, int64_t row);

/* Uniform, above 0 and below 1. */
double fleck_dice_uniform(fleck_dice *dice);

/* Two independent standard normal numbers. */
void fleck_dice_normal_pair(fleck_dice *dice, double pair[2]);

#endif
