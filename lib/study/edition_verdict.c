/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What the numbers mean for the printer. A verdict has three values: "no change was found" is never
 * "reproducible", which takes a tolerance that was set before the prints were looked at.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "study/edition_parts.h"
#include "study/edition_words.h"
#include "study/relate_words.h"

static const double alpha = 0.05;

/* Common practice, no source: more than 1 in 10 prints outside the tolerance is no edition. */
static const double most_outside = 0.10;

/* Quantiles of the normal distribution: 95 % on one side, and 80 % for the power of a test. */
static const double one_sided = 1.645, two_sided = 1.96, power = 0.842;

const char *fleck_edition_verdict_name(fleck_edition_verdict verdict)
{
    static const char *const names[] = { "undecided", "reproducible", "not reproducible" };

    return names[verdict];
}

static bool has_changed(const fleck_edition_measure *measure)
{
    return measure->change_p <= alpha;
}

/* How far one print's value may be off by the scatter within it; 0 when that is not known. */
static double noise_of(const fleck_edition *edition, const fleck_edition_measure *measure)
{
    size_t patches = 0;

    for (size_t i = 0; i < edition->print_count; i++)
        patches += edition->prints[i].patches;
    if (isnan(measure->within_sd))
        return 0;
    return one_sided * measure->within_sd *
           sqrt((double)edition->print_count / (double)(patches > 0 ? patches : 1));
}

static bool has(const fleck_edition_list *list, size_t print)
{
    for (size_t i = 0; i < list->count; i++) {
        if (list->items[i] == print)
            return true;
    }
    return false;
}

/* A change that has led out of the tolerance, by the fit at the end of the edition. */
static bool leads_out(const fleck_edition_measure *measure)
{
    return has_changed(measure) && strcmp(measure->change, "outlier") != 0 &&
           fabs(measure->change_after - measure->reference) > measure->tolerance;
}

/* Prints outside that chance within the edition does not put there. */
static bool some_are_clearly_outside(const fleck_edition_measure *measure)
{
    for (size_t i = 0; i < measure->outside.count; i++) {
        if (has(&measure->outliers, measure->outside.items[i]) ||
            has(&measure->out_of_limits, measure->outside.items[i]))
            return true;
    }
    return false;
}

static void add_tolerance(fleck_text *text, const fleck_edition_measure *measure)
{
    const double last_digit = pow(10, floor(log10(measure->tolerance)) - 2);

    fleck_text_add(text, "the tolerance of ");
    fleck_edition_add_value(text, measure->measure, round(measure->tolerance / last_digit) * last_digit,
                            NAN);
}

static void add_mean_apart(fleck_text *text, const fleck_edition_measure *measure)
{
    const double reach = (measure->difference_hi - measure->difference_lo) / 2;

    fleck_text_add(text, "the prints are on average ");
    fleck_edition_add_value(text, measure->measure, fabs(measure->difference), reach);
    fleck_text_add_format(text, " %s the reference (90 %% interval of the difference ",
                          measure->difference < 0 ? "below" : "above");
    fleck_words_add_rounded(text, measure->difference_lo, reach);
    fleck_text_add(text, " to ");
    fleck_words_add_rounded(text, measure->difference_hi, reach);
    fleck_text_add(text, ")");
}

static void add_outside(fleck_text *text, const fleck_edition *edition,
                        const fleck_edition_measure *measure)
{
    fleck_edition_add_list(text, edition, &measure->outside);
    fleck_text_add_format(text, measure->outside.count == 1 ? " lies outside " : " lie outside ");
    add_tolerance(text, measure);
}

/* How many prints would settle a mean this far from the reference. */
static void add_prints_needed(fleck_text *text, const fleck_edition_measure *measure)
{
    const double room = measure->tolerance - fabs(measure->difference);
    const double needed = ceil(pow((one_sided + power) * measure->sd / room, 2));

    if (room <= 0)
        fleck_text_add(text, "; the mean lies at the tolerance's edge, where more prints will not "
                             "settle it");
    else if (needed > (double)measure->n && needed < 1e5)
        fleck_text_add_format(text, "; some %.0f prints would settle a mean like this one", needed);
    else
        fleck_text_add(text, "; measure more prints");
}

