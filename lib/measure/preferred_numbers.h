/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Series of preferred numbers, R10 and R20, by their theoretical values 10^(k/10) and 10^(k/20);
 * the rounded ones in use (1, 1.25, 1.6, 2, ...) lie within 1.3 % of them. Source: ISO 3.
 */
#ifndef FLECK_MEASURE_PREFERRED_NUMBERS_H
#define FLECK_MEASURE_PREFERRED_NUMBERS_H

/* Number k of the series with so many numbers to the decade. */
double fleck_preferred_number(int k, int per_decade);

/* The class k that holds a value above 0: number k <= value < number k + 1, made sure by
 * comparison. */
int fleck_preferred_class(double value, int per_decade);

#endif
