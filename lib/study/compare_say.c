/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a comparison found, in a sentence. */
#include <math.h>
#include <stdlib.h>

#include "core/memory.h"
#include "core/text.h"
#include "study/compare_parts.h"
#include "study/relate_words.h"

/* "5 against 2.5 % paste"; a text has its column before it: "paper rough against smooth". */
static void add_groups(fleck_text *text, const fleck_compare *result, const fleck_comparison *one)
{
    const char *const a = result->groups[one->group_a].name;
    const char *const b = result->groups[one->group_b].name;
    fleck_factor_words words;

    if (result->by == NULL) {
        fleck_text_add_format(text, "%s against %s", b, a);
        return;
    }
    words = fleck_factor_words_of(result->by);
    if (words.unit[0] != '\0')
        fleck_text_add_format(text, "%s against %s %s %s", b, a, words.unit, words.name);
    else
        fleck_text_add_format(text, "%s %s against %s", words.name, b, a);
}

static void add_unit(fleck_text *text, const char *unit)
{
    if (unit[0] != '\0')
        fleck_text_add_format(text, " %s", unit);
}

/* What the difference is to be rounded by. */
static double uncertainty(const fleck_comparison *one)
{
    return isnan(one->ci_lo) ? NAN : (one->ci_hi - one->ci_lo) / 2;
}

/* "dots 0.12 mm larger (95 % interval 0.08 to 0.16)" */
static void add_difference(fleck_text *text, const fleck_measure_words *words,
                           const fleck_comparison *one)
{
    const bool less = one->difference < 0;
    const double reach = uncertainty(one);
    /* without an interval three digits, of which none is promised */
    const double rounding = isnan(reach) ? fabs(one->difference) / 50 : reach;

    if (one->difference == 0) {
        fleck_text_add_format(text, "%s without any difference in their means", words->subject);
    } else {
        fleck_text_add_format(text, "%s ", words->subject);
        fleck_words_add_rounded(text, fabs(one->difference), rounding);
        add_unit(text, words->unit);
        fleck_text_add_format(text, " %s", less ? words->less : words->more);
    }
    if (isnan(reach))
        return;
    fleck_text_add(text, " (95 % interval");
    if (one->interval[0] == 'w' && one->interval[1] == 'i')
        fleck_text_add(text, " from within the patches");
    fleck_text_add(text, " ");
    fleck_words_add_rounded(text, less ? -one->ci_hi : one->ci_lo, rounding);
    fleck_text_add(text, " to ");
    fleck_words_add_rounded(text, less ? -one->ci_lo : one->ci_hi, rounding);
    fleck_text_add(text, ")");
}

/* Whether several patches are one replicate in one of the groups. */
static bool is_averaged(const fleck_compare *result, const fleck_comparison *one)
{
    const fleck_compare_group *const a = &result->groups[one->group_a];
    const fleck_compare_group *const b = &result->groups[one->group_b];

    return a->units != a->patches || b->units != b->patches;
}

const char *compare_replicates(const fleck_compare *result, const fleck_comparison *one)
{
    if (result->paired != NULL)
        return "pairs";
    return is_averaged(result, one) ? "replicates" : "patches";
}

/* ", 6 + 6 patches" */
static void add_numbers(fleck_text *text, const fleck_compare *result, const fleck_comparison *one)
{
    if (result->paired != NULL)
        fleck_text_add_format(text, ", %zu pair%s", one->n_a, one->n_a == 1 ? "" : "s");
    else if (!is_averaged(result, one))
        fleck_text_add_format(text, ", %zu + %zu patches", one->n_a, one->n_b);
    else
        fleck_text_add_format(text, ", %zu + %zu units (%s)", one->n_a, one->n_b,
                              result->unit != NULL ? result->unit : result->print);
}

/* Measures that were tested together, on which p_holm rests. */
static size_t tested(const fleck_compare *result, const fleck_comparison *one)
{
    const size_t pair = (size_t)(one - result->comparisons) / result->measure_count;
    size_t count = 0;

    for (size_t i = 0; i < result->measure_count; i++)
        count += isnan(result->comparisons[pair * result->measure_count + i].p_permutation) ? 0 : 1;
    return count;
}

