/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where a polynomial crosses 0 within a range. */
#ifndef FLECK_STATS_REAL_ROOTS_H
#define FLECK_STATS_REAL_ROOTS_H

#include <stddef.h>

enum { FLECK_ROOTS_DEGREE = 8 };

/*
 * Crossings of c[0] + c[1] x + ... + c[degree] x^degree in lo <= x <= hi, ascending.
 *
 * degree    at most FLECK_ROOTS_DEGREE; leading coefficients may be 0
 * roots     room for `degree` numbers
 *
 * Returns their number. A value of exactly 0 at lo or hi counts; a place where the polynomial
 * touches 0 without crossing it may be passed over. Between neighbouring roots of the derivative
 * there is at most one, which bisection finds to the last digit.
 */
size_t fleck_real_roots(const double *c, size_t degree, double lo, double hi, double *roots);

/* Value of the polynomial, by Horner's rule. */
double fleck_polynomial(const double *c, size_t degree, double x);

#endif
