/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One measure: what each factor does to it, and what makes the fit doubtful. */
#include <math.h>
#include <string.h>

#include <gsl/gsl_cdf.h>

#include "core/memory.h"
#include "stats/detectable.h"
#include "stats/lack_of_fit.h"
#include "stats/noncentral_t.h"
#include "stats/rank_correlation.h"
#include "study/relate_parts.h"
#include "study/relate_sentence.h"
#include "study/relate_words.h"

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a fit; free some memory");
}

/* p of an estimate against 0. Without any scatter only 0 itself says nothing. */
static double p_of(double estimate, double se, size_t df)
{
    if (se > 0)
        return fleck_t_two_sided(estimate / se, (double)df);
    return estimate != 0 ? 0 : NAN;
}

static fleck_status fill_terms(const fleck_relate_model *model, const fleck_least_squares *fit,
                               fleck_relate_measure *measure, fleck_error *err)
{
    const double reach = fleck_t_two_sided_quantile(1 - FLECK_RELATE_CONFIDENCE, (double)fit->df);

    measure->terms = fleck_alloc_zeroed(model->count, sizeof *measure->terms);
    if (measure->terms == NULL)
        return no_memory(err);
    for (size_t j = 0; j < model->count; j++) {
        const double b = fit->coefficient[j], se = fit->se[j];

        measure->terms[j] = (fleck_relate_term){
            .name = fleck_copy_text(model->term[j].name),
            .coefficient = b,
            .se = se,
            .t = se > 0 ? b / se : NAN,
            .p = p_of(b, se, fit->df),
            .ci_lo = b - reach * se,
            .ci_hi = b + reach * se,
        };
        measure->term_count = j + 1;
        if (measure->terms[j].name == NULL)
            return no_memory(err);
    }
    return FLECK_OK;
}

/* The mean of each base over the units of a fit. */
static void mean_bases(const fleck_relate_data *data, const fleck_relate_fit *fit, double *mean)
{
    for (size_t i = 0; i < data->base_count; i++) {
        mean[i] = 0;
        for (size_t k = 0; k < fit->rows; k++)
            mean[i] += data->value[i * data->rows + fit->unit[k]];
        mean[i] /= (double)fit->rows;
    }
}

/* Slope of one base over the range tried, the others at their means. */
static void find_slope(const fleck_relate_data *data, const fleck_relate_model *model,
                       const fleck_relate_factor *factor, size_t base, const fleck_relate_fit *fit,
                       fleck_relate_effect *effect)
{
    const double lo = effect->is_level ? 0 : factor->lo;
    const double hi = effect->is_level ? 1 : factor->hi;
    const double reach =
        fleck_t_two_sided_quantile(1 - FLECK_RELATE_CONFIDENCE, (double)fit->fit.df);
    double at[FLECK_RELATE_BASES], low[FLECK_RELATE_TERMS], step[FLECK_RELATE_TERMS];
    double work[2 * FLECK_RELATE_TERMS];
    double form;

    mean_bases(data, fit, at);
    at[base] = lo;
    fleck_relate_model_row(model, data->base_count, at, low);
    at[base] = hi;
    fleck_relate_model_row(model, data->base_count, at, step);
    for (size_t j = 0; j < model->count; j++)
        step[j] = (step[j] - low[j]) / (hi - lo);
    form = fleck_least_squares_form(&fit->fit, step, step, work);
    effect->slope = fleck_least_squares_value(&fit->fit, step);
    effect->slope_se = fit->fit.residual_sd * sqrt(form);
    effect->slope_p = p_of(effect->slope, effect->slope_se, fit->fit.df);
    effect->slope_lo = effect->slope - reach * effect->slope_se;
    effect->slope_hi = effect->slope + reach * effect->slope_se;
    effect->detectable_slope =
        effect->slope_se *
        fleck_detectable_effect((double)fit->fit.df, FLECK_RELATE_LEVEL, FLECK_RELATE_POWER);
    effect->detectable_change = effect->is_level || effect->slope == 0
                                    ? NAN
                                    : (hi - lo) * effect->detectable_slope / fabs(effect->slope);
    effect->direction = !(effect->slope_p < FLECK_RELATE_LEVEL) ? FLECK_RELATE_CANNOT_TELL
                        : effect->slope > 0                     ? FLECK_RELATE_RISES
                                                                : FLECK_RELATE_FALLS;
}

