/* SPDX-License-Identifier: GPL-3.0-or-later */
/* An edition's judgement as JSON and as a table. */
#include <math.h>
#include <stddef.h>
#include <stdlib.h>

#include <cjson/cJSON.h>

#include "core/text.h"
#include "fleck/edition.h"
#include "io/csv.h"
#include "io/json_text.h"

/* The numbers of a measure, once for JSON and CSV. */
static const struct {
    const char *key;
    size_t offset;
} numbers[] = {
    { "mean", offsetof(fleck_edition_measure, mean) },
    { "sd", offsetof(fleck_edition_measure, sd) },
    { "cv", offsetof(fleck_edition_measure, cv) },
    { "within_sd", offsetof(fleck_edition_measure, within_sd) },
    { "between_sd", offsetof(fleck_edition_measure, between_sd) },
    { "repeatability_limit", offsetof(fleck_edition_measure, repeatability_limit) },
    { "icc", offsetof(fleck_edition_measure, icc) },
    { "trend_tau", offsetof(fleck_edition_measure, trend_tau) },
    { "trend_p", offsetof(fleck_edition_measure, trend_p) },
    { "slope", offsetof(fleck_edition_measure, slope) },
    { "step_p", offsetof(fleck_edition_measure, step_p) },
    { "centre", offsetof(fleck_edition_measure, centre) },
    { "lcl", offsetof(fleck_edition_measure, lcl) },
    { "ucl", offsetof(fleck_edition_measure, ucl) },
    { "range_ucl", offsetof(fleck_edition_measure, range_ucl) },
    { "change_p", offsetof(fleck_edition_measure, change_p) },
    { "change_before", offsetof(fleck_edition_measure, change_before) },
    { "change_after", offsetof(fleck_edition_measure, change_after) },
    { "change_slope", offsetof(fleck_edition_measure, change_slope) },
    { "hold_lo", offsetof(fleck_edition_measure, hold_lo) },
    { "hold_hi", offsetof(fleck_edition_measure, hold_hi) },
    { "reference", offsetof(fleck_edition_measure, reference) },
    { "tolerance", offsetof(fleck_edition_measure, tolerance) },
    { "difference", offsetof(fleck_edition_measure, difference) },
    { "difference_lo", offsetof(fleck_edition_measure, difference_lo) },
    { "difference_hi", offsetof(fleck_edition_measure, difference_hi) },
    { "equivalence_p", offsetof(fleck_edition_measure, equivalence_p) },
    { "scan_sd", offsetof(fleck_edition_measure, scan_sd) },
    { "print_sd", offsetof(fleck_edition_measure, print_sd) },
    { "scan_share", offsetof(fleck_edition_measure, scan_share) },
    { "scan_p", offsetof(fleck_edition_measure, scan_p) },
};

/* Lists of prints. */
static const struct {
    const char *key;
    size_t offset;
} lists[] = {
    { "out_of_limits", offsetof(fleck_edition_measure, out_of_limits) },
    { "outliers", offsetof(fleck_edition_measure, outliers) },
    { "outside", offsetof(fleck_edition_measure, outside) },
};

enum { NUMBERS = sizeof numbers / sizeof *numbers, LISTS = sizeof lists / sizeof *lists };

static double number_at(const fleck_edition_measure *measure, size_t i)
{
    return *(const double *)((const char *)measure + numbers[i].offset);
}

static const fleck_edition_list *list_at(const fleck_edition_measure *measure, size_t i)
{
    return (const fleck_edition_list *)((const char *)measure + lists[i].offset);
}

static void add_order(cJSON *object, const char *key, const fleck_edition *edition, size_t print)
{
    fleck_json_add_number(object, key, edition->prints[print].order);
}

static void add_prints(cJSON *array, const fleck_edition *edition)
{
    for (size_t i = 0; i < edition->print_count; i++) {
        cJSON *const object = fleck_json_append_object(array);

        add_order(object, "order", edition, i);
        fleck_json_add_text(object, "name", edition->prints[i].name);
        fleck_json_add_text(object, "id", edition->prints[i].id);
        fleck_json_add_number(object, "patches", (double)edition->prints[i].patches);
    }
}

