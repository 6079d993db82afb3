/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Doubt: pixels cut off at black or white, whose true tone is lost. */
#ifndef FLECK_MEASURE_DOUBT_CLIPPING_H
#define FLECK_MEASURE_DOUBT_CLIPPING_H

#include "fleck/error.h"
#include "measure/code_counts.h"
#include "measure/doubt.h"

/* Shares of pixels, each in the colour sample where it is largest. */
typedef struct fleck_doubt_clipping {
    fleck_doubt black, white;
} fleck_doubt_clipping;

/*
 * A colour sample with two codes or fewer, as bilevel scans have, has no tones to lose: its share
 * counts as 0. NAN when nothing was counted.
 */
fleck_doubt_clipping fleck_doubt_clipping_finish(const fleck_code_counts *counts);

/* Errors: FLECK_NO_RESOURCE. Adds nothing when neither doubt is exceeded. */
fleck_status fleck_doubt_clipping_warn(const fleck_doubt_clipping *clipping,
                                       fleck_warnings *warnings, fleck_error *err);

#endif
