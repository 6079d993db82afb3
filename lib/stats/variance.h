/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The one-way layout: how much of the scatter lies between groups, and how much within them. */
#ifndef FLECK_STATS_VARIANCE_H
#define FLECK_STATS_VARIANCE_H

#include <stddef.h>

#include "fleck/error.h"

typedef struct fleck_one_way {
    size_t count;  /* values */
    size_t groups; /* with a value */
    double mean;   /* of all values */
    double df_between, df_within;
    double ss_between, ss_within; /* sums of squares */
    double ms_between, ms_within; /* NAN without degrees of freedom */
    double f, p;                  /* F test of equal group means; NAN without */
    double r_squared, residual_sd;
    double group_size; /* mean size of the groups as it counts here: (N - sum n_i^2 / N) / (groups - 1) */
    /* of one value: within a group, and of the groups' true means; the latter may be below 0 */
    double var_within, var_between;
    double icc; /* ICC(1,1): share of the variance that lies between groups */
} fleck_one_way;

/*
 * Analysis of variance of a one-way layout with groups of any size, and its variance components.
 *
 * values    n finite values
 * group     of each value, 0 to groups - 1; a group without values does not count
 * out       NAN what the values cannot give
 *
 * All deviations are taken from the first value, which is exact for values that share their leading digits.
 * Errors: FLECK_NO_RESOURCE. Thread-safe. O(n).
 * Source: Searle, Casella & McCulloch, Variance Components, chapter 3; Shrout & Fleiss (1979) for the ICC.
 */
fleck_status fleck_one_way_of(const double *values, const size_t *group, size_t n, size_t groups,
                              fleck_one_way *out, fleck_error *err);

#endif
