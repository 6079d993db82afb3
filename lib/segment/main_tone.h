/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The tone most pixels have, and its noise. */
#ifndef FLECK_SEGMENT_MAIN_TONE_H
#define FLECK_SEGMENT_MAIN_TONE_H

#include <stddef.h>
#include <stdint.h>

typedef struct fleck_main_tone {
    double centre, sd; /* in levels */
} fleck_main_tone;

/*
 * counts, levels    a histogram
 * n                 its sum, above 0
 * k                 a cut between level k and k + 1
 *
 * Centre: mean of the shortest stretch of levels that holds 40 % of all pixels, which lies within the
 * larger class. Noise: about the centre on the side away from the cut, where no other class is.
 */
fleck_main_tone fleck_find_main_tone(const uint64_t *counts, size_t levels, uint64_t n, size_t k);

#endif
