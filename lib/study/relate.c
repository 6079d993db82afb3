/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/relate.h"

#include <string.h>

#include "core/memory.h"
#include "core/versioned.h"
#include "study/relate_parts.h"

void fleck_relate_options_init(fleck_relate_options *options, size_t struct_bytes)
{
    const fleck_relate_options defaults = { 0 };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

static void clear_measure(fleck_relate_measure *measure)
{
    for (size_t i = 0; i < measure->term_count; i++)
        fleck_free(measure->terms[i].name);
    for (size_t i = 0; i < measure->effect_count; i++) {
        fleck_free(measure->effects[i].factor);
        fleck_free(measure->effects[i].sentence);
    }
    for (size_t i = 0; i < measure->influence_count; i++)
        fleck_free(measure->influences[i].name);
    fleck_free(measure->measure);
    fleck_free(measure->terms);
    fleck_free(measure->effects);
    fleck_free(measure->influences);
}

static void clear_recipe(fleck_relate_recipe *recipe)
{
    for (size_t i = 0; i < recipe->solved_count; i++)
        fleck_free(recipe->solved[i]);
    for (size_t i = 0; i < recipe->held_count; i++) {
        fleck_free(recipe->held[i]);
        fleck_free(recipe->held_value[i]);
    }
    for (size_t i = 0; i < recipe->target_count; i++)
        fleck_free(recipe->target[i]);
    fleck_free(recipe->sentence);
}

void fleck_relate_clear(fleck_relate *result)
{
    if (result == NULL)
        return;
    for (size_t i = 0; i < result->factor_count; i++) {
        for (size_t k = 0; result->factors[i].levels != NULL && k < result->factors[i].level_count;
             k++)
            fleck_free(result->factors[i].levels[k]);
        fleck_free(result->factors[i].levels);
        fleck_free(result->factors[i].column);
    }
    for (size_t i = 0; i < result->mix_count; i++)
        fleck_free(result->mixes[i].sentence);
    for (size_t i = 0; i < result->measure_count; i++)
        clear_measure(&result->measures[i]);
    clear_recipe(&result->recipe);
    fleck_warnings_clear(&result->warnings);
    fleck_free(result->unit);
    fleck_free(result->factors);
    fleck_free(result->mixes);
    fleck_free(result->measures);
    *result = (fleck_relate){ 0 };
}

const char *fleck_relate_direction_name(fleck_relate_direction direction)
{
    static const char *const names[] = {
        [FLECK_RELATE_CANNOT_TELL] = "cannot tell",
        [FLECK_RELATE_RISES] = "rises",
        [FLECK_RELATE_FALLS] = "falls",
    };

    return names[direction];
}

const char *fleck_relate_verdict_name(fleck_relate_verdict verdict)
{
    static const char *const names[] = {
        [FLECK_RELATE_ONE_SETTING] = "one setting",
        [FLECK_RELATE_SEVERAL_SETTINGS] = "several settings",
        [FLECK_RELATE_NO_SETTING] = "no setting in the tried range",
        [FLECK_RELATE_UNSURE_SETTING] = "cannot tell",
    };

    return names[verdict];
}

/* An expectation must be about something: a slip in its name would pass unseen. */
static fleck_status check_expectations(const fleck_relate_options *options,
                                       const fleck_relate_data *data, const fleck_relate *result,
                                       fleck_error *err)
{
    for (size_t i = 0; i < options->expected_count; i++) {
        const fleck_relate_expectation *const expected = &options->expected[i];
        bool factor = false, measure = expected->measure == NULL;

        for (size_t k = 0; k < data->base_count; k++)
            factor = factor || strcmp(data->base[k].name, expected->factor) == 0;
        for (size_t k = 0; k < data->measure_count && !measure; k++)
            measure = strcmp(data->measure[k], expected->measure) == 0;
        if (!factor)
            return fleck_fail(
                err, FLECK_BAD_CALL,
                "%s is expected to do something but is no factor; name one such as %s",
                expected->factor, result->factors[0].column);
        if (!measure)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "%s is expected to change but is not among the measures; add it to "
                              "--measures",
                              expected->measure);
    }
    return FLECK_OK;
}

static fleck_status fit_all(const fleck_relate_data *data, const fleck_relate_model *model,
                            const fleck_relate_options *options, fleck_relate *result,
                            fleck_error *err)
{
    result->measures = fleck_alloc_zeroed(data->measure_count, sizeof *result->measures);
    if (result->measures == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the measures; free some memory");
    for (size_t i = 0; i < data->measure_count; i++) {
        fleck_status status;

        result->measures[i].measure = fleck_copy_text(data->measure[i]);
        result->measure_count = i + 1;
        if (result->measures[i].measure == NULL)
            return fleck_fail(err, FLECK_NO_RESOURCE,
                              "no memory for the measures; free some memory");
        status = fleck_relate_fill_measure(data, model, options, i, result, err);
        if (status != FLECK_OK)
            return status;
    }
    return FLECK_OK;
}

fleck_status fleck_relate_study(const fleck_study *study, const fleck_relate_options *options,
                                fleck_relate *result, fleck_error *err)
{
    fleck_relate_options known = fleck_relate_options_default();
    fleck_relate_data data = { 0 };
    fleck_relate_model *model = NULL;
    fleck_status status;

    *result = (fleck_relate){ 0 };
    if ((status = fleck_versioned_take(options, &known, sizeof known, "relate options", err)) != FLECK_OK)
        return status;
    options = &known;
    model = fleck_alloc_zeroed(1, sizeof *model);
    if (model == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the fits; free some memory");
        goto done;
    }
    if ((status = fleck_relate_data_take(study, options, &data, result, err)) != FLECK_OK ||
        (status = fleck_relate_model_make(&data, result, options->terms, options->term_count, model,
                                          err)) != FLECK_OK ||
        (status = fleck_relate_check_design(&data, model, result, err)) != FLECK_OK ||
        (status = check_expectations(options, &data, result, err)) != FLECK_OK ||
        (status = fit_all(&data, model, options, result, err)) != FLECK_OK)
        goto done;
    if (options->target_count > 0)
        status = fleck_relate_find_recipe(&data, model, options, result, err);
done:
    if (model != NULL)
        fleck_relate_model_clear(model);
    fleck_free(model);
    fleck_relate_data_clear(&data);
    if (status != FLECK_OK)
        fleck_relate_clear(result);
    return status;
}
