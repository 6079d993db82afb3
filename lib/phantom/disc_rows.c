/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Each pixel row is cut into 16 strips. In a strip a disc is an interval as long as its mean chord
 * there, which is exact: the area between two heights has a closed form. The union of the intervals
 * is laid on the pixels with exact lengths. So a disc by itself keeps its whole area to rounding, and
 * only where two outlines cross within one strip is their union approximate, by some 0.001 of a
 * pixel's area for each crossing. Measured: coverage of random discs of 4 pixels within 2e-6 of that
 * at a 30 times finer resolution; a lattice of overlapping discs of 3 pixels 2e-4 too low.
 *
 * Discs enter a list as the strips reach their top and leave at their bottom. The list stays nearly
 * sorted by left end from strip to strip, which insertion sort repairs in about linear time.
 */
#include "phantom/disc_rows.h"

#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include "core/memory.h"

enum { STRIPS = 16 };

struct active {
    const fleck_disc_px *disc;
    double area_above; /* of the unit half-disc above the strip, see half_area */
    double left, right;
};

struct fleck_disc_rows {
    const fleck_disc_px *discs; /* by upper edge */
    size_t count;
    size_t next; /* first disc the strips have not reached */
    size_t width_px;
    bool antialias;
    size_t y;
    struct active *active;
    size_t active_count, active_capacity;
    double *part;  /* per pixel: covered lengths at interval ends */
    int32_t *step; /* per pixel: intervals that cover it whole begin (+) or end (-) here */
};

static int upper_edge_first(const void *a, const void *b)
{
    const fleck_disc_px *first = a, *second = b;
    const double above = first->y - first->radius, below = second->y - second->radius;

    if (above != below)
        return above < below ? -1 : 1;
    return (first->x > second->x) - (first->x < second->x);
}

fleck_status fleck_disc_rows_new(fleck_disc_px *discs, size_t n, size_t width_px, bool antialias,
                                 fleck_disc_rows **out, fleck_error *err)
{
    fleck_disc_rows *rows = fleck_alloc_zeroed(1, sizeof *rows);

    *out = NULL;
    if (rows != NULL) {
        rows->part = fleck_alloc_zeroed(width_px, sizeof *rows->part);
        rows->step = fleck_alloc_zeroed(width_px, sizeof *rows->step);
    }
    if (rows == NULL || rows->part == NULL || rows->step == NULL) {
        fleck_disc_rows_free(rows);
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to draw; give a smaller picture");
    }
    if (n > 0)
        qsort(discs, n, sizeof *discs, upper_edge_first);
    rows->discs = discs;
    rows->count = n;
    rows->width_px = width_px;
    rows->antialias = antialias;
    *out = rows;
    return FLECK_OK;
}

/* Area of the half unit disc x >= 0 from its top down to the height t, -1 <= t <= 1. */
static double half_area(double t)
{
    return 0.5 * (t * sqrt((1 - t) * (1 + t)) + asin(t)) + 0.78539816339744830962;
}

static double height_in_disc(const fleck_disc_px *disc, double y)
{
    return fmin(fmax((y - disc->y) / disc->radius, -1), 1);
}

/* Let in what begins above `bottom`, throw out what ends above `top`. */
static fleck_status update_active(fleck_disc_rows *rows, double top, double bottom,
                                  fleck_error *err)
{
    size_t kept = 0;

    for (size_t i = 0; i < rows->active_count; i++) {
        if (rows->active[i].disc->y + rows->active[i].disc->radius > top)
            rows->active[kept++] = rows->active[i];
    }
    rows->active_count = kept;
    while (rows->next < rows->count &&
           rows->discs[rows->next].y - rows->discs[rows->next].radius < bottom) {
        const fleck_disc_px *disc = &rows->discs[rows->next++];
        struct active *active;

        if (disc->y + disc->radius <= top || disc->x + disc->radius <= 0 ||
            disc->x - disc->radius >= (double)rows->width_px)
            continue;
        active =
            fleck_grow(rows->active, &rows->active_capacity, rows->active_count, sizeof *active);
        if (active == NULL)
            return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to draw; give a smaller picture");
        rows->active = active;
        active[rows->active_count++] =
            (struct active){ .disc = disc, .area_above = half_area(height_in_disc(disc, top)) };
    }
    return FLECK_OK;
}

