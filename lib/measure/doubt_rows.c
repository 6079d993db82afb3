/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/doubt_rows.h"

#include <math.h>

#include "core/memory.h"

struct fleck_doubt_rows {
    double ink_reflectance, bare_reflectance;
    fleck_clear_rows clear;
    fleck_ink_cells cells;
    fleck_doubt_halo_sums halo;
    fleck_doubt_upsampled_sums upsampled;
    fleck_doubt_jpeg_grid_sums jpeg_grid;
    fleck_doubt_rim_sums rim;
    fleck_doubt_wander_sums wander;
};

fleck_status fleck_doubt_rows_new(const fleck_geometry *geometry, double ink_reflectance,
                                  double bare_reflectance, fleck_doubt_rows **out, fleck_error *err)
{
    fleck_doubt_rows *rows = fleck_alloc_zeroed(1, sizeof *rows);

    *out = NULL;
    if (rows == NULL)
        goto failed;
    rows->ink_reflectance = ink_reflectance;
    rows->bare_reflectance = bare_reflectance;
    if (!fleck_clear_rows_begin(&rows->clear, geometry) ||
        !fleck_ink_cells_begin(&rows->cells, geometry) ||
        !fleck_doubt_jpeg_grid_begin(&rows->jpeg_grid, geometry->width_px,
                                     fabs(bare_reflectance - ink_reflectance)) ||
        !fleck_doubt_rim_begin(&rows->rim, &rows->cells) ||
        !fleck_doubt_wander_begin(&rows->wander, &rows->cells))
        goto failed;
    *out = rows;
    return FLECK_OK;
failed:
    fleck_doubt_rows_free(rows);
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory to look into a scan's quality; give a "
                      "smaller region");
}

void fleck_doubt_rows_add(fleck_doubt_rows *rows, const uint16_t *q, const fleck_run *ink_runs,
                          size_t count)
{
    fleck_doubt_jpeg_grid_add_row(&rows->jpeg_grid, q);
    if (fleck_clear_rows_add(&rows->clear, q, ink_runs, count)) {
        fleck_doubt_halo_add(&rows->halo, &rows->clear);
        fleck_doubt_upsampled_add(&rows->upsampled, &rows->clear);
    }
    if (fleck_ink_cells_add(&rows->cells, q, ink_runs, count)) {
        fleck_doubt_rim_add(&rows->rim, &rows->cells);
        fleck_doubt_wander_add(&rows->wander, &rows->cells);
    }
}

void fleck_doubt_rows_finish(fleck_doubt_rows *rows, fleck_scan_doubts *out)
{
    const double ink = rows->ink_reflectance, bare = rows->bare_reflectance;

    *out = (fleck_scan_doubts){
        .halo = fleck_doubt_halo_finish(&rows->halo, ink, bare),
        .upsampled = fleck_doubt_upsampled_finish(&rows->upsampled),
        .jpeg_grid = fleck_doubt_jpeg_grid_finish(&rows->jpeg_grid),
        .rim = fleck_doubt_rim_finish(&rows->rim, &rows->cells, ink, bare),
        .wander = fleck_doubt_wander_finish(&rows->wander, ink, bare),
    };
}

fleck_status fleck_scan_doubts_warn(const fleck_scan_doubts *doubts, bool is_jpeg,
                                    fleck_warnings *warnings, fleck_error *err)
{
    fleck_status status = fleck_doubt_halo_warn(&doubts->halo, warnings, err);

    if (status == FLECK_OK && !is_jpeg)
        status = fleck_doubt_jpeg_grid_warn(&doubts->jpeg_grid, warnings, err);
    if (status == FLECK_OK && !is_jpeg && !doubts->jpeg_grid.doubt.exceeded)
        status = fleck_doubt_upsampled_warn(&doubts->upsampled, warnings, err);
    if (status == FLECK_OK)
        status = fleck_doubt_rim_warn(&doubts->rim, warnings, err);
    if (status == FLECK_OK)
        status = fleck_doubt_wander_warn(&doubts->wander, warnings, err);
    return status;
}

void fleck_doubt_rows_free(fleck_doubt_rows *rows)
{
    if (rows == NULL)
        return;
    fleck_clear_rows_end(&rows->clear);
    fleck_ink_cells_end(&rows->cells);
    fleck_doubt_jpeg_grid_end(&rows->jpeg_grid);
    fleck_doubt_rim_end(&rows->rim);
    fleck_doubt_wander_end(&rows->wander);
    fleck_free(rows);
}
