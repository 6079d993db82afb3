/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Relate as a document and as a table. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/relate.h"
#include "io/csv.h"
#include "io/json_text.h"

static void add_interval(cJSON *object, const char *name, const fleck_relate_interval *interval)
{
    fleck_json_add_number(object, name, interval->value);
    fleck_json_add_number(object, "lo", interval->lo);
    fleck_json_add_number(object, "hi", interval->hi);
}

static void add_factors(cJSON *document, const fleck_relate *result)
{
    cJSON *const list = fleck_json_add_array(document, "factors");

    for (size_t i = 0; i < result->factor_count; i++) {
        const fleck_relate_factor *const factor = &result->factors[i];
        cJSON *const object = fleck_json_append_object(list);

        fleck_json_add_text(object, "factor", factor->column);
        fleck_json_add_text(object, "kind", factor->is_category ? "category" : "number");
        if (factor->is_category) {
            cJSON *const levels = fleck_json_add_array(object, "levels");

            for (size_t k = 0; k < factor->level_count; k++)
                fleck_json_append(levels, cJSON_CreateString(factor->levels[k]));
            continue;
        }
        fleck_json_add_number(object, "tried_lo", factor->lo);
        fleck_json_add_number(object, "tried_hi", factor->hi);
        fleck_json_add_number(object, "mean", factor->mean);
    }
}

static void add_mixes(cJSON *document, const fleck_relate *result)
{
    cJSON *list;

    if (result->mix_count == 0)
        return;
    list = fleck_json_add_array(document, "mixes");
    for (size_t i = 0; i < result->mix_count; i++) {
        cJSON *const object = fleck_json_append_object(list);

        fleck_json_add_number(object, "stock_ml", result->mixes[i].stock_ml);
        fleck_json_add_number(object, "water_ml", result->mixes[i].water_ml);
        fleck_json_add_number(object, "paste_pct", result->mixes[i].paste_pct);
        fleck_json_add_number(object, "patches", (double)result->mixes[i].patches);
        fleck_json_add_text(object, "sentence", result->mixes[i].sentence);
    }
}

static void add_terms(cJSON *object, const fleck_relate_measure *measure)
{
    cJSON *const list = fleck_json_add_array(object, "terms");

    for (size_t i = 0; i < measure->term_count; i++) {
        const fleck_relate_term *const term = &measure->terms[i];
        cJSON *const one = fleck_json_append_object(list);

        fleck_json_add_text(one, "term", term->name);
        fleck_json_add_number(one, "coefficient", term->coefficient);
        fleck_json_add_number(one, "se", term->se);
        fleck_json_add_number(one, "t", term->t);
        fleck_json_add_number(one, "p", term->p);
        fleck_json_add_number(one, "ci_lo", term->ci_lo);
        fleck_json_add_number(one, "ci_hi", term->ci_hi);
    }
}

static void add_effects(cJSON *object, const fleck_relate_measure *measure)
{
    cJSON *const list = fleck_json_add_array(object, "factors");

    for (size_t i = 0; i < measure->effect_count; i++) {
        const fleck_relate_effect *const effect = &measure->effects[i];
        cJSON *const one = fleck_json_append_object(list);

        fleck_json_add_text(one, "factor", effect->factor);
        if (!effect->is_level) {
            fleck_json_add_number(one, "spearman_rho", effect->spearman_rho);
            fleck_json_add_number(one, "spearman_p", effect->spearman_p);
            fleck_json_add_number(one, "kendall_tau_b", effect->kendall_tau_b);
            fleck_json_add_number(one, "kendall_p", effect->kendall_p);
        }
        fleck_json_add_number(one, "slope", effect->slope);
        fleck_json_add_number(one, "slope_se", effect->slope_se);
        fleck_json_add_number(one, "slope_p", effect->slope_p);
        fleck_json_add_number(one, "slope_lo", effect->slope_lo);
        fleck_json_add_number(one, "slope_hi", effect->slope_hi);
        fleck_json_add_number(one, "detectable_slope", effect->detectable_slope);
        if (!effect->is_level)
            fleck_json_add_number(one, "detectable_change", effect->detectable_change);
        if (effect->expected_sign != 0) {
            fleck_json_add_text(one, "expected", effect->expected_sign > 0 ? "+" : "-");
            fleck_json_add_number(one, "expected_p", effect->expected_p);
        }
        fleck_json_add_text(one, "verdict", fleck_relate_direction_name(effect->direction));
        fleck_json_add_text(one, "sentence", effect->sentence);
    }
}