static void sort_active(fleck_disc_rows *rows)
{
    for (size_t i = 1; i < rows->active_count; i++) {
        const struct active moved = rows->active[i];
        size_t at = i;

        for (; at > 0 && rows->active[at - 1].left > moved.left; at--)
            rows->active[at] = rows->active[at - 1];
        rows->active[at] = moved;
    }
}

static void add_interval(fleck_disc_rows *rows, double left, double right)
{
    const double width = (double)rows->width_px;
    size_t first, last;

    left = fmax(left, 0);
    right = fmin(right, width);
    if (left >= right)
        return;
    first = (size_t)left;
    last = (size_t)right;
    if (first == last) {
        rows->part[first] += right - left;
        return;
    }
    rows->part[first] += (double)(first + 1) - left;
    if (first + 1 < rows->width_px)
        rows->step[first + 1]++;
    if (last < rows->width_px) {
        rows->part[last] += right - (double)last;
        rows->step[last]--;
    }
}

/* The list is sorted by left end: a gap can only follow the largest right end so far. */
static void add_union(fleck_disc_rows *rows)
{
    double left = 0, right = -INFINITY;

    for (size_t i = 0; i < rows->active_count; i++) {
        const struct active *one = &rows->active[i];

        if (one->left > right) {
            if (right > -INFINITY)
                add_interval(rows, left, right);
            left = one->left;
            right = one->right;
        } else {
            right = fmax(right, one->right);
        }
    }
    if (right > -INFINITY)
        add_interval(rows, left, right);
}

static fleck_status next_smooth(fleck_disc_rows *rows, double *share, fleck_error *err)
{
    int64_t whole = 0;

    for (int strip = 0; strip < STRIPS; strip++) {
        const double top = (double)rows->y + (double)strip / STRIPS;
        const double bottom = (double)rows->y + (double)(strip + 1) / STRIPS;
        const fleck_status status = update_active(rows, top, bottom, err);

        if (status != FLECK_OK)
            return status;
        for (size_t i = 0; i < rows->active_count; i++) {
            struct active *one = &rows->active[i];
            const double radius = one->disc->radius;
            const double area = half_area(height_in_disc(one->disc, bottom));
            const double half_chord = (area - one->area_above) * radius * radius * STRIPS;

            one->area_above = area;
            one->left = one->disc->x - half_chord;
            one->right = one->disc->x + half_chord;
        }
        sort_active(rows);
        add_union(rows);
    }
    for (size_t x = 0; x < rows->width_px; x++) {
        whole += rows->step[x];
        share[x] = fmin(((double)whole + rows->part[x]) / STRIPS, 1);
        rows->part[x] = 0;
        rows->step[x] = 0;
    }
    return FLECK_OK;
}

static fleck_status next_hard(fleck_disc_rows *rows, double *share, fleck_error *err)
{
    const double y = (double)rows->y + 0.5;
    const fleck_status status = update_active(rows, (double)rows->y, (double)rows->y + 1, err);

    if (status != FLECK_OK)
        return status;
    for (size_t x = 0; x < rows->width_px; x++)
        share[x] = 0;
    for (size_t i = 0; i < rows->active_count; i++) {
        const fleck_disc_px *disc = rows->active[i].disc;
        const double dy = y - disc->y;
        const double square = disc->radius * disc->radius - dy * dy;
        double first, last;

        if (square < 0)
            continue;
        first = fmax(ceil(disc->x - sqrt(square) - 0.5), 0);
        last = fmin(floor(disc->x + sqrt(square) - 0.5), (double)rows->width_px - 1);
        for (double x = first; x <= last; x++)
            share[(size_t)x] = 1;
    }
    return FLECK_OK;
}

fleck_status fleck_disc_rows_next(fleck_disc_rows *rows, double *share, fleck_error *err)
{
    const fleck_status status =
        rows->antialias ? next_smooth(rows, share, err) : next_hard(rows, share, err);

    rows->y++;
    return status;
}

void fleck_disc_rows_free(fleck_disc_rows *rows)
{
    if (rows == NULL)
        return;
    fleck_free(rows->active);
    fleck_free(rows->part);
    fleck_free(rows->step);
    fleck_free(rows);
}
