/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The exact Euclidean distance transform after Felzenszwalb & Huttenlocher (2012), Theory of
 * Computing 8, 415-428, one row at a time. Along each column the nearest outside pixels above and
 * below are known: the one above is remembered, the one below is searched for when the last one has
 * been passed. The squares of these distances are the feet of parabolas along the row, whose lower
 * envelope is the square of the distance.
 */
#include "segment/mask_distance.h"

#include <math.h>
#include <stdint.h>

#include "core/memory.h"
#include "segment/mask_words.h"

/* A margin that ends on a pixel's centre must not be decided by rounding. */
static const double BEYOND_TIE = 1 + 1e-12;

struct parabola {
    double at_mm; /* centre of the column it belongs to */
    double foot_mm2;
    double from_mm; /* it is the lowest one from here to the next one's beginning */
};

struct fleck_mask_distance {
    const fleck_mask *mask;
    double pixel_x_mm, pixel_y_mm;
    bool beyond;
    size_t y_px;    /* the next row */
    int64_t *above; /* for each column: row of the last outside pixel so far; -1 beyond the box */
    int64_t *below; /* row of the next one, from y_px on; the height beyond the box */
    struct parabola *envelope;
    double *row_mm;
};

/* Adds a parabola right of all others; what of the envelope lies above it goes. */
static size_t add_parabola(struct parabola *envelope, size_t count, double at_mm, double foot_mm2)
{
    double from_mm = -INFINITY;

    for (; count > 0; count--) {
        const struct parabola *const last = &envelope[count - 1];

        from_mm =
            (foot_mm2 - last->foot_mm2) / (2 * (at_mm - last->at_mm)) + (at_mm + last->at_mm) / 2;
        if (from_mm > last->from_mm)
            break;
        from_mm = -INFINITY;
    }
    envelope[count] = (struct parabola){ at_mm, foot_mm2, from_mm };
    return count + 1;
}

static void find_in_columns(fleck_mask_distance *distance)
{
    const fleck_mask *const mask = distance->mask;
    const int64_t y = (int64_t)distance->y_px;

    for (size_t x = 0; x < mask->width_px; x++) {
        if (distance->below[x] < y) {
            size_t row = distance->y_px;

            while (row < mask->height_px && fleck_mask_has(mask, x, row))
                row++;
            distance->below[x] = (int64_t)row;
        }
        if (distance->below[x] == y)
            distance->above[x] = y;
    }
}

/* Distance to the nearest outside pixel of column x, squared; INFINITY when there is none. */
static double foot(const fleck_mask_distance *distance, size_t x)
{
    const int64_t y = (int64_t)distance->y_px, above = distance->above[x];
    const int64_t below = distance->below[x];
    double rows = INFINITY;

    if (above >= 0 || distance->beyond)
        rows = (double)(y - above);
    if (below < (int64_t)distance->mask->height_px || distance->beyond)
        rows = fmin(rows, (double)(below - y));
    return rows * distance->pixel_y_mm * (rows * distance->pixel_y_mm);
}

const double *fleck_mask_distance_row_mm(fleck_mask_distance *distance)
{
    const size_t width = distance->mask->width_px;
    const double px = distance->pixel_x_mm;
    const double half_mm = fmax(px, distance->pixel_y_mm) / 2;
    struct parabola *const envelope = distance->envelope;
    size_t count = 0, at = 0;

    find_in_columns(distance);
    if (distance->beyond)
        count = add_parabola(envelope, count, -px, 0);
    for (size_t x = 0; x < width; x++) {
        const double foot_mm2 = foot(distance, x);

        if (isfinite(foot_mm2))
            count = add_parabola(envelope, count, (double)x * px, foot_mm2);
    }
    if (distance->beyond)
        count = add_parabola(envelope, count, (double)width * px, 0);
    for (size_t x = 0; x < width; x++) {
        const double here_mm = (double)x * px;
        double along_mm;

        if (count == 0) {
            distance->row_mm[x] = INFINITY;
            continue;
        }
        while (at + 1 < count && envelope[at + 1].from_mm <= here_mm)
            at++;
        along_mm = here_mm - envelope[at].at_mm;
        distance->row_mm[x] = sqrt(along_mm * along_mm + envelope[at].foot_mm2) - half_mm;
    }
    distance->y_px++;
    return distance->row_mm;
}

fleck_status fleck_mask_distance_new(const fleck_mask *mask, double pixel_x_mm, double pixel_y_mm,
                                     bool beyond_is_outside, fleck_mask_distance **out,
                                     fleck_error *err)
{
    const size_t width = mask->width_px;
    fleck_mask_distance *const distance = fleck_alloc_zeroed(1, sizeof *distance);

    *out = NULL;
    if (distance != NULL) {
        distance->above = fleck_alloc_array(width, sizeof *distance->above);
        distance->below = fleck_alloc_array(width, sizeof *distance->below);
        distance->envelope = fleck_alloc_array(width + 2, sizeof *distance->envelope);
        distance->row_mm = fleck_alloc_array(width, sizeof *distance->row_mm);
    }
    if (distance == NULL || distance->above == NULL || distance->below == NULL ||
        distance->envelope == NULL || distance->row_mm == NULL) {
        fleck_mask_distance_free(distance);
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for distances from the border; measure a smaller region");
    }
    for (size_t x = 0; x < width; x++)
        distance->above[x] = distance->below[x] = -1;
    distance->mask = mask;
    distance->pixel_x_mm = pixel_x_mm;
    distance->pixel_y_mm = pixel_y_mm;
    distance->beyond = beyond_is_outside;
    *out = distance;
    return FLECK_OK;
}

void fleck_mask_distance_free(fleck_mask_distance *distance)
{
    if (distance == NULL)
        return;
    fleck_free(distance->above);
    fleck_free(distance->below);
    fleck_free(distance->envelope);
    fleck_free(distance->row_mm);
    fleck_free(distance);
}

fleck_status fleck_mask_shrink(const fleck_mask *mask, double pixel_x_mm, double pixel_y_mm,
                               double margin_mm, fleck_mask **out, fleck_error *err)
{
    fleck_mask_distance *distance = NULL;
    fleck_mask *shrunk = NULL;
    fleck_status status;

    *out = NULL;
    status = fleck_mask_new(mask->width_px, mask->height_px, &shrunk, err);
    if (status == FLECK_OK)
        status = fleck_mask_distance_new(mask, pixel_x_mm, pixel_y_mm, false, &distance, err);
    for (size_t y = 0; status == FLECK_OK && y < mask->height_px; y++) {
        const double *const row_mm = fleck_mask_distance_row_mm(distance);
        size_t start = 0;

        for (size_t x = 0; x < mask->width_px; x++) {
            if (!(row_mm[x] > margin_mm * BEYOND_TIE)) {
                fleck_mask_add_run(shrunk, y, start, x);
                start = x + 1;
            }
        }
        fleck_mask_add_run(shrunk, y, start, mask->width_px);
    }
    fleck_mask_distance_free(distance);
    if (status == FLECK_OK)
        *out = shrunk;
    else
        fleck_mask_free(shrunk);
    return status;
}
