/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Code values of the steps of a grey scale, from boxes or from a strip. */
#ifndef FLECK_CALIBRATE_STEP_CODES_H
#define FLECK_CALIBRATE_STEP_CODES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/calibration.h"

/* Exact sums over the pixels of a step, for each colour sample. */
typedef struct fleck_code_sums {
    uint64_t pixels;
    uint64_t sum[FLECK_COLOURS];
    uint64_t square[FLECK_COLOURS];
    uint64_t dark[FLECK_COLOURS];  /* pixels at code 0 */
    uint64_t light[FLECK_COLOURS]; /* pixels at full scale */
} fleck_code_sums;

/*
 * Sums over the middle 60 % of each box, in both directions.
 *
 * sums    out: count
 *
 * Errors: FLECK_BAD_INPUT (the scan, a box outside it or too small), FLECK_NO_RESOURCE.
 */
fleck_status fleck_codes_of_boxes(fleck_calibration *calibration, const fleck_scan_area *scan,
                                  const fleck_box_mm *boxes, size_t count, fleck_code_sums *sums,
                                  fleck_warnings *warnings, fleck_error *err);

/*
 * Sums over the middle 60 % of each step found along a strip, in a band around its line: as wide as
 * 60 % of the scan's shorter side when the whole scan is the strip, else 40 % of a step's length.
 *
 * strip_mm    x1, y1, x2, y2, or NULL: along the longer side of the whole scan
 */
fleck_status fleck_codes_of_strip(fleck_calibration *calibration, const fleck_scan_area *scan,
                                  const double *strip_mm, size_t count, fleck_code_sums *sums,
                                  fleck_warnings *warnings, fleck_error *err);

#endif
