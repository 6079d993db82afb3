/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Patches are taken in the order of their ids, units in the order of their settings and names, so
 * that sums come out the same to the last digit however the rows of the tables stand.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "stats/moments.h"
#include "study/relate_take.h"

static const char default_unit[] = "batch";

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the table of units; free some memory");
}

static int by_id(const void *a, const void *b)
{
    const fleck_relate_patch *const left = a;
    const fleck_relate_patch *const right = b;
    const int ids =
        strcmp(fleck_study_id(left->study, left->row), fleck_study_id(right->study, right->row));

    if (ids != 0)
        return ids;
    return (left->row > right->row) - (left->row < right->row); /* of different runs */
}

static bool same_bases(const fleck_relate_patch *a, const fleck_relate_patch *b)
{
    for (size_t i = 0; i < a->bases; i++) {
        if (a->base[i] != b->base[i])
            return false;
    }
    return true;
}

static int by_bases(const void *a, const void *b)
{
    const fleck_relate_patch *const left = a;
    const fleck_relate_patch *const right = b;

    for (size_t i = 0; i < left->bases; i++) {
        if (left->base[i] != right->base[i])
            return left->base[i] < right->base[i] ? -1 : 1;
    }
    return by_id(a, b);
}

static fleck_status check_settings(fleck_relate_taking *taking, fleck_relate *result,
                                   fleck_error *err)
{
    size_t *const rows = fleck_alloc_array(taking->patch_count, sizeof *rows);
    char *differences = NULL;
    fleck_status status;

    if (rows == NULL)
        return no_memory(err);
    for (size_t i = 0; i < taking->patch_count; i++)
        rows[i] = taking->patches[i].row;
    status = fleck_study_differences(taking->study, rows, taking->patch_count, &differences, err);
    if (status == FLECK_OK && differences[0] != '\0') {
        for (char *c = differences; *c != '\0'; c++)
            *c = *c == '\n' ? '|' : *c;
        status =
            taking->options->mixed
                ? fleck_warnings_add(&result->warnings, err, "settings-differ",
                                     "the patches were measured with different settings, so "
                                     "differences may come from these: %s",
                                     differences)
                : fleck_fail(err, FLECK_BAD_CALL,
                             "the patches were measured with different settings (%.300s); measure "
                             "them alike, or take them together with --mixed",
                             differences);
    }
    fleck_free(differences);
    fleck_free(rows);
    return status;
}

static fleck_status number_settings(fleck_relate_taking *taking, fleck_error *err)
{
    taking->setting = fleck_alloc_array(taking->rows, sizeof *taking->setting);
    if (taking->setting == NULL)
        return no_memory(err);
    for (size_t row = 0; row < taking->rows; row++)
        taking->setting[row] = FLECK_STUDY_NONE;
    qsort(taking->patches, taking->patch_count, sizeof *taking->patches, by_bases);
    for (size_t i = 0; i < taking->patch_count; i++) {
        const fleck_relate_patch *const patch = &taking->patches[i];

        if (i == 0 || !same_bases(patch, patch - 1))
            taking->settings++;
        taking->setting[patch->row] = taking->settings - 1;
    }
    return FLECK_OK;
}

/* The unit's column: as asked for, or "batch" when there is one that is no factor. */
static fleck_status find_unit(const fleck_relate_taking *taking, const fleck_relate *result,
                              size_t *column, fleck_error *err)
{
    if (taking->options->unit != NULL)
        return fleck_study_need_column(taking->study, taking->options->unit, "column", column, err);
    *column = fleck_study_find_column(taking->study, default_unit);
    for (size_t i = 0; i < result->factor_count; i++) {
        if (*column != FLECK_STUDY_NONE && taking->column[i] == *column)
            *column = FLECK_STUDY_NONE;
    }
    return FLECK_OK;
}

static fleck_status group_units(fleck_relate_taking *taking, fleck_relate *result, fleck_error *err)
{
    fleck_study_units whole = { 0 };
    size_t *any = NULL;
    size_t column;
    fleck_status status = find_unit(taking, result, &column, err);

    if (status != FLECK_OK)
        return status;
    status = fleck_study_group_units(taking->study, column, taking->setting, &taking->units, err);
    if (status != FLECK_OK || column == FLECK_STUDY_NONE)
        return status;
    result->unit = fleck_copy_text(fleck_study_column_name(taking->study, column));
    any = fleck_alloc_array(taking->rows, sizeof *any);
    if (result->unit == NULL || any == NULL) {
        fleck_free(any);
        return no_memory(err);
    }
    for (size_t row = 0; row < taking->rows; row++)
        any[row] = taking->setting[row] == FLECK_STUDY_NONE ? FLECK_STUDY_NONE : 0;
    status = fleck_study_group_units(taking->study, column, any, &whole, err);
    if (status == FLECK_OK && whole.count < taking->units.count)
        status = fleck_warnings_add(
            &result->warnings, err, "unit-split",
            "some of the %zu units of %s hold patches of different factors: each setting is "
            "averaged "
            "by itself, %zu in all, and as these are not independent the p-values may be too small",
            whole.count, result->unit, taking->units.count);
    fleck_study_units_clear(&whole);
    fleck_free(any);
    return status;
}