static fleck_status find_ranks(const fleck_relate_data *data, size_t base,
                               const fleck_relate_fit *fit, fleck_relate_effect *effect,
                               fleck_error *err)
{
    fleck_rank_correlation ranks;
    double *const x = fleck_alloc_array(fit->rows, sizeof *x);
    fleck_status status;

    effect->spearman_rho = effect->spearman_p = NAN;
    effect->kendall_tau_b = effect->kendall_p = NAN;
    if (x == NULL)
        return no_memory(err);
    for (size_t k = 0; k < fit->rows; k++)
        x[k] = data->value[base * data->rows + fit->unit[k]];
    status = fleck_rank_correlate(x, fit->value, fit->rows, &ranks, err);
    if (status == FLECK_OK) {
        effect->spearman_rho = ranks.rho;
        effect->spearman_p = ranks.rho_p;
        effect->kendall_tau_b = ranks.tau;
        effect->kendall_p = ranks.tau_p;
    }
    fleck_free(x);
    return status;
}

static void compare_with_expected(const fleck_relate_options *options, const char *measure,
                                  size_t df, fleck_relate_effect *effect)
{
    effect->expected_p = NAN;
    for (size_t i = 0; i < options->expected_count; i++) {
        const fleck_relate_expectation *const expected = &options->expected[i];

        if (strcmp(expected->factor, effect->factor) == 0 &&
            (expected->measure == NULL || strcmp(expected->measure, measure) == 0))
            effect->expected_sign = expected->sign;
    }
    if (effect->expected_sign != 0 && effect->slope_se > 0)
        effect->expected_p =
            fleck_t_above(effect->slope * effect->expected_sign / effect->slope_se, (double)df);
}

static fleck_status fill_effects(const fleck_relate_data *data, const fleck_relate_model *model,
                                 const fleck_relate_options *options, const fleck_relate *result,
                                 const fleck_relate_fit *fit, fleck_relate_measure *measure,
                                 fleck_error *err)
{
    measure->effects = fleck_alloc_zeroed(data->base_count, sizeof *measure->effects);
    if (measure->effects == NULL)
        return no_memory(err);
    for (size_t i = 0; i < data->base_count; i++) {
        fleck_relate_effect *const effect = &measure->effects[i];
        fleck_status status;

        effect->factor = fleck_copy_text(data->base[i].name);
        measure->effect_count = i + 1;
        if (effect->factor == NULL)
            return no_memory(err);
        effect->is_level = data->base[i].level > 0;
        find_slope(data, model, &result->factors[data->base[i].factor], i, fit, effect);
        effect->spearman_rho = effect->spearman_p = NAN;
        effect->kendall_tau_b = effect->kendall_p = NAN;
        if (!effect->is_level && (status = find_ranks(data, i, fit, effect, err)) != FLECK_OK)
            return status;
        compare_with_expected(options, measure->measure, fit->fit.df, effect);
        effect->sentence = fleck_relate_effect_sentence(result, measure, effect,
                                                        fleck_relate_model_bends(model, i));
        if (effect->sentence == NULL)
            return no_memory(err);
    }
    return FLECK_OK;
}

/*
 * Units that pull the fit. Sources: leverage above twice its mean, Hoaglin & Welsch (1978); Cook's
 * distance beyond the median of F, Cook (1977).
 */
static fleck_status fill_influences(const fleck_relate_data *data, const fleck_relate_fit *fit,
                                    fleck_relate_measure *measure, fleck_error *err)
{
    const double p = (double)fit->fit.columns;
    const double leverage = 2 * p / (double)fit->rows;
    const double cook = gsl_cdf_fdist_Pinv(0.5, p, (double)fit->fit.df);

    measure->influences = fleck_alloc_zeroed(fit->rows, sizeof *measure->influences);
    if (measure->influences == NULL)
        return no_memory(err);
    for (size_t i = 0; i < fit->rows; i++) {
        /* twice the mean itself is not above it, whatever rounding says */
        const bool high_leverage = fit->fit.leverage[i] > leverage * (1 + 1e-9);
        const bool high_cook = fit->fit.cook[i] > cook;

        if (!high_leverage && !high_cook)
            continue;
        measure->influences[measure->influence_count] = (fleck_relate_influence){
            .name = fleck_copy_text(data->name[fit->unit[i]]),
            .leverage = fit->fit.leverage[i],
            .cook = fit->fit.cook[i],
            .high_leverage = high_leverage,
            .high_cook = high_cook,
        };
        if (measure->influences[measure->influence_count++].name == NULL)
            return no_memory(err);
    }
    return FLECK_OK;
}

