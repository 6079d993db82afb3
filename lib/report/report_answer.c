/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The question and its answer, what to doubt, and the contact sheet: the top of the page. */
#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report/plot_number.h"
#include "report/report_html.h"
#include "report/report_parts.h"
#include "report/report_picture.h"
#include "study/relate_words.h"

enum { NAMED_PATCHES = 12, SHEET_PX = 1600, SHEET_QUALITY = 72 };

static void add_item(fleck_text *text, const char *sentence)
{
    const size_t length = strlen(sentence);

    fleck_text_add(text, "<li>");
    html_add_sentence(text, sentence, true);
    fleck_text_add(text, length > 0 && strchr(".!?", sentence[length - 1]) != NULL ? "</li>\n" : ".</li>\n");
}

/* The same, said of a measure. */
static void add_measure_item(fleck_text *text, const char *measure, const char *sentence)
{
    const size_t length = strlen(sentence);

    fleck_text_add(text, "<li><strong>");
    html_add_capital(text, report_label(measure));
    fleck_text_add(text, "</strong>: ");
    html_add_sentence(text, sentence, false);
    fleck_text_add(text, length > 0 && strchr(".!?", sentence[length - 1]) != NULL ? "</li>\n" : ".</li>\n");
}

/* ---- groups ---- */

/* The worst that is said of a measure over all pairs of groups. */
static fleck_verdict verdict_of(const fleck_compare *compare, size_t measure)
{
    bool all_same = true;

    for (size_t i = 0; i < compare->comparison_count; i++) {
        if (compare->comparisons[i].measure != measure)
            continue;
        if (compare->comparisons[i].verdict == FLECK_VERDICT_NOT_THE_SAME)
            return FLECK_VERDICT_NOT_THE_SAME;
        all_same = all_same && compare->comparisons[i].verdict == FLECK_VERDICT_SAME;
    }
    return all_same ? FLECK_VERDICT_SAME : FLECK_VERDICT_CANNOT_TELL;
}

static bool was_compared(const fleck_compare *compare, size_t measure)
{
    return compare->measures[measure].n > 0;
}

/* The pair of groups that lies farthest apart in their order: the first and the last. */
static bool is_outer_pair(const fleck_compare *compare, const fleck_comparison *one)
{
    return one->group_a == 0 && one->group_b == compare->group_count - 1;
}

static void answer_groups(fleck_text *text, const report_data *report)
{
    const fleck_compare *const compare = &report->compare;
    size_t differ = 0, same = 0, all = 0;
    bool tested = false, averaged = false;

    for (size_t i = 0; i < compare->measure_count; i++) {
        if (!was_compared(compare, i))
            continue;
        all++;
        differ += verdict_of(compare, i) == FLECK_VERDICT_NOT_THE_SAME;
        same += verdict_of(compare, i) == FLECK_VERDICT_SAME;
    }
    for (size_t i = 0; i < compare->comparison_count; i++)
        tested = tested || !isnan(compare->comparisons[i].p_permutation) ||
                 !isnan(compare->comparisons[i].p_equivalence);
    fleck_text_add(text, "<h2 id=\"answer-title\">Does the texture differ by ");
    report_add_factor(text, report->options->by);
    fleck_text_add(text, "?</h2>\n<p class=\"verdict\">");
    if (!tested)
        fleck_text_add(text, "These patches cannot tell: there are too few for a test. The differences below "
                             "hold for them alone.");
    else if (differ > 0)
        fleck_text_add_format(text, "Yes: %zu of %zu measures differ.", differ, all);
    else if (same == all)
        fleck_text_add(text, "No: all measures are the same within the tolerance that was given.");
    else
        fleck_text_add_format(text,
                              "These patches cannot tell: no measure differs for certain%s. That does not "
                              "mean that they are the same.",
                              same > 0 ? ", and not all are the same within the tolerance" : "");
    fleck_text_add(text, "</p>\n");
    if (report->related && report->relate.measure_count > 0) {
        fleck_text_add(text, "<ul class=\"findings\">\n");
        for (size_t i = 0; i < report->relate.measure_count; i++) {
            const fleck_relate_measure *const measure = &report->relate.measures[i];

            if (measure->fitted && measure->effect_count > 0)
                add_item(text, measure->effects[0].sentence);
        }
    } else {
        fleck_text_add(text, "<ul class=\"findings\">\n");
        for (size_t i = 0; i < compare->comparison_count; i++) {
            if (is_outer_pair(compare, &compare->comparisons[i]) &&
                was_compared(compare, compare->comparisons[i].measure))
                add_item(text, compare->comparisons[i].sentence);
        }
    }
    fleck_text_add(text, "</ul>\n<p class=\"small\">");
    report_add_count(text, report->count, "patch", "patches");
    fleck_text_add(text, " in ");
    report_add_count(text, compare->group_count, "group", "groups");
    for (size_t i = 0; i < compare->group_count; i++)
        averaged = averaged || compare->groups[i].units != compare->groups[i].patches;
    if (compare->unit != NULL && averaged) {
        fleck_text_add(text, "; patches of the same ");
        html_add_name(text, compare->unit);
        fleck_text_add(text, " count as one");
    }
    fleck_text_add(text, ". The interval says how far the true difference may lie; p is the chance of so large "
                         "a difference where there is none. <a href=\"#comparisons\">All pairs of groups</a>.</p>\n");
}

