/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/edition.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "core/versioned.h"
#include "stats/ranks.h"
#include "stats/tolerance_limits.h"
#include "study/edition_parts.h"
#include "study/edition_words.h"

void fleck_edition_options_init(fleck_edition_options *options, size_t struct_bytes)
{
    const fleck_edition_options defaults = { .reference_run = FLECK_STUDY_NONE, .pattern = true,
                                    .confidence = 0.95 };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

static bool has_reference(const fleck_edition_options *options)
{
    return options->reference_id != NULL || options->reference_run != FLECK_STUDY_NONE;
}

static fleck_status check_options(const fleck_edition_options *options, fleck_error *err)
{
    if (!(options->confidence > 0 && options->confidence < 1))
        return fleck_fail(err, FLECK_BAD_CALL, "a confidence of %g; give one between 0 and 1, such as 0.95",
                          options->confidence);
    if (options->tolerance_count > 0 && !has_reference(options))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a tolerance is a distance from an approved print, and none is named; give its "
                          "id, or the run of the approved prints, with --reference");
    for (size_t i = 0; i < options->tolerance_count; i++) {
        const fleck_edition_tolerance *const one = &options->tolerances[i];

        if (!(one->amount > 0 && one->amount < INFINITY))
            return fleck_fail(err, FLECK_BAD_CALL, "%.60s has a tolerance of %g; give one above 0",
                              one->measure, one->amount);
        for (size_t k = 0; k < i; k++) {
            if (strcmp(options->tolerances[k].measure, one->measure) == 0)
                return fleck_fail(err, FLECK_BAD_CALL, "%.60s has two tolerances; give it one",
                                  one->measure);
        }
    }
    return FLECK_OK;
}

/* Prints that were measured differently say nothing of the edition. */
static fleck_status check_settings(const fleck_edition_layout *layout, fleck_edition *out,
                                   fleck_error *err)
{
    size_t *const rows =
        fleck_alloc_array(layout->row_count + layout->reference_count, sizeof *rows);
    char *lines = NULL;
    fleck_status status;

    if (rows == NULL)
        return fleck_edition_no_memory(err);
    for (size_t i = 0; i < layout->row_count; i++)
        rows[i] = layout->rows[i].row;
    for (size_t i = 0; i < layout->reference_count; i++)
        rows[layout->row_count + i] = layout->reference_rows[i];
    status = fleck_study_differences(layout->study, rows, layout->row_count + layout->reference_count,
                                     &lines, err);
    fleck_free(rows);
    if (status != FLECK_OK || *lines == '\0') {
        fleck_free(lines);
        return status;
    }
    for (char *end = lines; (end = strchr(end, '\n')) != NULL;)
        *end = end[1] == '\0' ? '\0' : '|';
    if (layout->options->mixed)
        status = fleck_warnings_add(&out->warnings, err, "settings-differ",
                                    "the prints were measured with different settings, so a change may "
                                    "come from these: %s",
                                    lines);
    else
        status = fleck_fail(err, FLECK_BAD_CALL,
                            "the prints were measured with different settings (%.300s); measure them alike, "
                            "or go on with --mixed",
                            lines);
    fleck_free(lines);
    return status;
}

static fleck_status add_measure(fleck_edition *out, const char *name, fleck_error *err)
{
    fleck_edition_measure *const next = &out->measures[out->measure_count];

    for (size_t i = 0; i < out->measure_count; i++) {
        if (strcmp(out->measures[i].measure, name) == 0)
            return FLECK_OK;
    }
    *next = (fleck_edition_measure){
        .measure = fleck_copy_text(name), .mean = NAN, .sd = NAN, .cv = NAN, .within_sd = NAN,
        .between_sd = NAN, .repeatability_limit = NAN, .icc = NAN, .trend_tau = NAN, .trend_p = NAN,
        .slope = NAN, .step_p = NAN, .centre = NAN, .lcl = NAN, .ucl = NAN, .range_ucl = NAN,
        .change_p = NAN, .change_before = NAN, .change_after = NAN, .change_slope = NAN, .hold_lo = NAN,
        .hold_hi = NAN, .reference = NAN, .tolerance = NAN, .difference = NAN, .difference_lo = NAN,
        .difference_hi = NAN, .equivalence_p = NAN, .scan_sd = NAN, .print_sd = NAN,
        .scan_share = NAN, .scan_p = NAN };
    if (next->measure == NULL)
        return fleck_edition_no_memory(err);
    out->measure_count++;
    return FLECK_OK;
}

