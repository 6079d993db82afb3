/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Doubt: a grid of 8 pixels, left by a JPEG that was saved again as something else. */
#ifndef FLECK_MEASURE_DOUBT_JPEG_GRID_H
#define FLECK_MEASURE_DOUBT_JPEG_GRID_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "measure/doubt.h"

enum { FLECK_GRID_PX = 8 };

/* Lines of one direction, folded by their place modulo 8 once their neighbours are known. */
typedef struct fleck_grid_fold {
    double recent[2 * FLECK_GRID_PX]; /* ring of the latest lines' roughness */
    size_t lines;
    double count[FLECK_GRID_PX], sum[FLECK_GRID_PX], squares[FLECK_GRID_PX];
    double total;
} fleck_grid_fold;

typedef struct fleck_doubt_jpeg_grid_sums {
    size_t width_px;
    int16_t cap; /* differences count up to this */
    size_t row;
    int16_t *rows[4];  /* q / 8 of the latest row and of the three above it, in turn */
    uint64_t *columns; /* roughness between column x - 1 and x */
    uint16_t *pending; /* the same, of rows not yet added there */
    size_t pending_rows;
    fleck_grid_fold lines;
} fleck_doubt_jpeg_grid_sums;

typedef struct fleck_doubt_jpeg_grid {
    fleck_doubt
        doubt; /* statistic: how far one phase of 8 stands above others, in standard errors */
    unsigned phase_x_px, phase_y_px; /* first block's edge from the region's left and top */
} fleck_doubt_jpeg_grid;

/*
 * contrast    |bare - ink| in reflectance, or the tone's standard deviation when there is no mask
 * False when there is no memory. Ended with fleck_doubt_jpeg_grid_end, also after a failure.
 */
bool fleck_doubt_jpeg_grid_begin(fleck_doubt_jpeg_grid_sums *sums, size_t width_px,
                                 double contrast);

void fleck_doubt_jpeg_grid_add_row(fleck_doubt_jpeg_grid_sums *sums, const uint16_t *q);

/* NAN for regions below 64 pixels on a side, and for those without any roughness. */
fleck_doubt_jpeg_grid fleck_doubt_jpeg_grid_finish(fleck_doubt_jpeg_grid_sums *sums);

void fleck_doubt_jpeg_grid_end(fleck_doubt_jpeg_grid_sums *sums);

/* Errors: FLECK_NO_RESOURCE. Adds nothing when the doubt is not exceeded. */
fleck_status fleck_doubt_jpeg_grid_warn(const fleck_doubt_jpeg_grid *grid, fleck_warnings *warnings,
                                        fleck_error *err);

#endif
