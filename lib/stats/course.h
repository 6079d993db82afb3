/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What shape a change along an order has: none, a step, a drift from the start, or one that sets in. */
#ifndef FLECK_STATS_COURSE_H
#define FLECK_STATS_COURSE_H

#include <stddef.h>

#include "fleck/error.h"

typedef enum fleck_course_kind {
    FLECK_COURSE_STEP,  /* one level, then another */
    FLECK_COURSE_DRIFT, /* a straight line all along */
    FLECK_COURSE_BEND   /* a level, then a straight line */
} fleck_course_kind;

typedef struct fleck_course {
    double p; /* that an order without meaning follows any of the three as closely; NAN below 3 values */
    fleck_course_kind kind; /* the best of the three */
    size_t first;  /* of the values that have changed; 0 for a drift */
    double before; /* level before: of a drift, the line's value at its first place */
    double after;  /* level behind the step; of the lines, the value at the last place */
    double slope;  /* of the lines, a unit of place; 0 for a step */
    double shown;  /* share of the variance that the shape explains */
} fleck_course;

/*
 * Fit the three shapes by least squares and test the best of them against shuffled orders.
 *
 * place     n places that rise or stay
 * values    n finite values
 *
 * Both parts of a step have 3 values at least (2 below 8 values), and so has the sloping part of a bend.
 * Of the shapes the one with the least Bayesian information criterion is taken. The same values give the
 * same p: the shuffles have a fixed seed; there are 9999 up to 200 values and 1999 beyond.
 *
 * Errors: FLECK_NO_RESOURCE. Thread-safe. O(n) for each shuffle.
 * Source: permutation of the order for the largest of several statistics: Westfall & Young (1993); the
 * criterion: Schwarz (1978), Ann. Stat. 6, 461-464.
 */
fleck_status fleck_course_of(const double *place, const double *values, size_t n, fleck_course *out,
                             fleck_error *err);

#endif
