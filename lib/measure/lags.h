/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The steps at which pairs of pixels are counted: along x, along y, and in rings around a pixel. */
#ifndef FLECK_MEASURE_LAGS_H
#define FLECK_MEASURE_LAGS_H

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "measure/bit_rows.h"

enum { FLECK_LAG_DIRECTIONS = 8 }; /* in the half plane, 22.5 degrees apart */

/* A ring: some of the steps, all of about the same length. */
typedef struct fleck_lag_ring {
    size_t members; /* at most FLECK_LAG_DIRECTIONS; fewer where directions share a pixel */
    size_t member[FLECK_LAG_DIRECTIONS];    /* index into steps */
    size_t direction[FLECK_LAG_DIRECTIONS]; /* in units of 22.5 degrees, y down */
} fleck_lag_ring;

/* Steps, each once, and the counts of pairs for each. Start from {0}. */
typedef struct fleck_lags {
    double pixel_x_mm, pixel_y_mm;
    fleck_step *steps;
    fleck_pairs *pairs;
    size_t count, step_capacity, pair_capacity;
    fleck_lag_ring *rings;
    size_t ring_count, ring_capacity;
    size_t *along_x, *along_y; /* indices into steps, shortest first */
    size_t x_count, x_capacity, y_count, y_capacity;
} fleck_lags;

/* Add the ring of radius_mm. Errors: FLECK_NO_RESOURCE. */
fleck_status fleck_lags_add_ring(fleck_lags *lags, double radius_mm, fleck_error *err);

/*
 * All lags a patch is described with, up to longest_mm: along the axes each pixel up to 64 and then
 * in steps of 6 % (R40 of ISO 3), rings for each pixel up to 12 and then in steps of 12 % (R20).
 * Errors: FLECK_NO_RESOURCE. Ended with fleck_lags_clear, on failure too.
 */
fleck_status fleck_lags_fill(fleck_lags *lags, const fleck_geometry *geometry, double longest_mm,
                             fleck_error *err);

/* Add the pairs that end in row y. */
void fleck_lags_add_row(fleck_lags *lags, const fleck_bit_rows *ink, const fleck_bit_rows *inside,
                        size_t y);

/* Length of a step. */
double fleck_lag_length_mm(const fleck_lags *lags, size_t step);

/* Longest reach of all steps along x and y. */
fleck_step fleck_lags_reach(const fleck_lags *lags);

void fleck_lags_clear(fleck_lags *lags);

#endif
