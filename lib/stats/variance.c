/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/variance.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#include "core/memory.h"
#include "stats/moments.h"

typedef struct cell {
    size_t count;
    fleck_sum sum;
    double mean;
} cell;

static void fill_tests(fleck_one_way *out)
{
    const double ss = out->ss_between + out->ss_within;

    out->ms_between = out->df_between > 0 ? out->ss_between / out->df_between : NAN;
    out->ms_within = out->df_within > 0 ? out->ss_within / out->df_within : NAN;
    out->f = out->ms_within > 0 ? out->ms_between / out->ms_within : NAN;
    out->p = isnan(out->f) ? NAN : gsl_cdf_fdist_Q(out->f, out->df_between, out->df_within);
    out->r_squared = ss > 0 ? out->ss_between / ss : NAN;
    out->residual_sd = sqrt(out->ms_within);
    out->var_within = out->ms_within;
    out->var_between = (out->ms_between - out->ms_within) / out->group_size;
    out->icc = out->var_between + out->var_within > 0
                   ? out->var_between / (out->var_between + out->var_within)
                   : NAN;
}

fleck_status fleck_one_way_of(const double *values, const size_t *group, size_t n, size_t groups,
                              fleck_one_way *out, fleck_error *err)
{
    fleck_sum total = { 0, 0 }, between = { 0, 0 }, within = { 0, 0 }, residue = { 0, 0 };
    double mean, squares = 0;
    cell *cells;

    *out = (fleck_one_way){ .mean = NAN, .ms_between = NAN, .ms_within = NAN, .f = NAN, .p = NAN,
                            .r_squared = NAN, .residual_sd = NAN, .group_size = NAN,
                            .var_within = NAN, .var_between = NAN, .icc = NAN };
    if (n == 0)
        return FLECK_OK;
    cells = fleck_alloc_zeroed(groups, sizeof *cells);
    if (cells == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for %zu groups; give fewer patches",
                          groups);
    for (size_t i = 0; i < n; i++) {
        fleck_sum_add(&cells[group[i]].sum, values[i] - values[0]);
        fleck_sum_add(&total, values[i] - values[0]);
        cells[group[i]].count++;
    }
    mean = fleck_sum_value(&total) / (double)n;
    for (size_t g = 0; g < groups; g++) {
        const double count = (double)cells[g].count;

        if (cells[g].count == 0)
            continue;
        cells[g].mean = fleck_sum_value(&cells[g].sum) / count;
        fleck_sum_add(&between, count * (cells[g].mean - mean) * (cells[g].mean - mean));
        fleck_sum_add(&residue, count * (cells[g].mean - mean));
        squares += count * count;
        out->groups++;
    }
    for (size_t i = 0; i < n; i++) {
        const double deviation = values[i] - values[0] - cells[group[i]].mean;

        fleck_sum_add(&within, deviation * deviation);
    }
    fleck_free(cells);
    fleck_sum_add(&between, -fleck_sum_value(&residue) * fleck_sum_value(&residue) / (double)n);
    out->count = n;
    out->mean = values[0] + mean;
    out->df_between = (double)(out->groups - 1);
    out->df_within = (double)(n - out->groups);
    out->ss_between = fmax(fleck_sum_value(&between), 0);
    out->ss_within = fleck_sum_value(&within);
    if (out->groups > 1)
        out->group_size = ((double)n - squares / (double)n) / out->df_between;
    fill_tests(out);
    return FLECK_OK;
}
