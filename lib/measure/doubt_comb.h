/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Doubt: regular gaps of the histogram, left by stretching 8-bit levels. */
#ifndef FLECK_MEASURE_DOUBT_COMB_H
#define FLECK_MEASURE_DOUBT_COMB_H

#include "fleck/error.h"
#include "measure/code_counts.h"
#include "measure/doubt.h"

typedef struct fleck_doubt_comb {
    fleck_doubt doubt; /* statistic: empty codes as a share of those tested */
    unsigned gaps;     /* their number, in the colour sample with most */
} fleck_doubt_comb;

/* NAN for scans of fewer than 8 bits, true 16-bit data, and too few codes in use to tell. */
fleck_doubt_comb fleck_doubt_comb_finish(const fleck_code_counts *counts);

/* Errors: FLECK_NO_RESOURCE. Adds nothing when the doubt is not exceeded. */
fleck_status fleck_doubt_comb_warn(const fleck_doubt_comb *comb, fleck_warnings *warnings,
                                   fleck_error *err);

#endif