/* Sums of a unit's patches, a missing one not counted. */
static double mean_of_unit(const fleck_relate_taking *taking, size_t first, size_t last,
                           size_t column, const char *measure, fleck_error *err,
                           fleck_status *status)
{
    fleck_sum sum = { 0 };
    size_t count = 0;

    for (size_t i = first; i < last; i++) {
        const size_t row = taking->patches[i].row;
        double value;

        if (!fleck_study_number(taking->study, row, column, &value)) {
            *status = fleck_fail(err, FLECK_BAD_CALL,
                                 "%s of patch %s is '%.60s', which is no number; leave it out of "
                                 "--measures",
                                 measure, fleck_study_id(taking->study, row),
                                 fleck_study_text(taking->study, row, column));
            return NAN;
        }
        if (isnan(value))
            continue;
        fleck_sum_add(&sum, value);
        count++;
    }
    return count > 0 ? fleck_sum_value(&sum) / (double)count : NAN;
}

/* Patches in the order of units, by setting and then by name. */
struct order {
    size_t setting;
    const char *name;
    size_t unit;
    fleck_relate_patch patch;
};

static int by_unit(const void *a, const void *b)
{
    const struct order *const left = a;
    const struct order *const right = b;
    int names;

    if (left->setting != right->setting)
        return left->setting < right->setting ? -1 : 1;
    names = strcmp(left->name, right->name);
    if (names != 0)
        return names;
    if (left->unit != right->unit)
        return left->unit < right->unit ? -1 : 1;
    return by_id(&left->patch, &right->patch);
}

static fleck_status sort_into_units(fleck_relate_taking *taking, fleck_error *err)
{
    struct order *const order = fleck_alloc_array(taking->patch_count, sizeof *order);

    if (order == NULL)
        return no_memory(err);
    for (size_t i = 0; i < taking->patch_count; i++) {
        const size_t row = taking->patches[i].row;
        const size_t unit = taking->units.unit_of_row[row];

        order[i] = (struct order){ taking->setting[row], taking->units.name[unit], unit,
                                   taking->patches[i] };
    }
    qsort(order, taking->patch_count, sizeof *order, by_unit);
    for (size_t i = 0; i < taking->patch_count; i++)
        taking->patches[i] = order[i].patch;
    fleck_free(order);
    return FLECK_OK;
}

static fleck_status fill_unit(const fleck_relate_taking *taking, fleck_relate_data *data, size_t at,
                              size_t first, size_t last, fleck_error *err)
{
    const fleck_relate_patch *const patch = &taking->patches[first];
    fleck_status status = FLECK_OK;

    data->name[at] = fleck_copy_text(taking->units.name[taking->units.unit_of_row[patch->row]]);
    if (data->name[at] == NULL)
        return no_memory(err);
    data->setting[at] = taking->setting[patch->row];
    for (size_t i = 0; i < data->base_count; i++)
        data->value[i * data->rows + at] = patch->base[i];
    for (size_t i = 0; i < data->measure_count && status == FLECK_OK; i++)
        data->measured[i * data->rows + at] = mean_of_unit(
            taking, first, last, taking->measure_column[i], data->measure[i], err, &status);
    return status;
}

static fleck_status fill(fleck_relate_taking *taking, fleck_relate_data *data, fleck_error *err)
{
    size_t values, measured, at = 0;
    fleck_status status;

    data->settings = taking->settings;
    if (!size_mul(taking->units.count, data->base_count, &values) ||
        !size_mul(taking->units.count, data->measure_count, &measured) ||
        (data->name = fleck_alloc_zeroed(taking->units.count, sizeof *data->name)) == NULL)
        return no_memory(err);
    data->rows = taking->units.count;
    data->value = fleck_alloc_array(values, sizeof *data->value);
    data->measured = fleck_alloc_array(measured, sizeof *data->measured);
    data->setting = fleck_alloc_array(data->rows, sizeof *data->setting);
    if (data->value == NULL || data->measured == NULL || data->setting == NULL)
        return no_memory(err);
    status = sort_into_units(taking, err);
    for (size_t first = 0; status == FLECK_OK && first < taking->patch_count; at++) {
        const size_t unit = taking->units.unit_of_row[taking->patches[first].row];
        size_t last = first + 1;

        while (last < taking->patch_count &&
               taking->units.unit_of_row[taking->patches[last].row] == unit)
            last++;
        status = fill_unit(taking, data, at, first, last, err);
        first = last;
    }
    return status;
}

/* The range and mean of each number, over units. */
static void survey_factors(const fleck_relate_data *data, fleck_relate *result)
{
    for (size_t i = 0; i < data->base_count; i++) {
        fleck_relate_factor *const factor = &result->factors[data->base[i].factor];
        const double *const value = data->value + i * data->rows;

        if (data->base[i].level > 0)
            continue;
        factor->lo = factor->hi = value[0];
        for (size_t row = 1; row < data->rows; row++) {
            factor->lo = fmin(factor->lo, value[row]);
            factor->hi = fmax(factor->hi, value[row]);
        }
        factor->mean = fleck_moments_of(value, data->rows).mean;
    }
}

fleck_status fleck_relate_take_units(fleck_relate_taking *taking, fleck_relate_data *data,
                                     fleck_relate *result, fleck_error *err)
{
    fleck_status status;

    if ((status = check_settings(taking, result, err)) != FLECK_OK ||
        (status = number_settings(taking, err)) != FLECK_OK ||
        (status = group_units(taking, result, err)) != FLECK_OK ||
        (status = fill(taking, data, err)) != FLECK_OK)
        return status;
    survey_factors(data, result);
    return FLECK_OK;
}
