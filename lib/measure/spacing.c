/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Spacing from nearest-neighbour distances. Hanisch (1984, Math. Operationsforsch. Statist. Ser.
 * Statist. 15, 409-414): a point counts when the border is farther away than its neighbour, so that
 * no unseen neighbour can be nearer, and its weight makes up for the share of the region where that
 * can be known. A weight depends on the distance alone; sums over sorted distances are therefore
 * the same in whatever order the points come.
 */
#include "fleck/texture.h"

#include <math.h>
#include <stdlib.h>

#include "core/memory.h"

/* A share of one half must not be missed by the rounding of the sums it is made of. */
static const double HALF = 0.5 * (1 - 1e-12);

/* Small dots lie on a lattice, where border and neighbour can be equally far: that is no excess. */
static const double BEYOND_TIE = 1 + 1e-12;

static int by_value(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;

    return (x > y) - (x < y);
}

static double sum_of(const double *sorted, size_t n)
{
    double sum = 0;

    for (size_t i = 0; i < n; i++)
        sum += sorted[i];
    return sum;
}

/* Donnelly (1978): expectation and variance of the mean for n random points in a rectangle. */
static void compare_with_random(size_t n, double width_mm, double height_mm, fleck_spacing *out)
{
    const double count = (double)n, area_mm2 = width_mm * height_mm;
    const double border_mm = 2 * (width_mm + height_mm);
    const double expected_mm =
        0.5 * sqrt(area_mm2 / count) + (0.0514 + 0.0412 / sqrt(count)) * border_mm / count;
    const double variance_mm2 =
        0.0703 * area_mm2 / (count * count) + 0.037 * border_mm * sqrt(area_mm2 / pow(count, 5));

    out->clark_evans = out->nn_mean_raw_mm / expected_mm;
    out->clark_evans_z = (out->nn_mean_raw_mm - expected_mm) / sqrt(variance_mm2);
    out->clark_evans_p = erfc(fabs(out->clark_evans_z) / sqrt(2.0));
}

static double weight_per_mm2(double distance_mm, double width_mm, double height_mm)
{
    return 1 / ((width_mm - 2 * distance_mm) * (height_mm - 2 * distance_mm));
}

static void weigh(const double *sorted, size_t n, double width_mm, double height_mm,
                  fleck_spacing *out)
{
    double total = 0, moment = 0, spread = 0, share = 0;
    size_t median = 0;

    for (size_t i = 0; i < n; i++) {
        const double weight = weight_per_mm2(sorted[i], width_mm, height_mm);

        total += weight;
        moment += weight * sorted[i];
    }
    out->nn_mean_mm = moment / total;
    for (size_t i = 0; i < n; i++) {
        const double off_mm = sorted[i] - out->nn_mean_mm;

        spread += weight_per_mm2(sorted[i], width_mm, height_mm) * off_mm * off_mm;
    }
    out->nn_cv = sqrt(spread / total) / out->nn_mean_mm; /* NAN when all distances are 0 */
    for (; median < n; median++) {
        share += weight_per_mm2(sorted[median], width_mm, height_mm) / total;
        if (share >= HALF)
            break;
    }
    out->nn_median_mm = sorted[median < n ? median : n - 1];
}

fleck_status fleck_spacing_summarise(const fleck_point_mm *points, const double *distance_mm,
                                     size_t n, double width_mm, double height_mm,
                                     fleck_spacing *out, fleck_error *err)
{
    double *sorted = NULL;
    size_t known = 0, unknown = 0; /* is the neighbour nearer than the border? */

    *out = (fleck_spacing){ NAN, NAN, NAN, NAN, NAN, NAN, NAN };
    if (!(width_mm > 0) || !(height_mm > 0))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a region of %g x %g mm has no area; give sides above 0", width_mm,
                          height_mm);
    if (n < 2)
        return FLECK_OK;
    for (size_t i = 0; i < n; i++) {
        if (!(distance_mm[i] >= 0))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "distance %zu is %g mm; give the distances to nearest neighbours", i,
                              distance_mm[i]);
    }
    sorted = fleck_alloc_array(n, sizeof *sorted);
    if (sorted == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for the spacing of %zu points; give a smaller region", n);
    for (size_t i = 0; i < n; i++) {
        const double to_left_or_right = fmin(points[i].x_mm, width_mm - points[i].x_mm);
        const double to_top_or_bottom = fmin(points[i].y_mm, height_mm - points[i].y_mm);

        if (fmin(to_left_or_right, to_top_or_bottom) > distance_mm[i] * BEYOND_TIE)
            sorted[known++] = distance_mm[i];
        else
            sorted[n - ++unknown] = distance_mm[i];
    }
    qsort(sorted, known, sizeof *sorted, by_value);
    qsort(sorted + known, unknown, sizeof *sorted, by_value);
    out->nn_mean_raw_mm = (sum_of(sorted, known) + sum_of(sorted + known, unknown)) / (double)n;
    compare_with_random(n, width_mm, height_mm, out);
    if (known > 0)
        weigh(sorted, known, width_mm, height_mm, out);
    free(sorted);
    return FLECK_OK;
}
