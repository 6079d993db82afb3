/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/plan.h"

#include <stdlib.h>
#include <string.h>

#include <cjson/cJSON.h>

#include "fleck/version.h"
#include "io/csv.h"
#include "io/json_text.h"

static const char *const assumptions[] = {
    "Two groups of the same size are compared by Student's two-sided t test, and their units vary "
    "independently and alike within both groups.",
    "What varies from batch to batch of paste counts only where units are whole batches: patches "
    "of one "
    "batch are no replicates of it.",
    "The cautious number takes the upper 80 % confidence limit of the spread instead of the "
    "spread: four in "
    "five pilots so planned are large enough.",
};

static const char *const area_assumptions[] = {
    "The variance of a mean falls as one over the area: so for a texture that is even over the "
    "patch and "
    "without long-range order.",
    "It is about one patch: how far prints differ from each other, no area of a single one can "
    "tell.",
};

const char *const *fleck_plan_assumptions(size_t *count)
{
    *count = sizeof assumptions / sizeof *assumptions;
    return assumptions;
}

const char *const *fleck_plan_area_assumptions(size_t *count)
{
    *count = sizeof area_assumptions / sizeof *area_assumptions;
    return area_assumptions;
}

static bool add_item(cJSON *object, const char *key, cJSON *item)
{
    if (object != NULL && item != NULL && cJSON_AddItemToObject(object, key, item))
        return true;
    cJSON_Delete(item);
    return false;
}

static bool add_number(cJSON *object, const char *key, double value)
{
    return add_item(object, key, fleck_json_number(value));
}

static bool add_text(cJSON *object, const char *key, const char *text)
{
    return object != NULL && cJSON_AddStringToObject(object, key, text) != NULL;
}

/* Append an object to an array and return it; NULL without memory. */
static cJSON *append_object(cJSON *array)
{
    cJSON *item = array != NULL ? cJSON_CreateObject() : NULL;

    if (item != NULL && cJSON_AddItemToArray(array, item))
        return item;
    cJSON_Delete(item);
    return NULL;
}

static bool add_sentences(cJSON *root, const char *const *sentences, size_t count)
{
    cJSON *const array = cJSON_AddArrayToObject(root, "assumptions");

    for (size_t i = 0; array != NULL && i < count; i++) {
        cJSON *const item = cJSON_CreateString(sentences[i]);

        if (item == NULL || !cJSON_AddItemToArray(array, item)) {
            cJSON_Delete(item);
            return false;
        }
    }
    return array != NULL;
}

static bool add_warnings(cJSON *array, const fleck_warnings *warnings)
{
    for (size_t i = 0; i < warnings->count; i++) {
        cJSON *const item = append_object(array);

        if (!add_text(item, "code", warnings->items[i].code) ||
            !add_text(item, "message", warnings->items[i].message))
            return false;
    }
    return true;
}

static bool add_measure(cJSON *array, const fleck_plan_number *number)
{
    const size_t *const sizes = fleck_plan_sizes();
    cJSON *const item = append_object(array);
    cJSON *shown;

    if (!add_text(item, "measure", number->measure) ||
        !add_text(item, "scale", number->percent ? "per cent of the mean" : "measure") ||
        !add_number(item, "mean", number->mean) || !add_number(item, "sd", number->sd) ||
        !add_number(item, "sd_df", number->sd_df) ||
        !add_number(item, "sd_high", number->sd_high) ||
        !add_number(item, "units", (double)number->units) ||
        !add_number(item, "difference", number->difference) ||
        !add_number(item, "per_group", number->per_group) ||
        !add_number(item, "per_group_cautious", number->per_group_cautious) ||
        !add_number(item, "power_reached", number->reached))
        return false;
    shown = cJSON_AddArrayToObject(item, "shown");
    for (size_t i = 0; i < FLECK_PLAN_SIZES; i++) {
        cJSON *const one = append_object(shown);

        if (!add_number(one, "per_group", (double)sizes[i]) ||
            !add_number(one, "difference", number->shown[i]))
            return false;
    }
    return true;
}

static bool add_plan(cJSON *root, const fleck_plan *plan)
{
    cJSON *const part = cJSON_AddObjectToObject(root, "patches");
    cJSON *array;

    if (!add_text(part, "unit", plan->unit) || !add_number(part, "alpha", plan->alpha) ||
        !add_number(part, "power", plan->power))
        return false;
    array = cJSON_AddArrayToObject(part, "measures");
    for (size_t i = 0; i < plan->number_count; i++) {
        if (!add_measure(array, &plan->numbers[i]))
            return false;
    }
    return array != NULL &&
           add_sentences(part, assumptions, sizeof assumptions / sizeof *assumptions);
}

static bool add_area(cJSON *array, const fleck_plan_area *area)
{
    cJSON *const item = append_object(array);

    return add_text(item, "measure", area->measure) &&
           add_number(item, "tolerance", area->tolerance) &&
           add_text(item, "tolerance_is",
                    area->is_se ? "standard error" : "half of a 95 % interval") &&
           add_text(item, "scale", area->percent ? "per cent of the mean" : "measure") &&
           add_text(item, "basis", area->basis) &&
           add_number(item, "patches", (double)area->patches) &&
           add_number(item, "mean", area->mean) &&
           add_number(item, "pilot_tolerance", area->pilot_tolerance) &&
           add_number(item, "area_mm2", area->area_mm2) &&
           add_number(item, "side_mm", area->side_mm) &&
           add_number(item, "area_worst_mm2", area->area_worst_mm2) &&
           add_number(item, "dots", area->dots);
}

