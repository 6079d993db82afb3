/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Relate as a document and as a table. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/relate.h"
#include "io/csv.h"
#include "io/json_text.h"

static void add(cJSON *object, const char *name, double value)
{
    cJSON_AddItemToObject(object, name, fleck_json_number(value));
}

static void add_text(cJSON *object, const char *name, const char *text)
{
    cJSON_AddItemToObject(object, name,
                          text != NULL ? cJSON_CreateString(text) : cJSON_CreateNull());
}

static void add_interval(cJSON *object, const char *name, const fleck_relate_interval *interval)
{
    add(object, name, interval->value);
    add(object, "lo", interval->lo);
    add(object, "hi", interval->hi);
}

/* A new object at the end of a list. */
static cJSON *add_to(cJSON *list)
{
    cJSON *const object = cJSON_CreateObject();

    cJSON_AddItemToArray(list, object);
    return object;
}

static void add_factors(cJSON *document, const fleck_relate *result)
{
    cJSON *const list = cJSON_AddArrayToObject(document, "factors");

    for (size_t i = 0; i < result->factor_count; i++) {
        const fleck_relate_factor *const factor = &result->factors[i];
        cJSON *const object = add_to(list);

        add_text(object, "factor", factor->column);
        add_text(object, "kind", factor->is_category ? "category" : "number");
        if (factor->is_category) {
            cJSON *const levels = cJSON_AddArrayToObject(object, "levels");

            for (size_t k = 0; k < factor->level_count; k++)
                cJSON_AddItemToArray(levels, cJSON_CreateString(factor->levels[k]));
            continue;
        }
        add(object, "tried_lo", factor->lo);
        add(object, "tried_hi", factor->hi);
        add(object, "mean", factor->mean);
    }
}

static void add_mixes(cJSON *document, const fleck_relate *result)
{
    cJSON *list;

    if (result->mix_count == 0)
        return;
    list = cJSON_AddArrayToObject(document, "mixes");
    for (size_t i = 0; i < result->mix_count; i++) {
        cJSON *const object = add_to(list);

        add(object, "stock_ml", result->mixes[i].stock_ml);
        add(object, "water_ml", result->mixes[i].water_ml);
        add(object, "paste_pct", result->mixes[i].paste_pct);
        add(object, "patches", (double)result->mixes[i].patches);
        add_text(object, "sentence", result->mixes[i].sentence);
    }
}

static void add_terms(cJSON *object, const fleck_relate_measure *measure)
{
    cJSON *const list = cJSON_AddArrayToObject(object, "terms");

    for (size_t i = 0; i < measure->term_count; i++) {
        const fleck_relate_term *const term = &measure->terms[i];
        cJSON *const one = add_to(list);

        add_text(one, "term", term->name);
        add(one, "coefficient", term->coefficient);
        add(one, "se", term->se);
        add(one, "t", term->t);
        add(one, "p", term->p);
        add(one, "ci_lo", term->ci_lo);
        add(one, "ci_hi", term->ci_hi);
    }
}

static void add_effects(cJSON *object, const fleck_relate_measure *measure)
{
    cJSON *const list = cJSON_AddArrayToObject(object, "factors");

    for (size_t i = 0; i < measure->effect_count; i++) {
        const fleck_relate_effect *const effect = &measure->effects[i];
        cJSON *const one = add_to(list);

        add_text(one, "factor", effect->factor);
        if (!effect->is_level) {
            add(one, "spearman_rho", effect->spearman_rho);
            add(one, "spearman_p", effect->spearman_p);
            add(one, "kendall_tau_b", effect->kendall_tau_b);
            add(one, "kendall_p", effect->kendall_p);
        }
        add(one, "slope", effect->slope);
        add(one, "slope_se", effect->slope_se);
        add(one, "slope_p", effect->slope_p);
        add(one, "slope_lo", effect->slope_lo);
        add(one, "slope_hi", effect->slope_hi);
        add(one, "detectable_slope", effect->detectable_slope);
        if (!effect->is_level)
            add(one, "detectable_change", effect->detectable_change);
        if (effect->expected_sign != 0) {
            add_text(one, "expected", effect->expected_sign > 0 ? "+" : "-");
            add(one, "expected_p", effect->expected_p);
        }
        add_text(one, "verdict", fleck_relate_direction_name(effect->direction));
        add_text(one, "sentence", effect->sentence);
    }
}

