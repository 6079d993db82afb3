/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Differences of means with their interval and chance, and the test that two means are alike. */
#ifndef FLECK_STATS_T_TESTS_H
#define FLECK_STATS_T_TESTS_H

#include "stats/moments.h"

/* Everything but the difference is NAN when there are too few values or they have no spread at all.
 */
typedef struct fleck_t_test {
    double difference; /* mean of b less mean of a; NAN when one is missing */
    double se, df;
    double t, p; /* two-sided */
    double ci_lo, ci_hi;
} fleck_t_test;

/*
 * Difference of two means whose spreads need not be equal.
 *
 * confidence    of the interval, such as 0.95
 *
 * Needs two values in each group. Source: Welch (1947), degrees of freedom of Satterthwaite (1946),
 * not rounded.
 */
fleck_t_test fleck_welch(const fleck_moments *a, const fleck_moments *b, double confidence);

/* The mean of differences b - a of pairs against 0: Student's (1908) test. Needs two pairs. */
fleck_t_test fleck_paired_t(const fleck_moments *differences, double confidence);

/*
 * The chance, were the true difference `margin` or more to either side, of one as near 0 as this:
 * at 0.05 and below the means are alike within the margin. Source: two one-sided tests, Schuirmann
 * (1987). NAN when the test has no spread or the margin is not > 0.
 */
double fleck_equivalence_p(const fleck_t_test *test, double margin);

#endif
