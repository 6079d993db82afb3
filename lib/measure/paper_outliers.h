/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Doubt: scans of one run whose bare paper differs from that of the others, as auto-exposure makes
 * it. */
#ifndef FLECK_MEASURE_PAPER_OUTLIERS_H
#define FLECK_MEASURE_PAPER_OUTLIERS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/segment.h"

/*
 * Tone of open paper: the quarter of the bare pixels that is furthest from ink in tone starts here.
 * The mean of all bare pixels would not do: the more ink there is, the more of them are half edge.
 *
 * counts    FLECK_LEVELS pixel counts of q
 * k         the cut
 *
 * Returns a reflectance, NAN without a bare pixel.
 */
double fleck_paper_level(const uint64_t *counts, unsigned k, fleck_ink ink);

typedef struct fleck_paper_outliers {
    double median;    /* NAN when there are fewer than 3 papers */
    double tolerance; /* what differs by more stands apart */
    size_t count;     /* scans that stand apart */
} fleck_paper_outliers;

/*
 * Which papers stand apart from the median of all.
 *
 * level       n reflectances of open paper, NAN for scans that have none
 * apart       out: n answers
 *
 * The tolerance is 3.5 times the scaled median absolute deviation, and at least 0.03. The order of
 * the scans changes nothing. Errors: FLECK_NO_RESOURCE.
 * Source: Iglewicz & Hoaglin (1993), How to Detect and Handle Outliers.
 */
fleck_status fleck_paper_outliers_find(const double *level, size_t n, bool *apart,
                                       fleck_paper_outliers *out, fleck_error *err);

/* Warn of the run: out->count of `known` papers stand apart. Errors: FLECK_NO_RESOURCE. */
fleck_status fleck_paper_outliers_warn_run(const fleck_paper_outliers *outliers, size_t known,
                                           fleck_warnings *warnings, fleck_error *err);

/* Take the warning of one scan out again; true when it was there. */
bool fleck_paper_outliers_unwarn(fleck_warnings *warnings);

/* Warn of one scan that stands apart. Errors: FLECK_NO_RESOURCE. */
fleck_status fleck_paper_outliers_warn(const fleck_paper_outliers *outliers, double level,
                                       fleck_warnings *warnings, fleck_error *err);

#endif
