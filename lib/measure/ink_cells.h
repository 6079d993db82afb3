/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ink and its tone in cells of about a millimetre, a row of cells at a time. */
#ifndef FLECK_MEASURE_INK_CELLS_H
#define FLECK_MEASURE_INK_CELLS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/geometry.h"
#include "fleck/segment.h"

typedef struct fleck_ink_cell {
    uint64_t ink_px;
    uint64_t core_px;  /* pixels in the middle of ink runs, away from soft edges */
    uint64_t core_sum; /* of their q */
} fleck_ink_cell;

typedef struct fleck_ink_cells {
    size_t across, down; /* cells along x and y: 1 mm or a little more; 0 in a region below 1 mm */
    size_t width_px, height_px;
    size_t most_margin_px; /* of a run's ends that is not core */
    size_t row;            /* next row of pixels */
    size_t row_step;       /* each row_step-th row is looked at: one in 1/8 mm or so */
    size_t rows_seen;      /* of the current row of cells */
    size_t cell_row;       /* of the row of cells that is filling or was just completed */
    fleck_ink_cell *cells; /* `across` of them */
    bool complete;
} fleck_ink_cells;

/* False when there is no memory. Ended with fleck_ink_cells_end, also after a failure. */
bool fleck_ink_cells_begin(fleck_ink_cells *cells, const fleck_geometry *geometry);

/* Next row and its ink runs. True when it completes a row of cells, which stands until the next
 * row. */
bool fleck_ink_cells_add(fleck_ink_cells *cells, const uint16_t *q, const fleck_run *ink_runs,
                         size_t count);

/* Pixels looked at in cell i of the row of cells that was just completed. */
uint64_t fleck_ink_cell_px(const fleck_ink_cells *cells, size_t i);

void fleck_ink_cells_end(fleck_ink_cells *cells);

#endif