static void decide_by_tolerance(const fleck_edition *edition, fleck_edition_measure *measure,
                                fleck_text *text)
{
    const double outside = (double)measure->outside.count;
    const double noise = noise_of(edition, measure);
    const bool alike = measure->equivalence_p <= alpha;
    const bool apart = measure->difference_lo > measure->tolerance ||
                       measure->difference_hi < -measure->tolerance;
    const bool many_outside = outside > most_outside * (double)measure->n;
    const bool noisy = noise > measure->tolerance;

    measure->verdict = FLECK_EDITION_UNDECIDED;
    if (apart || leads_out(measure) || some_are_clearly_outside(measure) || (many_outside && !noisy))
        measure->verdict = FLECK_EDITION_NOT_REPRODUCIBLE;
    else if (alike && !many_outside)
        measure->verdict = FLECK_EDITION_REPRODUCIBLE;
    if (measure->verdict == FLECK_EDITION_NOT_REPRODUCIBLE) {
        if (has_changed(measure)) {
            fleck_edition_add_change(text, edition, measure);
            fleck_text_add(text, "; ");
        }
        if (measure->outside.count > 0) {
            add_outside(text, edition, measure);
            fleck_text_add(text, "; ");
        }
        add_mean_apart(text, measure);
    } else if (measure->verdict == FLECK_EDITION_REPRODUCIBLE) {
        add_mean_apart(text, measure);
        fleck_text_add(text, ", within ");
        add_tolerance(text, measure);
        if (measure->outside.count > 0) {
            fleck_text_add(text, "; ");
            fleck_edition_add_list(text, edition, &measure->outside);
            fleck_text_add_format(text, " %s outside it by the scatter all prints have",
                                  measure->outside.count == 1 ? "lies" : "lie");
        }
        if (has_changed(measure)) {
            fleck_text_add(text, "; yet ");
            fleck_edition_add_change(text, edition, measure);
        }
    } else if (alike) {
        add_outside(text, edition, measure);
        fleck_text_add(text, ", but one print's own scatter reaches as far: measure larger patches, or "
                             "several a print");
    } else {
        add_mean_apart(text, measure);
        fleck_text_add(text, ", which is not shown to be within ");
        add_tolerance(text, measure);
        add_prints_needed(text, measure);
    }
}

/* What n prints would have shown: a shift of the second half that is found 8 times in 10. */
static void add_detectable(fleck_text *text, const fleck_edition_measure *measure)
{
    const double half = floor((double)measure->n / 2);
    const double shift = (two_sided + power) * measure->sd *
                         sqrt(1 / half + 1 / ((double)measure->n - half));

    if (!(measure->sd > 0))
        return;
    fleck_text_add_format(text, ", though %zu prints show no shift below about ", measure->n);
    fleck_edition_add_value(text, measure->measure, shift, shift / 5);
}

static void decide_alone(const fleck_edition *edition, fleck_edition_measure *measure, fleck_text *text)
{
    if (has_changed(measure)) {
        measure->verdict = FLECK_EDITION_NOT_REPRODUCIBLE;
        fleck_edition_add_change(text, edition, measure);
        return;
    }
    measure->verdict = FLECK_EDITION_UNDECIDED;
    fleck_text_add(text, "no tolerance was set beforehand; no drift, shift or outlier was found");
    add_detectable(text, measure);
    if (measure->out_of_limits.count > 0) {
        fleck_text_add(text, "; look at ");
        fleck_edition_add_list(text, edition, &measure->out_of_limits);
        fleck_text_add(text, ", beyond the chart's limits");
    }
}