static void add_measures(cJSON *document, const fleck_relate *result)
{
    cJSON *const list = fleck_json_add_array(document, "measures");

    for (size_t i = 0; i < result->measure_count; i++) {
        const fleck_relate_measure *const measure = &result->measures[i];
        cJSON *const object = fleck_json_append_object(list);
        cJSON *influences;

        fleck_json_add_text(object, "measure", measure->measure);
        fleck_json_add_number(object, "n", (double)measure->n);
        fleck_json_add_number(object, "r2", measure->r2);
        fleck_json_add_number(object, "r2_adjusted", measure->r2_adjusted);
        fleck_json_add_number(object, "residual_sd", measure->residual_sd);
        fleck_json_add_number(object, "residual_df", measure->fitted ? (double)measure->df : NAN);
        add_terms(object, measure);
        add_effects(object, measure);
        fleck_json_add_number(object, "lack_of_fit_f", measure->lack_f);
        fleck_json_add_number(object, "lack_of_fit_p", measure->lack_p);
        fleck_json_add_number(object, "repeat_sd", measure->repeat_sd);
        influences = fleck_json_add_array(object, "influential");
        for (size_t k = 0; k < measure->influence_count; k++) {
            const fleck_relate_influence *const influence = &measure->influences[k];
            cJSON *const one = fleck_json_append_object(influences);

            fleck_json_add_text(one, "patch", influence->name);
            fleck_json_add_number(one, "leverage", influence->leverage);
            fleck_json_add_number(one, "cook", influence->cook);
            fleck_json_add(one, "high_leverage", cJSON_CreateBool(influence->high_leverage));
            fleck_json_add(one, "high_cook", cJSON_CreateBool(influence->high_cook));
        }
    }
}

static void add_answers(cJSON *object, const fleck_relate_recipe *recipe)
{
    cJSON *const list = fleck_json_add_array(object, "answers");

    for (size_t i = 0; i < recipe->answer_count; i++) {
        cJSON *const answer = fleck_json_append_object(list);
        cJSON *const settings = fleck_json_add_array(answer, "settings");
        cJSON *expected;

        for (size_t k = 0; k < recipe->solved_count; k++) {
            cJSON *const one = fleck_json_append_object(settings);

            fleck_json_add_text(one, "factor", recipe->solved[k]);
            add_interval(one, "setting", &recipe->answer[i].setting[k]);
        }
        expected = fleck_json_add_array(answer, "one_patch");
        for (size_t k = 0; k < recipe->target_count; k++) {
            cJSON *const one = fleck_json_append_object(expected);

            fleck_json_add_text(one, "measure", recipe->target[k]);
            add_interval(one, "expected", &recipe->answer[i].expected[k]);
        }
    }
}

