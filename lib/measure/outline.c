/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Perimeter and holes come from how the runs of neighbouring rows overlap. Changes between a row and
 * the next, straight or shifted by a pixel, are all pixels of both rows less twice those that lie over
 * each other; over all rows, with bare ones above and below, 2 area - 2 overlaps.
 *
 * Runs are closed boxes of which no two of one row touch and no three share a point, so that the Euler
 * number is the number of runs less the number of touching pairs (at corners too when 8-connected);
 * a component has 1 - Euler number holes.
 *
 * Moments are integers about the pixel nearest to the centroid, so that nothing cancels.
 */
#include "fleck/shape.h"

#include <math.h>

#include "fleck/random_set.h"
#include "fleck/texture.h"
#include "core/spill.h"
#include "measure/hull.h"

__extension__ typedef __int128 wide;

static const double pi = 3.14159265358979323846;

static const fleck_outline undefined = {
    .perimeter_mm = NAN,
    .circularity = NAN,
    .feret_max_mm = NAN,
    .feret_min_mm = NAN,
    .aspect = NAN,
    .solidity = NAN,
    .orientation_deg = NAN,
    .holes = NAN,
};

/* How the rows of a blob lie over each other. */
struct overlaps {
    uint64_t straight_px;
    uint64_t right_px; /* with the pixel below and one to the right */
    uint64_t left_px;
    uint64_t touching; /* pairs of runs */
};

/* Pixels shared by one run and another that is moved by `by`. */
static uint64_t shared_px(const fleck_blob_run *a, const fleck_blob_run *b, int64_t by)
{
    const int64_t b_start = (int64_t)b->start_px + by, b_end = (int64_t)b->end_px + by;
    const int64_t start = a->start_px > b_start ? (int64_t)a->start_px : b_start;
    const int64_t end = a->end_px < b_end ? (int64_t)a->end_px : b_end;

    return end > start ? (uint64_t)(end - start) : 0;
}

static struct overlaps find_overlaps(const fleck_blob *blob, fleck_phase phase)
{
    const fleck_blob_run *const runs = blob->runs;
    const uint32_t reach = phase == FLECK_PHASE_INK;
    struct overlaps sum = { 0, 0, 0, 0 };
    size_t above = 0;

    for (size_t i = 0; i < blob->run_count; i++) {
        const fleck_blob_run *const run = &runs[i];

        while (runs[above].y_px + 1 < run->y_px ||
               (runs[above].y_px + 1 == run->y_px && runs[above].end_px < run->start_px))
            above++;
        for (size_t j = above; runs[j].y_px + 1 == run->y_px && runs[j].start_px <= run->end_px;
             j++) {
            sum.straight_px += shared_px(run, &runs[j], 0);
            sum.right_px += shared_px(run, &runs[j], 1);
            sum.left_px += shared_px(run, &runs[j], -1);
            sum.touching += runs[j].end_px + reach > run->start_px &&
                            runs[j].start_px < run->end_px + reach;
        }
    }
    return sum;
}

static double perimeter_mm(const fleck_blob *blob, const struct overlaps *overlaps,
                           const fleck_geometry *geometry)
{
    const uint64_t area_px = blob->component.area_px;
    const fleck_crossings crossings = {
        .deg0 = 2 * (uint64_t)blob->run_count,
        .deg90 = 2 * (area_px - overlaps->straight_px),
        .deg45 = 2 * (area_px - overlaps->left_px),
        .deg135 = 2 * (area_px - overlaps->right_px),
    };

    return fleck_crossings_length_mm(&crossings, geometry->pixel_x_mm, geometry->pixel_y_mm);
}

/* Sum of the squares of 1 to n. */
static wide squares_to(wide n)
{
    return n * (n + 1) * (2 * n + 1) / 6;
}

