/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The group `grain`: the fitted Boolean model and how far to believe it. */
#ifndef FLECK_MEASURE_GRAIN_H
#define FLECK_MEASURE_GRAIN_H

#include "fleck/random_set.h"
#include "measure/lags.h"

/*
 * lags        counted over the whole region
 * inside_px, ink_px    of the whole region
 * blur_sd_mm  of the scan, 0 or above
 * window      its middle, all rows kept; inside of the same size, NULL without a mask
 *
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_grain_fill(const fleck_lags *lags, uint64_t inside_px, uint64_t ink_px,
                              const fleck_bit_rows *window, const fleck_bit_rows *inside,
                              double blur_sd_mm, const fleck_random_set_options *options,
                              fleck_grain *out, fleck_error *err);

#endif
