/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The largest box under a row of columns of different heights: going from left to right, columns
 * that may still begin a box stand on a stack, lower ones below higher ones (a folklore algorithm,
 * linear in the number of columns).
 */
#include "measure/pattern_window.h"

#include <math.h>
#include <stdint.h>

#include "core/memory.h"
#include "segment/mask_words.h"

enum { BLOCKS = 256 };

struct column {
    size_t start, height;
};

/* In blocks; `best` is replaced by a larger box only. */
static void largest_under(const size_t *heights, size_t columns, size_t row, struct column *stack,
                          fleck_pattern_box *best)
{
    size_t depth = 0;

    for (size_t x = 0; x <= columns; x++) {
        const size_t height = x < columns ? heights[x] : 0;
        size_t start = x;

        while (depth > 0 && stack[depth - 1].height >= height) {
            const struct column top = stack[--depth];

            start = top.start;
            if ((x - start) * top.height > best->width_px * best->height_px)
                *best = (fleck_pattern_box){ start, row + 1 - top.height, x - start, top.height };
        }
        if (height > 0)
            stack[depth++] = (struct column){ start, height };
    }
}

fleck_status fleck_pattern_largest_box(const fleck_geometry *geometry, const fleck_mask *mask,
                                       fleck_pattern_box *out, fleck_error *err)
{
    const size_t w = geometry->width_px, h = geometry->height_px;
    const size_t shorter = w < h ? w : h;
    const size_t side = shorter / BLOCKS > 0 ? shorter / BLOCKS : 1;
    const size_t columns = w / side, rows = h / side;
    size_t *heights = NULL;
    struct column *stack = NULL;
    fleck_status status = FLECK_OK;

    *out = (fleck_pattern_box){ 0, 0, w, h };
    mask = fleck_mask_unless_full(mask);
    if (mask == NULL)
        return FLECK_OK;
    *out = (fleck_pattern_box){ 0, 0, 0, 0 };
    heights = fleck_alloc_zeroed(columns, sizeof *heights);
    stack = fleck_alloc_array(columns, sizeof *stack);
    if (heights == NULL || stack == NULL)
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory to look for a window in the mask; free some memory");
    for (size_t y = 0; status == FLECK_OK && y < rows; y++) {
        for (size_t x = 0; x < columns; x++)
            heights[x] =
                fleck_mask_covers_box(mask, x * side, y * side, side, side) ? heights[x] + 1 : 0;
        largest_under(heights, columns, y, stack, out);
    }
    *out = (fleck_pattern_box){ out->left_px * side, out->top_px * side, out->width_px * side,
                                out->height_px * side };
    fleck_free(heights);
    fleck_free(stack);
    return status;
}

/* One axis. The box starts at `start` and has `length` pixels of a region of `all`. */
static bool choose_along(size_t start, size_t length, size_t all, double shrink, size_t margin_px,
                         size_t *points_start, size_t *points_length, size_t *drawn_start,
                         size_t *drawn_length)
{
    const size_t end = start + length;
    const size_t wanted = (size_t)fmax(ceil((double)length * shrink), 1);
    size_t first = start + (length - wanted) / 2, last = first + wanted;

    if (start > 0 && first - start < margin_px)
        first = margin_px < length ? start + margin_px : end;
    if (end < all && end - last < margin_px)
        last = margin_px < length ? end - margin_px : start;
    if (first >= last)
        return false;
    *points_start = first;
    *points_length = last - first;
    *drawn_start = first - start > margin_px ? first - margin_px : start;
    *drawn_length = (end - last > margin_px ? last + margin_px : end) - *drawn_start;
    return true;
}

bool fleck_pattern_window_choose(const fleck_geometry *geometry, const fleck_pattern_box *box,
                                 double shrink, size_t margin_px, fleck_pattern_window *out)
{
    fleck_pattern_box *const points = &out->points, *const drawn = &out->drawn;

    return box->width_px > 0 && box->height_px > 0 &&
           choose_along(box->left_px, box->width_px, geometry->width_px, shrink, margin_px,
                        &points->left_px, &points->width_px, &drawn->left_px, &drawn->width_px) &&
           choose_along(box->top_px, box->height_px, geometry->height_px, shrink, margin_px,
                        &points->top_px, &points->height_px, &drawn->top_px, &drawn->height_px);
}

bool fleck_pattern_place(const fleck_pattern_window *window, const fleck_geometry *geometry,
                         const fleck_component *component, size_t left_px, size_t top_px,
                         fleck_point_mm *place)
{
    const double area_px = (double)component->area_px;
    const double x = (double)component->sum_x_px / area_px + 0.5 + (double)left_px -
                     (double)window->points.left_px;
    const double y = (double)component->sum_y_px / area_px + 0.5 + (double)top_px -
                     (double)window->points.top_px;

    if (!(x >= 0 && x < (double)window->points.width_px && y >= 0 &&
          y < (double)window->points.height_px))
        return false;
    *place = (fleck_point_mm){ x * geometry->pixel_x_mm, y * geometry->pixel_y_mm };
    return true;
}
