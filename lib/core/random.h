/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Random numbers from a seed, the same on every machine: splitmix64 (Steele, Lea & Flood 2014), a
 * counter with a strong mixer.
 */
#ifndef FLECK_CORE_RANDOM_H
#define FLECK_CORE_RANDOM_H

#include <stdint.h>

/* By what the counter goes on: 2^64 over the golden ratio. */
#define FLECK_RANDOM_STEP UINT64_C(0x9e3779b97f4a7c15)

/* The mixer alone. */
uint64_t fleck_random_mix(uint64_t z);

/* Uniform, above 0 and below 1; moves the state on. */
double fleck_random_uniform(uint64_t *state);

/* Two independent standard normal numbers. Source: Marsaglia & Bray (1964), the polar method. */
void fleck_random_normal_pair(uint64_t *state, double pair[2]);

#endif
