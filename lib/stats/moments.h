/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Mean and spread that keep their digits, also for small differences between large numbers. */
#ifndef FLECK_STATS_MOMENTS_H
#define FLECK_STATS_MOMENTS_H

#include <stddef.h>

/* A sum that carries what rounding drops along. Start from {0}. Source: Neumaier (1974). */
typedef struct fleck_sum {
    double high, low;
} fleck_sum;

void fleck_sum_add(fleck_sum *sum, double value);
double fleck_sum_value(const fleck_sum *sum);

typedef struct fleck_moments {
    size_t count;   /* of the values that are not missing */
    double mean;    /* NAN when count is 0 */
    double squares; /* sum of squared deviations from the mean; NAN when count is 0 */
    double sd;      /* of a sample, over count - 1; NAN below 2 values */
} fleck_moments;

/*
 * Moments of n values; missing ones (NAN) are passed over.
 * The order of the values does not matter beyond the last digit. Source: Chan, Golub & LeVeque
 * (1983), the two-pass algorithm with their correction.
 */
fleck_moments fleck_moments_of(const double *values, size_t n);

#endif