static fleck_status fill_lack(const fleck_relate_data *data, const fleck_relate_fit *fit,
                              fleck_relate_measure *measure, fleck_relate *result, fleck_error *err)
{
    size_t *const setting = fleck_alloc_array(fit->rows, sizeof *setting);
    fleck_lack_of_fit lack;
    fleck_text p = { 0 };
    fleck_status status;

    if (setting == NULL)
        return no_memory(err);
    for (size_t i = 0; i < fit->rows; i++)
        setting[i] = data->setting[fit->unit[i]];
    status = fleck_lack_of_fit_test(&fit->fit, fit->value, setting, data->settings, &lack, err);
    fleck_free(setting);
    if (status != FLECK_OK)
        return status;
    measure->lack_f = lack.f;
    measure->lack_p = lack.p;
    measure->lack_df = lack.df_lack;
    measure->repeat_df = lack.df_pure;
    measure->repeat_sd = lack.pure_sd;
    if (!(lack.p < FLECK_RELATE_LEVEL))
        return FLECK_OK;
    fleck_words_add_p(&p, lack.p);
    status =
        p.failed
            ? no_memory(err)
            : fleck_warnings_add(&result->warnings, err, "lack-of-fit",
                                 "%s: the means of the settings lie off the fit by more than "
                                 "repeats scatter (%s); try a square or a product with --terms",
                                 measure->measure, p.bytes);
    fleck_text_clear(&p);
    return status;
}

/* A measure that cannot be fitted stays in the table, and a warning says why. */
static fleck_status leave_unfitted(const fleck_relate_model *model,
                                   const fleck_least_squares_fault *fault,
                                   const fleck_relate_measure *measure, fleck_relate *result,
                                   fleck_error *err)
{
    if (fault->kind == FLECK_COLUMN_FINE)
        return fleck_warnings_add(
            &result->warnings, err, "too-few-patches",
            "%s is there in %zu of %zu only, too few for %zu terms: not fitted", measure->measure,
            measure->n, result->units, model->count);
    return fleck_warnings_add(
        &result->warnings, err, "not-fitted",
        "%s is there in %zu of %zu only, and among these %s cannot be told from the "
        "rest: not fitted",
        measure->measure, measure->n, result->units, model->term[fault->column].name);
}

fleck_status fleck_relate_fill_measure(const fleck_relate_data *data,
                                       const fleck_relate_model *model,
                                       const fleck_relate_options *options, size_t at,
                                       fleck_relate *result, fleck_error *err)
{
    fleck_relate_measure *const measure = &result->measures[at];
    fleck_least_squares_fault fault;
    fleck_relate_fit fit = { 0 };
    fleck_status status = fleck_relate_fit_make(data, model, &at, 1, &fault, &fit, err);

    measure->n = fit.rows;
    measure->r2 = measure->r2_adjusted = measure->residual_sd = NAN;
    measure->lack_f = measure->lack_p = measure->repeat_sd = NAN;
    if (status == FLECK_BAD_INPUT) {
        status = leave_unfitted(model, &fault, measure, result, err);
        goto done;
    }
    if (status != FLECK_OK)
        goto done;
    measure->fitted = true;
    measure->df = fit.fit.df;
    measure->r2 = fit.fit.r2;
    measure->r2_adjusted = fit.fit.r2_adjusted;
    measure->residual_sd = fit.fit.residual_sd;
    if (measure->n < result->units)
        status = fleck_warnings_add(&result->warnings, err, "measure-partly-missing",
                                    "%s is there in %zu of %zu only: fitted to these",
                                    measure->measure, measure->n, result->units);
    if (status == FLECK_OK && isnan(measure->r2))
        status = fleck_warnings_add(
            &result->warnings, err, "measure-constant",
            "%s is the same in all patches: no share of it can be explained", measure->measure);
    if (status != FLECK_OK || (status = fill_terms(model, &fit.fit, measure, err)) != FLECK_OK ||
        (status = fill_effects(data, model, options, result, &fit, measure, err)) != FLECK_OK ||
        (status = fill_lack(data, &fit, measure, result, err)) != FLECK_OK)
        goto done;
    status = fill_influences(data, &fit, measure, err);
done:
    fleck_relate_fit_clear(&fit);
    return status;
}