static void add_scanning(fleck_text *text, const fleck_edition_measure *measure)
{
    if (isnan(measure->scan_share))
        return;
    fleck_text_add_format(text, "; scanning alone makes %.0f %% of the variance of one scan",
                          100 * measure->scan_share);
    if (measure->scan_p > alpha)
        fleck_text_add(text, ", and the prints differ by no more than scanning does");
}

fleck_status fleck_edition_decide(const fleck_edition *edition, fleck_edition_measure *measure,
                                  fleck_error *err)
{
    fleck_text text = { 0 };

    if (measure->n < 3) {
        measure->verdict = FLECK_EDITION_UNDECIDED;
        fleck_text_add_format(&text, "%zu of %zu prints have a value of it; 3 are needed", measure->n,
                              edition->print_count);
    } else if (!isnan(measure->tolerance)) {
        decide_by_tolerance(edition, measure, &text);
    } else {
        decide_alone(edition, measure, &text);
    }
    add_scanning(&text, measure);
    if (text.failed)
        return fleck_edition_no_memory(err);
    measure->sentence = text.bytes; /* the measure's from here on */
    return FLECK_OK;
}

/* Measures of a verdict: all, or where some have a tolerance those that have one. */
static bool counts(const fleck_edition *edition, const fleck_edition_measure *measure)
{
    for (size_t i = 0; i < edition->measure_count; i++) {
        if (!isnan(edition->measures[i].tolerance))
            return !isnan(measure->tolerance);
    }
    return true;
}

/* The sentences of the measures that have the edition's verdict; without a tolerance their names. */
static void add_reasons(fleck_text *text, const fleck_edition *edition)
{
    bool any = false;

    for (size_t i = 0; i < edition->measure_count; i++) {
        const fleck_edition_measure *const measure = &edition->measures[i];

        if (!counts(edition, measure) || measure->verdict != edition->verdict)
            continue;
        fleck_text_add_format(text, "%s%s: %s", any ? "; in " : " ",
                              fleck_edition_label(measure->measure), measure->sentence);
        any = true;
    }
}

static bool any_tolerance(const fleck_edition *edition)
{
    for (size_t i = 0; i < edition->measure_count; i++) {
        if (!isnan(edition->measures[i].tolerance))
            return true;
    }
    return false;
}

fleck_status fleck_edition_sum_up(fleck_edition *edition, fleck_error *err)
{
    bool all = true;
    fleck_text text = { 0 };

    edition->verdict = FLECK_EDITION_UNDECIDED;
    for (size_t i = 0; i < edition->measure_count; i++) {
        const fleck_edition_measure *const measure = &edition->measures[i];

        if (!counts(edition, measure))
            continue;
        if (measure->verdict == FLECK_EDITION_NOT_REPRODUCIBLE)
            edition->verdict = FLECK_EDITION_NOT_REPRODUCIBLE;
        all = all && measure->verdict == FLECK_EDITION_REPRODUCIBLE;
    }
    if (all && edition->verdict == FLECK_EDITION_UNDECIDED)
        edition->verdict = FLECK_EDITION_REPRODUCIBLE;
    if (edition->verdict == FLECK_EDITION_NOT_REPRODUCIBLE) {
        fleck_text_add(&text, "The edition is not reproducible in");
        add_reasons(&text, edition);
    } else if (edition->verdict == FLECK_EDITION_REPRODUCIBLE) {
        fleck_text_add(&text, "The edition is reproducible within the tolerances set in");
        add_reasons(&text, edition);
    } else if (any_tolerance(edition)) {
        fleck_text_add(&text, "Cannot tell whether the edition is reproducible in");
        add_reasons(&text, edition);
    } else {
        fleck_text_add(&text, "Cannot tell whether the edition is reproducible: no tolerance was set "
                              "beforehand, and no drift, shift or outlier was found. Give --reference "
                              "and --tolerance to hold it against an approved proof");
    }
    fleck_text_add(&text, ".");
    if (text.failed)
        return fleck_edition_no_memory(err);
    edition->sentence = text.bytes;
    return FLECK_OK;
}
