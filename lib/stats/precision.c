/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/precision.h"

#include <math.h>

#include "core/memory.h"
#include "stats/moments.h"
#include "stats/variance.h"

typedef struct lab {
    size_t first, count; /* of its values, sorted by group */
    fleck_moments moments;
} lab;

/* Moments of each group; values are brought together first. */
static void fill_labs(const double *values, const size_t *group, size_t n, size_t groups, lab *labs,
                      double *sorted)
{
    for (size_t i = 0; i < n; i++)
        labs[group[i]].count++;
    for (size_t g = 1; g < groups; g++)
        labs[g].first = labs[g - 1].first + labs[g - 1].count;
    for (size_t g = 0; g < groups; g++)
        labs[g].count = 0;
    for (size_t i = 0; i < n; i++)
        sorted[labs[group[i]].first + labs[group[i]].count++] = values[i];
    for (size_t g = 0; g < groups; g++)
        labs[g].moments = fleck_moments_of(sorted + labs[g].first, labs[g].count);
}

static void fill_mandel(const lab *labs, size_t groups, const fleck_precision *precision, double *h,
                        double *k)
{
    fleck_sum squares = { 0, 0 };
    double spread;

    for (size_t g = 0; g < groups; g++)
        fleck_sum_add(&squares, pow(labs[g].moments.mean - precision->mean, 2));
    spread = sqrt(fleck_sum_value(&squares) / (double)(groups - 1));
    for (size_t g = 0; g < groups; g++) {
        if (h != NULL)
            h[g] = spread > 0 ? (labs[g].moments.mean - precision->mean) / spread : NAN;
        if (k != NULL)
            k[g] = precision->s_r > 0 ? labs[g].moments.sd / precision->s_r : NAN;
    }
}

fleck_status fleck_precision_of(const double *values, const size_t *group, size_t n, size_t groups,
                                fleck_precision *out, double *mandel_h, double *mandel_k,
                                fleck_error *err)
{
    lab *const labs = fleck_alloc_zeroed(groups, sizeof *labs);
    double *const sorted = fleck_alloc_array(n, sizeof *sorted);
    double largest = 0, variances = 0;
    fleck_one_way way;
    fleck_status status;

    *out = (fleck_precision){ 0 };
    if (labs == NULL || sorted == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for %zu groups; give fewer patches",
                            groups);
        goto done;
    }
    if ((status = fleck_one_way_of(values, group, n, groups, &way, err)) != FLECK_OK)
        goto done;
    if (way.groups < 2 || way.groups != groups || !(way.df_within > 0)) {
        status = fleck_fail(err, FLECK_BAD_CALL,
                            "%zu groups of %zu with results, %zu results; give 2 groups or more, some with "
                            "repeats",
                            way.groups, groups, n);
        goto done;
    }
    fill_labs(values, group, n, groups, labs, sorted);
    for (size_t g = 0; g < groups; g++) {
        const double variance = labs[g].count > 1 ? labs[g].moments.sd * labs[g].moments.sd : 0;

        variances += variance;
        largest = fmax(largest, variance);
    }
    out->mean = way.mean;
    out->group_size = way.group_size;
    out->s_r = sqrt(way.var_within);
    out->s_l = sqrt(fmax(way.var_between, 0));
    out->s_r_total = hypot(out->s_r, out->s_l);
    out->repeatability_limit = FLECK_LIMIT_FACTOR * out->s_r;
    out->reproducibility_limit = FLECK_LIMIT_FACTOR * out->s_r_total;
    out->cochran = variances > 0 ? largest / variances : NAN;
    if (mandel_h != NULL || mandel_k != NULL)
        fill_mandel(labs, groups, out, mandel_h, mandel_k);
done:
    fleck_free(labs);
    fleck_free(sorted);
    return status;
}
