/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether a window may be a Boolean model of discs. */
#ifndef FLECK_MEASURE_GRAIN_TEST_H
#define FLECK_MEASURE_GRAIN_TEST_H

#include "fleck/random_set.h"
#include "measure/bit_rows.h"

enum { FLECK_GRAIN_LEAST = 20 }; /* grains: fewer tell nothing; common practice, no source */

/* What the draws tell. NAN, and no pixels, when the window has no fit or too few grains. */
typedef struct fleck_grain_verdict {
    double p; /* share of draws at least as far from their own fit, the window counted in */
    double log_mean_sd; /* of the logarithm of the fitted mean diameter in windows of this size */
    uint64_t tested_px; /* pixels of the window that were used */
    /*
     * True less fitted, mean over the draws: what blur does to a fit. Of the logarithms of
     * -ln(1 - coverage) and of the mean diameter, and of the variance of the logarithm of
     * diameters. All 0 without blur.
     */
    double log_cover_shift, log_mean_shift, log_variance_shift;
} fleck_grain_verdict;

/* A model moved by shifts as above; the variance stays at or above 0. */
fleck_disc_model fleck_disc_model_moved(const fleck_disc_model *model, double log_cover_shift,
                                        double log_mean_shift, double log_variance_shift);

/*
 * Test a window against draws of the model that fits it.
 *
 * start         a model near by
 * blur_sd_mm    of the scan, 0 or above; from a quarter of the discs' size on there is no verdict
 *
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_grain_test(const fleck_bit_rows *window, const fleck_bit_rows *inside,
                              double pixel_x_mm, double pixel_y_mm, double blur_sd_mm,
                              const fleck_disc_model *start,
                              const fleck_random_set_options *options, fleck_grain_verdict *out,
                              fleck_error *err);

#endif
