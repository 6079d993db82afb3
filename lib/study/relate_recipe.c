/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The fit turned round for one factor and one target: the settings at which the fitted texture is
 * no further from the wanted one than its own uncertainty. For a straight line this is Fieller's
 * interval; for a curve the same set, within the range that was tried. Where the set does not
 * single out a setting, none is named.
 */
#include <math.h>
#include <stdlib.h>

#include "stats/fieller.h"
#include "stats/noncentral_t.h"
#include "stats/real_roots.h"
#include "study/relate_sentence.h"
#include "study/relate_setup.h"
#include "study/relate_words.h"

static size_t make_curve(const fleck_relate_setup *setup, const fleck_relate_fit *fit,
                         fleck_curve *curve)
{
    const size_t count = setup->model->count;
    const double variance = fit->fit.residual_sd * fit->fit.residual_sd;
    double rows[(FLECK_CURVE_DEGREE + 1) * FLECK_RELATE_TERMS], work[2 * FLECK_RELATE_TERMS];

    *curve = (fleck_curve){ 0 };
    curve->degree =
        fleck_relate_model_along(setup->model, setup->data->base_count, setup->base,
                                 setup->solved[0], setup->middle[0], setup->half[0], rows);
    for (size_t i = 0; i <= curve->degree; i++) {
        curve->height[i] = fleck_least_squares_value(&fit->fit, rows + i * count);
        for (size_t k = 0; k <= curve->degree; k++)
            curve->variance[i + k] +=
                variance *
                fleck_least_squares_form(&fit->fit, rows + i * count, rows + k * count, work);
    }
    return curve->degree;
}

/* The lowest and highest the curve gets within the range tried. */
static void find_reach(const fleck_curve *curve, double *lo, double *hi)
{
    double slope[FLECK_CURVE_DEGREE] = { 0 }, at[FLECK_CURVE_DEGREE + 2];
    size_t count;

    for (size_t k = 1; k <= curve->degree; k++)
        slope[k - 1] = (double)k * curve->height[k];
    count = fleck_real_roots(slope, curve->degree - 1, -1, 1, at);
    at[count++] = -1;
    at[count++] = 1;
    *lo = INFINITY;
    *hi = -INFINITY;
    for (size_t i = 0; i < count; i++) {
        const double height = fleck_polynomial(curve->height, curve->degree, at[i]);

        *lo = fmin(*lo, height);
        *hi = fmax(*hi, height);
    }
}

/* Each root alone in a piece of its own is an answer; anything else does not settle the question.
 */
static fleck_relate_verdict judge(const fleck_curve_inverse *inverse, bool straight,
                                  bool slope_is_sure)
{
    if (inverse->piece_count == 0)
        return FLECK_RELATE_NO_SETTING;
    if (!slope_is_sure || inverse->root_count != inverse->piece_count)
        return FLECK_RELATE_UNSURE_SETTING;
    for (size_t i = 0; i < inverse->root_count; i++) {
        if (inverse->root[i] < inverse->piece[i].lo || inverse->root[i] > inverse->piece[i].hi)
            return FLECK_RELATE_UNSURE_SETTING;
    }
    /* a line's interval goes on beyond the range and is bounded there; a curve's is not known */
    if (!straight && inverse->piece[0].lo <= -1 && inverse->piece[0].hi >= 1)
        return FLECK_RELATE_UNSURE_SETTING;
    return inverse->root_count == 1 ? FLECK_RELATE_ONE_SETTING : FLECK_RELATE_SEVERAL_SETTINGS;
}

static fleck_status warn(const fleck_relate_recipe *recipe, const fleck_curve *curve, bool cut,
                         fleck_relate *result, fleck_error *err)
{
    const fleck_measure_words words = fleck_measure_words_of(recipe->target[0]);
    fleck_text range = { 0 };
    double lo, hi;
    fleck_status status = FLECK_OK;

    fleck_words_add_number(&range, recipe->tried_lo[0]);
    fleck_text_add(&range, " to ");
    fleck_words_add_number(&range, recipe->tried_hi[0]);
    if (recipe->verdict == FLECK_RELATE_NO_SETTING) {
        find_reach(curve, &lo, &hi);
        fleck_text_add_format(&range, " the fit of %s runs from ", recipe->target[0]);
        fleck_words_add_rounded(&range, lo, (hi - lo) / 50);
        fleck_text_add(&range, " to ");
        fleck_words_add_rounded(&range, hi, (hi - lo) / 50);
        fleck_text_add_format(&range, "%s%s", words.unit[0] != '\0' ? " " : "", words.unit);
    }
    if (range.failed)
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the recipe; free some memory");
    else if (recipe->verdict == FLECK_RELATE_NO_SETTING)
        status = fleck_warnings_add(&result->warnings, err, "outside-tried-range",
                                    "within %s %s: what is wanted lies outside", recipe->solved[0],
                                    range.bytes);
    else if (recipe->verdict == FLECK_RELATE_UNSURE_SETTING)
        status =
            fleck_warnings_add(&result->warnings, err, "recipe-open",
                               "the fit over %s of %s does not single out a setting: none is named",
                               range.bytes, recipe->solved[0]);
    else if (cut)
        status =
            fleck_warnings_add(&result->warnings, err, "outside-tried-range",
                               "the 95 %% interval of %s reaches the end of what was tried, %s, or "
                               "beyond",
                               recipe->solved[0], range.bytes);
    fleck_text_clear(&range);
    return status;
}

