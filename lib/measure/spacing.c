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
#include <string.h>

#include "core/memory.h"
#include "measure/border_survey.h"
#include "segment/mask_outline.h"
#include "segment/mask_words.h"

/* A share of one half must not be missed by the rounding of the sums it is made of. */
static const double HALF = 0.5 * (1 - 1e-12);

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

/* Donnelly (1978): expectation and variance of the mean for n random points in a region. */
static void compare_with_random(size_t n, double area_mm2, double border_mm, fleck_spacing *out)
{
    const double count = (double)n;
    const double expected_mm =
        0.5 * sqrt(area_mm2 / count) + (0.0514 + 0.0412 / sqrt(count)) * border_mm / count;
    const double variance_mm2 =
        0.0703 * area_mm2 / (count * count) + 0.037 * border_mm * sqrt(area_mm2 / pow(count, 5));

    out->clark_evans = out->nn_mean_raw_mm / expected_mm;
    out->clark_evans_z = (out->nn_mean_raw_mm - expected_mm) / sqrt(variance_mm2);
    out->clark_evans_p = erfc(fabs(out->clark_evans_z) / sqrt(2.0));
}

/* Weighted figures of n > 0 distances in ascending order. */
static void weigh(const double *sorted, const double *weights, size_t n, fleck_spacing *out)
{
    double total = 0, moment = 0, spread = 0, share = 0;
    size_t median = 0;

    for (size_t i = 0; i < n; i++) {
        total += weights[i];
        moment += weights[i] * sorted[i];
    }
    out->nn_mean_mm = moment / total;
    for (size_t i = 0; i < n; i++) {
        const double off_mm = sorted[i] - out->nn_mean_mm;

        spread += weights[i] * off_mm * off_mm;
    }
    out->nn_cv = sqrt(spread / total) / out->nn_mean_mm; /* NAN when all distances are 0 */
    for (; median < n; median++) {
        share += weights[median] / total;
        if (share >= HALF)
            break;
    }
    out->nn_median_mm = sorted[median < n ? median : n - 1];
}

/* Distances to neighbours, and what goes with them; n of each. */
struct figures {
    double *border_mm; /* in the order of the points */
    double *sorted_mm; /* those nearer than the border first, both parts ascending */
    double *weights;   /* of those nearer than the border */
};

static void figures_free(struct figures *figures)
{
    fleck_free(figures->border_mm);
    fleck_free(figures->sorted_mm);
    fleck_free(figures->weights);
}

static fleck_status figures_new(const double *distance_mm, size_t n, struct figures *out,
                                fleck_error *err)
{
    *out = (struct figures){ NULL, NULL, NULL };
    for (size_t i = 0; i < n; i++) {
        if (!(distance_mm[i] >= 0))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "distance %zu is %g mm; give the distances to nearest neighbours", i,
                              distance_mm[i]);
    }
    out->border_mm = fleck_alloc_array(n, sizeof *out->border_mm);
    out->sorted_mm = fleck_alloc_array(n, sizeof *out->sorted_mm);
    out->weights = fleck_alloc_array(n, sizeof *out->weights);
    if (out->border_mm == NULL || out->sorted_mm == NULL || out->weights == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for the spacing of %zu points; give a smaller region", n);
    return FLECK_OK;
}

/* Part the distances by the border distances, fill in the plain mean; returns the nearer ones. */
static size_t part(struct figures *figures, const double *distance_mm, size_t n, fleck_spacing *out)
{
    double *const sorted = figures->sorted_mm;
    size_t known = 0, unknown = 0; /* is the neighbour nearer than the border? */

    for (size_t i = 0; i < n; i++) {
        if (figures->border_mm[i] > distance_mm[i] * FLECK_BEYOND_TIE)
            sorted[known++] = distance_mm[i];
        else
            sorted[n - ++unknown] = distance_mm[i];
    }
    qsort(sorted, known, sizeof *sorted, by_value);
    qsort(sorted + known, unknown, sizeof *sorted, by_value);
    out->nn_mean_raw_mm = (sum_of(sorted, known) + sum_of(sorted + known, unknown)) / (double)n;
    return known;
}

