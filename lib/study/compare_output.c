/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A comparison as JSON and as a table. */
#include <math.h>
#include <stddef.h>
#include <stdlib.h>
#include <string.h>

#include <cjson/cJSON.h>

#include "core/text.h"
#include "fleck/compare.h"
#include "io/csv.h"
#include "io/json_text.h"

/* The numbers of a comparison, once for JSON and CSV. */
static const struct {
    const char *key;
    size_t offset;
} numbers[] = {
    { "mean_a", offsetof(fleck_comparison, mean_a) },
    { "mean_b", offsetof(fleck_comparison, mean_b) },
    { "sd_a", offsetof(fleck_comparison, sd_a) },
    { "sd_b", offsetof(fleck_comparison, sd_b) },
    { "difference", offsetof(fleck_comparison, difference) },
    { "ci_lo", offsetof(fleck_comparison, ci_lo) },
    { "ci_hi", offsetof(fleck_comparison, ci_hi) },
    { "p_welch", offsetof(fleck_comparison, p_welch) },
    { "p_paired", offsetof(fleck_comparison, p_paired) },
    { "p_permutation", offsetof(fleck_comparison, p_permutation) },
    { "p_rank", offsetof(fleck_comparison, p_rank) },
    { "p_holm", offsetof(fleck_comparison, p_holm) },
    { "p_least", offsetof(fleck_comparison, p_least) },
    { "hedges_g", offsetof(fleck_comparison, hedges_g) },
    { "g_lo", offsetof(fleck_comparison, g_lo) },
    { "g_hi", offsetof(fleck_comparison, g_hi) },
    { "tolerance", offsetof(fleck_comparison, tolerance) },
    { "p_equivalence", offsetof(fleck_comparison, p_equivalence) },
    { "detectable", offsetof(fleck_comparison, detectable) },
    { "rescan_limit", offsetof(fleck_comparison, rescan_limit) },
};

enum { NUMBERS = sizeof numbers / sizeof *numbers };

static double number_at(const fleck_comparison *one, size_t i)
{
    return *(const double *)((const char *)one + numbers[i].offset);
}

static void add_pair(cJSON *object, const fleck_compare *result, size_t group_a, size_t group_b,
                     size_t n_a, size_t n_b)
{
    fleck_json_add_text(object, "group_a", result->groups[group_a].name);
    fleck_json_add_text(object, "group_b", result->groups[group_b].name);
    fleck_json_add_number(object, "n_a", (double)n_a);
    fleck_json_add_number(object, "n_b", (double)n_b);
}

static void add_comparisons(cJSON *array, const fleck_compare *result)
{
    for (size_t i = 0; i < result->comparison_count; i++) {
        const fleck_comparison *const one = &result->comparisons[i];
        cJSON *const object = fleck_json_append_object(array);

        fleck_json_add_text(object, "measure", result->measures[one->measure].measure);
        add_pair(object, result, one->group_a, one->group_b, one->n_a, one->n_b);
        for (size_t k = 0; k < NUMBERS; k++)
            fleck_json_add_number(object, numbers[k].key, number_at(one, k));
        fleck_json_add_text(object, "interval", one->interval);
        fleck_json_add_text(object, "verdict", fleck_verdict_name(one->verdict));
        fleck_json_add_text(object, "sentence", one->sentence);
    }
}

static void add_sizes(cJSON *array, const fleck_compare *result)
{
    for (size_t i = 0; i < result->size_count; i++) {
        const fleck_size_comparison *const one = &result->sizes[i];
        cJSON *const object = fleck_json_append_object(array);

        add_pair(object, result, one->group_a, one->group_b, one->n_a, one->n_b);
        fleck_json_add_number(object, "ks_d", one->ks_d);
        fleck_json_add_number(object, "wasserstein_mm", one->wasserstein_mm);
        fleck_json_add_number(object, "p_permutation", one->p_permutation);
        fleck_json_add_number(object, "p_ks", one->p_ks);
    }
}

