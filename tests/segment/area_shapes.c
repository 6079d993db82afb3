/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "segment/area_shapes.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include "support/check.h"

const char *const area_names[AREA_KINDS] = { "full",       "empty", "one pixel", "one row",
                                             "one column", "disc",  "ring",      "comb",
                                             "blobs",      "holes", "noise" };

struct mask area_make(enum area_kind kind, size_t width_px, size_t height_px, uint64_t *state)
{
    const size_t row = test_random(state) % height_px, column = test_random(state) % width_px;
    const double cx = (double)width_px / 2, cy = (double)height_px / 2, r = fmin(cx, cy);
    struct mask area;

    if (kind == AREA_BLOBS)
        return mask_speckle(width_px, height_px, fmax(2, r / 3), 0.7, state);
    if (kind == AREA_NOISE)
        return mask_random(width_px, height_px, 0.8, state);
    area = mask_new(width_px, height_px);
    for (size_t y = 0; y < height_px; y++) {
        for (size_t x = 0; x < width_px; x++) {
            const double far = hypot((double)x + 0.5 - cx, (double)y + 0.5 - cy);
            bool inside = kind == AREA_FULL;

            inside = inside || (kind == AREA_ONE_PIXEL && x == column && y == row);
            inside = inside || (kind == AREA_ONE_ROW && y == row);
            inside = inside || (kind == AREA_ONE_COLUMN && x == column);
            inside = inside || (kind == AREA_DISC && far < r);
            inside = inside || (kind == AREA_RING && far < r && far > r / 3);
            inside = inside || (kind == AREA_COMB && (y < height_px / 3 || x % 5 < 3));
            inside = inside || (kind == AREA_HOLES && test_uniform(state) > 0.004);
            area.ink[y * width_px + x] = inside;
        }
    }
    return area;
}

fleck_mask *area_mask(const struct mask *area)
{
    fleck_run *const runs = calloc(area->width_px / 2 + 1, sizeof *runs);
    fleck_mask *mask;
    fleck_error err;

    assert_non_null(runs);
    assert_int_equal(fleck_mask_new(area->width_px, area->height_px, &mask, &err), FLECK_OK);
    for (size_t y = 0; y < area->height_px; y++) {
        const size_t n = mask_runs(area, y, runs);

        for (size_t i = 0; i < n; i++)
            fleck_mask_add_run(mask, y, runs[i].start_px, runs[i].end_px);
    }
    free(runs);
    return mask;
}

struct mask area_clipped(const struct mask *ink, const struct mask *area)
{
    struct mask clipped = mask_new(ink->width_px, ink->height_px);

    for (size_t i = 0; i < ink->width_px * ink->height_px; i++)
        clipped.ink[i] = ink->ink[i] && area->ink[i];
    return clipped;
}