static void add_signals(cJSON *array, const fleck_edition *edition, const fleck_edition_measure *measure)
{
    for (size_t i = 0; i < measure->signal_count; i++) {
        cJSON *const object = fleck_json_append_object(array);

        fleck_json_add_text(object, "rule", measure->signals[i].rule);
        fleck_json_add_text(object, "meaning", measure->signals[i].meaning);
        fleck_json_add_text(object, "source", measure->signals[i].source);
        add_order(object, "first", edition, measure->signals[i].first);
        add_order(object, "last", edition, measure->signals[i].last);
    }
}

static void add_measure(cJSON *object, const fleck_edition *edition, const fleck_edition_measure *measure)
{
    fleck_json_add_text(object, "measure", measure->measure);
    fleck_json_add_number(object, "n", (double)measure->n);
    for (size_t i = 0; i < NUMBERS; i++)
        fleck_json_add_number(object, numbers[i].key, number_at(measure, i));
    for (size_t i = 0; i < LISTS; i++) {
        const fleck_edition_list *const list = list_at(measure, i);
        cJSON *const array = fleck_json_add_array(object, lists[i].key);

        for (size_t k = 0; k < list->count; k++)
            fleck_json_append(array, fleck_json_number(edition->prints[list->items[k]].order));
    }
    add_signals(fleck_json_add_array(object, "signals"), edition, measure);
    fleck_json_add_text(object, "change", measure->change);
    fleck_json_add_number(object, "change_first",
               measure->change != NULL ? edition->prints[measure->change_first].order : NAN);
    if (isnan(measure->scan_share))
        fleck_json_add_text(object, "scan_design", NULL);
    else
        fleck_json_add_text(object, "scan_design", measure->scan_crossed ? "crossed" : "nested");
    fleck_json_add_number(object, "fixed_pattern", edition->pattern.correlation);
    fleck_json_add_number(object, "fixed_pattern_lo", edition->pattern.lo);
    fleck_json_add_number(object, "fixed_pattern_hi", edition->pattern.hi);
    fleck_json_add_text(object, "verdict", fleck_edition_verdict_name(measure->verdict));
    fleck_json_add_text(object, "reason", measure->sentence);
}

static void add_pattern(cJSON *object, const fleck_edition *edition)
{
    const fleck_edition_pattern *const pattern = &edition->pattern;
    cJSON *array;

    fleck_json_add_number(object, "correlation", pattern->correlation);
    fleck_json_add_number(object, "lo", pattern->lo);
    fleck_json_add_number(object, "hi", pattern->hi);
    fleck_json_add_text(object, "reason", pattern->sentence);
    array = fleck_json_add_array(object, "pairs");
    for (size_t i = 0; i < pattern->pair_count; i++) {
        const fleck_edition_pair *const pair = &pattern->pairs[i];
        cJSON *const one = fleck_json_append_object(array);

        add_order(one, "first", edition, pair->first);
        add_order(one, "second", edition, pair->second);
        fleck_json_add_number(one, "correlation", pair->correlation);
        fleck_json_add_number(one, "se", pair->se);
        fleck_json_add_number(one, "shift_x_mm", pair->shift_x_mm);
        fleck_json_add_number(one, "shift_y_mm", pair->shift_y_mm);
        fleck_json_add_number(one, "turn_deg", -pair->turn_deg); /* anticlockwise, as all angles */
    }
}

static void add_plan(cJSON *document, const fleck_edition *edition)
{
    cJSON *plan, *array;

    if (edition->edition_size == 0) {
        fleck_json_add_text(document, "plan", NULL);
        return;
    }
    plan = fleck_json_add_object(document, "plan");
    fleck_json_add_number(plan, "edition_size", (double)edition->edition_size);
    fleck_json_add_number(plan, "confidence", edition->confidence);
    array = fleck_json_add_array(plan, "all_pass");
    for (size_t i = 0; i < FLECK_EDITION_PLANS; i++) {
        cJSON *const one = fleck_json_append_object(array);

        fleck_json_add_number(one, "conforming", edition->plans[i].share);
        fleck_json_add_number(one, "sample", (double)edition->plans[i].sample);
        fleck_json_add_number(one, "sample_endless", (double)edition->plans[i].sample_endless);
    }
}

