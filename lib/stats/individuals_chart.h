/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The chart of individuals and moving ranges, and the rules by which its runs are read. */
#ifndef FLECK_STATS_INDIVIDUALS_CHART_H
#define FLECK_STATS_INDIVIDUALS_CHART_H

#include <stddef.h>

#include "fleck/error.h"

typedef struct fleck_individuals {
    double centre;     /* mean */
    double mean_range; /* of neighbouring values; NAN below 2 values */
    double sigma;      /* mean_range / 1.128 */
    double lcl, ucl;   /* centre -+ 3 sigma */
    double range_ucl;  /* 3.267 mean_range */
} fleck_individuals;

/*
 * Limits for n finite values in their order. The constants are d2 and D4 for ranges of two, rounded as every
 * handbook has them. Source: Shewhart (1931); ASTM E2587.
 */
fleck_individuals fleck_individuals_of(const double *values, size_t n);

/* Rules for the pattern of points on a chart. */
typedef struct fleck_run_rule {
    const char *name;    /* "nelson-2" */
    const char *meaning; /* "nine in a row on one side of the centre" */
    const char *source;
} fleck_run_rule;

/* All of them; static storage. */
const fleck_run_rule *fleck_run_rules(size_t *count);

/* A stretch of values that broke a rule: of those that together did so, the first and the last. */
typedef struct fleck_run_signal {
    size_t rule; /* in fleck_run_rules */
    size_t first, last;
} fleck_run_signal;

/* Start from {0}; items are freed with fleck_free(). */
typedef struct fleck_run_signals {
    fleck_run_signal *items;
    size_t count, capacity;
} fleck_run_signals;

/*
 * Find what breaks a rule, by rule, then by place; stretches of one rule that overlap are one. Nothing
 * is found with a sigma that is not above 0.
 * Errors: FLECK_NO_RESOURCE. O(n).
 * Source: Nelson (1984), J. Quality Technology 16, 237-239; Western Electric (1956), Statistical Quality
 * Control Handbook.
 */
fleck_status fleck_run_signals_find(const double *values, size_t n, double centre, double sigma,
                                    fleck_run_signals *out, fleck_error *err);

#endif
