/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Over what area a measure is known well enough. Each patch of a pilot tells how much its measure
 * varies: area times variance, which does not depend on the area once that is large. Coverage tells
 * it through the integral range, sizes and density through their intervals, density without any
 * through its counts.
 */
#include "fleck/plan.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/memory.h"
#include "core/versioned.h"
#include "fleck/record.h"

/* Half a 95 % interval in standard errors: the normal distribution's 0.975 quantile. */
static const double half_95 = 1.959963984540054;

static const fleck_plan_value usual[] = {
    { "ink.coverage", 0.02, false },
    { "dots.d50_mm", 5, true },
    { "dots.per_cm2", 10, true },
};

/* What a patch says about a key; NAN when it does not. */
struct source {
    double (*get)(const struct source *source, size_t patch, const char *key);
    size_t patch_count;
    const fleck_study *study;
    const fleck_record *records;
};

void fleck_plan_area_options_init(fleck_plan_area_options *options, size_t struct_bytes)
{
    const fleck_plan_area_options defaults = { .coverage_se = NAN };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the plan; free some memory");
}

static double get_from_study(const struct source *source, size_t patch, const char *key)
{
    const size_t column = fleck_study_find_column(source->study, key);
    double value;

    if (column == FLECK_STUDY_NONE || !fleck_study_number(source->study, patch, column, &value))
        return NAN;
    return value;
}

static double get_from_records(const struct source *source, size_t patch, const char *key)
{
    const fleck_key *const found = fleck_key_find(key);

    return found != NULL ? fleck_record_number(&source->records[patch], found) : NAN;
}

/* "dots.d50_mm" and "lo" give "dots.d50_lo_mm", "dots.per_cm2" gives "dots.per_cm2_lo". */
static void end_key(const char *key, const char *end, char name[96])
{
    const size_t length = strlen(key);

    if (length > 3 && strcmp(key + length - 3, "_mm") == 0)
        snprintf(name, 96, "%.*s_%s_mm", (int)(length - 3 < 80 ? length - 3 : 80), key, end);
    else
        snprintf(name, 96, "%.80s_%s", key, end);
}

/* Area times variance of a measure as one patch tells it, NAN when it does not. */
typedef double (*variation_of)(const struct source *source, size_t patch, const char *measure);

/* Of coverage: p (1 - p) A3. */
static double by_integral_range(const struct source *source, size_t patch, const char *measure)
{
    const double p = source->get(source, patch, measure);

    return p * (1 - p) * source->get(source, patch, "sampling.integral_range_mm2");
}

/* By the patch's 95 % interval. */
static double by_interval(const struct source *source, size_t patch, const char *measure)
{
    char lo[96], hi[96];
    double half;

    end_key(measure, "lo", lo);
    end_key(measure, "hi", hi);
    half = (source->get(source, patch, hi) - source->get(source, patch, lo)) / 2;
    return half > 0 ? pow(half / half_95, 2) * source->get(source, patch, "region.area_mm2") : NAN;
}

/* Of a density whose counts vary like those of random points: the variance of n is n. */
static double by_counts(const struct source *source, size_t patch, const char *measure)
{
    const double density = source->get(source, patch, measure);
    const double counted = source->get(source, patch, "dots.counted");

    return counted > 0 ? density * density / counted * source->get(source, patch, "region.area_mm2")
                       : NAN;
}

/* Mean over the patches that tell, and the largest; the number of those. */
static size_t sum_variation(const struct source *source, const char *measure,
                            variation_of variation, fleck_plan_area *area, double *mean,
                            double *largest)
{
    double total = 0, values = 0, achieved = 0;
    size_t count = 0;

    *mean = *largest = NAN;
    for (size_t i = 0; i < source->patch_count; i++) {
        const double one = variation(source, i, measure);
        const double value = source->get(source, i, measure);
        const double area_mm2 = source->get(source, i, "region.area_mm2");
        /* in per cent of this patch's own mean, where it is asked for so */
        const double scaled = area->percent ? one * pow(100 / value, 2) : one;

        if (!isfinite(scaled))
            continue;
        total += scaled;
        values += value;
        achieved += scaled / area_mm2;
        *largest = isnan(*largest) || scaled > *largest ? scaled : *largest;
        count++;
    }
    if (count == 0)
        return 0;
    *mean = total / (double)count;
    area->mean = values / (double)count;
    area->pilot_tolerance = (area->is_se ? 1 : half_95) * sqrt(achieved / (double)count);
    return count;
}

