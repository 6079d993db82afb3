/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/size_distribution.h"

#include <math.h>

#include "core/memory.h"
#include "core/versioned.h"
#include "measure/lognormal_test.h"
#include "measure/preferred_numbers.h"
#include "measure/region_check.h"
#include "measure/size_intervals.h"
#include "measure/sized.h"

enum { CLASSES_PER_DECADE = 10, LEAST_RESAMPLES = 99, MOST_RESAMPLES = 1000000 };

void fleck_size_options_init(fleck_size_options *options, size_t struct_bytes)
{
    const fleck_size_options defaults = { .seed = 1, .resamples = 999 };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

static fleck_status check_options(double cutoff_mm, const fleck_size_options *options,
                                  fleck_error *err)
{
    if (!(cutoff_mm >= 0) || !isfinite(cutoff_mm))
        return fleck_fail(err, FLECK_BAD_CALL, "a cutoff of %g mm is no size; give 0 or more",
                          cutoff_mm);
    if (options->resamples != 0 &&
        (options->resamples < LEAST_RESAMPLES || options->resamples > MOST_RESAMPLES))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%zu resamples tell no 95 %% interval; give %d to %d, or 0 for none",
                          options->resamples, LEAST_RESAMPLES, MOST_RESAMPLES);
    return FLECK_OK;
}

static fleck_status check_list(const fleck_sized *list, size_t n, const fleck_geometry *geometry,
                               double cutoff_mm, fleck_error *err)
{
    if (n > 0 && list[0].area_px < fleck_cutoff_area_px(geometry, cutoff_mm))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a component of %g mm lies below the cutoff of %g mm; give counted ones",
                          list[0].diameter_mm, cutoff_mm);
    for (size_t i = 0; i < n; i++) {
        const fleck_component *const box = list[i].component;

        if (!isfinite(list[i].weight_per_px2) || box->min_x_px < 1 || box->min_y_px < 1 ||
            box->max_x_px < box->min_x_px || box->max_y_px < box->min_y_px ||
            (uint64_t)box->max_x_px + 1 >= geometry->width_px ||
            (uint64_t)box->max_y_px + 1 >= geometry->height_px || list[i].first_x_px == 0 ||
            list[i].first_y_px == 0 || list[i].first_x_px >= geometry->width_px ||
            list[i].first_y_px >= geometry->height_px)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "a component that has a weight is not clear of the border; give the "
                              "weights of this region");
    }
    return FLECK_OK;
}

static void find_means(const fleck_sized *list, size_t n, fleck_size_distribution *out)
{
    long double moment[4] = { 0 };

    for (size_t i = 0; i < n; i++) {
        long double term = (long double)list[i].weight_per_px2;

        for (size_t k = 0; k < 4; k++, term *= (long double)list[i].diameter_mm)
            moment[k] += term;
    }
    /* without a dot all moments are 0, and the means NAN */
    out->mean_10_mm = (double)(moment[1] / moment[0]);
    out->mean_20_mm = (double)sqrtl(moment[2] / moment[0]);
    out->mean_21_mm = (double)(moment[2] / moment[1]);
    out->mean_32_mm = (double)(moment[3] / moment[2]);
}

static fleck_status fill_classes(const fleck_sized *list, size_t n, double smallest_mm,
                                 fleck_size_distribution *out, fleck_error *err)
{
    const int first = fleck_preferred_class(smallest_mm, CLASSES_PER_DECADE);
    const int last = fleck_preferred_class(list[n - 1].diameter_mm, CLASSES_PER_DECADE);
    double weight = 0, area = 0;
    size_t at = 0;

    out->classes = (size_t)(last - first) + 1;
    out->from_mm = fleck_alloc_array(out->classes + 1, sizeof *out->from_mm);
    out->number_share = fleck_alloc_zeroed(out->classes, sizeof *out->number_share);
    out->area_share = fleck_alloc_zeroed(out->classes, sizeof *out->area_share);
    if (out->from_mm == NULL || out->number_share == NULL || out->area_share == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for classes; free some memory");
    for (size_t k = 0; k <= out->classes; k++)
        out->from_mm[k] = fleck_preferred_number(first + (int)k, CLASSES_PER_DECADE);
    for (size_t i = 0; i < n; i++) {
        weight += list[i].weight_per_px2;
        area += list[i].weight_per_px2 * (double)list[i].area_px;
    }
    for (size_t i = 0; i < n; i++) {
        while (list[i].diameter_mm >= out->from_mm[at + 1])
            at++;
        out->number_share[at] += list[i].weight_per_px2 / weight;
        out->area_share[at] += list[i].weight_per_px2 * (double)list[i].area_px / area;
    }
    return FLECK_OK;
}

fleck_status fleck_size_distribution_fill(const fleck_component *counted,
                                          const double *weights_per_px2, size_t n,
                                          const fleck_geometry *geometry, const fleck_mask *mask,
                                          double cutoff_mm, const fleck_size_options *options,
                                          fleck_size_distribution *out, fleck_error *err)
{
    fleck_size_options known = fleck_size_options_default();
    fleck_sized *list = NULL;
    size_t whole = 0;
    fleck_status status;

    *out = (fleck_size_distribution){ 0 };
    if ((status = fleck_versioned_take(options, &known, sizeof known, "size options", err)) != FLECK_OK)
        return status;
    options = &known;
    status = fleck_region_check(geometry, mask, err);
    if (status == FLECK_OK)
        status = check_options(cutoff_mm, options, err);
    if (status == FLECK_OK)
        status = fleck_sized_list(counted, weights_per_px2, n, geometry, &list, &whole, err);
    if (status == FLECK_OK)
        status = check_list(list, whole, geometry, cutoff_mm, err);
    if (status == FLECK_OK && whole > 0) {
        const double pixel_mm = fleck_equivalent_diameter_mm(fleck_area_mm2(geometry, 1));

        status = fill_classes(list, whole, fmax(cutoff_mm, pixel_mm), out, err);
    }
    if (status == FLECK_OK) {
        find_means(list, whole, out);
        status =
            fleck_lognormal_test(list, whole, geometry, cutoff_mm, options, &out->lognormal, err);
    }
    if (status == FLECK_OK)
        status =
            fleck_size_intervals_find(list, whole, geometry, mask, options, &out->intervals, err);
    if (status != FLECK_OK)
        fleck_size_distribution_clear(out);
    fleck_free(list);
    return status;
}

void fleck_size_distribution_clear(fleck_size_distribution *distribution)
{
    fleck_free(distribution->from_mm);
    fleck_free(distribution->number_share);
    fleck_free(distribution->area_share);
    *distribution = (fleck_size_distribution){ 0 };
}