/* ---- an edition ---- */

static void answer_edition(fleck_text *text, const report_data *report, const char *tag)
{
    const fleck_edition *const edition = &report->edition;
    size_t with_sentence = 0;

    fleck_text_add_format(text, "<%s%s>Is the edition reproducible?</%s>\n<p class=\"verdict\">", tag,
                          strcmp(tag, "h2") == 0 && !report->compared ? " id=\"answer-title\"" : "", tag);
    html_add_capital(text, fleck_edition_verdict_name(edition->verdict));
    fleck_text_add(text, ".</p>\n");
    /* of one that is not, it would say what the list says */
    if (edition->sentence != NULL && edition->verdict != FLECK_EDITION_NOT_REPRODUCIBLE) {
        fleck_text_add(text, "<p>");
        html_add_sentence(text, edition->sentence, true);
        fleck_text_add(text, "</p>\n");
    }
    fleck_text_add(text, "<ul class=\"findings\">\n");
    for (size_t i = 0; i < edition->measure_count; i++) {
        /* a warning tells of a measure that no print has */
        if (edition->measures[i].sentence != NULL && edition->measures[i].n > 0) {
            add_measure_item(text, edition->measures[i].measure, edition->measures[i].sentence);
            with_sentence++;
        }
    }
    if (edition->pattern.sentence != NULL)
        add_item(text, edition->pattern.sentence);
    if (with_sentence == 0 && edition->pattern.sentence == NULL)
        fleck_text_add(text, "<li>No measure could be judged.</li>\n");
    fleck_text_add(text, "</ul>\n");
}

/* ---- what was measured ---- */

/* Half of the 95 % interval of a mean. */
static double reach_of(double sd, size_t n)
{
    return n > 1 ? gsl_cdf_tdist_Pinv(0.975, (double)(n - 1)) * sd / sqrt((double)n) : NAN;
}

/* The interval that one patch alone gives; NAN when it gives none. */
static void interval_of_one(const fleck_record *record, const char *measure, double *lo, double *hi)
{
    *lo = *hi = NAN;
    if (strcmp(measure, "ink.coverage") == 0) {
        *lo = record->ink.coverage - 1.96 * record->ink.coverage_se;
        *hi = record->ink.coverage + 1.96 * record->ink.coverage_se;
    } else if (strcmp(measure, "dots.d50_mm") == 0) {
        *lo = record->dots_sizes.intervals.d50_mm.lo;
        *hi = record->dots_sizes.intervals.d50_mm.hi;
    } else if (strcmp(measure, "dots.per_cm2") == 0) {
        *lo = record->dots_sizes.intervals.per_cm2.lo;
        *hi = record->dots_sizes.intervals.per_cm2.hi;
    }
}