/* Those named, or the usual ones that the run has; and those with a tolerance. */
static fleck_status choose_measures(const fleck_edition_layout *layout, fleck_edition *out,
                                    fleck_error *err)
{
    const fleck_edition_options *const options = layout->options;
    const bool usual = options->measure_count == 0;
    size_t count = options->measure_count, column;
    const char *const *const names = usual ? fleck_study_default_measures(&count) : options->measures;
    fleck_status status = FLECK_OK;

    out->measures = fleck_alloc_zeroed(count + options->tolerance_count, sizeof *out->measures);
    if (out->measures == NULL)
        return fleck_edition_no_memory(err);
    for (size_t i = 0; i < count && status == FLECK_OK; i++) {
        if (usual && fleck_study_find_column(layout->study, names[i]) == FLECK_STUDY_NONE) {
            status = fleck_warnings_add(&out->warnings, err, "measure-missing",
                                        "the run does not have the measure %s; measure again with this "
                                        "version of fleck",
                                        names[i]);
            continue;
        }
        status = fleck_study_need_column(layout->study, names[i], "measure", &column, err);
        if (status == FLECK_OK)
            status = add_measure(out, names[i], err);
    }
    for (size_t i = 0; i < options->tolerance_count && status == FLECK_OK; i++) {
        status = fleck_study_need_column(layout->study, options->tolerances[i].measure, "measure",
                                         &column, err);
        if (status == FLECK_OK)
            status = add_measure(out, options->tolerances[i].measure, err);
    }
    return status;
}

static fleck_status fill_measure(const fleck_edition_layout *layout, fleck_edition_measure *measure,
                                 fleck_error *err)
{
    const size_t column = fleck_study_find_column(layout->study, measure->measure);
    double *const values = fleck_alloc_array(layout->print_count, sizeof *values);
    fleck_status status = values != NULL ? fleck_edition_values(layout, column, values, err)
                                         : fleck_edition_no_memory(err);

    if (status == FLECK_OK)
        status = fleck_edition_measure_fill(layout, column, values, measure, err);
    if (status == FLECK_OK && layout->options->rescan != NULL)
        status = fleck_edition_gauge(layout, column, measure, err);
    if (status == FLECK_OK && layout->reference_count > 0)
        status = fleck_edition_hold(layout, column, values, measure, err);
    fleck_free(values);
    return status;
}

/* One finding among the measures must not come of there being many of them. */
static fleck_status raise_p(fleck_edition *out, fleck_error *err)
{
    double *const p = fleck_alloc_array(out->measure_count + 1, sizeof *p);
    fleck_status status;

    if (p == NULL)
        return fleck_edition_no_memory(err);
    for (size_t i = 0; i < out->measure_count; i++)
        p[i] = out->measures[i].change_p;
    status = fleck_holm(p, out->measure_count, p, err);
    for (size_t i = 0; i < out->measure_count; i++)
        out->measures[i].change_p = p[i];
    fleck_free(p);
    return status;
}

