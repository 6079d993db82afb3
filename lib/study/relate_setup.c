/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "study/relate_setup.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "stats/noncentral_t.h"

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the recipe; free some memory");
}

static size_t find_factor(const fleck_relate *result, const char *name)
{
    size_t at = 0;

    while (at < result->factor_count && strcmp(result->factors[at].column, name) != 0)
        at++;
    return at;
}

static size_t number_base(const fleck_relate_data *data, size_t factor)
{
    size_t at = 0;

    while (data->base[at].factor != factor)
        at++;
    return at;
}

static fleck_status add_held(fleck_relate_recipe *recipe, const char *column, const char *value,
                             bool at_mean, fleck_error *err)
{
    recipe->held[recipe->held_count] = fleck_copy_text(column);
    recipe->held_value[recipe->held_count] = fleck_copy_text(value);
    recipe->held_at_mean[recipe->held_count] = at_mean;
    recipe->held_count++;
    if (recipe->held[recipe->held_count - 1] == NULL ||
        recipe->held_value[recipe->held_count - 1] == NULL)
        return no_memory(err);
    return FLECK_OK;
}

static fleck_status hold_level(const fleck_relate_data *data, const fleck_relate_factor *factor,
                               size_t at, const char *value, fleck_relate_setup *setup,
                               fleck_error *err)
{
    bool known = false;

    for (size_t level = 0; level < factor->level_count; level++)
        known = known || strcmp(factor->levels[level], value) == 0;
    if (!known)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%s has no level '%.60s'; give one that was printed, such as %s",
                          factor->column, value, factor->levels[0]);
    for (size_t i = 0; i < data->base_count; i++) {
        if (data->base[i].factor == at)
            setup->base[i] = strcmp(factor->levels[data->base[i].level], value) == 0;
    }
    return FLECK_OK;
}

static fleck_status hold_number(const fleck_relate_data *data, const fleck_relate_factor *factor,
                                size_t at, const char *value, fleck_relate_setup *setup,
                                fleck_error *err)
{
    double number;
    char lo[FLECK_NUMBER_TEXT_BYTES], hi[FLECK_NUMBER_TEXT_BYTES];

    if (!fleck_text_to_number(value, &number))
        return fleck_fail(err, FLECK_BAD_CALL, "%s cannot be held at '%.60s'; give a number",
                          factor->column, value);
    if (number < factor->lo || number > factor->hi)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "%s at %.60s lies outside what was tried, %s to %s, and nothing is guessed "
            "there; give a value within",
            factor->column, value, fleck_text_from_number(factor->lo, lo),
            fleck_text_from_number(factor->hi, hi));
    setup->base[number_base(data, at)] = number;
    return FLECK_OK;
}

static fleck_status hold_given(const fleck_relate_data *data, const fleck_relate_options *options,
                               bool *held, fleck_relate_setup *setup, fleck_relate *result,
                               fleck_error *err)
{
    for (size_t i = 0; i < options->held_count; i++) {
        const char *const column = options->held[i].column, *const value = options->held[i].value;
        const size_t at = find_factor(result, column);
        fleck_status status;

        if (at == result->factor_count)
            return fleck_fail(
                err, FLECK_BAD_CALL,
                "%s cannot be held, it is no factor; name it in --factors or --category", column);
        if (held[at])
            return fleck_fail(err, FLECK_BAD_CALL, "%s is held twice; hold it once", column);
        held[at] = true;
        status = result->factors[at].is_category
                     ? hold_level(data, &result->factors[at], at, value, setup, err)
                     : hold_number(data, &result->factors[at], at, value, setup, err);
        if (status == FLECK_OK)
            status = add_held(&result->recipe, column, value, false, err);
        if (status != FLECK_OK)
            return status;
    }
    return FLECK_OK;
}

static fleck_status solve_for(const fleck_relate_data *data, size_t at, fleck_relate_setup *setup,
                              fleck_relate *result, fleck_error *err)
{
    const fleck_relate_factor *const factor = &result->factors[at];
    const size_t k = setup->solved_count;

    if (k == FLECK_RELATE_SOLVED)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "more than %d factors cannot be solved for at once; hold some with --at",
                          FLECK_RELATE_SOLVED);
    setup->solved[k] = number_base(data, at);
    setup->middle[k] = factor->lo + (factor->hi - factor->lo) / 2;
    setup->half[k] = (factor->hi - factor->lo) / 2;
    result->recipe.tried_lo[k] = factor->lo;
    result->recipe.tried_hi[k] = factor->hi;
    result->recipe.solved[k] = fleck_copy_text(factor->column);
    setup->solved_count = result->recipe.solved_count = k + 1;
    return result->recipe.solved[k] != NULL ? FLECK_OK : no_memory(err);
}

