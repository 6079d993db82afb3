/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where the tiles of a spectrum lie in a mask. */
#ifndef FLECK_MEASURE_TILE_GRID_H
#define FLECK_MEASURE_TILE_GRID_H

#include <stddef.h>

#include "fleck/segment.h"

/* Tiles begin at first_x_px + i tile / 2, first_y_px + j tile / 2, both firsts below tile / 2. */
typedef struct fleck_tile_grid {
    size_t first_x_px, first_y_px;
    size_t tiles; /* that lie wholly inside; 0 when no tile fits anywhere */
} fleck_tile_grid;

/*
 * The grid with most tiles inside; of equal ones the topmost, then the leftmost.
 *
 * tile_px    even, at least 2
 *
 * O(pixels); takes one more mask and up to (tile_px / 2)^2 counts. Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_tile_grid_choose(const fleck_mask *mask, size_t tile_px, fleck_tile_grid *out,
                                    fleck_error *err);

#endif
