/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How often chance alone, dealing the patches out to the groups anew, gives as large a difference:
 * no assumption about how the values are spread. All deals are gone through where there are few
 * enough of them, else a seeded sample of them.
 */
#ifndef FLECK_STATS_PERMUTATION_H
#define FLECK_STATS_PERMUTATION_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"

typedef struct fleck_permutation_options {
    size_t exact_limit; /* up to so many deals all are gone through */
    size_t shuffles;    /* else so many are drawn */
    uint64_t seed;
} fleck_permutation_options;

/* 200 000 deals, 99 999 shuffles, seed 1. */
fleck_permutation_options fleck_permutation_options_default(void);

typedef struct fleck_permutation {
    double p;     /* two-sided; NAN when a group is empty */
    double least; /* below which p could not have been, however large the difference */
    bool exact;
    size_t deals; /* gone through or drawn */
} fleck_permutation;

/*
 * Difference of the means of two groups. Deals whose difference equals the observed one but for
 * rounding count as equal. Drawn: p = (hits + 1) / (shuffles + 1).
 *
 * Errors: FLECK_NO_RESOURCE. Source: Pitman (1937); Phipson & Smyth (2010) for the drawn ones.
 */
fleck_status fleck_permute_means(const double *a, size_t n_a, const double *b, size_t n_b,
                                 const fleck_permutation_options *options,
                                 fleck_permutation *result, fleck_error *err);

/* The same for n differences of pairs: the sign of each is left to chance. Source: Fisher (1935).
 */
fleck_status fleck_permute_signs(const double *differences, size_t n,
                                 const fleck_permutation_options *options,
                                 fleck_permutation *result, fleck_error *err);

/*
 * Difference of two groups' mean curves, a curve such as a patch's cumulative share of dots by
 * size.
 *
 * curves    (n_a + n_b) x points, row after row, those of group a first; or n_b 0: the n_a
 * differences of pairs, whose signs are left to chance widths    points entries, the weight of each
 * point in the area between curves largest   out: for the largest distance of the mean curves at
 * any point area      out: for the area between them
 *
 * Time in proportion to deals times points times the size of the smaller group.
 */
fleck_status fleck_permute_curves(const double *curves, size_t n_a, size_t n_b, size_t points,
                                  const double *widths, const fleck_permutation_options *options,
                                  fleck_permutation *largest, fleck_permutation *area,
                                  fleck_error *err);

/* Deals of n things into groups of n_a and the rest, at most SIZE_MAX; n_b 0: signs of n_a pairs.
 */
size_t fleck_permutation_deals(size_t n_a, size_t n_b);

#endif
