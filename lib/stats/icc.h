/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How well several readings of the same targets agree: the intraclass correlations of a full table. */
#ifndef FLECK_STATS_ICC_H
#define FLECK_STATS_ICC_H

#include <stddef.h>

#include "fleck/error.h"

/* A coefficient and its confidence limits. */
typedef struct fleck_icc {
    double value, lo, hi;
} fleck_icc;

typedef struct fleck_icc_table {
    double ms_targets, ms_judges, ms_within, ms_error;
    fleck_icc single[3];  /* ICC(1,1), (2,1), (3,1): of one reading */
    fleck_icc average[3]; /* ICC(1,k), (2,k), (3,k): of the mean of all judges' readings */
    double f_1, p_1;      /* do the targets differ, by ms_within */
    double f_3, p_3;      /* the same, by ms_error */
} fleck_icc_table;

/*
 * The six coefficients of Shrout & Fleiss.
 *
 * values        targets x judges, one target's readings after the other; finite
 * targets       at least 2
 * judges        at least 2
 * confidence    of the limits, 0 to 1
 *
 * All NAN when the values have no scatter. Errors: FLECK_BAD_CALL (fewer, a confidence out of range),
 * FLECK_NO_RESOURCE. Thread-safe. Source: Shrout & Fleiss (1979), Psychol. Bull. 86, 420-428.
 */
fleck_status fleck_icc_of_table(const double *values, size_t targets, size_t judges,
                                double confidence, fleck_icc_table *out, fleck_error *err);

#endif