static void add_size(fleck_text *text, double value, const char *unit)
{
    /* two digits of a size that is itself an estimate */
    fleck_words_add_rounded(text, value, value / 10);
    add_unit(text, unit);
}

/* Why there is no telling, and what this many patches could have shown. */
static void add_doubt(fleck_text *text, const fleck_measure_words *words,
                      const fleck_compare *result, const fleck_comparison *one)
{
    const double count = (double)tested(result, one);

    if (one->n_a < 2 || one->n_b < 2) {
        fleck_text_add(text, "; one replicate cannot show what is chance");
        return;
    }
    if (one->p_least * count > 0.05) {
        fleck_text_add_format(text, "; with so few %s p%s cannot be below ",
                              compare_replicates(result, one),
                              one->p_least > 0.05 ? "" : " over the measures");
        fleck_words_add_rounded(text, one->p_least > 0.05 ? one->p_least : one->p_least * count,
                                0.05);
    }
    if (one->detectable > 0) {
        fleck_text_add(text, "; so many would show a difference of ");
        add_size(text, one->detectable, words->unit);
        fleck_text_add(text, " 8 times in 10");
    }
}

static void add_verdict(fleck_text *text, const fleck_measure_words *words,
                        const fleck_compare *result, const fleck_comparison *one)
{
    fleck_text_add_format(text, ": %s", fleck_verdict_name(one->verdict));
    switch (one->verdict) {
    case FLECK_VERDICT_SAME:
        fleck_text_add(text, " within ");
        add_size(text, one->tolerance, words->unit);
        if (one->p_holm <= 0.05)
            fleck_text_add(text, ", though not equal");
        break;
    case FLECK_VERDICT_NOT_THE_SAME:
        if (one->ci_lo >= -one->tolerance && one->ci_hi <= one->tolerance)
            break;
        if (one->tolerance > 0 && fabs(one->difference) - one->tolerance <= 0) {
            fleck_text_add(text, ", perhaps within ");
            add_size(text, one->tolerance, words->unit);
        }
        break;
    case FLECK_VERDICT_CANNOT_TELL:
        add_doubt(text, words, result, one);
        break;
    }
    if (fabs(one->difference) < one->rescan_limit)
        fleck_text_add(text, "; scanning alone does as much");
}

fleck_status compare_say(fleck_compare *result, fleck_error *err)
{
    for (size_t i = 0; i < result->comparison_count; i++) {
        fleck_comparison *const one = &result->comparisons[i];
        const fleck_measure_words words =
            fleck_measure_words_of(result->measures[one->measure].measure);
        fleck_text text = { 0 };

        add_groups(&text, result, one);
        fleck_text_add(&text, ": ");
        if (isnan(one->difference)) {
            if (result->paired != NULL)
                fleck_text_add_format(&text, "%s: no pair has both: cannot tell", words.subject);
            else
                fleck_text_add_format(
                    &text, "%s: no value in %s: cannot tell", words.subject,
                    result->groups[one->n_a == 0 ? one->group_a : one->group_b].name);
        } else {
            add_difference(&text, &words, one);
            add_numbers(&text, result, one);
            if (!isnan(one->p_permutation)) {
                fleck_text_add(&text, ", ");
                fleck_words_add_p(&text, one->p_permutation);
                if (tested(result, one) > 1) {
                    fleck_text_add(&text, " (over all measures ");
                    fleck_words_add_p(&text, one->p_holm);
                    fleck_text_add(&text, ")");
                }
            }
            add_verdict(&text, &words, result, one);
        }
        fleck_text_add(&text, ".");
        if (text.failed) {
            fleck_text_clear(&text);
            return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a sentence; free some memory");
        }
        one->sentence = text.bytes; /* the result owns it from here */
    }
    return FLECK_OK;
}