/* Sort the factors into those solved for, held as given, and held at their means. */
static fleck_status share_factors(const fleck_relate_data *data,
                                  const fleck_relate_options *options, fleck_relate_setup *setup,
                                  fleck_relate *result, fleck_error *err)
{
    bool held[FLECK_RELATE_FACTORS] = { false }, solved[FLECK_RELATE_FACTORS] = { false };
    fleck_status status = hold_given(data, options, held, setup, result, err);

    for (size_t i = 0; i < options->solve_count && status == FLECK_OK; i++) {
        const size_t at = find_factor(result, options->solve[i]);

        if (at == result->factor_count || result->factors[at].is_category)
            return fleck_fail(
                err, FLECK_BAD_CALL,
                "%s cannot be solved for, it is no factor of numbers; name one of --factors",
                options->solve[i]);
        if (held[at] || solved[at])
            return fleck_fail(err, FLECK_BAD_CALL,
                              "%s is named twice; solve for it or hold it, once",
                              options->solve[i]);
        solved[at] = true;
        status = solve_for(data, at, setup, result, err);
    }
    for (size_t at = 0; at < result->factor_count && status == FLECK_OK; at++) {
        const fleck_relate_factor *const factor = &result->factors[at];

        if (held[at] || solved[at])
            continue;
        if (factor->is_category)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "the recipe needs a level of %s; give it, such as --at %s=%s",
                              factor->column, factor->column, factor->levels[0]);
        if (options->solve_count == 0) {
            status = solve_for(data, at, setup, result, err);
        } else {
            char text[FLECK_NUMBER_TEXT_BYTES];

            setup->base[number_base(data, at)] = factor->mean;
            status = add_held(&result->recipe, factor->column,
                              fleck_text_from_number(factor->mean, text), true, err);
        }
    }
    if (status == FLECK_OK && setup->solved_count == 0)
        status =
            fleck_fail(err, FLECK_BAD_CALL, "no factor is left to solve for; hold fewer with --at");
    return status;
}

static fleck_status take_targets(const fleck_relate_data *data, const fleck_relate_options *options,
                                 fleck_relate_setup *setup, fleck_relate *result, fleck_error *err)
{
    fleck_relate_recipe *const recipe = &result->recipe;

    if (options->target_count > FLECK_RELATE_TARGETS)
        return fleck_fail(err, FLECK_BAD_CALL, "%zu targets are too many; give at most %d",
                          options->target_count, FLECK_RELATE_TARGETS);
    for (size_t i = 0; i < options->target_count; i++) {
        const char *const name = options->targets[i].measure;
        size_t at = 0;

        while (strcmp(data->measure[at], name) != 0)
            at++; /* targets are among the measures */
        for (size_t k = 0; k < i; k++) {
            if (setup->target[k] == at)
                return fleck_fail(err, FLECK_BAD_CALL, "target %s stands twice; give it once",
                                  name);
        }
        if (!isfinite(options->targets[i].value))
            return fleck_fail(err, FLECK_BAD_CALL, "target %s is no number; give one", name);
        setup->target[i] = at;
        setup->wanted[i] = recipe->wanted[i] = options->targets[i].value;
        recipe->target[i] = fleck_copy_text(name);
        setup->target_count = recipe->target_count = i + 1;
        if (recipe->target[i] == NULL)
            return no_memory(err);
    }
    return FLECK_OK;
}

double fleck_relate_setup_at(const fleck_relate_setup *setup, const fleck_relate_recipe *recipe,
                             size_t solved, double u)
{
    if (u <= -1)
        return recipe->tried_lo[solved];
    if (u >= 1)
        return recipe->tried_hi[solved];
    return setup->middle[solved] + setup->half[solved] * u;
}

fleck_relate_interval fleck_relate_setup_expect(const fleck_relate_setup *setup,
                                                const fleck_relate_fit *fit, const double *u)
{
    double base[FLECK_RELATE_BASES], row[FLECK_RELATE_TERMS], work[2 * FLECK_RELATE_TERMS];
    double value, reach;

    memcpy(base, setup->base, sizeof base);
    for (size_t i = 0; i < setup->solved_count; i++)
        base[setup->solved[i]] = setup->middle[i] + setup->half[i] * u[i];
    fleck_relate_model_row(setup->model, setup->data->base_count, base, row);
    value = fleck_least_squares_value(&fit->fit, row);
    reach = fleck_t_two_sided_quantile(1 - FLECK_RELATE_CONFIDENCE, (double)fit->fit.df) *
            fit->fit.residual_sd * sqrt(1 + fleck_least_squares_form(&fit->fit, row, row, work));
    return (fleck_relate_interval){ value, value - reach, value + reach };
}

fleck_status fleck_relate_setup_make(const fleck_relate_data *data, const fleck_relate_model *model,
                                     const fleck_relate_options *options, fleck_relate_setup *setup,
                                     fleck_relate *result, fleck_error *err)
{
    fleck_status status;

    *setup = (fleck_relate_setup){ .data = data, .model = model };
    result->recipe.asked = true;
    result->recipe.misfit_p = NAN;
    if ((status = take_targets(data, options, setup, result, err)) != FLECK_OK ||
        (status = share_factors(data, options, setup, result, err)) != FLECK_OK)
        return status;
    if (setup->solved_count > setup->target_count)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "%zu factors and %zu %s: many settings would give it; name the factor to solve "
            "for with --solve, hold others with --at, or give more targets",
            setup->solved_count, setup->target_count,
            setup->target_count == 1 ? "target" : "targets");
    return FLECK_OK;
}