/* Measures for which something holds, as a list of names; NULL when there are none (or no memory). */
static char *names_where(const fleck_edition *edition, bool (*holds)(const fleck_edition *,
                                                                     const fleck_edition_measure *))
{
    fleck_text text = { 0 };

    for (size_t i = 0; i < edition->measure_count; i++) {
        if (holds(edition, &edition->measures[i]))
            fleck_text_add_format(&text, "%s%s", text.length > 0 ? ", " : "",
                                  edition->measures[i].measure);
    }
    return text.bytes;
}

static bool is_partial(const fleck_edition *edition, const fleck_edition_measure *measure)
{
    return measure->n < edition->print_count;
}

static bool is_without_scatter_within(const fleck_edition *edition,
                                      const fleck_edition_measure *measure)
{
    (void)edition;
    return isnan(measure->within_sd) && measure->n >= 3;
}

static bool was_not_rescanned(const fleck_edition *edition, const fleck_edition_measure *measure)
{
    (void)edition;
    return isnan(measure->scan_sd);
}

static bool is_within_scanning(const fleck_edition *edition, const fleck_edition_measure *measure)
{
    (void)edition;
    return measure->scan_p > 0.05;
}

static fleck_status warn(fleck_edition *out, const fleck_edition_options *options, fleck_error *err)
{
    const struct {
        const char *code, *format;
        bool (*holds)(const fleck_edition *, const fleck_edition_measure *);
        bool wanted;
    } kinds[] = {
        { "measure-partial", "some prints have no value of %s; they are left out of it", is_partial, true },
        { "within-unknown",
          "with one patch a print the scatter within a print is not known for %s; measure several patches of "
          "each print",
          is_without_scatter_within, true },
        { "no-rescans", "no print has two scans with a value of %s; scan some prints again",
          was_not_rescanned, options->rescan != NULL },
        { "within-scanning",
          "the prints differ by no more than scanning the same print again does in %s: what is seen there "
          "need not be the printing",
          is_within_scanning, options->rescan != NULL },
    };
    fleck_status status = FLECK_OK;

    for (size_t i = 0; i < sizeof kinds / sizeof *kinds && status == FLECK_OK; i++) {
        char *const names = kinds[i].wanted ? names_where(out, kinds[i].holds) : NULL;
        fleck_text text = { 0 };
        const char *const gap = strstr(kinds[i].format, "%s");

        if (names == NULL)
            continue;
        fleck_text_add_bytes(&text, kinds[i].format, (size_t)(gap - kinds[i].format));
        fleck_text_add(&text, names);
        fleck_text_add(&text, gap + 2);
        status = text.failed ? fleck_edition_no_memory(err)
                             : fleck_warnings_add(&out->warnings, err, kinds[i].code, "%s", text.bytes);
        fleck_text_clear(&text);
        fleck_free(names);
    }
    return status;
}

static fleck_status fill_plans(const fleck_edition_options *options, fleck_edition *out, fleck_error *err)
{
    static const double shares[FLECK_EDITION_PLANS] = { 0.90, 0.95 };

    out->edition_size = options->edition_size;
    out->confidence = options->confidence;
    if (options->edition_size > 0 && options->edition_size < out->print_count)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "an edition of %zu, of which %zu prints were measured; give the whole edition's "
                          "size",
                          options->edition_size, out->print_count);
    for (size_t i = 0; i < FLECK_EDITION_PLANS && options->edition_size > 0; i++)
        out->plans[i] = (fleck_edition_plan){
            shares[i], fleck_all_pass_sample(options->edition_size, shares[i], options->confidence),
            fleck_all_pass_sample(0, shares[i], options->confidence) };
    return FLECK_OK;
}

static fleck_status name_reference(const fleck_edition_layout *layout, fleck_edition *out,
                                   fleck_error *err)
{
    const fleck_edition_options *const options = layout->options;

    if (!has_reference(options))
        return FLECK_OK;
    out->reference = fleck_copy_text(options->reference_run != FLECK_STUDY_NONE
                                         ? fleck_study_run_path(layout->study, options->reference_run)
                                         : options->reference_id);
    if (out->reference == NULL)
        return fleck_edition_no_memory(err);
    if (layout->reference_count > 1)
        return FLECK_OK;
    return fleck_warnings_add(&out->warnings, err, "reference-single",
                              "the reference is one patch and counts as exact; its own scatter is not "
                              "allowed for, which several approved prints would do");
}

