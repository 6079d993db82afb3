/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The settings at which a fitted curve may have a wanted value. */
#ifndef FLECK_STATS_CURVE_INVERSE_H
#define FLECK_STATS_CURVE_INVERSE_H

#include <stddef.h>

enum { FLECK_CURVE_DEGREE = 3, FLECK_CURVE_PIECES = FLECK_CURVE_DEGREE + 1 };

/* A fitted curve in u, -1 to 1, with the variance of its height. */
typedef struct fleck_curve {
    size_t degree;                               /* at most FLECK_CURVE_DEGREE */
    double height[FLECK_CURVE_DEGREE + 1];       /* height[k] u^k */
    double variance[2 * FLECK_CURVE_DEGREE + 1]; /* variance[k] u^k, k to 2 * degree */
} fleck_curve;

typedef struct fleck_curve_inverse {
    size_t root_count;
    double root[FLECK_CURVE_DEGREE]; /* where the curve itself has the wanted value, ascending */
    size_t piece_count;
    struct {
        double lo, hi;           /* -1 or 1 where the piece is cut off by the range */
    } piece[FLECK_CURVE_PIECES]; /* where it is no further than t standard errors off, ascending */
} fleck_curve_inverse;

/*
 * Find both within -1 <= u <= 1. Each root lies in a piece.
 * Source: Fieller (1954) for a straight line; Draper & Smith, Applied Regression Analysis,
 * section 3.2, for the same on any fitted curve.
 */
fleck_curve_inverse fleck_curve_invert(const fleck_curve *curve, double wanted, double t);

#endif
