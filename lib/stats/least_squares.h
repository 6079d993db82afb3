/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Linear least squares with an intercept, and what tells whether a fit can be trusted. */
#ifndef FLECK_STATS_LEAST_SQUARES_H
#define FLECK_STATS_LEAST_SQUARES_H

#include <stddef.h>

#include "fleck/error.h"

/* A fitted model y = b0 + b1 x1 + ... Start from {0}; ended with fleck_least_squares_clear. */
typedef struct fleck_least_squares {
    size_t rows;
    size_t columns; /* with the intercept, which is column 0 */
    size_t df;      /* rows - columns, at least 1 */
    double *coefficient;
    double *se;
    double *residual; /* one for each row */
    double *leverage; /* from 1/rows to 1; they add up to `columns` */
    double *cook;     /* Cook's distance; 0 for a row that alone decides its own fit */
    double rss;       /* sum of squared residuals */
    double residual_sd;
    double r2, r2_adjusted; /* NAN when all y are the same */
    double level;           /* mean of y: the fit at the columns' means */
    double *centre, *root;  /* of the columns behind the intercept, see the source file */
} fleck_least_squares;

/* Which column cannot be fitted: named by the caller, who knows what it stands for. */
typedef enum fleck_column_fault {
    FLECK_COLUMN_FINE,
    FLECK_COLUMN_CONSTANT,
    FLECK_COLUMN_COLLINEAR /* it can be computed from the columns before it */
} fleck_column_fault;

typedef struct fleck_least_squares_fault {
    fleck_column_fault kind;
    size_t column;  /* with the intercept as column 0 */
    size_t partner; /* the column before it that it goes along with most; 0 for a constant one */
} fleck_least_squares_fault;

/*
 * Fit by Householder QR of the centred columns, each scaled to length 1.
 *
 * x        columns - 1 columns of `rows` numbers, one after the other, without the intercept;
 * finite y        rows numbers; finite fault    out: the column at fault when the columns cannot
 * tell coefficients apart fit      out: cleared on failure
 *
 * Errors: FLECK_BAD_INPUT (a column at fault, or not more rows than columns, which leaves the fault
 * FLECK_COLUMN_FINE), FLECK_NO_RESOURCE. Thread-safe. O(rows columns^2).
 * Source: Golub & Van Loan, Matrix Computations, section 5.3; Cook (1977), Technometrics 19, 15.
 */
fleck_status fleck_least_squares_fit(const double *x, const double *y, size_t rows, size_t columns,
                                     fleck_least_squares_fault *fault, fleck_least_squares *fit,
                                     fleck_error *err);

/*
 * a' (X'X)^-1 b for two combinations of the coefficients, `columns` numbers each: times
 * residual_sd^2 it is the covariance of a'coefficient and b'coefficient. For a contrast the first
 * number is 0. work    room for 2 * columns numbers
 */
double fleck_least_squares_form(const fleck_least_squares *fit, const double *a, const double *b,
                                double *work);

/* Sum of a[i] * coefficient[i], without what far-off columns would cancel. */
double fleck_least_squares_value(const fleck_least_squares *fit, const double *a);

/* Free what it owns and start anew. */
void fleck_least_squares_clear(fleck_least_squares *fit);

#endif