static void add_recipe(cJSON *document, const fleck_relate *result)
{
    const fleck_relate_recipe *const recipe = &result->recipe;
    const bool single = recipe->answer_count == 1 && recipe->solved_count == 1;
    static const fleck_relate_interval none = { NAN, NAN, NAN };
    cJSON *object, *list;

    if (!recipe->asked)
        return;
    object = fleck_json_add_object(document, "recipe");
    fleck_json_add_text(object, "verdict", fleck_relate_verdict_name(recipe->verdict));
    list = fleck_json_add_array(object, "targets");
    for (size_t i = 0; i < recipe->target_count; i++) {
        cJSON *const one = fleck_json_append_object(list);

        fleck_json_add_text(one, "measure", recipe->target[i]);
        fleck_json_add_number(one, "wanted", recipe->wanted[i]);
    }
    list = fleck_json_add_array(object, "solved");
    for (size_t i = 0; i < recipe->solved_count; i++) {
        cJSON *const one = fleck_json_append_object(list);

        fleck_json_add_text(one, "factor", recipe->solved[i]);
        fleck_json_add_number(one, "tried_lo", recipe->tried_lo[i]);
        fleck_json_add_number(one, "tried_hi", recipe->tried_hi[i]);
    }
    list = fleck_json_add_array(object, "held");
    for (size_t i = 0; i < recipe->held_count; i++) {
        cJSON *const one = fleck_json_append_object(list);

        fleck_json_add_text(one, "factor", recipe->held[i]);
        fleck_json_add_text(one, "value", recipe->held_value[i]);
        fleck_json_add(one, "at_mean", cJSON_CreateBool(recipe->held_at_mean[i]));
    }
    fleck_json_add_number(object, "n", (double)recipe->n);
    /* the plain case without digging: one factor, one answer */
    fleck_json_add_text(object, "factor", recipe->solved_count == 1 ? recipe->solved[0] : NULL);
    add_interval(object, "setting", single ? &recipe->answer[0].setting[0] : &none);
    add_answers(object, recipe);
    list = fleck_json_add_array(object, "not_excluded");
    for (size_t i = 0; i < recipe->stretch_count; i++) {
        cJSON *const one = fleck_json_append_object(list);

        fleck_json_add_number(one, "lo", recipe->stretch_lo[i]);
        fleck_json_add_number(one, "hi", recipe->stretch_hi[i]);
    }
    fleck_json_add_number(object, "misfit_p", recipe->misfit_p);
    fleck_json_add_text(object, "sentence", recipe->sentence);
}

char *fleck_relate_to_json(const fleck_relate *result)
{
    cJSON *const document = cJSON_CreateObject();
    cJSON *list;

    if (document == NULL)
        return NULL;
    fleck_json_add_text(document, "schema", FLECK_RELATE_SCHEMA);
    fleck_json_add_number(document, "version", FLECK_RELATE_VERSION);
    fleck_json_add_number(document, "patches", (double)result->patches);
    fleck_json_add_number(document, "units", (double)result->units);
    fleck_json_add_text(document, "unit", result->unit);
    add_factors(document, result);
    add_mixes(document, result);
    add_measures(document, result);
    add_recipe(document, result);
    list = fleck_json_add_array(document, "warnings");
    for (size_t i = 0; i < result->warnings.count; i++) {
        cJSON *const one = fleck_json_append_object(list);

        fleck_json_add_text(one, "code", result->warnings.items[i].code);
        fleck_json_add_text(one, "message", result->warnings.items[i].message);
    }
    return fleck_json_finish(document);
}

char *fleck_relate_to_csv(const fleck_relate *result)
{
    static const char *const titles[] = { "measure",     "n",    "r2",          "r2_adjusted",
                                          "residual_sd", "term", "coefficient", "se",
                                          "t",           "p",    "ci_lo",       "ci_hi" };
    fleck_text text = { 0 };

    for (size_t i = 0; i < sizeof titles / sizeof *titles; i++)
        fleck_csv_add_cell(&text, titles[i]);
    fleck_csv_end_row(&text);
    for (size_t i = 0; i < result->measure_count; i++) {
        const fleck_relate_measure *const measure = &result->measures[i];

        for (size_t k = 0; k < measure->term_count; k++) {
            const fleck_relate_term *const term = &measure->terms[k];
            const double before[] = { (double)measure->n, measure->r2, measure->r2_adjusted,
                                      measure->residual_sd };
            const double behind[] = { term->coefficient, term->se,    term->t,
                                      term->p,           term->ci_lo, term->ci_hi };

            fleck_csv_add_cell(&text, measure->measure);
            for (size_t c = 0; c < sizeof before / sizeof *before; c++)
                fleck_csv_add_number(&text, before[c]);
            fleck_csv_add_cell(&text, term->name);
            for (size_t c = 0; c < sizeof behind / sizeof *behind; c++)
                fleck_csv_add_number(&text, behind[c]);
            fleck_csv_end_row(&text);
        }
    }
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}