/* Direction of the longest axis, NAN when there is none. */
static double find_orientation_deg(const fleck_blob *blob, const fleck_geometry *geometry)
{
    const fleck_component *const component = &blob->component;
    const double area = (double)component->area_px;
    const int64_t centre_x = (int64_t)(component->sum_x_px / component->area_px);
    const int64_t centre_y = (int64_t)(component->sum_y_px / component->area_px);
    const double px = geometry->pixel_x_mm, py = geometry->pixel_y_mm;
    wide sum_x = 0, sum_y = 0, sum_xx = 0, sum_xy = 0, sum_yy = 0;
    double mean_x, mean_y, xx, xy, yy, angle_deg;

    for (size_t i = 0; i < blob->run_count; i++) {
        const wide first = (int64_t)blob->runs[i].start_px - centre_x;
        const wide last = (int64_t)blob->runs[i].end_px - 1 - centre_x;
        const wide y = (int64_t)blob->runs[i].y_px - centre_y;
        const wide length = last - first + 1, x_of_run = (first + last) * length / 2;

        sum_x += x_of_run;
        sum_y += y * length;
        sum_xy += y * x_of_run;
        sum_yy += y * y * length;
        /* the polynomial holds for negative numbers too */
        sum_xx += squares_to(last) - squares_to(first - 1);
    }
    mean_x = (double)sum_x / area;
    mean_y = (double)sum_y / area;
    xx = ((double)sum_xx / area - mean_x * mean_x + 1.0 / 12) * px * px;
    yy = ((double)sum_yy / area - mean_y * mean_y + 1.0 / 12) * py * py;
    xy = ((double)sum_xy / area - mean_x * mean_y) * px * py;
    /* what rounding leaves of equal moments has no direction */
    if (hypot(xx - yy, 2 * xy) <= 1e-12 * (xx + yy))
        return NAN;
    angle_deg = atan2(-2 * xy, xx - yy) * (90 / pi);
    if (angle_deg < 0)
        angle_deg += 180;
    return angle_deg < 180 ? angle_deg : 0;
}

static fleck_outline outline_of(const fleck_blob *blob, fleck_phase phase,
                                const fleck_geometry *geometry, const fleck_hull *hull)
{
    const double area_px = (double)blob->component.area_px;
    const double area_mm2 = fleck_area_mm2(geometry, blob->component.area_px);
    const struct overlaps overlaps = find_overlaps(blob, phase);
    fleck_outline out;

    out.perimeter_mm = perimeter_mm(blob, &overlaps, geometry);
    out.circularity = fmin(1, sqrt(4 * pi * area_mm2) / out.perimeter_mm);
    fleck_hull_feret(hull, geometry->pixel_x_mm, geometry->pixel_y_mm, &out.feret_max_mm,
                     &out.feret_min_mm);
    out.aspect = out.feret_min_mm / out.feret_max_mm;
    out.solidity = area_px / (0.5 * (double)fleck_hull_doubled_area(hull));
    out.orientation_deg = find_orientation_deg(blob, geometry);
    out.holes = 1 - ((double)blob->run_count - (double)overlaps.touching);
    return out;
}

fleck_status fleck_outlines(const fleck_blob *blobs, size_t n, fleck_phase phase,
                            const fleck_geometry *geometry, fleck_outline *out, fleck_error *err)
{
    fleck_hull hull = { 0 };
    fleck_status status = FLECK_OK;

    for (size_t i = 0; i < n && status == FLECK_OK; i++) {
        fleck_spill_let_go();
        out[i] = undefined;
        if (blobs[i].run_count == 0)
            continue;
        if (fleck_hull_of_runs(&hull, blobs[i].runs, blobs[i].run_count))
            out[i] = outline_of(&blobs[i], phase, geometry, &hull);
        else
            status = fleck_fail(err, FLECK_NO_RESOURCE,
                                "no memory for the hull of a dot; measure a smaller region");
    }
    fleck_hull_clear(&hull);
    return status;
}
