/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/ink_cells.h"

#include <string.h>

#include "core/memory.h"
#include "measure/clear_rows.h"

enum { LEAST_RUN_PX = 5 }; /* shorter ones are all edge */

/* Whole cells of a millimetre that fit. */
static size_t count_cells(size_t length_px, double pixel_mm)
{
    const double cells = (double)length_px * pixel_mm + 1e-9;

    return cells < 1 ? 0 : cells > (double)length_px ? length_px : (size_t)cells;
}

/* First pixel of cell i of n, of a side shared out evenly. */
static size_t cell_start(size_t i, size_t n, size_t length_px)
{
    return length_px / n * i + length_px % n * i / n;
}

bool fleck_ink_cells_begin(fleck_ink_cells *cells, const fleck_geometry *geometry)
{
    *cells = (fleck_ink_cells){ .width_px = geometry->width_px,
                                .height_px = geometry->height_px,
                                .most_margin_px = 2 * fleck_clear_reach_px(geometry) };
    cells->across = count_cells(geometry->width_px, geometry->pixel_x_mm);
    cells->down = count_cells(geometry->height_px, geometry->pixel_y_mm);
    if (cells->across == 0 || cells->down == 0)
        cells->across = cells->down = 0;
    cells->row_step = fleck_clear_reach_px(geometry);
    cells->cells = fleck_alloc_zeroed(cells->across, sizeof *cells->cells);
    return cells->cells != NULL;
}

static void add_run(fleck_ink_cells *cells, const uint16_t *q, fleck_run run, size_t *cell)
{
    const size_t length_px = run.end_px - run.start_px;
    const size_t third_px = length_px / 3;
    const size_t margin_px = third_px < cells->most_margin_px ? third_px : cells->most_margin_px;
    const bool has_core = length_px >= LEAST_RUN_PX;
    size_t x = run.start_px;

    while (x < run.end_px) {
        size_t cell_end = cell_start(*cell + 1, cells->across, cells->width_px);
        size_t end, core_start, core_end;
        uint64_t sum = 0;

        if (x >= cell_end) {
            ++*cell;
            continue;
        }
        end = run.end_px < cell_end ? run.end_px : cell_end;
        cells->cells[*cell].ink_px += end - x;
        core_start = run.start_px + margin_px > x ? run.start_px + margin_px : x;
        core_end = run.end_px - margin_px < end ? run.end_px - margin_px : end;
        if (has_core && core_start < core_end) {
            for (size_t i = core_start; i < core_end; i++)
                sum += q[i];
            cells->cells[*cell].core_px += core_end - core_start;
            cells->cells[*cell].core_sum += sum;
        }
        x = end;
    }
}

bool fleck_ink_cells_add(fleck_ink_cells *cells, const uint16_t *q, const fleck_run *ink_runs,
                         size_t count)
{
    size_t cell = 0;

    if (cells->across == 0)
        return false;
    if (cells->complete) {
        memset(cells->cells, 0, cells->across * sizeof *cells->cells);
        cells->rows_seen = 0;
        cells->cell_row++;
        cells->complete = false;
    }
    if (cells->row % cells->row_step == 0) {
        for (size_t i = 0; i < count; i++)
            add_run(cells, q, ink_runs[i], &cell);
        cells->rows_seen++;
    }
    cells->row++;
    cells->complete = cells->row == cell_start(cells->cell_row + 1, cells->down, cells->height_px);
    return cells->complete;
}

uint64_t fleck_ink_cell_px(const fleck_ink_cells *cells, size_t i)
{
    const size_t wide = cell_start(i + 1, cells->across, cells->width_px) -
                        cell_start(i, cells->across, cells->width_px);

    return (uint64_t)wide * cells->rows_seen;
}

void fleck_ink_cells_end(fleck_ink_cells *cells)
{
    fleck_free(cells->cells);
    *cells = (fleck_ink_cells){ 0 };
}
