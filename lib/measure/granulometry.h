/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Openings of a window by discs. */
#ifndef FLECK_MEASURE_GRANULOMETRY_H
#define FLECK_MEASURE_GRANULOMETRY_H

#include "fleck/random_set.h"
#include "measure/bit_rows.h"

/*
 * ink       the window, all rows kept
 * inside    of the same size; NULL: all of it is inside
 * threads   at least 1; never changes a number
 *
 * Errors: FLECK_NO_RESOURCE. *out is ended with fleck_granulometry_clear, on failure too.
 */
fleck_status fleck_granulometry_fill(const fleck_bit_rows *ink, const fleck_bit_rows *inside,
                                     double pixel_x_mm, double pixel_y_mm, unsigned threads,
                                     fleck_granulometry *out, fleck_error *err);
void fleck_granulometry_clear(fleck_granulometry *granulometry);

#endif
