/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The columns that relate is asked about, and factors as numbers. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "study/relate_take.h"

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the table of units; free some memory");
}

static bool is_empty(const char *text)
{
    return text[strspn(text, " \t")] == '\0';
}

static int by_text(const void *a, const void *b)
{
    return strcmp(*(const char *const *)a, *(const char *const *)b);
}

static fleck_status find_factors(fleck_relate_taking *taking, fleck_relate *result,
                                 fleck_error *err)
{
    const fleck_relate_options *const options = taking->options;
    const size_t count = options->factor_count + options->category_count;

    if (count == 0)
        return fleck_fail(err, FLECK_BAD_CALL, "there is no factor to relate to; give --factors");
    if (count > FLECK_RELATE_FACTORS)
        return fleck_fail(err, FLECK_BAD_CALL, "%zu factors are too many; give at most %d", count,
                          FLECK_RELATE_FACTORS);
    result->factors = fleck_alloc_zeroed(count, sizeof *result->factors);
    if (result->factors == NULL)
        return no_memory(err);
    for (size_t i = 0; i < count; i++) {
        const bool is_category = i >= options->factor_count;
        const char *const name =
            is_category ? options->categories[i - options->factor_count] : options->factors[i];
        const bool made = taking->paste != NULL && strcmp(name, fleck_relate_paste_name) == 0;
        fleck_status status;

        for (size_t k = 0; k < i; k++) {
            if (strcmp(result->factors[k].column, name) == 0)
                return fleck_fail(err, FLECK_BAD_CALL, "factor %s is named twice; name it once",
                                  name);
        }
        taking->column[i] = FLECK_STUDY_NONE;
        if (!made && (status = fleck_study_need_column(taking->study, name, "factor",
                                                       &taking->column[i], err)) != FLECK_OK)
            return status;
        result->factors[i].is_category = is_category;
        result->factors[i].lo = result->factors[i].hi = result->factors[i].mean = NAN;
        result->factors[i].column = fleck_copy_text(name);
        result->factor_count = i + 1;
        if (result->factors[i].column == NULL)
            return no_memory(err);
    }
    return FLECK_OK;
}

static bool has_measure(const fleck_relate_data *data, const char *name)
{
    for (size_t i = 0; i < data->measure_count; i++) {
        if (strcmp(data->measure[i], name) == 0)
            return true;
    }
    return false;
}

static fleck_status find_measures(fleck_relate_taking *taking, fleck_relate_data *data,
                                  fleck_relate *result, fleck_error *err)
{
    const fleck_relate_options *const options = taking->options;
    const bool given = options->measure_count > 0;
    size_t default_count;
    const char *const *const defaults = fleck_study_default_measures(&default_count);
    const size_t named = given ? options->measure_count : default_count;
    size_t all;

    if (!size_add(named, options->target_count, &all) ||
        (data->measure = fleck_alloc_zeroed(all, sizeof *data->measure)) == NULL ||
        (taking->measure_column = fleck_alloc_array(all, sizeof *taking->measure_column)) == NULL)
        return no_memory(err);
    for (size_t i = 0; i < all; i++) {
        const bool is_default = !given && i < named;
        const char *const name = i >= named ? options->targets[i - named].measure
                                 : given    ? options->measures[i]
                                            : defaults[i];
        size_t column = fleck_study_find_column(taking->study, name);
        fleck_status status = FLECK_OK;

        if (has_measure(data, name))
            continue;
        if (column == FLECK_STUDY_NONE && is_default)
            status =
                fleck_warnings_add(&result->warnings, err, "measure-missing",
                                   "%s is not in the table; name others with --measures", name);
        else if (column == FLECK_STUDY_NONE)
            status = fleck_study_need_column(taking->study, name, "measure", &column, err);
        if (status != FLECK_OK)
            return status;
        if (column == FLECK_STUDY_NONE)
            continue;
        for (size_t k = 0; k < result->factor_count; k++) {
            if (taking->column[k] == column)
                return fleck_fail(err, FLECK_BAD_CALL,
                                  "%s is both measure and factor; name it as one of them", name);
        }
        taking->measure_column[data->measure_count] = column;
        data->measure[data->measure_count] = fleck_copy_text(name);
        if (data->measure[data->measure_count] == NULL)
            return no_memory(err);
        data->measure_count++;
    }
    if (data->measure_count == 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the table has no measure to relate; name some with --measures");
    return FLECK_OK;
}

/* Sorted levels of a category, and whether each row has one. */
static fleck_status find_levels(fleck_relate_taking *taking, size_t column,
                                fleck_relate_factor *factor, fleck_error *err)
{
    const char **texts = fleck_alloc_array(taking->rows, sizeof *texts);
    size_t count = 0, kept = 0;

    if (texts == NULL)
        return no_memory(err);
    for (size_t row = 0; row < taking->rows; row++) {
        const char *const text = fleck_study_text(taking->study, row, column);

        if (is_empty(text))
            taking->used[row] = false;
        else
            texts[count++] = text;
    }
    if (count > 0)
        qsort(texts, count, sizeof *texts, by_text);
    for (size_t i = 0; i < count; i++) {
        if (kept == 0 || strcmp(texts[kept - 1], texts[i]) != 0)
            texts[kept++] = texts[i];
    }
    factor->levels = fleck_alloc_zeroed(kept > 0 ? kept : 1, sizeof *factor->levels);
    for (size_t i = 0; factor->levels != NULL && i < kept; i++) {
        factor->levels[i] = fleck_copy_text(texts[i]);
        if (factor->levels[i] == NULL)
            break;
        factor->level_count = i + 1;
    }
    fleck_free(texts);
    if (factor->levels == NULL || factor->level_count < kept)
        return no_memory(err);
    if (kept < 2)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "category %s is the same in all patches, so nothing can be related to it; "
            "leave it out",
            factor->column);
    return FLECK_OK;
}