static void add_measures(cJSON *document, const fleck_relate *result)
{
    cJSON *const list = cJSON_AddArrayToObject(document, "measures");

    for (size_t i = 0; i < result->measure_count; i++) {
        const fleck_relate_measure *const measure = &result->measures[i];
        cJSON *const object = add_to(list);
        cJSON *influences;

        add_text(object, "measure", measure->measure);
        add(object, "n", (double)measure->n);
        add(object, "r2", measure->r2);
        add(object, "r2_adjusted", measure->r2_adjusted);
        add(object, "residual_sd", measure->residual_sd);
        add(object, "residual_df", measure->fitted ? (double)measure->df : NAN);
        add_terms(object, measure);
        add_effects(object, measure);
        add(object, "lack_of_fit_f", measure->lack_f);
        add(object, "lack_of_fit_p", measure->lack_p);
        add(object, "repeat_sd", measure->repeat_sd);
        influences = cJSON_AddArrayToObject(object, "influential");
        for (size_t k = 0; k < measure->influence_count; k++) {
            const fleck_relate_influence *const influence = &measure->influences[k];
            cJSON *const one = add_to(influences);

            add_text(one, "patch", influence->name);
            add(one, "leverage", influence->leverage);
            add(one, "cook", influence->cook);
            cJSON_AddBoolToObject(one, "high_leverage", influence->high_leverage);
            cJSON_AddBoolToObject(one, "high_cook", influence->high_cook);
        }
    }
}

static void add_answers(cJSON *object, const fleck_relate_recipe *recipe)
{
    cJSON *const list = cJSON_AddArrayToObject(object, "answers");

    for (size_t i = 0; i < recipe->answer_count; i++) {
        cJSON *const answer = add_to(list);
        cJSON *const settings = cJSON_AddArrayToObject(answer, "settings");
        cJSON *expected;

        for (size_t k = 0; k < recipe->solved_count; k++) {
            cJSON *const one = add_to(settings);

            add_text(one, "factor", recipe->solved[k]);
            add_interval(one, "setting", &recipe->answer[i].setting[k]);
        }
        expected = cJSON_AddArrayToObject(answer, "one_patch");
        for (size_t k = 0; k < recipe->target_count; k++) {
            cJSON *const one = add_to(expected);

            add_text(one, "measure", recipe->target[k]);
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
    object = cJSON_AddObjectToObject(document, "recipe");
    add_text(object, "verdict", fleck_relate_verdict_name(recipe->verdict));
    list = cJSON_AddArrayToObject(object, "targets");
    for (size_t i = 0; i < recipe->target_count; i++) {
        cJSON *const one = add_to(list);

        add_text(one, "measure", recipe->target[i]);
        add(one, "wanted", recipe->wanted[i]);
    }
    list = cJSON_AddArrayToObject(object, "solved");
    for (size_t i = 0; i < recipe->solved_count; i++) {
        cJSON *const one = add_to(list);

        add_text(one, "factor", recipe->solved[i]);
        add(one, "tried_lo", recipe->tried_lo[i]);
        add(one, "tried_hi", recipe->tried_hi[i]);
    }
    list = cJSON_AddArrayToObject(object, "held");
    for (size_t i = 0; i < recipe->held_count; i++) {
        cJSON *const one = add_to(list);

        add_text(one, "factor", recipe->held[i]);
        add_text(one, "value", recipe->held_value[i]);
        cJSON_AddBoolToObject(one, "at_mean", recipe->held_at_mean[i]);
    }
    add(object, "n", (double)recipe->n);
    /* the plain case without digging: one factor, one answer */
    add_text(object, "factor", recipe->solved_count == 1 ? recipe->solved[0] : NULL);
    add_interval(object, "setting", single ? &recipe->answer[0].setting[0] : &none);
    add_answers(object, recipe);
    list = cJSON_AddArrayToObject(object, "not_excluded");
    for (size_t i = 0; i < recipe->stretch_count; i++) {
        cJSON *const one = add_to(list);

        add(one, "lo", recipe->stretch_lo[i]);
        add(one, "hi", recipe->stretch_hi[i]);
    }
    add(object, "misfit_p", recipe->misfit_p);
    add_text(object, "sentence", recipe->sentence);
}

char *fleck_relate_to_json(const fleck_relate *result)
{
    cJSON *const document = cJSON_CreateObject();
    cJSON *list;

    if (document == NULL)
        return NULL;
    add_text(document, "schema", FLECK_RELATE_SCHEMA);
    add(document, "version", FLECK_RELATE_VERSION);
    add(document, "patches", (double)result->patches);
    add(document, "units", (double)result->units);
    add_text(document, "unit", result->unit);
    add_factors(document, result);
    add_mixes(document, result);
    add_measures(document, result);
    add_recipe(document, result);
    list = cJSON_AddArrayToObject(document, "warnings");
    for (size_t i = 0; i < result->warnings.count; i++) {
        cJSON *const one = add_to(list);

        add_text(one, "code", result->warnings.items[i].code);
        add_text(one, "message", result->warnings.items[i].message);
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
