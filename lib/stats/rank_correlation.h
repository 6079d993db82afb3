/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether one number rises with another, whatever the shape: Spearman's rho and Kendall's tau-b. */
#ifndef FLECK_STATS_RANK_CORRELATION_H
#define FLECK_STATS_RANK_CORRELATION_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"

typedef struct fleck_rank_correlation {
    double rho, rho_p;
    bool rho_exact;
    double tau, tau_p;
    bool tau_exact;
} fleck_rank_correlation;

/*
 * Both coefficients with two-sided p.
 *
 * x, y    n numbers each, finite
 *
 * All are NAN below 3 pairs and when x or y is constant. Without ties p is exact up to 9 pairs for
 * rho (all orders), below 50 for tau (all numbers of inversions): twice the smaller tail. Otherwise
 * rho's comes from Student's t with n - 2 degrees of freedom, tau's from the normal law with the
 * variance under ties, without continuity correction.
 *
 * Errors: FLECK_NO_RESOURCE. O(n^2).
 * Source: Kendall & Gibbons, Rank Correlation Methods, chapters 3 to 5; limits of the exact laws as
 * in R.
 */
fleck_status fleck_rank_correlate(const double *x, const double *y, size_t n,
                                  fleck_rank_correlation *out, fleck_error *err);

#endif
