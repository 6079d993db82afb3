/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ranks, and the p-values that are taken together or rest on ranks alone. */
#ifndef FLECK_STATS_RANKS_H
#define FLECK_STATS_RANKS_H

#include <stddef.h>

#include "fleck/error.h"

/*
 * Ranks from 1 for the smallest; equal values share the mean of theirs.
 *
 * values    n numbers, none NAN
 * ranks     out: n
 * ties      out, may be NULL: sum of t^3 - t over the sets of t equal values, 0 when all differ
 *
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_ranks(const double *values, size_t n, double *ranks, double *ties,
                         fleck_error *err);

/*
 * Whether one of two groups tends to larger values.
 *
 * u    out, may be NULL: pairs in which b is larger than a, ties as one half
 * p    out: two-sided; exact when no values are equal and neither group has more than 20, else from
 * the normal distribution, corrected for ties and continuity. NAN when a group is empty.
 *
 * Errors: FLECK_NO_RESOURCE. Source: Mann & Whitney (1947), their recursion for the exact
 * distribution; Lehmann (1975) for the correction.
 */
fleck_status fleck_mann_whitney(const double *a, size_t n_a, const double *b, size_t n_b, double *u,
                                double *p, fleck_error *err);

/*
 * Whether some of several groups tend to larger values than others.
 *
 * values    n numbers, none NAN
 * group     n entries, 0 to groups - 1; empty groups are passed over
 * p         out: from chi-squared, corrected for ties; NAN when there are not two groups or all
 * values are equal
 *
 * Errors: FLECK_NO_RESOURCE. Source: Kruskal & Wallis (1952).
 */
fleck_status fleck_kruskal(const double *values, const size_t *group, size_t n, size_t groups,
                           double *h, double *p, fleck_error *err);

/*
 * Raise p-values so that the chance of even one false finding among them stays as said.
 *
 * p           n values; NAN ones do not count and stay NAN
 * adjusted    out: n, may be the same array
 *
 * Source: Holm (1979).
 */
fleck_status fleck_holm(const double *p, size_t n, double *adjusted, fleck_error *err);

#endif
