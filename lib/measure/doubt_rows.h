/* SPDX-License-Identifier: GPL-3.0-or-later */
/* All doubts about a scan that show in the measured rows of a patch, gathered in one pass. */
#ifndef FLECK_MEASURE_DOUBT_ROWS_H
#define FLECK_MEASURE_DOUBT_ROWS_H

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/segment.h"
#include "measure/doubt_halo.h"
#include "measure/doubt_jpeg_grid.h"
#include "measure/doubt_rim.h"
#include "measure/doubt_upsampled.h"
#include "measure/doubt_wander.h"

typedef struct fleck_doubt_rows fleck_doubt_rows;

/* What was found. */
typedef struct fleck_scan_doubts {
    fleck_doubt_halo halo;
    fleck_doubt upsampled;
    fleck_doubt_jpeg_grid jpeg_grid;
    fleck_doubt_rim rim;
    fleck_doubt_wander wander;
} fleck_scan_doubts;

/*
 * ink_reflectance, bare_reflectance    means of the classes at the cut that the runs come from
 * out                                  ended with fleck_doubt_rows_free; NULL on failure
 *
 * Memory: some 40 bytes for each pixel of a row. Errors: FLECK_NO_RESOURCE. Thread-safe for
 * different objects.
 */
fleck_status fleck_doubt_rows_new(const fleck_geometry *geometry, double ink_reflectance,
                                  double bare_reflectance, fleck_doubt_rows **out,
                                  fleck_error *err);

/* Next row, from top to bottom, and its ink runs. Never fails. */
void fleck_doubt_rows_add(fleck_doubt_rows *rows, const uint16_t *q, const fleck_run *ink_runs,
                          size_t count);

/* After the last row, once. */
void fleck_doubt_rows_finish(fleck_doubt_rows *rows, fleck_scan_doubts *out);

/*
 * Add the warnings there are.
 *
 * is_jpeg    the scan is a JPEG, which explains a grid and missing noise: neither is warned of
 *
 * A former JPEG explains missing noise too. Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_scan_doubts_warn(const fleck_scan_doubts *doubts, bool is_jpeg,
                                    fleck_warnings *warnings, fleck_error *err);

/* NULL is allowed. */
void fleck_doubt_rows_free(fleck_doubt_rows *rows);

#endif