fleck_status fleck_spacing_summarise(const fleck_point_mm *points, const double *distance_mm,
                                     size_t n, double width_mm, double height_mm,
                                     fleck_spacing *out, fleck_error *err)
{
    struct figures figures;
    size_t known;
    fleck_status status;

    *out = (fleck_spacing){ NAN, NAN, NAN, NAN, NAN, NAN, NAN };
    if (!(width_mm > 0) || !(height_mm > 0))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a region of %g x %g mm has no area; give sides above 0", width_mm,
                          height_mm);
    if (n < 2)
        return FLECK_OK;
    if ((status = figures_new(distance_mm, n, &figures, err)) != FLECK_OK)
        goto done;
    for (size_t i = 0; i < n; i++) {
        const double to_left_or_right = fmin(points[i].x_mm, width_mm - points[i].x_mm);
        const double to_top_or_bottom = fmin(points[i].y_mm, height_mm - points[i].y_mm);

        figures.border_mm[i] = fmin(to_left_or_right, to_top_or_bottom);
    }
    known = part(&figures, distance_mm, n, out);
    compare_with_random(n, width_mm * height_mm, 2 * (width_mm + height_mm), out);
    for (size_t i = 0; i < known; i++) {
        const double d = figures.sorted_mm[i];

        figures.weights[i] = 1 / ((width_mm - 2 * d) * (height_mm - 2 * d));
    }
    if (known > 0)
        weigh(figures.sorted_mm, figures.weights, known, out);
done:
    figures_free(&figures);
    return status;
}

/* Weights of the `known` first of the sorted distances, from the pixels that lie beyond each. */
static void weigh_by_area(struct figures *figures, size_t known, const double *all_mm,
                          const uint64_t *beyond_px, double pixel_mm2, fleck_spacing *out)
{
    size_t at = 0;

    for (size_t i = 0; i < known; i++) {
        while (all_mm[at] < figures->sorted_mm[i]) /* both ascend, and each known one is in all */
            at++;
        figures->weights[i] = 1 / ((double)beyond_px[at] * pixel_mm2);
    }
    if (known > 0)
        weigh(figures->sorted_mm, figures->weights, known, out);
}

fleck_status fleck_spacing_summarise_in(const fleck_point_mm *points, const double *distance_mm,
                                        size_t n, const fleck_geometry *geometry,
                                        const fleck_mask *mask, fleck_spacing *out,
                                        fleck_error *err)
{
    const double px = geometry->pixel_x_mm, py = geometry->pixel_y_mm;
    const fleck_mask *const shape = fleck_mask_unless_full(mask);
    struct figures figures;
    double *all_mm = NULL;
    uint64_t *beyond_px = NULL;
    fleck_status status;

    *out = (fleck_spacing){ NAN, NAN, NAN, NAN, NAN, NAN, NAN };
    if (mask != NULL &&
        (mask->width_px != geometry->width_px || mask->height_px != geometry->height_px))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a mask of %zu x %zu pixels does not fit a region of %zu x %zu; give one "
                          "of its size",
                          mask->width_px, mask->height_px, geometry->width_px, geometry->height_px);
    if (shape == NULL)
        return fleck_spacing_summarise(points, distance_mm, n, (double)geometry->width_px * px,
                                       (double)geometry->height_px * py, out, err);
    if (n < 2)
        return FLECK_OK;
    if ((status = figures_new(distance_mm, n, &figures, err)) != FLECK_OK)
        goto done;
    all_mm = fleck_alloc_array(n, sizeof *all_mm);
    beyond_px = fleck_alloc_array(n, sizeof *beyond_px);
    if (all_mm == NULL || beyond_px == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory for the spacing of %zu points; give a smaller region", n);
        goto done;
    }
    memcpy(all_mm, distance_mm, n * sizeof *all_mm);
    qsort(all_mm, n, sizeof *all_mm, by_value);
    status = fleck_border_survey(geometry, shape, points, all_mm, n, figures.border_mm, beyond_px,
                                 err);
    if (status == FLECK_OK) {
        const double pixel_mm2 = fleck_area_mm2(geometry, 1);
        const size_t known = part(&figures, distance_mm, n, out);

        compare_with_random(n, fleck_area_mm2(geometry, shape->area_px),
                            fleck_mask_outline_mm(shape, px, py), out);
        weigh_by_area(&figures, known, all_mm, beyond_px, pixel_mm2, out);
    }
done:
    fleck_free(all_mm);
    fleck_free(beyond_px);
    figures_free(&figures);
    return status;
}
