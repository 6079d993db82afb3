/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/clear_rows.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"

/* a region from which each second band will do */
static const double enough_px = 2e6;

size_t fleck_clear_reach_px(const fleck_geometry *geometry)
{
    const double finer_mm = fmin(geometry->pixel_x_mm, geometry->pixel_y_mm);
    const double reach_px = 0.125 / finer_mm;

    return reach_px < 3 ? 3 : reach_px > 100 ? 100 : (size_t)(reach_px + 0.5);
}

bool fleck_clear_rows_begin(fleck_clear_rows *clear, const fleck_geometry *geometry)
{
    const size_t width_px = geometry->width_px;
    const size_t most_runs = width_px / 2 + 1;
    double share;

    *clear = (fleck_clear_rows){ .width_px = width_px, .reach_px = fleck_clear_reach_px(geometry) };
    share = (double)width_px * (double)geometry->height_px / enough_px;
    clear->row_count = (2 * clear->reach_px + 1) * (share < 2 ? 1 : share < 4 ? (size_t)share : 4);
    clear->q = fleck_alloc_array(width_px, sizeof *clear->q);
    clear->runs = fleck_alloc_array(most_runs, sizeof *clear->runs);
    clear->clear[0] = fleck_alloc_array(most_runs, sizeof *clear->runs);
    clear->clear[1] = fleck_alloc_array(most_runs, sizeof *clear->runs);
    clear->spare = fleck_alloc_array(most_runs, sizeof *clear->runs);
    return clear->q != NULL && clear->runs != NULL && clear->clear[0] != NULL &&
           clear->clear[1] != NULL && clear->spare != NULL;
}

/*
 * What the stretches have in common with a phase of the row; both lists run from left to right.
 * Stretches that come out are parted by at least one pixel, so that they find room.
 */
static size_t cut_down(const fleck_run *from, size_t from_count, const fleck_run *ink_runs,
                       size_t run_count, fleck_phase phase, size_t width_px, fleck_run *out)
{
    const size_t piece_count = phase == FLECK_PHASE_INK ? run_count : run_count + 1;
    size_t n = 0, i = 0, j = 0;

    while (i < from_count && j < piece_count) {
        fleck_run piece;
        uint32_t start_px, end_px;

        if (phase == FLECK_PHASE_INK) {
            piece = ink_runs[j];
        } else {
            piece.start_px = j > 0 ? ink_runs[j - 1].end_px : 0;
            piece.end_px = j < run_count ? ink_runs[j].start_px : (uint32_t)width_px;
        }
        start_px = from[i].start_px > piece.start_px ? from[i].start_px : piece.start_px;
        end_px = from[i].end_px < piece.end_px ? from[i].end_px : piece.end_px;
        if (start_px < end_px)
            out[n++] = (fleck_run){ start_px, end_px };
        if (from[i].end_px < piece.end_px)
            i++;
        else
            j++;
    }
    return n;
}

bool fleck_clear_rows_add(fleck_clear_rows *clear, const uint16_t *q, const fleck_run *ink_runs,
                          size_t count)
{
    const size_t row = clear->row;

    clear->row = row + 1 < clear->row_count ? row + 1 : 0;
    if (row > 2 * clear->reach_px)
        return false;
    if (row == 0) {
        for (size_t phase = 0; phase < 2; phase++) {
            clear->clear[phase][0] = (fleck_run){ 0, (uint32_t)clear->width_px };
            clear->clear_count[phase] = 1;
        }
    }
    for (size_t phase = 0; phase < 2; phase++) {
        fleck_run *const before = clear->clear[phase];

        clear->clear_count[phase] = cut_down(before, clear->clear_count[phase], ink_runs, count,
                                             (fleck_phase)phase, clear->width_px, clear->spare);
        clear->clear[phase] = clear->spare;
        clear->spare = before;
    }
    if (row == clear->reach_px) {
        memcpy(clear->q, q, clear->width_px * sizeof *q);
        if (count > 0)
            memcpy(clear->runs, ink_runs, count * sizeof *ink_runs);
        clear->run_count = count;
    }
    return row == 2 * clear->reach_px;
}

void fleck_clear_rows_end(fleck_clear_rows *clear)
{
    fleck_free(clear->q);
    fleck_free(clear->runs);
    fleck_free(clear->clear[0]);
    fleck_free(clear->clear[1]);
    fleck_free(clear->spare);
    *clear = (fleck_clear_rows){ 0 };
}
