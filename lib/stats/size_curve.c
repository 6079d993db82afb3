/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/size_curve.h"

#include <math.h>
#include <stdlib.h>

#include "core/memory.h"
#include "stats/moments.h"

struct weighed {
    double size, weight;
};

static int by_size(const void *a, const void *b)
{
    const struct weighed *const x = a, *const y = b;

    if (x->size != y->size)
        return x->size < y->size ? -1 : 1;
    /* a sum must not depend on the order in which the dots came */
    return x->weight < y->weight ? -1 : x->weight > y->weight;
}

static int by_number(const void *a, const void *b)
{
    const double *const x = a, *const y = b;

    return *x < *y ? -1 : *x > *y;
}

fleck_status fleck_size_curve_of(const double *sizes, const double *weights, size_t n,
                                 fleck_size_curve *out, fleck_error *err)
{
    struct weighed *const dots = fleck_alloc_array(n, sizeof *dots);
    fleck_size_curve curve = { 0, NULL, NULL };
    fleck_sum sum = { 0, 0 };
    double all;
    size_t steps = 0;
    fleck_status status = FLECK_OK;

    *out = curve;
    if (dots == NULL)
        goto no_memory;
    for (size_t i = 0; i < n; i++)
        dots[i] = (struct weighed){ sizes[i], weights == NULL ? 1 : weights[i] };
    qsort(dots, n, sizeof *dots, by_size);
    for (size_t i = 0; i < n; i++)
        steps += i + 1 == n || dots[i + 1].size != dots[i].size;
    curve.size = fleck_alloc_array(steps, sizeof *curve.size);
    curve.share = fleck_alloc_array(steps, sizeof *curve.share);
    if (curve.size == NULL || curve.share == NULL)
        goto no_memory;
    for (size_t i = 0; i < n; i++) {
        fleck_sum_add(&sum, dots[i].weight);
        if (i + 1 < n && dots[i + 1].size == dots[i].size)
            continue;
        curve.size[curve.count] = dots[i].size;
        curve.share[curve.count++] = fleck_sum_value(&sum);
    }
    all = fleck_sum_value(&sum);
    for (size_t i = 0; i < curve.count; i++)
        curve.share[i] = i + 1 < curve.count ? curve.share[i] / all : 1;
    *out = curve;
    goto done;
no_memory:
    status =
        fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the dots' sizes; compare fewer patches");
    fleck_size_curve_clear(&curve);
done:
    fleck_free(dots);
    return status;
}

void fleck_size_curve_clear(fleck_size_curve *curve)
{
    fleck_free(curve->size);
    fleck_free(curve->share);
    *curve = (fleck_size_curve){ 0, NULL, NULL };
}

fleck_status fleck_size_grid(const fleck_size_curve *curves, size_t count, size_t most,
                             double **grid, size_t *points, fleck_error *err)
{
    size_t total = 0, kept = 0, every;
    double *sizes;

    *grid = NULL;
    *points = 0;
    for (size_t i = 0; i < count; i++)
        total += curves[i].count;
    sizes = fleck_alloc_array(total, sizeof *sizes);
    if (sizes == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for the dots' sizes; compare fewer patches");
    total = 0;
    for (size_t i = 0; i < count; i++)
        for (size_t k = 0; k < curves[i].count; k++)
            sizes[total++] = curves[i].size[k];
    qsort(sizes, total, sizeof *sizes, by_number);
    for (size_t i = 0; i < total; i++)
        if (kept == 0 || sizes[i] != sizes[kept - 1])
            sizes[kept++] = sizes[i];
    every = most == 0 ? 1 : (kept + most - 1) / most;
    /* the last size stays: there every curve has reached 1 */
    for (size_t i = 0; every > 1 && i < kept; i++)
        if ((kept - 1 - i) % every == 0)
            sizes[(*points)++] = sizes[i];
    if (every <= 1)
        *points = kept;
    *grid = sizes;
    return FLECK_OK;
}

void fleck_size_curve_add(const fleck_size_curve *curve, const double *grid, size_t points,
                          double factor, double *sum)
{
    size_t step = 0;

    for (size_t k = 0; k < points; k++) {
        while (step < curve->count && curve->size[step] <= grid[k])
            step++;
        if (step > 0)
            sum[k] += factor * curve->share[step - 1];
    }
}

void fleck_size_distance(const double *a, const double *b, const double *grid, size_t points,
                         double *ks, double *wasserstein)
{
    fleck_sum area = { 0, 0 };

    *ks = 0;
    for (size_t k = 0; k < points; k++) {
        const double apart = fabs(b[k] - a[k]);

        *ks = fmax(*ks, apart);
        if (k + 1 < points)
            fleck_sum_add(&area, apart * (grid[k + 1] - grid[k]));
    }
    *wasserstein = fleck_sum_value(&area);
}