static fleck_status add_base(fleck_relate_data *data, const char *name, const char *level,
                             size_t factor, size_t at, fleck_error *err)
{
    fleck_relate_base *const base = &data->base[data->base_count];
    fleck_text text = { 0 };

    if (data->base_count == FLECK_RELATE_BASES)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the categories have more than %d levels in all; leave one out",
                          FLECK_RELATE_BASES);
    fleck_text_add(&text, name);
    if (level != NULL)
        fleck_text_add_format(&text, "=%s", level);
    if (text.failed) {
        fleck_text_clear(&text);
        return no_memory(err);
    }
    *base = (fleck_relate_base){ text.bytes, factor, at };
    data->base_count++;
    return FLECK_OK;
}

static fleck_status make_bases(fleck_relate_taking *taking, fleck_relate_data *data,
                               fleck_relate *result, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t i = 0; i < result->factor_count && status == FLECK_OK; i++) {
        fleck_relate_factor *const factor = &result->factors[i];

        if (!factor->is_category) {
            status = add_base(data, factor->column, NULL, i, 0, err);
            continue;
        }
        status = find_levels(taking, taking->column[i], factor, err);
        for (size_t level = 1; level < factor->level_count && status == FLECK_OK; level++)
            status = add_base(data, factor->column, factor->levels[level], i, level, err);
    }
    return status;
}

static fleck_status read_base(fleck_relate_taking *taking, const fleck_relate_data *data,
                              const fleck_relate *result, size_t row, size_t at, fleck_error *err)
{
    const fleck_relate_base *const base = &data->base[at];
    const size_t column = taking->column[base->factor];
    double *const value = &taking->base[row * data->base_count + at];

    if (base->level > 0) {
        *value = strcmp(fleck_study_text(taking->study, row, column),
                        result->factors[base->factor].levels[base->level]) == 0;
        return FLECK_OK;
    }
    if (column == FLECK_STUDY_NONE) {
        *value = taking->paste[row];
    } else if (!fleck_study_number(taking->study, row, column, value)) {
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "factor %s of patch %s is '%.60s', which is no number; mend the table, or "
            "give it as --category %s",
            base->name, fleck_study_id(taking->study, row),
            fleck_study_text(taking->study, row, column), base->name);
    }
    if (isnan(*value))
        taking->used[row] = false;
    return FLECK_OK;
}

static fleck_status read_bases(fleck_relate_taking *taking, fleck_relate_data *data,
                               fleck_relate *result, fleck_error *err)
{
    size_t cells;

    if (!size_mul(taking->rows, data->base_count, &cells) ||
        (taking->base = fleck_alloc_array(cells, sizeof *taking->base)) == NULL ||
        (taking->patches = fleck_alloc_array(taking->rows, sizeof *taking->patches)) == NULL)
        return no_memory(err);
    for (size_t row = 0; row < taking->rows; row++) {
        for (size_t i = 0; i < data->base_count; i++) {
            const fleck_status status = read_base(taking, data, result, row, i, err);

            if (status != FLECK_OK)
                return status;
        }
        if (taking->used[row])
            taking->patches[taking->patch_count++] =
                (fleck_relate_patch){ taking->study, row, data->base_count,
                                      taking->base + row * data->base_count };
    }
    if (taking->patch_count == 0)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "no patch has a value of each factor; fill in the table");
    if (taking->patch_count < taking->rows)
        return fleck_warnings_add(&result->warnings, err, "factor-missing",
                                  "%zu of %zu patches have no value of a factor and are left out",
                                  taking->rows - taking->patch_count, taking->rows);
    return FLECK_OK;
}

fleck_status fleck_relate_take_columns(fleck_relate_taking *taking, fleck_relate_data *data,
                                       fleck_relate *result, fleck_error *err)
{
    fleck_status status;

    if ((status = find_factors(taking, result, err)) != FLECK_OK ||
        (status = find_measures(taking, data, result, err)) != FLECK_OK ||
        (status = make_bases(taking, data, result, err)) != FLECK_OK)
        return status;
    return read_bases(taking, data, result, err);
}
