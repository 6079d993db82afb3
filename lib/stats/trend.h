/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Does a series rise or fall along an order: Mann and Kendall's test, Sen's slope, Pettitt's step. */
#ifndef FLECK_STATS_TREND_H
#define FLECK_STATS_TREND_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"

typedef struct fleck_trend {
    double s;        /* pairs that rise less pairs that fall */
    double variance; /* of s without a trend, for the ties there are */
    double tau;      /* Kendall's tau-b; NAN when all values or all places are the same */
    double p;        /* two-sided */
    bool exact;      /* p counts all orders; else normal, with a continuity correction */
    double slope;    /* Sen's: median of the slopes of all pairs at different places */
} fleck_trend;

/*
 * Mann-Kendall test of n finite values at n places, both may have ties.
 *
 * p is exact below 50 values without any tie. NAN below 3 values. Beyond 2000 values the slope is taken from means of
 * neighbours, 2000 of them at most; place must rise (or stay) then.
 *
 * Errors: FLECK_NO_RESOURCE. Thread-safe. O(n^2).
 * Source: Mann (1945), Econometrica 13, 245-259; Kendall (1975), Rank Correlation Methods, chapters 4 and 5;
 * Sen (1968), J. Am. Stat. Assoc. 63, 1379-1389.
 */
fleck_status fleck_trend_of(const double *place, const double *values, size_t n, fleck_trend *out,
                            fleck_error *err);

typedef struct fleck_step {
    size_t first; /* of the values behind the step; 0 when n is below 2 */
    double k;     /* largest |U|; NAN when n is below 2 */
    double p;     /* 2 exp(-6 k^2 / (n^3 + n^2)), at most 1: on the safe side for short series */
} fleck_step;

/*
 * Pettitt's test for one step in n finite values in their order.
 * Errors: FLECK_NO_RESOURCE. Thread-safe. O(n log n).
 * Source: Pettitt (1979), Applied Statistics 28, 126-135.
 */
fleck_status fleck_step_of(const double *values, size_t n, fleck_step *out, fleck_error *err);

#endif