char *fleck_edition_to_json(const fleck_edition *edition)
{
    cJSON *const document = cJSON_CreateObject();
    cJSON *array;

    fleck_json_add_text(document, "schema", FLECK_EDITION_SCHEMA);
    fleck_json_add_number(document, "version", FLECK_EDITION_VERSION);
    fleck_json_add_text(document, "order", edition->order);
    fleck_json_add_text(document, "reference", edition->reference);
    fleck_json_add_text(document, "verdict", fleck_edition_verdict_name(edition->verdict));
    fleck_json_add_text(document, "reason", edition->sentence);
    add_prints(fleck_json_add_array(document, "prints"), edition);
    array = fleck_json_add_array(document, "missing");
    for (size_t i = 0; i < edition->missing_count; i++)
        fleck_json_append(array, fleck_json_number(edition->missing[i]));
    array = fleck_json_add_array(document, "measures");
    for (size_t i = 0; i < edition->measure_count; i++)
        add_measure(fleck_json_append_object(array), edition, &edition->measures[i]);
    add_pattern(fleck_json_add_object(document, "pattern"), edition);
    add_plan(document, edition);
    array = fleck_json_add_array(document, "warnings");
    for (size_t i = 0; i < edition->warnings.count; i++) {
        cJSON *const object = fleck_json_append_object(array);

        fleck_json_add_text(object, "code", edition->warnings.items[i].code);
        fleck_json_add_text(object, "message", edition->warnings.items[i].message);
    }
    return fleck_json_finish(document);
}

/* Orders of a list in one cell, with blanks between them. */
static void add_list_cell(fleck_text *text, const fleck_edition *edition, const fleck_edition_list *list)
{
    fleck_text cell = { 0 };

    for (size_t i = 0; i < list->count; i++) {
        if (i > 0)
            fleck_text_add(&cell, " ");
        fleck_text_add_number(&cell, edition->prints[list->items[i]].order);
    }
    fleck_csv_add_cell(text, cell.length > 0 ? cell.bytes : "");
    text->failed = text->failed || cell.failed;
    fleck_text_clear(&cell);
}

char *fleck_edition_to_csv(const fleck_edition *edition)
{
    fleck_text text = { 0 };

    fleck_csv_add_cell(&text, "measure");
    fleck_csv_add_cell(&text, "n");
    for (size_t i = 0; i < NUMBERS; i++)
        fleck_csv_add_cell(&text, numbers[i].key);
    for (size_t i = 0; i < LISTS; i++)
        fleck_csv_add_cell(&text, lists[i].key);
    fleck_csv_add_cell(&text, "change");
    fleck_csv_add_cell(&text, "change_first");
    fleck_csv_add_cell(&text, "fixed_pattern");
    fleck_csv_add_cell(&text, "fixed_pattern_lo");
    fleck_csv_add_cell(&text, "fixed_pattern_hi");
    fleck_csv_add_cell(&text, "verdict");
    fleck_csv_add_cell(&text, "reason");
    fleck_csv_end_row(&text);
    for (size_t m = 0; m < edition->measure_count; m++) {
        const fleck_edition_measure *const measure = &edition->measures[m];

        fleck_csv_add_cell(&text, measure->measure);
        fleck_csv_add_number(&text, (double)measure->n);
        for (size_t i = 0; i < NUMBERS; i++)
            fleck_csv_add_number(&text, number_at(measure, i));
        for (size_t i = 0; i < LISTS; i++)
            add_list_cell(&text, edition, list_at(measure, i));
        fleck_csv_add_cell(&text, measure->change != NULL ? measure->change : "");
        fleck_csv_add_number(&text, measure->change != NULL
                                        ? edition->prints[measure->change_first].order
                                        : NAN);
        fleck_csv_add_number(&text, edition->pattern.correlation);
        fleck_csv_add_number(&text, edition->pattern.lo);
        fleck_csv_add_number(&text, edition->pattern.hi);
        fleck_csv_add_cell(&text, fleck_edition_verdict_name(measure->verdict));
        fleck_csv_add_cell(&text, measure->sentence != NULL ? measure->sentence : "");
        fleck_csv_end_row(&text);
    }
    if (text.failed) {
        fleck_text_clear(&text);
        return NULL;
    }
    return text.bytes;
}