static fleck_status judge(const fleck_edition_layout *layout, fleck_edition *out, fleck_error *err)
{
    fleck_status status;

    if ((status = name_reference(layout, out, err)) != FLECK_OK ||
        (status = fill_plans(layout->options, out, err)) != FLECK_OK ||
        (status = check_settings(layout, out, err)) != FLECK_OK ||
        (status = choose_measures(layout, out, err)) != FLECK_OK)
        return status;
    for (size_t i = 0; i < out->measure_count; i++) {
        if ((status = fill_measure(layout, &out->measures[i], err)) != FLECK_OK)
            return status;
    }
    if ((status = raise_p(out, err)) != FLECK_OK)
        return status;
    for (size_t i = 0; i < out->measure_count; i++) {
        if ((status = fleck_edition_decide(out, &out->measures[i], err)) != FLECK_OK)
            return status;
    }
    if ((status = fleck_edition_sum_up(out, err)) != FLECK_OK || (status = warn(out, layout->options, err)) !=
                                                                     FLECK_OK)
        return status;
    return layout->options->pattern ? fleck_edition_find_pattern(layout, out, err) : FLECK_OK;
}

fleck_status fleck_edition_judge(const fleck_study *study, const fleck_edition_options *options,
                                 fleck_edition *out, fleck_error *err)
{
    fleck_edition_options known = fleck_edition_options_default();
    fleck_edition_layout layout = { 0 };
    fleck_status status;

    *out = (fleck_edition){ .pattern = { .correlation = NAN, .lo = NAN, .hi = NAN } };
    if ((status = fleck_versioned_take(options, &known, sizeof known, "edition options", err)) != FLECK_OK)
        return status;
    options = &known;
    status = check_options(options, err);
    if (status == FLECK_OK)
        status = fleck_edition_lay_out(study, options, &layout, out, err);
    if (status == FLECK_OK) {
        out->order = fleck_copy_text(options->order);
        status = out->order != NULL ? judge(&layout, out, err) : fleck_edition_no_memory(err);
    }
    fleck_edition_layout_clear(&layout);
    return status;
}

void fleck_edition_clear(fleck_edition *edition)
{
    if (edition == NULL)
        return;
    for (size_t i = 0; i < edition->print_count; i++) {
        fleck_free(edition->prints[i].name);
        fleck_free(edition->prints[i].id);
    }
    for (size_t i = 0; i < edition->measure_count; i++) {
        fleck_edition_measure *const measure = &edition->measures[i];

        fleck_free(measure->measure);
        fleck_free(measure->out_of_limits.items);
        fleck_free(measure->outliers.items);
        fleck_free(measure->outside.items);
        fleck_free(measure->signals);
        fleck_free(measure->sentence);
    }
    fleck_free(edition->order);
    fleck_free(edition->prints);
    fleck_free(edition->missing);
    fleck_free(edition->reference);
    fleck_free(edition->measures);
    fleck_free(edition->pattern.pairs);
    fleck_free(edition->pattern.sentence);
    fleck_free(edition->sentence);
    fleck_warnings_clear(&edition->warnings);
    *edition = (fleck_edition){ 0 };
}

char *fleck_edition_plan_sentence(const fleck_edition *edition, size_t i)
{
    fleck_text text = { 0 };

    fleck_text_add_format(&text,
                          "To show with %g %% confidence that at least %g %% of an edition of %zu are good, "
                          "look at %zu prints drawn at random, all of which must be good.",
                          100 * edition->confidence, 100 * edition->plans[i].share,
                          edition->edition_size, edition->plans[i].sample);
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}
