/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/compare.h"

#include "core/memory.h"
#include "core/versioned.h"
#include "study/compare_parts.h"

void fleck_compare_options_init(fleck_compare_options *options, size_t struct_bytes)
{
    const fleck_compare_options defaults = { .seed = 1 };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

const char *fleck_verdict_name(fleck_verdict verdict)
{
    static const char *const names[] = { "cannot tell", "same", "not the same" };

    return names[verdict];
}

fleck_status fleck_compare_study(const fleck_study *study, const fleck_compare_options *options,
                                 fleck_compare *result, fleck_error *err)
{
    fleck_compare_options known = fleck_compare_options_default();
    compare_plan plan = { 0 };
    fleck_status status;

    *result = (fleck_compare){ 0 };
    if ((status = fleck_versioned_take(options, &known, sizeof known, "compare options", err)) != FLECK_OK)
        return status;
    options = &known;
    result->seed = options->seed;
    status = compare_plan_make(study, options, &plan, result, err);
    if (status == FLECK_OK)
        status = compare_measures(&plan, options, result, err);
    if (status == FLECK_OK)
        status = compare_sizes(&plan, options, result, err);
    if (status == FLECK_OK)
        status = compare_warn(&plan, result, err);
    if (status == FLECK_OK)
        status = compare_say(result, err);
    compare_plan_clear(&plan);
    if (status != FLECK_OK)
        fleck_compare_clear(result);
    return status;
}

void fleck_compare_clear(fleck_compare *result)
{
    if (result == NULL)
        return;
    for (size_t i = 0; i < result->group_count; i++)
        fleck_free(result->groups[i].name);
    for (size_t i = 0; i < result->measure_count; i++) {
        fleck_free(result->measures[i].measure);
        fleck_free(result->measures[i].label);
        fleck_free(result->measures[i].unit);
    }
    for (size_t i = 0; i < result->comparison_count; i++)
        fleck_free(result->comparisons[i].sentence);
    fleck_free(result->by);
    fleck_free(result->unit);
    fleck_free(result->paired);
    fleck_free(result->rescan);
    fleck_free(result->print);
    fleck_free(result->groups);
    fleck_free(result->measures);
    fleck_free(result->comparisons);
    fleck_free(result->sizes);
    fleck_warnings_clear(&result->warnings);
    *result = (fleck_compare){ 0 };
}
