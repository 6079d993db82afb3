/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The balanced two-way layout: rows crossed with columns, the same number of repeats in each cell. */
#ifndef FLECK_STATS_TWO_WAY_H
#define FLECK_STATS_TWO_WAY_H

#include <stddef.h>

#include "fleck/error.h"

typedef struct fleck_two_way {
    double rows, columns, repeats;
    double mean;
    double ss_rows, ss_columns, ss_interaction, ss_repeat;
    double df_rows, df_columns, df_interaction, df_repeat; /* df_repeat is 0 with one repeat */
    double ms_rows, ms_columns, ms_interaction, ms_repeat; /* NAN without degrees of freedom */
} fleck_two_way;

/*
 * Sums of squares of a balanced two-way layout.
 *
 * values    rows x columns x repeats: the repeats of a cell side by side, then the columns of a row; finite
 * rows, columns, repeats    at least 1 each
 *
 * Deviations are taken from the first value. Errors: FLECK_NO_RESOURCE. Thread-safe. O(values).
 */
fleck_status fleck_two_way_of(const double *values, size_t rows, size_t columns, size_t repeats,
                              fleck_two_way *out, fleck_error *err);

#endif
