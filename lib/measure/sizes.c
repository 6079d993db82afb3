/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Size distribution of the components of one phase. */
#include "fleck/texture.h"

#include <math.h>

#include "core/memory.h"
#include "core/spill.h"
#include "measure/sized.h"

static const double pi = 3.14159265358979323846;

static double diameter_of(const fleck_sized *one)
{
    return one->diameter_mm;
}

static double log_diameter_of(const fleck_sized *one)
{
    return log(one->diameter_mm);
}

static double area_of(const fleck_sized *one)
{
    return (double)one->area_px;
}

static double one_of(const fleck_sized *one)
{
    (void)one;
    return 1.0;
}

/* Sum of weight times a value, n > 0. */
static long double weighted_sum(const fleck_sized *list, size_t n,
                                double (*value)(const fleck_sized *))
{
    long double sum = 0.0L;

    for (size_t i = 0; i < n; i++) {
        fleck_spill_let_go();
        sum += (long double)list[i].weight_per_px2 * (long double)value(&list[i]);
    }
    return sum;
}

/* Weighted mean and population standard deviation, in two passes. */
static void moments(const fleck_sized *list, size_t n, double (*value)(const fleck_sized *),
                    double *mean, double *sd)
{
    const long double total = weighted_sum(list, n, one_of);
    long double squares = 0.0L;

    /* about the mean as it is given: values that are all the same then spread by exactly 0 */
    *mean = (double)(weighted_sum(list, n, value) / total);
    for (size_t i = 0; i < n; i++) {
        const long double off = (long double)value(&list[i]) - (long double)*mean;

        squares += (long double)list[i].weight_per_px2 * off * off;
    }
    *sd = (double)sqrtl(squares / total);
}

/* Smallest diameter at which the cumulative share of weight times `value` reaches p. */
static double quantile(const fleck_sized *list, size_t n, double (*value)(const fleck_sized *),
                       double p)
{
    /* equal weights must not miss a share such as 1/10 through the rounding of their sum */
    const long double goal = weighted_sum(list, n, value) * (long double)p * (1.0L - 1e-12L);
    long double sum = 0.0L;
    size_t i = 0;

    for (; i < n - 1; i++) {
        sum += (long double)list[i].weight_per_px2 * (long double)value(&list[i]);
        if (sum >= goal)
            break;
    }
    return list[i].diameter_mm;
}

double fleck_area_mm2(const fleck_geometry *geometry, uint64_t area_px)
{
    return (double)area_px * (geometry->pixel_x_mm * geometry->pixel_y_mm);
}

double fleck_equivalent_diameter_mm(double area_mm2)
{
    return 2.0 * sqrt(area_mm2 / pi);
}

uint64_t fleck_cutoff_area_px(const fleck_geometry *geometry, double cutoff_mm)
{
    const double pixel_mm2 = fleck_area_mm2(geometry, 1);
    /* a trifle low, as it is rounded otherwise than a diameter: the right number lies a step up */
    const double low_px = pi * cutoff_mm * cutoff_mm / (4.0 * pixel_mm2) * (1.0 - 1e-12);
    uint64_t area_px;

    if (!(low_px < 0x1p52)) /* no region is that large, and doubles no longer count every pixel */
        return UINT64_MAX;
    area_px = low_px > 1.0 ? (uint64_t)low_px : 1;
    while (fleck_equivalent_diameter_mm(fleck_area_mm2(geometry, area_px)) < cutoff_mm)
        area_px++;
    return area_px;
}

fleck_point_mm fleck_component_centroid(const fleck_component *component,
                                        const fleck_geometry *geometry)
{
    const double area_px = (double)component->area_px;

    return (fleck_point_mm){
        .x_mm = ((double)component->sum_x_px / area_px + 0.5) * geometry->pixel_x_mm,
        .y_mm = ((double)component->sum_y_px / area_px + 0.5) * geometry->pixel_y_mm,
    };
}

fleck_status fleck_sizes_summarise(const fleck_component *components,
                                   const double *weights_per_px2, size_t n, uint64_t below_cutoff,
                                   const fleck_geometry *geometry, fleck_sizes *out,
                                   fleck_error *err)
{
    const double pixel_mm2 = fleck_area_mm2(geometry, 1);
    fleck_sized *list;
    size_t whole = 0, at_edge = 0;
    fleck_status status;
    long double total;
    double log_mean, log_sd;

    *out = (fleck_sizes){ .counted = (double)n,
                          .below_cutoff = (double)below_cutoff,
                          .per_cm2 = n == 0 ? 0.0 : NAN,
                          .mean_area_mm2 = NAN,
                          .d10_mm = NAN,
                          .d50_mm = NAN,
                          .d90_mm = NAN,
                          .span = NAN,
                          .area_d50_mm = NAN,
                          .mean_diameter_mm = NAN,
                          .sd_diameter_mm = NAN,
                          .lognormal_median_mm = NAN,
                          .lognormal_gsd = NAN };
    for (size_t i = 0; i < n; i++) {
        fleck_spill_let_go();
        at_edge += components[i].at_edge;
    }
    out->at_edge = (double)at_edge;
    status = fleck_sized_list(components, weights_per_px2, n, geometry, &list, &whole, err);
    if (status != FLECK_OK || whole == 0)
        goto done;

    total = weighted_sum(list, whole, one_of);
    out->per_cm2 = (double)(total / (long double)pixel_mm2 * 100.0L);
    out->mean_area_mm2 =
        (double)(weighted_sum(list, whole, area_of) / total * (long double)pixel_mm2);
    out->d10_mm = quantile(list, whole, one_of, 0.1);
    out->d50_mm = quantile(list, whole, one_of, 0.5);
    out->d90_mm = quantile(list, whole, one_of, 0.9);
    out->span = (out->d90_mm - out->d10_mm) / out->d50_mm;
    out->area_d50_mm = quantile(list, whole, area_of, 0.5);
    moments(list, whole, diameter_of, &out->mean_diameter_mm, &out->sd_diameter_mm);
    moments(list, whole, log_diameter_of, &log_mean, &log_sd);
    out->lognormal_median_mm = exp(log_mean);
    out->lognormal_gsd = exp(log_sd);
done:
    fleck_free(list);
    return status;
}
