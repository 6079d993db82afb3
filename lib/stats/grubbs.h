/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Is the value farthest from the others one of them? */
#ifndef FLECK_STATS_GRUBBS_H
#define FLECK_STATS_GRUBBS_H

#include <stddef.h>

#include "fleck/error.h"

typedef struct fleck_grubbs {
    size_t index; /* of the value farthest from the mean */
    double g;     /* its distance in standard deviations; NAN below 3 values or without scatter */
    double p;     /* two-sided, that normal values have one as far; at most 1 */
} fleck_grubbs;

/*
 * Grubbs' test of one outlier on either side among n finite values. Of two values as far the first counts.
 * Thread-safe. O(n). Source: Grubbs (1969), Technometrics 11, 1-21.
 */
fleck_grubbs fleck_grubbs_of(const double *values, size_t n);

/*
 * The test repeated without the outliers found, as long as p is at most alpha and more than 6 values are left
 * (among fewer it takes too many; the first test is made in any case).
 *
 * out    room for n: the indices found, the farthest first
 * p      out, may be NULL: of the first test
 *
 * Returns their number in *found. Errors: FLECK_NO_RESOURCE.
 * Source for the limit: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1.
 */
fleck_status fleck_grubbs_repeated(const double *values, size_t n, double alpha, size_t *out,
                                   size_t *found, double *p, fleck_error *err);

#endif
