/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Doubt: a scan that was enlarged or smoothed, whose finest half holds nothing. */
#ifndef FLECK_MEASURE_DOUBT_UPSAMPLED_H
#define FLECK_MEASURE_DOUBT_UPSAMPLED_H

#include <stdint.h>

#include "fleck/error.h"
#include "measure/clear_rows.h"
#include "measure/doubt.h"

enum { FLECK_UPSAMPLED_SIZES = 19 };

/* Start from {0}. Index: fleck_phase. */
typedef struct fleck_doubt_upsampled_sums {
    uint64_t count[2];
    uint64_t middle[2]; /* sums of absolute differences, see the .c */
    uint64_t top[2];
    uint64_t sizes[2][FLECK_UPSAMPLED_SIZES]; /* middle differences by the bits they take */
} fleck_doubt_upsampled_sums;

/* Take the band that was just completed. */
void fleck_doubt_upsampled_add(fleck_doubt_upsampled_sums *sums, const fleck_clear_rows *clear);

/*
 * statistic: noise in the top band over noise in the middle band, 1 for white noise, in the phase
 * where it is smaller. A doubt when at or below critical. NAN with next to no noise (a standard
 * deviation below some 0.001, as in drawn pictures) and without room clear of edges. JPEG too wipes
 * out fine noise: not to be asked of a JPEG or a former one.
 */
fleck_doubt fleck_doubt_upsampled_finish(const fleck_doubt_upsampled_sums *sums);

/* Errors: FLECK_NO_RESOURCE. Adds nothing when the doubt is not exceeded. */
fleck_status fleck_doubt_upsampled_warn(const fleck_doubt *doubt, fleck_warnings *warnings,
                                        fleck_error *err);

#endif