static fleck_status solve_single(const fleck_relate_setup *setup, const fleck_relate_fit *fit,
                                 fleck_relate *result, fleck_error *err)
{
    fleck_relate_recipe *const recipe = &result->recipe;
    const double t = fleck_t_two_sided_quantile(1 - FLECK_RELATE_CONFIDENCE, (double)fit->fit.df);
    fleck_curve curve;
    fleck_curve_inverse inverse;
    fleck_fieller line = { FLECK_FIELLER_BOUNDED, NAN, NAN };
    const bool straight = make_curve(setup, fit, &curve) == 1;
    bool cut = false;

    inverse = fleck_curve_invert(&curve, setup->wanted[0], t);
    if (straight)
        line =
            fleck_fieller_interval(setup->wanted[0] - curve.height[0], curve.height[1],
                                   curve.variance[0], -curve.variance[1] / 2, curve.variance[2], t);
    recipe->n = fit->rows;
    recipe->verdict = judge(&inverse, straight, line.kind == FLECK_FIELLER_BOUNDED);
    _Static_assert((int)FLECK_CURVE_PIECES <= (int)FLECK_RELATE_STRETCHES, "each piece has a place");
    for (size_t i = 0; i < inverse.piece_count; i++) {
        recipe->stretch_lo[i] = fleck_relate_setup_at(setup, recipe, 0, inverse.piece[i].lo);
        recipe->stretch_hi[i] = fleck_relate_setup_at(setup, recipe, 0, inverse.piece[i].hi);
        recipe->stretch_count = i + 1;
        cut = cut || inverse.piece[i].lo <= -1 || inverse.piece[i].hi >= 1;
    }
    if (recipe->verdict == FLECK_RELATE_ONE_SETTING ||
        recipe->verdict == FLECK_RELATE_SEVERAL_SETTINGS) {
        for (size_t i = 0; i < inverse.root_count; i++) {
            fleck_relate_interval *const setting = &recipe->answer[i].setting[0];

            setting->value = fleck_relate_setup_at(setup, recipe, 0, inverse.root[i]);
            setting->lo = recipe->stretch_lo[i];
            setting->hi = recipe->stretch_hi[i];
            if (straight) {
                setting->lo = setup->middle[0] + setup->half[0] * line.lo;
                setting->hi = setup->middle[0] + setup->half[0] * line.hi;
            }
            recipe->answer[i].expected[0] = fleck_relate_setup_expect(setup, fit, &inverse.root[i]);
            recipe->answer_count = i + 1;
        }
    }
    return warn(recipe, &curve, cut, result, err);
}

fleck_status fleck_relate_find_recipe(const fleck_relate_data *data,
                                      const fleck_relate_model *model,
                                      const fleck_relate_options *options, fleck_relate *result,
                                      fleck_error *err)
{
    fleck_relate_setup setup;
    fleck_status status = fleck_relate_setup_make(data, model, options, &setup, result, err);

    if (status != FLECK_OK)
        return status;
    for (size_t i = 0; i < setup.target_count; i++) {
        if (!result->measures[setup.target[i]].fitted)
            return fleck_fail(
                err, FLECK_BAD_INPUT,
                "target %s is there in too few patches to be fitted; measure more, or leave "
                "it out",
                result->recipe.target[i]);
    }
    if (setup.target_count == 1) {
        fleck_least_squares_fault fault;
        fleck_relate_fit fit = { 0 };

        status = fleck_relate_fit_make(data, model, setup.target, 1, &fault, &fit, err);
        if (status == FLECK_OK)
            status = solve_single(&setup, &fit, result, err);
        fleck_relate_fit_clear(&fit);
    } else {
        status = fleck_relate_solve_joint(&setup, result, err);
    }
    if (status != FLECK_OK)
        return status;
    result->recipe.sentence = fleck_relate_recipe_sentence(result);
    return result->recipe.sentence != NULL
               ? FLECK_OK
               : fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the recipe; free some memory");
}
