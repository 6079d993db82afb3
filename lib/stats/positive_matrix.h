/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Small systems with a positive definite matrix, which may turn out not to be one without harm. */
#ifndef FLECK_STATS_POSITIVE_MATRIX_H
#define FLECK_STATS_POSITIVE_MATRIX_H

#include <stdbool.h>
#include <stddef.h>

/*
 * Cholesky's factor L of an n x n matrix, row by row, in place; what stands above the diagonal
 * stays. False when the matrix is not positive definite to within rounding: it is of no use then.
 */
bool fleck_positive_factor(double *matrix, size_t n);

/* Solve L L' x = b in place, L from fleck_positive_factor. */
void fleck_positive_solve(const double *factor, size_t n, double *b);

/* |L^-1 b|^2, which is b' M^-1 b; b is changed. */
double fleck_positive_form(const double *factor, size_t n, double *b);

#endif
