/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Doubts along the patch's edge: ink piled up there, and bare paper beside the print. */
#ifndef FLECK_MEASURE_DOUBT_RIM_H
#define FLECK_MEASURE_DOUBT_RIM_H

#include "fleck/error.h"
#include "measure/doubt.h"
#include "measure/ink_cells.h"

/* A line of cells. */
typedef struct fleck_rim_line {
    double px, ink_px, core_px, core_sum;
} fleck_rim_line;

typedef struct fleck_rim_spread {
    double count, sum, squares;
} fleck_rim_spread;

/* Start from {0}. */
typedef struct fleck_doubt_rim_sums {
    fleck_rim_line sides[4]; /* top, bottom, left, right, without the corners */
    fleck_rim_line inside;
    fleck_rim_line *columns;         /* `across` of them */
    fleck_rim_spread coverage, tone; /* of the lines inside that run along rows */
} fleck_doubt_rim_sums;

/*
 * Means of the band of 1 mm along the region's border against the inside. Of both, statistic is the
 * difference in its unit, z the same in standard errors of lines of cells inside. A doubt takes
 * both, and three sides or more that show at least half of it; for bare paper the side with least ink
 * can do, against single lines inside.
 */
typedef struct fleck_doubt_rim {
    fleck_doubt coverage; /* more ink in the band, as a share of the coverage inside */
    fleck_doubt tone;     /* stronger ink in the band, as a share of the contrast */
    double coverage_z, tone_z;
    fleck_doubt bare; /* less ink along a side or all of them, as a share of the coverage inside */
    double bare_z;
    const char *bare_side; /* "top", "bottom", "left", "right" or "whole" */
} fleck_doubt_rim;

/*
 * False when there is no memory. Ended with fleck_doubt_rim_end, also after a failure.
 */
bool fleck_doubt_rim_begin(fleck_doubt_rim_sums *sums, const fleck_ink_cells *cells);

/* Take the row of cells that was just completed. */
void fleck_doubt_rim_add(fleck_doubt_rim_sums *sums, const fleck_ink_cells *cells);

/* NAN in regions below 6 mm on a side. */
fleck_doubt_rim fleck_doubt_rim_finish(const fleck_doubt_rim_sums *sums,
                                       const fleck_ink_cells *cells, double ink_reflectance,
                                       double bare_reflectance);

void fleck_doubt_rim_end(fleck_doubt_rim_sums *sums);

/* Errors: FLECK_NO_RESOURCE. Adds nothing when neither doubt is exceeded. */
fleck_status fleck_doubt_rim_warn(const fleck_doubt_rim *rim, fleck_warnings *warnings,
                                  fleck_error *err);

#endif
