/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Patches are taken in the order of their ids, units in the order of their settings and names, so
 * that sums come out the same to the last digit however the rows of the tables stand.
 */
#include "study/relate_data.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "stats/moments.h"

static const char default_unit[] = "batch";

/* A patch on its way into a unit. */
struct patch {
    const fleck_study *study;
    size_t row;
    size_t bases;
    const double *base; /* its bases */
};

struct taking {
    const fleck_study *study;
    const fleck_relate_options *options;
    size_t rows; /* of the study */
    size_t
        column[FLECK_RELATE_FACTORS]; /* of each factor; FLECK_STUDY_NONE for the paste made here */
    double *paste;                    /* of each row, NULL without */
    double *base;                     /* of each row in turn, base_count numbers */
    bool *used;                       /* of each row */
    struct patch *patches;            /* those used, by id */
    size_t patch_count;
    size_t *setting; /* of each row of the study; FLECK_STUDY_NONE when not used */
    size_t settings;
    size_t *measure_column;
    fleck_study_units units;
};

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

static int by_id(const void *a, const void *b)
{
    const struct patch *const left = a;
    const struct patch *const right = b;
    const int ids =
        strcmp(fleck_study_id(left->study, left->row), fleck_study_id(right->study, right->row));

    if (ids != 0)
        return ids;
    return (left->row > right->row) - (left->row < right->row); /* of different runs */
}

static bool same_bases(const struct patch *a, const struct patch *b)
{
    for (size_t i = 0; i < a->bases; i++) {
        if (a->base[i] != b->base[i])
            return false;
    }
    return true;
}

static int by_bases(const void *a, const void *b)
{
    const struct patch *const left = a;
    const struct patch *const right = b;

    for (size_t i = 0; i < left->bases; i++) {
        if (left->base[i] != right->base[i])
            return left->base[i] < right->base[i] ? -1 : 1;
    }
    return by_id(a, b);
}

/* ---- which columns ---- */

static fleck_status find_factors(struct taking *taking, fleck_relate *result, fleck_error *err)
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

static fleck_status find_measures(struct taking *taking, fleck_relate_data *data,
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

/* ---- factors as numbers ---- */

/* Sorted levels of a category, and whether each row has one. */
static fleck_status find_levels(struct taking *taking, size_t column, fleck_relate_factor *factor,
                                fleck_error *err)
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
    free(texts);
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

static fleck_status make_bases(struct taking *taking, fleck_relate_data *data, fleck_relate *result,
                               fleck_error *err)
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

static fleck_status read_base(struct taking *taking, const fleck_relate_data *data,
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

static fleck_status read_bases(struct taking *taking, fleck_relate_data *data, fleck_relate *result,
                               fleck_error *err)
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
                (struct patch){ taking->study, row, data->base_count,
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

/* ---- patches into units ---- */

static fleck_status check_settings(struct taking *taking, fleck_relate *result, fleck_error *err)
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
    free(differences);
    free(rows);
    return status;
}

static fleck_status number_settings(struct taking *taking, fleck_error *err)
{
    taking->setting = fleck_alloc_array(taking->rows, sizeof *taking->setting);
    if (taking->setting == NULL)
        return no_memory(err);
    for (size_t row = 0; row < taking->rows; row++)
        taking->setting[row] = FLECK_STUDY_NONE;
    qsort(taking->patches, taking->patch_count, sizeof *taking->patches, by_bases);
    for (size_t i = 0; i < taking->patch_count; i++) {
        const struct patch *const patch = &taking->patches[i];

        if (i == 0 || !same_bases(patch, patch - 1))
            taking->settings++;
        taking->setting[patch->row] = taking->settings - 1;
    }
    return FLECK_OK;
}

/* The unit's column: as asked for, or "batch" when there is one that is no factor. */
static fleck_status find_unit(const struct taking *taking, const fleck_relate *result,
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

static fleck_status group_units(struct taking *taking, fleck_relate *result, fleck_error *err)
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
        free(any);
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
    free(any);
    return status;
}

/* Sums of a unit's patches, a missing one not counted. */
static double mean_of_unit(const struct taking *taking, size_t first, size_t last, size_t column,
                           const char *measure, fleck_error *err, fleck_status *status)
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
    struct patch patch;
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

static fleck_status sort_into_units(struct taking *taking, fleck_error *err)
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
    free(order);
    return FLECK_OK;
}

static fleck_status fill_unit(const struct taking *taking, fleck_relate_data *data, size_t at,
                              size_t first, size_t last, fleck_error *err)
{
    const struct patch *const patch = &taking->patches[first];
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

static fleck_status fill(struct taking *taking, fleck_relate_data *data, fleck_error *err)
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

void fleck_relate_data_clear(fleck_relate_data *data)
{
    for (size_t i = 0; data->name != NULL && i < data->rows; i++)
        free(data->name[i]);
    for (size_t i = 0; i < data->base_count; i++)
        free(data->base[i].name);
    for (size_t i = 0; i < data->measure_count; i++)
        free(data->measure[i]);
    free(data->name);
    free(data->value);
    free(data->measure);
    free(data->measured);
    free(data->setting);
    *data = (fleck_relate_data){ 0 };
}

static void free_taking(struct taking *taking)
{
    free(taking->paste);
    free(taking->base);
    free(taking->used);
    free(taking->patches);
    free(taking->setting);
    free(taking->measure_column);
    fleck_study_units_clear(&taking->units);
}

fleck_status fleck_relate_data_take(const fleck_study *study, const fleck_relate_options *options,
                                    fleck_relate_data *data, fleck_relate *result, fleck_error *err)
{
    struct taking taking = { .study = study, .options = options };
    fleck_status status = FLECK_OK;

    *data = (fleck_relate_data){ 0 };
    taking.rows = fleck_study_row_count(study);
    taking.used = fleck_alloc_array(taking.rows, sizeof *taking.used);
    if (taking.used == NULL) {
        status = no_memory(err);
        goto done;
    }
    for (size_t row = 0; row < taking.rows; row++)
        taking.used[row] = true;
    if (options->stock_ml_column != NULL) {
        taking.paste = fleck_alloc_array(taking.rows, sizeof *taking.paste);
        status = taking.paste != NULL
                     ? fleck_relate_mix_paste(study, options, taking.paste, result, err)
                     : no_memory(err);
    }
    if (status != FLECK_OK || (status = find_factors(&taking, result, err)) != FLECK_OK ||
        (status = find_measures(&taking, data, result, err)) != FLECK_OK ||
        (status = make_bases(&taking, data, result, err)) != FLECK_OK ||
        (status = read_bases(&taking, data, result, err)) != FLECK_OK ||
        (status = check_settings(&taking, result, err)) != FLECK_OK ||
        (status = number_settings(&taking, err)) != FLECK_OK ||
        (status = group_units(&taking, result, err)) != FLECK_OK ||
        (status = fill(&taking, data, err)) != FLECK_OK)
        goto done;
    survey_factors(data, result);
    result->patches = taking.patch_count;
    result->units = data->rows;
done:
    free_taking(&taking);
    return status;
}
