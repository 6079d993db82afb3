/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Distributions of sizes as curves: the share of dots up to a size, and how far two of them lie
 * apart. */
#ifndef FLECK_STATS_SIZE_CURVE_H
#define FLECK_STATS_SIZE_CURVE_H

#include <stddef.h>

#include "fleck/error.h"

/* A step curve: from size[i] on, up to the next, the share is share[i]; the last is 1. */
typedef struct fleck_size_curve {
    size_t count;
    double *size;  /* rising, all different */
    double *share; /* cumulative */
} fleck_size_curve;

/*
 * The curve of weighted sizes.
 *
 * weights    n, > 0; NULL: all the same
 * out        ended with fleck_size_curve_clear; without sizes an empty curve
 *
 * Errors: FLECK_NO_RESOURCE. O(n log n).
 */
fleck_status fleck_size_curve_of(const double *sizes, const double *weights, size_t n,
                                 fleck_size_curve *out, fleck_error *err);
void fleck_size_curve_clear(fleck_size_curve *curve);

/*
 * All sizes at which one of several curves has a step, rising; of more than `most` only every so
 * many. grid    out: *points sizes, freed with fleck_free()
 */
fleck_status fleck_size_grid(const fleck_size_curve *curves, size_t count, size_t most,
                             double **grid, size_t *points, fleck_error *err);

/* Add `factor` times the curve's share at each size of the grid. */
void fleck_size_curve_add(const fleck_size_curve *curve, const double *grid, size_t points,
                          double factor, double *sum);

/*
 * How far two curves on one grid lie apart.
 *
 * ks             out: the largest distance, Kolmogorov & Smirnov's
 * wasserstein    out: the area between them in the unit of the sizes: how far a dot's size must
 * change on average to turn one distribution into the other
 */
void fleck_size_distance(const double *a, const double *b, const double *grid, size_t points,
                         double *ks, double *wasserstein);

#endif