static void add_unit(fleck_text *text, const char *unit)
{
    if (unit[0] == '\0')
        return;
    fleck_text_add(text, " ");
    html_add(text, unit);
}

/* A sentence for each measure: "Median dot diameter 0.31 mm (95 % interval 0.29 to 0.33)". */
static void answer_typical(fleck_text *text, const report_data *report)
{
    size_t shown = 0;

    fleck_text_add(text, "<h2 id=\"answer-title\">What was measured?</h2>\n<p class=\"verdict\">");
    report_add_count(text, report->count, "patch", "patches");
    fleck_text_add(text, report->count == 1 ? " was measured.</p>\n" : " were measured. A typical one:</p>\n");
    fleck_text_add(text, "<ul class=\"findings\">\n");
    for (size_t i = 0; i < report->measure_count; i++) {
        double mean, sd, least, greatest, lo, hi, reach;
        const size_t n = report_spread(report, report->measure_columns[i], &mean, &sd, &least, &greatest);
        const char *const unit = report_unit(report->measures[i]);

        if (n == 0)
            continue;
        shown++;
        reach = reach_of(sd, n);
        lo = mean - reach;
        hi = mean + reach;
        if (report->count == 1)
            interval_of_one(&report->records[0], report->measures[i], &lo, &hi);
        fleck_text_add(text, "<li>");
        html_add_capital(text, report_label(report->measures[i]));
        fleck_text_add(text, " <strong>");
        report_add_rounded(text, mean, (hi - lo) / 2);
        add_unit(text, unit);
        fleck_text_add(text, "</strong>");
        if (isfinite(hi - lo) && hi > lo) {
            fleck_text_add(text, " (95 % interval ");
            report_add_rounded(text, lo, (hi - lo) / 2);
            fleck_text_add(text, " to ");
            report_add_rounded(text, hi, (hi - lo) / 2);
            fleck_text_add(text, report->count == 1 ? ", from within the patch" : " for the mean");
            if (n > 1) {
                fleck_text_add(text, "; patches lie from ");
                report_add_rounded(text, least, sd / 2);
                fleck_text_add(text, " to ");
                report_add_rounded(text, greatest, sd / 2);
            }
            if (n < report->count)
                fleck_text_add_format(text, "; %zu of %zu patches have it", n, report->count);
            fleck_text_add(text, ")");
        }
        fleck_text_add(text, "</li>\n");
    }
    if (shown == 0)
        fleck_text_add(text, "<li>No patch has any of these measures.</li>\n");
    fleck_text_add(text, "</ul>\n");
}

void report_add_answer(fleck_text *text, const report_data *report)
{
    fleck_text_add(text, "<section id=\"answer\" aria-labelledby=\"answer-title\">\n");
    if (report->compared)
        answer_groups(text, report);
    if (report->edited)
        answer_edition(text, report, "h2");
    if (!report->compared && !report->edited)
        answer_typical(text, report);
    fleck_text_add(text, "</section>\n");
}

/* ---- doubts ---- */

/* The row and place of the first warning of each code, in order of appearance. */
static bool is_first(const report_data *report, size_t row, size_t at)
{
    const char *const code = report->records[row].warnings.items[at].code;

    for (size_t before = 0; before < row; before++) {
        if (fleck_warnings_has(&report->records[before].warnings, code))
            return false;
    }
    for (size_t i = 0; i < at; i++) {
        if (strcmp(report->records[row].warnings.items[i].code, code) == 0)
            return false;
    }
    return true;
}

