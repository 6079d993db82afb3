/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * One pass over the mask's border distances serves points and distances: the points wait in the
 * order of their rows, and each pixel is counted under the number of distances it exceeds.
 */
#include "measure/border_survey.h"

#include <stdlib.h>

#include "core/memory.h"
#include "segment/mask_distance.h"

struct waiting {
    size_t x_px, y_px;
    size_t index; /* in the caller's list */
};

static int by_row(const void *left, const void *right)
{
    const struct waiting *const a = left, *const b = right;

    if (a->y_px != b->y_px)
        return a->y_px < b->y_px ? -1 : 1;
    return (a->index > b->index) - (a->index < b->index);
}

/* Number of a place's pixel; a point on the far border belongs to the last one. */
static size_t pixel_of(double at_mm, double pixel_mm, size_t count)
{
    const double number = at_mm / pixel_mm;

    if (!(number > 0))
        return 0;
    return number < (double)count ? (size_t)number : count - 1;
}

/* How many of the distances a pixel's border distance exceeds. */
static size_t exceeded(const double *distances_mm, size_t n, double border_mm)
{
    size_t low = 0, high = n;

    while (low < high) {
        const size_t middle = low + (high - low) / 2;

        if (border_mm > distances_mm[middle] * FLECK_BEYOND_TIE)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

fleck_status fleck_border_survey(const fleck_geometry *geometry, const fleck_mask *mask,
                                 const fleck_point_mm *points, const double *distances_mm, size_t n,
                                 double *border_mm, uint64_t *beyond_px, fleck_error *err)
{
    struct waiting *const waiting = fleck_alloc_array(n, sizeof *waiting);
    uint64_t farthest_px = 0; /* pixels that exceed all distances: nearly all */
    size_t next = 0;
    fleck_mask_distance *distance = NULL;
    fleck_status status;

    if (n == 0) {
        fleck_free(waiting);
        return FLECK_OK;
    }
    if (waiting == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for the places of %zu points; measure a smaller region", n);
    status = fleck_mask_distance_new(mask, geometry->pixel_x_mm, geometry->pixel_y_mm, true,
                                     &distance, err);
    if (status != FLECK_OK)
        goto done;
    for (size_t i = 0; i < n; i++) {
        waiting[i].x_px = pixel_of(points[i].x_mm, geometry->pixel_x_mm, geometry->width_px);
        waiting[i].y_px = pixel_of(points[i].y_mm, geometry->pixel_y_mm, geometry->height_px);
        waiting[i].index = i;
        beyond_px[i] = 0;
    }
    qsort(waiting, n, sizeof *waiting, by_row);
    for (size_t y = 0; y < geometry->height_px; y++) {
        const double *const row_mm = fleck_mask_distance_row_mm(distance);

        for (; next < n && waiting[next].y_px == y; next++)
            border_mm[waiting[next].index] = row_mm[waiting[next].x_px];
        for (size_t x = 0; x < geometry->width_px; x++) {
            if (row_mm[x] > distances_mm[n - 1] * FLECK_BEYOND_TIE) {
                farthest_px++;
            } else {
                const size_t count = exceeded(distances_mm, n, row_mm[x]);

                if (count > 0)
                    beyond_px[count - 1]++;
            }
        }
    }
    beyond_px[n - 1] += farthest_px;
    for (size_t i = n - 1; i > 0; i--)
        beyond_px[i - 1] += beyond_px[i];
done:
    fleck_mask_distance_free(distance);
    fleck_free(waiting);
    return status;
}
