/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Repeatability and reproducibility from groups of repeats, after ISO 5725-2. */
#ifndef FLECK_STATS_PRECISION_H
#define FLECK_STATS_PRECISION_H

#include <stddef.h>

#include "fleck/error.h"

/* The factor between a standard deviation and the difference of two results that is exceeded once in
 * 20 times: 1.96 sqrt 2, which ISO 5725-6 rounds. */
#define FLECK_LIMIT_FACTOR 2.8

typedef struct fleck_precision {
    double mean;       /* of all results */
    double group_size; /* n with two bars over it */
    double s_r, s_l, s_r_total; /* within a group, between groups (0 when below), both together */
    double repeatability_limit, reproducibility_limit; /* 2.8 times s_r and s_r_total */
    double cochran; /* largest variance of a group over the sum of them; NAN without */
} fleck_precision;

/*
 * Precision of n results in groups of any size.
 *
 * values, group    n finite results and the group of each, 0 to groups - 1, none of them empty
 * mandel_h, mandel_k    out, may be NULL: for each group Mandel's consistency statistics; k is NAN for a
 *                       group of one result
 *
 * Errors: FLECK_BAD_CALL (fewer than 2 groups, an empty group, no group with repeats), FLECK_NO_RESOURCE.
 * Thread-safe. Source: ISO 5725-2:1994, 7.2 to 7.4.
 */
fleck_status fleck_precision_of(const double *values, const size_t *group, size_t n, size_t groups,
                                fleck_precision *out, double *mandel_h, double *mandel_k,
                                fleck_error *err);

#endif
