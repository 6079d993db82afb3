/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "study/relate_sentence.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/text.h"
#include "study/relate_words.h"

static const fleck_relate_factor *find_factor(const fleck_relate *result, const char *name)
{
    const size_t length = strcspn(name, "=");

    for (size_t i = 0; i < result->factor_count; i++) {
        const fleck_relate_factor *const factor = &result->factors[i];

        if (strcmp(factor->column, name) == 0 ||
            (factor->is_category && strlen(factor->column) == length &&
             strncmp(factor->column, name, length) == 0))
            return factor;
    }
    return NULL;
}

static void add_unit(fleck_text *text, const char *unit)
{
    if (unit[0] != '\0')
        fleck_text_add_format(text, " %s", unit);
}

static void add_count(fleck_text *text, const fleck_relate *result, size_t n)
{
    if (result->unit != NULL && result->units < result->patches)
        fleck_text_add_format(text, "%zu units of %s", n, result->unit);
    else
        fleck_text_add_format(text, "%zu patches", n);
}

/* "each 1 % more paste", "from 2.5 to 5 % paste", "paper rough instead of smooth" */
static void add_step(fleck_text *text, const fleck_relate *result,
                     const fleck_relate_effect *effect, bool bends)
{
    const fleck_relate_factor *const factor = find_factor(result, effect->factor);
    const fleck_factor_words words =
        fleck_factor_words_of(factor != NULL ? factor->column : effect->factor);

    if (effect->is_level && factor != NULL) {
        fleck_text_add_format(text, "%s %s instead of %s", words.name,
                              effect->factor + strlen(factor->column) + 1, factor->levels[0]);
    } else if (bends && factor != NULL) {
        fleck_text_add(text, "from ");
        fleck_words_add_number(text, factor->lo);
        fleck_text_add(text, " to ");
        fleck_words_add_number(text, factor->hi);
        add_unit(text, words.unit);
        fleck_text_add_format(text, " %s", words.name);
    } else {
        fleck_text_add_format(text,
                              words.unit[0] != '\0' ? "each 1 %s more %s" : "each 1%s more of %s",
                              words.unit, words.name);
    }
}

/* "0.05 mm smaller" for -0.05 */
static void add_change(fleck_text *text, const fleck_measure_words *words, double change,
                       double uncertainty)
{
    fleck_words_add_rounded(text, fabs(change), uncertainty);
    add_unit(text, words->unit);
    fleck_text_add_format(text, " %s", change < 0 ? words->less : words->more);
}

static void add_expectation(fleck_text *text, const fleck_relate_effect *effect)
{
    if (effect->expected_sign == 0 || isnan(effect->expected_p))
        return;
    if (effect->expected_p < 0.05)
        fleck_text_add(text, "; this is the direction expected (one-sided ");
    else if (effect->direction != FLECK_RELATE_CANNOT_TELL)
        fleck_text_add(text, "; this is against the direction expected (one-sided ");
    else
        fleck_text_add(text, "; whether it goes the way expected cannot be told (one-sided ");
    fleck_words_add_p(text, effect->expected_p);
    fleck_text_add(text, ")");
}

char *fleck_relate_effect_sentence(const fleck_relate *result, const fleck_relate_measure *measure,
                                   const fleck_relate_effect *effect, bool bends)
{
    const fleck_measure_words words = fleck_measure_words_of(measure->measure);
    const fleck_relate_factor *const factor = find_factor(result, effect->factor);
    const double span = bends && factor != NULL ? factor->hi - factor->lo : 1;
    const double change = effect->slope * span;
    const double lo = effect->slope_lo * span, hi = effect->slope_hi * span;
    const double nearest = fmin(fabs(lo), fabs(hi));
    const bool told = effect->direction != FLECK_RELATE_CANNOT_TELL;
    /* an end that is told from 0 must not be rounded to it */
    const double half = (hi - lo) / (told && nearest < (hi - lo) / 4 ? 20 : 2);
    fleck_text text = { 0 };

    add_step(&text, result, effect, bends);
    fleck_text_add_format(&text, ": %s ", words.subject);
    if (told) {
        add_change(&text, &words, change, half);
        fleck_text_add(&text,
                       bends ? " in all, along a curve (95 % interval " : " (95 % interval ");
        fleck_words_add_rounded(&text, change < 0 ? -hi : lo, half);
        fleck_text_add(&text, " to ");
        fleck_words_add_rounded(&text, change < 0 ? -lo : hi, half);
        fleck_text_add(&text, "; ");
        fleck_words_add_p(&text, effect->slope_p);
        fleck_text_add(&text, ", ");
        add_count(&text, result, measure->n);
        fleck_text_add(&text, ")");
    } else {
        fleck_text_add(&text, "- cannot tell: anything from ");
        add_change(&text, &words, lo, half);
        fleck_text_add(&text, " to ");
        add_change(&text, &words, hi, half);
        fleck_text_add(&text, " agrees with ");
        add_count(&text, result, measure->n);
        if (effect->detectable_slope > 0) {
            fleck_text_add(&text, "; they would have shown ");
            fleck_words_add_rounded(&text, effect->detectable_slope * span, half);
            add_unit(&text, words.unit);
            fleck_text_add(&text, " 8 times in 10");
        }
    }
    add_expectation(&text, effect);
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}