static double mean_of(const struct source *source, const char *key)
{
    double total = 0;
    size_t count = 0;

    for (size_t i = 0; i < source->patch_count; i++) {
        const double value = source->get(source, i, key);

        if (isfinite(value)) {
            total += value;
            count++;
        }
    }
    return count > 0 ? total / (double)count : NAN;
}

static fleck_status warn_of_area(const struct source *source, const fleck_plan_area *area,
                                 double pilot_area_mm2, fleck_warnings *warnings, fleck_error *err)
{
    const double range_mm2 = mean_of(source, "sampling.integral_range_mm2");

    if (isnan(area->area_mm2))
        return fleck_warnings_add(
            warnings, err, "no-intervals",
            "the pilot does not tell how %s varies within a patch; measure it "
            "again with this version of fleck, over a larger area",
            area->measure);
    if (strcmp(area->basis, "counts") == 0 &&
        fleck_warnings_add(
            warnings, err, "told-by-counts",
            "%s: the pilot has no intervals, so its counts are taken to vary like those of "
            "random points; dots that keep apart vary less",
            area->measure) != FLECK_OK)
        return FLECK_NO_RESOURCE;
    if (area->area_mm2 > 10 * pilot_area_mm2)
        return fleck_warnings_add(
            warnings, err, "far-from-pilot",
            "%s: more than ten times the pilot's area of %.0f mm2 is wanted, over "
            "which nobody has looked; print that much and plan again",
            area->measure, pilot_area_mm2);
    if (area->area_mm2 < 20 * range_mm2 || area->dots < 50)
        return fleck_warnings_add(
            warnings, err, "small-square",
            "%s: the square is so small that the rule behind it does not hold; take "
            "one that holds 50 dots at least",
            area->measure);
    return FLECK_OK;
}

static fleck_status plan_area(const struct source *source, const fleck_plan_value *tolerance,
                              bool is_se, fleck_plan_areas *out, fleck_error *err)
{
    fleck_plan_area *const area = &out->areas[out->area_count++];
    const bool is_coverage = strcmp(tolerance->measure, "ink.coverage") == 0;
    const double per_cm2 = mean_of(source, "dots.per_cm2");
    double mean, largest, factor;

    *area = (fleck_plan_area){
        .measure = fleck_copy_text(tolerance->measure),
        .tolerance = tolerance->value,
        .percent = tolerance->percent,
        .is_se = is_se,
        .mean = NAN,
        .pilot_tolerance = NAN,
        .side_mm = NAN,
    };
    if (area->measure == NULL)
        return no_memory(err);
    area->basis = is_coverage ? "integral range" : "intervals";
    area->patches =
        sum_variation(source, tolerance->measure, is_coverage ? by_integral_range : by_interval,
                      area, &mean, &largest);
    if (area->patches == 0 && strcmp(tolerance->measure, "dots.per_cm2") == 0) {
        area->basis = "counts";
        area->patches = sum_variation(source, tolerance->measure, by_counts, area, &mean, &largest);
    }
    factor = pow((is_se ? 1 : half_95) / tolerance->value, 2);
    area->area_mm2 = mean * factor;
    area->area_worst_mm2 = largest * factor;
    area->side_mm = sqrt(area->area_mm2);
    area->dots = per_cm2 / 100 * area->area_mm2;
    /* one that cannot be told leaves all untold */
    if (isnan(area->side_mm) || area->side_mm > out->side_mm)
        out->side_mm = area->side_mm;
    return warn_of_area(source, area, out->pilot_area_mm2, &out->warnings, err);
}

static fleck_status warn_of_variance(const struct source *source, fleck_warnings *warnings,
                                     fleck_error *err)
{
    const double exponent = mean_of(source, "sampling.exponent");
    const double evenness = mean_of(source, "sampling.evenness");

    if (exponent > -0.8 || evenness > 2)
        return fleck_warnings_add(
            warnings, err, "slow-variance",
            "the pilot is blotchy at the scale of its patches (evenness %.2g, "
            "exponent %.2g): a larger area helps less than planned, more patches "
            "help",
            evenness, exponent);
    return FLECK_OK;
}

