/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Of each row only its first and its last pixel can touch the hull, so that there is a left and a right
 * chain of corners, both sorted by row: Andrew's (1979) chains without the sorting. Corners are
 * integers and turns are told without rounding: sides are below 2^31, so that products fit.
 *
 * Oblong pixels stretch the hull and leave it the same corners. Rotating calipers (Shamos 1978,
 * Toussaint 1983): for each side the corner farthest from it moves on in the same sense as the side; the
 * smallest width is over a side, the largest between two corners that such a pair of lines touches.
 */
#include "measure/hull.h"

#include <math.h>

#include "core/memory.h"

/* Above 0 when c lies to the left of the way from a to b, y taken upward. */
static int64_t turn(fleck_corner a, fleck_corner b, fleck_corner c)
{
    return (b.y - a.y) * (c.x - b.x) - (b.x - a.x) * (c.y - b.y);
}

/* Put a corner behind the last one, taking back what it leaves on the inner side or in line. */
static void chain_add(fleck_corner *chain, size_t *count, fleck_corner corner, bool left)
{
    while (*count >= 2) {
        const int64_t way = turn(chain[*count - 2], chain[*count - 1], corner);

        if (left ? way > 0 : way < 0)
            break;
        --*count;
    }
    chain[(*count)++] = corner;
}

static bool reserve(fleck_hull *hull, size_t corners)
{
    if (corners <= hull->capacity)
        return true;
    fleck_hull_clear(hull);
    hull->corners = fleck_alloc_array(corners, sizeof *hull->corners);
    hull->x_mm = fleck_alloc_array(corners, sizeof *hull->x_mm);
    hull->y_mm = fleck_alloc_array(corners, sizeof *hull->y_mm);
    if (hull->corners == NULL || hull->x_mm == NULL || hull->y_mm == NULL) {
        fleck_hull_clear(hull);
        return false;
    }
    hull->capacity = corners;
    return true;
}

bool fleck_hull_of_runs(fleck_hull *hull, const fleck_blob_run *runs, size_t run_count)
{
    const uint32_t top = runs[0].y_px;
    const size_t rows = (size_t)runs[run_count - 1].y_px - top + 1;
    uint32_t min_x = runs[0].start_px;
    fleck_corner *right;
    size_t left_count = 0, right_count = 0;

    if (!reserve(hull, 4 * rows + 4))
        return false;
    for (size_t i = 0; i < run_count; i++)
        min_x = runs[i].start_px < min_x ? runs[i].start_px : min_x;
    right = hull->corners + 2 * rows + 2;
    for (size_t i = 0; i < run_count;) {
        const int64_t y = (int64_t)runs[i].y_px - top;
        const int64_t start = (int64_t)runs[i].start_px - min_x;
        int64_t end;

        while (i + 1 < run_count && runs[i + 1].y_px == runs[i].y_px)
            i++;
        end = (int64_t)runs[i++].end_px - min_x;
        chain_add(hull->corners, &left_count, (fleck_corner){ start, y }, true);
        chain_add(hull->corners, &left_count, (fleck_corner){ start, y + 1 }, true);
        chain_add(right, &right_count, (fleck_corner){ end, y }, false);
        chain_add(right, &right_count, (fleck_corner){ end, y + 1 }, false);
    }
    /* of each row one corner lasts, of one row two: what is moved down never meets what it leaves */
    hull->count = left_count;
    while (right_count > 0)
        hull->corners[hull->count++] = right[--right_count];
    return true;
}

uint64_t fleck_hull_doubled_area(const fleck_hull *hull)
{
    uint64_t sum = 0; /* partial sums may wrap around, the area does not */

    for (size_t i = 0; i < hull->count; i++) {
        const fleck_corner a = hull->corners[i], b = hull->corners[(i + 1) % hull->count];

        sum += (uint64_t)b.x * (uint64_t)a.y;
        sum -= (uint64_t)a.x * (uint64_t)b.y;
    }
    return (int64_t)sum < 0 ? 0 - sum : sum;
}

void fleck_hull_feret(const fleck_hull *hull, double pixel_x_mm, double pixel_y_mm,
                      double *max_mm, double *min_mm)
{
    const double *const x = hull->x_mm, *const y = hull->y_mm;
    const size_t n = hull->count;
    double max_mm2 = 0;
    size_t far = 1;

    for (size_t i = 0; i < n; i++) {
        hull->x_mm[i] = (double)hull->corners[i].x * pixel_x_mm;
        hull->y_mm[i] = (double)hull->corners[i].y * pixel_y_mm;
    }
    *min_mm = INFINITY;
    for (size_t i = 0; i < n; i++) {
        const size_t next = (i + 1) % n;
        const double side_x = x[next] - x[i], side_y = y[next] - y[i];
        double height, step;

        for (;;) {
            const size_t beyond = (far + 1) % n;
            const double far_x = x[far] - x[i], far_y = y[far] - y[i];

            /* each corner the farthest line passes pairs with both ends of the side */
            max_mm2 = fmax(max_mm2, far_x * far_x + far_y * far_y);
            max_mm2 = fmax(max_mm2, (x[far] - x[next]) * (x[far] - x[next]) +
                                        (y[far] - y[next]) * (y[far] - y[next]));
            height = fabs(side_x * far_y - side_y * far_x);
            step = fabs(side_x * (y[beyond] - y[i]) - side_y * (x[beyond] - x[i]));
            if (step < height)
                break;
            far = beyond;
            if (far == i)
                break;
        }
        *min_mm = fmin(*min_mm, height / hypot(side_x, side_y));
    }
    *max_mm = sqrt(max_mm2);
}

void fleck_hull_clear(fleck_hull *hull)
{
    fleck_free(hull->corners);
    fleck_free(hull->x_mm);
    fleck_free(hull->y_mm);
    *hull = (fleck_hull){ 0 };
}