/* ---- the recipe ---- */

static void add_setting(fleck_text *text, const char *column, double value, double uncertainty)
{
    const fleck_factor_words words = fleck_factor_words_of(column);

    fleck_text_add_format(text, "%s ", words.name);
    fleck_words_add_rounded(text, value, uncertainty);
    add_unit(text, words.unit);
}

static void add_interval(fleck_text *text, double lo, double hi)
{
    const double half = (hi - lo) / 2;

    fleck_words_add_rounded(text, lo, half);
    fleck_text_add(text, " to ");
    fleck_words_add_rounded(text, hi, half);
}

static void add_wanted(fleck_text *text, const fleck_relate_recipe *recipe)
{
    for (size_t i = 0; i < recipe->target_count; i++) {
        const fleck_measure_words words = fleck_measure_words_of(recipe->target[i]);

        fleck_text_add_format(text, "%s%s ", i > 0 ? ", " : "", recipe->target[i]);
        fleck_words_add_number(text, recipe->wanted[i]);
        add_unit(text, words.unit);
    }
}

static void add_answer(fleck_text *text, const fleck_relate_recipe *recipe,
                       const fleck_relate_answer *answer)
{
    for (size_t i = 0; i < recipe->solved_count; i++) {
        const fleck_relate_interval *const setting = &answer->setting[i];

        fleck_text_add(text, i > 0 ? ", " : "");
        add_setting(text, recipe->solved[i], setting->value, (setting->hi - setting->lo) / 2);
        fleck_text_add(text, " (95 % interval ");
        add_interval(text, setting->lo, setting->hi);
        fleck_text_add(text, ")");
    }
}

static void add_range(fleck_text *text, const fleck_relate_recipe *recipe)
{
    for (size_t i = 0; i < recipe->solved_count; i++) {
        const fleck_factor_words words = fleck_factor_words_of(recipe->solved[i]);

        fleck_text_add_format(text, "%s%s ", i > 0 ? ", " : "", words.name);
        fleck_words_add_number(text, recipe->tried_lo[i]);
        fleck_text_add(text, " to ");
        fleck_words_add_number(text, recipe->tried_hi[i]);
        add_unit(text, words.unit);
    }
}

/* What one further patch made so may turn out to be. */
static void add_expected(fleck_text *text, const fleck_relate_recipe *recipe,
                         const fleck_relate_answer *answer)
{
    fleck_text_add(text, "; one further patch should give ");
    for (size_t i = 0; i < recipe->target_count; i++) {
        const fleck_measure_words words = fleck_measure_words_of(recipe->target[i]);

        fleck_text_add_format(text, "%s%s ", i > 0 ? ", " : "", recipe->target[i]);
        add_interval(text, answer->expected[i].lo, answer->expected[i].hi);
        add_unit(text, words.unit);
    }
}

static void add_stretches(fleck_text *text, const fleck_relate_recipe *recipe)
{
    for (size_t i = 0; i < recipe->stretch_count; i++) {
        fleck_text_add(text, i > 0 ? " or " : "");
        fleck_words_add_rounded(text, recipe->stretch_lo[i],
                                (recipe->stretch_hi[i] - recipe->stretch_lo[i]) / 2);
        fleck_text_add(text, " to ");
        fleck_words_add_rounded(text, recipe->stretch_hi[i],
                                (recipe->stretch_hi[i] - recipe->stretch_lo[i]) / 2);
    }
}

char *fleck_relate_recipe_sentence(const fleck_relate *result)
{
    const fleck_relate_recipe *const recipe = &result->recipe;
    fleck_text text = { 0 };

    fleck_text_add(&text, "for ");
    add_wanted(&text, recipe);
    fleck_text_add(&text, ": ");
    switch (recipe->verdict) {
    case FLECK_RELATE_ONE_SETTING:
        add_answer(&text, recipe, &recipe->answer[0]);
        add_expected(&text, recipe, &recipe->answer[0]);
        break;
    case FLECK_RELATE_SEVERAL_SETTINGS:
        fleck_text_add_format(&text, "%zu settings give it: ", recipe->answer_count);
        for (size_t i = 0; i < recipe->answer_count; i++) {
            fleck_text_add(&text, i > 0 ? "; or " : "");
            add_answer(&text, recipe, &recipe->answer[i]);
        }
        break;
    case FLECK_RELATE_NO_SETTING:
        fleck_text_add(&text, "no setting within what was tried (");
        add_range(&text, recipe);
        fleck_text_add(
            &text, recipe->misfit_p < 0.05
                       ? ") gives all of it at once, and what lies beyond was not tried and is not "
                         "guessed; ask for one target at a time to see what each would take"
                       : ") gives it; what lies beyond was not tried and is not guessed");
        break;
    case FLECK_RELATE_UNSURE_SETTING:
        fleck_text_add(&text, "cannot tell");
        if (recipe->stretch_count > 0) {
            const fleck_factor_words words = fleck_factor_words_of(recipe->solved[0]);

            fleck_text_add_format(&text, ": any %s from ", words.name);
            add_stretches(&text, recipe);
            add_unit(&text, words.unit);
            fleck_text_add(&text, " may give it");
        }
        fleck_text_add(&text, "; more patches, or settings further apart, would tell");
        break;
    }
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}