static fleck_status check_tolerances(const fleck_plan_area_options *options, fleck_error *err)
{
    if (!isnan(options->coverage_se) && !(options->coverage_se > 0 && options->coverage_se < 1))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "standard error %g: must lie between 0 and 1; give a share such as 0.01",
                          options->coverage_se);
    for (size_t i = 0; i < options->tolerance_count; i++) {
        const fleck_plan_value *const tolerance = &options->tolerances[i];
        char lo[96];

        if (!(tolerance->value > 0) || isinf(tolerance->value))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "%.100s: the tolerance must be above 0; give a number",
                              tolerance->measure);
        end_key(tolerance->measure, "lo", lo);
        if (strcmp(tolerance->measure, "ink.coverage") != 0 &&
            (fleck_key_find(tolerance->measure) == NULL || fleck_key_find(lo) == NULL))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "%.100s: no such measure with an interval within a patch; give "
                              "ink.coverage, dots.d50_mm or dots.per_cm2",
                              tolerance->measure);
        for (size_t k = 0; k < i; k++) {
            if (strcmp(options->tolerances[k].measure, tolerance->measure) == 0)
                return fleck_fail(err, FLECK_BAD_CALL, "%.100s: has two tolerances; give one",
                                  tolerance->measure);
        }
    }
    return FLECK_OK;
}

static fleck_status plan_areas(const struct source *source, const fleck_plan_area_options *options,
                               fleck_plan_areas *out, fleck_error *err)
{
    fleck_plan_area_options known = fleck_plan_area_options_default();
    fleck_plan_value se = { "ink.coverage", NAN, false };
    const fleck_plan_value *tolerances;
    bool wants_se;
    size_t count;
    fleck_status status;

    *out = (fleck_plan_areas){ 0 };
    if ((status = fleck_versioned_take(options, &known, sizeof known, "area options", err)) != FLECK_OK)
        return status;
    options = &known;
    se.value = options->coverage_se;
    wants_se = !isnan(options->coverage_se);
    tolerances = options->tolerances;
    count = options->tolerance_count;
    if ((status = check_tolerances(options, err)) != FLECK_OK)
        return status;
    if (count == 0 && !wants_se) {
        tolerances = usual;
        count = sizeof usual / sizeof *usual;
    }
    out->areas = fleck_alloc_zeroed(count + 1, sizeof *out->areas);
    if (out->areas == NULL)
        return no_memory(err);
    out->pilot_area_mm2 = mean_of(source, "region.area_mm2");
    if (wants_se)
        status = plan_area(source, &se, true, out, err);
    for (size_t i = 0; i < count && status == FLECK_OK; i++)
        status = plan_area(source, &tolerances[i], false, out, err);
    if (status == FLECK_OK)
        status = warn_of_variance(source, &out->warnings, err);
    if (status != FLECK_OK)
        fleck_plan_areas_clear(out);
    return status;
}

fleck_status fleck_plan_areas_study(const fleck_study *pilot,
                                    const fleck_plan_area_options *options, fleck_plan_areas *out,
                                    fleck_error *err)
{
    const struct source source = {
        .get = get_from_study,
        .patch_count = fleck_study_row_count(pilot),
        .study = pilot,
    };

    return plan_areas(&source, options, out, err);
}

fleck_status fleck_plan_areas_records(const fleck_record *records, size_t count,
                                      const fleck_plan_area_options *options, fleck_plan_areas *out,
                                      fleck_error *err)
{
    const struct source source = {
        .get = get_from_records,
        .patch_count = count,
        .records = records,
    };

    return plan_areas(&source, options, out, err);
}

void fleck_plan_areas_clear(fleck_plan_areas *areas)
{
    if (areas == NULL)
        return;
    for (size_t i = 0; i < areas->area_count; i++)
        fleck_free(areas->areas[i].measure);
    fleck_free(areas->areas);
    fleck_warnings_clear(&areas->warnings);
    *areas = (fleck_plan_areas){ 0 };
}
