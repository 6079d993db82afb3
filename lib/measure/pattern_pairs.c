/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Sums over pairs. Points are sorted by x, and a sweep meets each pair that is near enough once. A
 * pair moved about shows in the window of X x Y at (X - |dx|) (Y - |dy|) of A places, and weighs the
 * inverse of that share (Ohser 1983).
 */
#include "fleck/pattern.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/sort.h"
#include "measure/pattern_parts.h"

static const double pi = 3.14159265358979323846;

struct sweep {
    fleck_point_mm *points; /* by x, then by y */
    size_t n;
    double width_mm, height_mm, area_mm2;
};

/* Told of each unordered pair with its distance and its weight. */
struct sums {
    const double *r_mm;
    size_t count;
    double half_width_mm; /* of the kernel */
    double *sum;
};

int fleck_pattern_by_place(const void *a, const void *b)
{
    const fleck_point_mm *const p = a, *const q = b;

    if (p->x_mm < q->x_mm || p->x_mm > q->x_mm)
        return p->x_mm < q->x_mm ? -1 : 1;
    return (p->y_mm > q->y_mm) - (p->y_mm < q->y_mm);
}

fleck_status fleck_pattern_check(const fleck_point_mm *points, size_t n, double width_mm,
                                 double height_mm, const double *r_mm, size_t count,
                                 fleck_error *err)
{
    if (!(width_mm > 0) || !(height_mm > 0) || !isfinite(width_mm) || !isfinite(height_mm))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a window of %g x %g mm has no area; give sides above 0", width_mm,
                          height_mm);
    for (size_t i = 0; i < n; i++) {
        const double x = points[i].x_mm, y = points[i].y_mm;

        if (!(x >= 0) || !(x <= width_mm) || !(y >= 0) || !(y <= height_mm))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "point %zu at %g, %g mm lies outside the window of %g x %g mm; "
                              "measure points from the window's top left",
                              i, x, y, width_mm, height_mm);
    }
    for (size_t i = 0; i < count; i++) {
        if (!(r_mm[i] > (i > 0 ? r_mm[i - 1] : 0)) || !isfinite(r_mm[i]))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "distance %zu is %g mm; give distances above 0 that rise", i,
                              r_mm[i]);
    }
    return FLECK_OK;
}

static fleck_status begin(struct sweep *sweep, const fleck_point_mm *points, size_t n,
                          double width_mm, double height_mm, const double *r_mm, size_t count,
                          double farther_mm, fleck_error *err)
{
    fleck_status status = fleck_pattern_check(points, n, width_mm, height_mm, r_mm, count, err);

    *sweep = (struct sweep){ NULL, n, width_mm, height_mm, width_mm * height_mm };
    if (status != FLECK_OK)
        return status;
    if (count > 0 && !(r_mm[count - 1] + farther_mm < fmin(width_mm, height_mm)))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "pairs %g mm apart in a window of %g x %g mm; give distances below its "
                          "shorter side",
                          r_mm[count - 1] + farther_mm, width_mm, height_mm);
    sweep->points = fleck_alloc_array(n, sizeof *sweep->points);
    if (sweep->points != NULL && n > 0)
        memcpy(sweep->points, points, n * sizeof *points);
    if (sweep->points == NULL ||
        !fleck_sort(sweep->points, n, sizeof *sweep->points, fleck_pattern_by_place)) {
        fleck_free(sweep->points);
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for the pairs of %zu points; give a smaller region", n);
    }
    return FLECK_OK;
}

static void visit_pairs(const struct sweep *sweep, double reach_mm,
                        void (*add)(struct sums *sums, double square_mm2, double weight),
                        struct sums *sums)
{
    for (size_t i = 0; i < sweep->n; i++) {
        const fleck_point_mm from = sweep->points[i];

        for (size_t j = i + 1; j < sweep->n; j++) {
            const double dx = sweep->points[j].x_mm - from.x_mm;
            const double dy = fabs(sweep->points[j].y_mm - from.y_mm);

            if (dx > reach_mm)
                break;
            if (dy <= reach_mm)
                add(sums, dx * dx + dy * dy,
                    sweep->area_mm2 / ((sweep->width_mm - dx) * (sweep->height_mm - dy)));
        }
    }
}

/* The first distance of the list not below d; `count` when there is none. */
static size_t first_not_below(const double *r_mm, size_t count, double d_mm)
{
    size_t low = 0, high = count;

    while (low < high) {
        const size_t middle = low + (high - low) / 2;

        if (r_mm[middle] < d_mm)
            low = middle + 1;
        else
            high = middle;
    }
    return low;
}

static void add_near(struct sums *sums, double square_mm2, double weight)
{
    const size_t k = first_not_below(sums->r_mm, sums->count, sqrt(square_mm2));

    if (k < sums->count)
        sums->sum[k] += weight;
}

static void add_kernel(struct sums *sums, double square_mm2, double weight)
{
    const double d = sqrt(square_mm2), h = sums->half_width_mm;

    for (size_t k = first_not_below(sums->r_mm, sums->count, d - h);
         k < sums->count && sums->r_mm[k] < d + h; k++) {
        const double u = (sums->r_mm[k] - d) / h;

        sums->sum[k] += weight * (0.75 / h) * (1 - u * u);
    }
}

static void set_all(double *values, size_t count, double value)
{
    for (size_t k = 0; k < count; k++)
        values[k] = value;
}

fleck_status fleck_pattern_ripley_k(const fleck_point_mm *points, size_t n, double width_mm,
                                    double height_mm, const double *r_mm, size_t count,
                                    double *k_mm2, fleck_error *err)
{
    struct sums sums = { r_mm, count, 0, k_mm2 };
    struct sweep sweep;
    const fleck_status status = begin(&sweep, points, n, width_mm, height_mm, r_mm, count, 0, err);

    if (status != FLECK_OK)
        return status;
    set_all(k_mm2, count, n < 2 ? NAN : 0);
    if (n >= 2 && count > 0) {
        double sum = 0;

        visit_pairs(&sweep, r_mm[count - 1], add_near, &sums);
        for (size_t k = 0; k < count; k++) {
            sum += k_mm2[k];
            /* each pair is met once and counts twice */
            k_mm2[k] = 2 * sum * sweep.area_mm2 / ((double)n * (double)(n - 1));
        }
    }
    fleck_free(sweep.points);
    return FLECK_OK;
}

fleck_status fleck_pattern_pair_correlation(const fleck_point_mm *points, size_t n, double width_mm,
                                            double height_mm, double half_width_mm,
                                            const double *r_mm, size_t count, double *g,
                                            fleck_error *err)
{
    const double rule_mm = n > 0 ? 0.15 / sqrt((double)n / (width_mm * height_mm)) : 0;
    const double h = half_width_mm > 0 ? half_width_mm : rule_mm;
    struct sums sums = { r_mm, count, h, g };
    struct sweep sweep;
    fleck_status status;

    if (!(half_width_mm >= 0))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a kernel of %g mm; give a half width above 0, or 0 for the rule",
                          half_width_mm);
    status = begin(&sweep, points, n, width_mm, height_mm, r_mm, count, h, err);
    if (status != FLECK_OK)
        return status;
    set_all(g, count, n < 2 ? NAN : 0);
    if (n >= 2 && count > 0) {
        visit_pairs(&sweep, r_mm[count - 1] + h, add_kernel, &sums);
        for (size_t k = 0; k < count; k++)
            g[k] *= 2 * sweep.area_mm2 / ((double)n * (double)(n - 1)) / (2 * pi * r_mm[k]);
    }
    fleck_free(sweep.points);
    return FLECK_OK;
}
