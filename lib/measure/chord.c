/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Chords along rows and columns, from runs. Changes along the columns between two rows are the
 * pixels that differ: the ink of both rows less twice the ink they share. With a mask that is the
 * ink of each row whose pixel in the other row is inside.
 */
#include "fleck/texture.h"

#include <math.h>

#include "segment/mask_words.h"

static uint64_t ink_in(const fleck_run *runs, size_t count)
{
    uint64_t ink_px = 0;

    for (size_t i = 0; i < count; i++)
        ink_px += runs[i].end_px - runs[i].start_px;
    return ink_px;
}

static uint64_t shared_ink(const fleck_run *a, size_t a_count, const fleck_run *b, size_t b_count)
{
    uint64_t shared_px = 0;
    size_t i = 0, j = 0;

    while (i < a_count && j < b_count) {
        const uint32_t start = a[i].start_px > b[j].start_px ? a[i].start_px : b[j].start_px;
        const uint32_t end = a[i].end_px < b[j].end_px ? a[i].end_px : b[j].end_px;

        if (start < end)
            shared_px += end - start;
        if (a[i].end_px < b[j].end_px)
            i++;
        else
            j++;
    }
    return shared_px;
}

/* Of some runs, pixels that are inside in a certain row. */
static uint64_t inside_of(const fleck_run *runs, size_t count, const fleck_mask *mask, size_t y_px)
{
    uint64_t inside_px = 0;

    for (size_t i = 0; i < count; i++)
        inside_px += fleck_mask_count(mask, y_px, runs[i].start_px, runs[i].end_px);
    return inside_px;
}

static void add_masked_row(fleck_chord_counts *counts, const fleck_mask *mask, size_t y_px,
                           const fleck_run *runs, size_t run_count, const fleck_run *above,
                           size_t above_count)
{
    const uint64_t ink_px = ink_in(runs, run_count);

    counts->ink_px += ink_px;
    counts->bare_px += fleck_mask_count(mask, y_px, 0, mask->width_px) - ink_px;
    for (size_t i = 0; i < run_count; i++) {
        counts->changes_in_rows +=
            runs[i].start_px > 0 && fleck_mask_has(mask, runs[i].start_px - 1, y_px);
        counts->changes_in_rows += fleck_mask_has(mask, runs[i].end_px, y_px);
    }
    if (y_px > 0)
        counts->changes_in_columns += inside_of(runs, run_count, mask, y_px - 1) +
                                      inside_of(above, above_count, mask, y_px) -
                                      2 * shared_ink(runs, run_count, above, above_count);
}

void fleck_chord_counts_add_row(fleck_chord_counts *counts, size_t width_px, const fleck_mask *mask,
                                size_t y_px, const fleck_run *runs, size_t run_count,
                                const fleck_run *above, size_t above_count)
{
    const uint64_t ink_px = ink_in(runs, run_count);

    if (mask != NULL) {
        add_masked_row(counts, mask, y_px, runs, run_count, above, above_count);
        return;
    }
    counts->ink_px += ink_px;
    counts->bare_px += width_px - ink_px;
    counts->changes_in_rows += 2 * run_count;
    if (run_count > 0) { /* the border is no change */
        counts->changes_in_rows -= runs[0].start_px == 0;
        counts->changes_in_rows -= runs[run_count - 1].end_px == width_px;
    }
    if (y_px > 0)
        counts->changes_in_columns += ink_px + ink_in(above, above_count) -
                                      2 * shared_ink(runs, run_count, above, above_count);
}

double fleck_mean_chord_mm(const fleck_chord_counts *counts, fleck_phase phase,
                           const fleck_geometry *geometry)
{
    const uint64_t changes = counts->changes_in_rows + counts->changes_in_columns;
    const uint64_t area_px = phase == FLECK_PHASE_INK ? counts->ink_px : counts->bare_px;
    /* every pixel lies on one row and on one column */
    const double length_mm = (double)area_px * (geometry->pixel_x_mm + geometry->pixel_y_mm);

    return changes > 0 ? length_mm / ((double)changes / 2.0) : NAN;
}