static bool add_areas(cJSON *root, const fleck_plan_areas *areas)
{
    cJSON *const part = cJSON_AddObjectToObject(root, "area");
    cJSON *array;

    if (!add_number(part, "side_mm", areas->side_mm) ||
        !add_number(part, "pilot_area_mm2", areas->pilot_area_mm2))
        return false;
    array = cJSON_AddArrayToObject(part, "measures");
    for (size_t i = 0; i < areas->area_count; i++) {
        if (!add_area(array, &areas->areas[i]))
            return false;
    }
    return array != NULL && add_sentences(part, area_assumptions,
                                          sizeof area_assumptions / sizeof *area_assumptions);
}

static bool add_order(cJSON *root, const fleck_plan_order *order)
{
    cJSON *const part = cJSON_AddObjectToObject(root, "order");
    cJSON *prints;

    if (!add_number(part, "seed", (double)order->seed) ||
        !add_number(part, "repeats", (double)order->repeats))
        return false;
    prints = cJSON_AddArrayToObject(part, "prints");
    for (size_t p = 0; p < order->print_count; p++) {
        cJSON *const item = append_object(prints);
        cJSON *factors;

        if (!add_number(item, "order", (double)(p + 1)) ||
            !add_number(item, "block", (double)(order->prints[p].block + 1)))
            return false;
        factors = cJSON_AddObjectToObject(item, "factors");
        for (size_t i = 0; i < order->factor_count; i++) {
            if (!add_text(factors, order->factors[i].name,
                          order->factors[i].levels[order->prints[p].level[i]]))
                return false;
        }
    }
    return prints != NULL;
}

static bool fill_root(cJSON *root, const fleck_plan *plan, const fleck_plan_areas *areas,
                      const fleck_plan_order *order)
{
    cJSON *warnings, *provenance;

    if (!add_text(root, "schema", FLECK_PLAN_SCHEMA) ||
        !add_number(root, "version", FLECK_PLAN_VERSION) ||
        (plan != NULL && !add_plan(root, plan)) || (areas != NULL && !add_areas(root, areas)) ||
        (order != NULL && !add_order(root, order)))
        return false;
    warnings = cJSON_AddArrayToObject(root, "warnings");
    if (warnings == NULL || (plan != NULL && !add_warnings(warnings, &plan->warnings)) ||
        (areas != NULL && !add_warnings(warnings, &areas->warnings)))
        return false;
    provenance = cJSON_AddObjectToObject(root, "provenance");
    return add_text(provenance, "program", "fleck") &&
           add_text(provenance, "version", fleck_version());
}

char *fleck_plan_to_json(const fleck_plan *plan, const fleck_plan_areas *areas,
                         const fleck_plan_order *order)
{
    cJSON *root = cJSON_CreateObject();

    if (root != NULL && !fill_root(root, plan, areas, order)) {
        cJSON_Delete(root);
        return NULL;
    }
    return fleck_json_finish(root);
}

static char *finish_csv(fleck_text *text)
{
    if (text->failed)
        fleck_text_clear(text);
    return text->bytes;
}

char *fleck_plan_to_csv(const fleck_plan *plan)
{
    fleck_text text = { 0 };

    fleck_text_add(
        &text, "measure,scale,unit,mean,sd,sd_df,sd_high,units,difference,alpha,power,per_group,"
               "per_group_cautious,power_reached");
    for (size_t i = 0; i < FLECK_PLAN_SIZES; i++)
        fleck_text_add_format(&text, ",shown_by_%zu", fleck_plan_sizes()[i]);
    fleck_text_add(&text, "\n");
    for (size_t i = 0; i < plan->number_count; i++) {
        const fleck_plan_number *const number = &plan->numbers[i];
        const double values[] = { number->mean,          number->sd,
                                  number->sd_df,         number->sd_high,
                                  (double)number->units, number->difference,
                                  plan->alpha,           plan->power,
                                  number->per_group,     number->per_group_cautious,
                                  number->reached };

        fleck_csv_add_cell(&text, number->measure);
        fleck_csv_add_cell(&text, number->percent ? "per cent of the mean" : "measure");
        fleck_csv_add_cell(&text, plan->unit);
        for (size_t k = 0; k < sizeof values / sizeof *values; k++)
            fleck_csv_add_number(&text, values[k]);
        for (size_t k = 0; k < FLECK_PLAN_SIZES; k++)
            fleck_csv_add_number(&text, number->shown[k]);
        fleck_csv_end_row(&text);
    }
    return finish_csv(&text);
}

char *fleck_plan_areas_to_csv(const fleck_plan_areas *areas)
{
    fleck_text text = { 0 };

    fleck_text_add(
        &text, "measure,scale,tolerance,tolerance_is,basis,patches,mean,pilot_tolerance,area_mm2,"
               "side_mm,area_worst_mm2,dots\n");
    for (size_t i = 0; i < areas->area_count; i++) {
        const fleck_plan_area *const area = &areas->areas[i];
        const double values[] = {
            (double)area->patches, area->mean, area->pilot_tolerance, area->area_mm2, area->side_mm,
            area->area_worst_mm2,  area->dots
        };

        fleck_csv_add_cell(&text, area->measure);
        fleck_csv_add_cell(&text, area->percent ? "per cent of the mean" : "measure");
        fleck_csv_add_number(&text, area->tolerance);
        fleck_csv_add_cell(&text, area->is_se ? "standard error" : "half of a 95 % interval");
        fleck_csv_add_cell(&text, area->basis);
        for (size_t k = 0; k < sizeof values / sizeof *values; k++)
            fleck_csv_add_number(&text, values[k]);
        fleck_csv_end_row(&text);
    }
    return finish_csv(&text);
}