char *fleck_compare_to_json(const fleck_compare *result)
{
    cJSON *const document = cJSON_CreateObject();
    cJSON *array;

    fleck_json_add_text(document, "schema", FLECK_COMPARE_SCHEMA);
    fleck_json_add_number(document, "version", FLECK_COMPARE_VERSION);
    fleck_json_add_text(document, "by", result->by);
    fleck_json_add_text(document, "unit", result->unit);
    fleck_json_add_text(document, "paired", result->paired);
    fleck_json_add_text(document, "rescan", result->rescan);
    fleck_json_add_text(document, "print", result->print);
    fleck_json_add_number(document, "seed", (double)result->seed);
    array = fleck_json_add_array(document, "groups");
    for (size_t i = 0; i < result->group_count; i++) {
        cJSON *const object = fleck_json_append_object(array);

        fleck_json_add_text(object, "group", result->groups[i].name);
        fleck_json_add_number(object, "patches", (double)result->groups[i].patches);
        fleck_json_add_number(object, "units", (double)result->groups[i].units);
    }
    array = fleck_json_add_array(document, "measures");
    for (size_t i = 0; i < result->measure_count; i++) {
        const fleck_compared_measure *const measure = &result->measures[i];
        cJSON *const object = fleck_json_append_object(array);

        fleck_json_add_text(object, "measure", measure->measure);
        fleck_json_add_text(object, "label", measure->label);
        fleck_json_add_text(object, "unit", measure->unit);
        fleck_json_add_number(object, "n", (double)measure->n);
        fleck_json_add_number(object, "patches", (double)measure->patches);
        fleck_json_add_number(object, "patches_all", (double)measure->patches_all);
        fleck_json_add_number(object, "kruskal_p", measure->kruskal_p);
        fleck_json_add_number(object, "rescan_sd", measure->rescan_sd);
    }
    add_comparisons(fleck_json_add_array(document, "comparisons"), result);
    add_sizes(fleck_json_add_array(document, "sizes"), result);
    array = fleck_json_add_array(document, "warnings");
    for (size_t i = 0; i < result->warnings.count; i++) {
        cJSON *const object = fleck_json_append_object(array);

        fleck_json_add_text(object, "code", result->warnings.items[i].code);
        fleck_json_add_text(object, "message", result->warnings.items[i].message);
    }
    return fleck_json_finish(document);
}

/* Codes of all warnings, each once, with blanks between: every row tells of --mixed and the like.
 */
static void warning_codes(const fleck_compare *result, fleck_text *codes)
{
    for (size_t i = 0; i < result->warnings.count; i++) {
        bool said = false;

        for (size_t k = 0; k < i; k++)
            said =
                said || strcmp(result->warnings.items[k].code, result->warnings.items[i].code) == 0;
        if (said)
            continue;
        fleck_text_add(codes, codes->length > 0 ? " " : "");
        fleck_text_add(codes, result->warnings.items[i].code);
    }
}

char *fleck_compare_to_csv(const fleck_compare *result)
{
    static const char *const first[] = { "measure", "group_a", "group_b", "n_a", "n_b" };
    static const char *const last[] = { "kruskal_p", "ks_d",     "wasserstein_mm", "p_ks",
                                        "verdict",   "sentence", "warnings" };
    fleck_text text = { 0 }, codes = { 0 };

    warning_codes(result, &codes);
    for (size_t i = 0; i < sizeof first / sizeof *first; i++)
        fleck_csv_add_cell(&text, first[i]);
    for (size_t i = 0; i < NUMBERS; i++)
        fleck_csv_add_cell(&text, numbers[i].key);
    for (size_t i = 0; i < sizeof last / sizeof *last; i++)
        fleck_csv_add_cell(&text, last[i]);
    fleck_csv_end_row(&text);
    for (size_t i = 0; i < result->comparison_count; i++) {
        const fleck_comparison *const one = &result->comparisons[i];

        fleck_csv_add_cell(&text, result->measures[one->measure].measure);
        fleck_csv_add_cell(&text, result->groups[one->group_a].name);
        fleck_csv_add_cell(&text, result->groups[one->group_b].name);
        fleck_csv_add_number(&text, (double)one->n_a);
        fleck_csv_add_number(&text, (double)one->n_b);
        for (size_t k = 0; k < NUMBERS; k++)
            fleck_csv_add_number(&text, number_at(one, k));
        fleck_csv_add_number(&text, result->measures[one->measure].kruskal_p);
        for (int k = 0; k < 3; k++)
            fleck_csv_add_cell(&text, "");
        fleck_csv_add_cell(&text, fleck_verdict_name(one->verdict));
        fleck_csv_add_cell(&text, one->sentence);
        fleck_csv_add_cell(&text, codes.bytes != NULL ? codes.bytes : "");
        fleck_csv_end_row(&text);
    }
    for (size_t i = 0; i < result->size_count; i++) {
        const fleck_size_comparison *const one = &result->sizes[i];

        fleck_csv_add_cell(&text, "sizes");
        fleck_csv_add_cell(&text, result->groups[one->group_a].name);
        fleck_csv_add_cell(&text, result->groups[one->group_b].name);
        fleck_csv_add_number(&text, (double)one->n_a);
        fleck_csv_add_number(&text, (double)one->n_b);
        for (size_t k = 0; k < NUMBERS; k++)
            fleck_csv_add_number(&text,
                                 numbers[k].offset == offsetof(fleck_comparison, p_permutation)
                                     ? one->p_permutation
                                     : NAN);
        fleck_csv_add_cell(&text, "");
        fleck_csv_add_number(&text, one->ks_d);
        fleck_csv_add_number(&text, one->wasserstein_mm);
        fleck_csv_add_number(&text, one->p_ks);
        fleck_csv_add_cell(&text, "");
        fleck_csv_add_cell(&text, "");
        fleck_csv_add_cell(&text, codes.bytes != NULL ? codes.bytes : "");
        fleck_csv_end_row(&text);
    }
    if (codes.failed)
        fleck_text_clear(&text);
    fleck_text_clear(&codes);
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}