static void add_patches_of(fleck_text *text, const report_data *report, const char *code)
{
    size_t count = 0, named = 0;

    for (size_t row = 0; row < report->count; row++)
        count += fleck_warnings_has(&report->records[row].warnings, code) != 0;
    if (count == report->count && count > 1) {
        fleck_text_add(text, "all patches");
        return;
    }
    for (size_t row = 0; row < report->count && named < NAMED_PATCHES; row++) {
        if (!fleck_warnings_has(&report->records[row].warnings, code))
            continue;
        fleck_text_add_format(text, "%s<a href=\"#patch-%zu\">", named++ > 0 ? ", " : "", row + 1);
        html_add_name(text, fleck_study_id(report->study, row));
        fleck_text_add(text, "</a>");
    }
    if (count > named)
        fleck_text_add_format(text, " and %zu more", count - named);
}

static void add_warnings(fleck_text *text, const fleck_warnings *warnings, const char *of)
{
    for (size_t i = 0; i < warnings->count; i++) {
        fleck_text_add(text, "<li>");
        html_add_capital(text, warnings->items[i].message);
        fleck_text_add_format(text, ". <span class=\"small\">%s: <code>", of);
        html_add(text, warnings->items[i].code);
        fleck_text_add(text, "</code></span></li>\n");
    }
}

void report_add_doubts(fleck_text *text, const report_data *report)
{
    size_t count = (report->compared ? report->compare.warnings.count : 0) +
                   (report->edited ? report->edition.warnings.count : 0);

    for (size_t row = 0; row < report->count; row++)
        count += report->records[row].warnings.count;
    if (count == 0 && !(report->failed > 0))
        return;
    fleck_text_add(text, "<section id=\"doubts\" aria-labelledby=\"doubts-title\">\n"
                         "<h2 id=\"doubts-title\">What to keep in mind</h2>\n<ul class=\"doubts\">\n");
    if (report->failed > 0) {
        fleck_text_add(text, "<li>");
        report_add_number(text, report->failed);
        fleck_text_add(text, report->failed > 1 ? " inputs" : " input");
        fleck_text_add(text, " could not be measured; the run\xe2\x80\x99s failures.csv says why.</li>\n");
    }
    if (report->compared)
        add_warnings(text, &report->compare.warnings, "The comparison");
    if (report->edited)
        add_warnings(text, &report->edition.warnings, "The edition");
    for (size_t row = 0; row < report->count; row++) {
        for (size_t i = 0; i < report->records[row].warnings.count; i++) {
            const fleck_warning *const warning = &report->records[row].warnings.items[i];

            if (!is_first(report, row, i))
                continue;
            fleck_text_add(text, "<li>");
            html_add_capital(text, warning->message);
            fleck_text_add(text, ". <span class=\"small\"><code>");
            html_add(text, warning->code);
            fleck_text_add(text, "</code>: ");
            add_patches_of(text, report, warning->code);
            fleck_text_add(text, "</span></li>\n");
        }
    }
    fleck_text_add(text, "</ul>\n</section>\n");
}

/* ---- contact sheet ---- */

void report_add_sheet(fleck_text *text, const report_data *report)
{
    cairo_surface_t *const sheet = report->sheet;
    fleck_text alt = { 0 };

    if (sheet != NULL) {
        const picture_box all = { .width = (size_t)cairo_image_surface_get_width(sheet),
                                  .height = (size_t)cairo_image_surface_get_height(sheet) };

        fleck_text_add_format(&alt, "Contact sheet: %zu patches side by side at one scale", report->count);
        fleck_text_add(text, "<section id=\"sheet\" aria-labelledby=\"sheet-title\">\n"
                             "<h2 id=\"sheet-title\">All patches side by side</h2>\n"
                             "<figure class=\"sheet\" data-zoom><div class=\"frame\">");
        if (alt.failed || !picture_add(text, sheet, all, SHEET_PX, SHEET_QUALITY, false, alt.bytes, ""))
            text->failed = true;
        fleck_text_add(text, "</div><figcaption>Named below each; the bar gives the scale of all.</figcaption></figure>\n"
                             "</section>\n");
    }
    fleck_text_clear(&alt);
}
