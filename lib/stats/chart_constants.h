/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The constants of control charts for normal values, by the usual letters. */
#ifndef FLECK_STATS_CHART_CONSTANTS_H
#define FLECK_STATS_CHART_CONSTANTS_H

#include <stddef.h>

#include "fleck/error.h"

typedef struct fleck_chart_constants {
    double d2, d3; /* mean and standard deviation of the range of n standard normal values */
    double c4;     /* mean of their sample standard deviation */
    double range_lo, range_hi;   /* D3, D4: limits of ranges, in mean ranges */
    double mean_by_range;        /* A2: limits of means */
    double one_by_range;         /* E2: limits of single values */
    double mean_by_sd;           /* A3 */
    double sd_lo, sd_hi;         /* B3, B4 */
} fleck_chart_constants;

/*
 * Constants for groups of n, 2 to 25, from the distribution of the range, to some 10 digits.
 * Errors: FLECK_BAD_CALL (another n), FLECK_NO_RESOURCE. Thread-safe.
 * Source: Tippett (1925), Biometrika 17, 364-387, for the moments of the range; ASTM E2587 for the letters.
 */
fleck_status fleck_chart_constants_of(size_t n, fleck_chart_constants *out, fleck_error *err);

#endif
