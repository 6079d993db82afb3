/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The fit of one measure, and whether the patches can carry its terms. */
#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "study/relate_parts.h"

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a fit; free some memory");
}

static bool has_all(const fleck_relate_data *data, const size_t *with, size_t with_count,
                    size_t unit)
{
    for (size_t i = 0; i < with_count; i++) {
        if (isnan(data->measured[with[i] * data->rows + unit]))
            return false;
    }
    return true;
}

/* The terms of the given units, column after column, without the intercept. */
static double *make_columns(const fleck_relate_data *data, const fleck_relate_model *model,
                            const size_t *unit, size_t rows)
{
    double base[FLECK_RELATE_BASES], row[FLECK_RELATE_TERMS];
    size_t cells;
    double *x;

    if (!size_mul(rows, model->count, &cells) || (x = fleck_alloc_array(cells, sizeof *x)) == NULL)
        return NULL;
    for (size_t i = 0; i < rows; i++) {
        for (size_t k = 0; k < data->base_count; k++)
            base[k] = data->value[k * data->rows + unit[i]];
        fleck_relate_model_row(model, data->base_count, base, row);
        for (size_t j = 1; j < model->count; j++)
            x[(j - 1) * rows + i] = row[j];
    }
    return x;
}

fleck_status fleck_relate_fit_make(const fleck_relate_data *data, const fleck_relate_model *model,
                                   const size_t *with, size_t with_count,
                                   fleck_least_squares_fault *fault, fleck_relate_fit *fit,
                                   fleck_error *err)
{
    double *x = NULL;
    fleck_status status;

    *fit = (fleck_relate_fit){ 0 };
    *fault = (fleck_least_squares_fault){ 0 };
    fit->unit = fleck_alloc_array(data->rows, sizeof *fit->unit);
    fit->value = fleck_alloc_array(data->rows, sizeof *fit->value);
    if (fit->unit == NULL || fit->value == NULL)
        return no_memory(err);
    for (size_t unit = 0; unit < data->rows; unit++) {
        if (!has_all(data, with, with_count, unit))
            continue;
        fit->unit[fit->rows] = unit;
        fit->value[fit->rows++] = with_count > 0 ? data->measured[with[0] * data->rows + unit] : 0;
    }
    x = make_columns(data, model, fit->unit, fit->rows);
    status = x != NULL ? fleck_least_squares_fit(x, fit->value, fit->rows, model->count, fault,
                                                 &fit->fit, err)
                       : no_memory(err);
    fleck_free(x);
    return status;
}

void fleck_relate_fit_clear(fleck_relate_fit *fit)
{
    fleck_free(fit->unit);
    fleck_free(fit->value);
    fleck_least_squares_clear(&fit->fit);
    *fit = (fleck_relate_fit){ 0 };
}

static size_t count_values(const fleck_relate_data *data, size_t base)
{
    const double *const value = data->value + base * data->rows;
    size_t count = 0;

    for (size_t i = 0; i < data->rows; i++) {
        size_t before = 0;

        while (before < i && value[before] != value[i])
            before++;
        count += before == i;
        if (count > FLECK_CURVE_DEGREE + 1)
            break;
    }
    return count;
}

/* The single factor that a term is a power of, or FLECK_RELATE_BASES. */
static size_t power_of(const fleck_relate_data *data, const fleck_model_term *term)
{
    size_t base = FLECK_RELATE_BASES;

    for (size_t i = 0; i < data->base_count; i++) {
        if (term->power[i] == 0)
            continue;
        if (base != FLECK_RELATE_BASES)
            return FLECK_RELATE_BASES;
        base = i;
    }
    return base != FLECK_RELATE_BASES && term->power[base] > 1 ? base : FLECK_RELATE_BASES;
}

fleck_status fleck_relate_check_design(const fleck_relate_data *data,
                                       const fleck_relate_model *model, const fleck_relate *result,
                                       fleck_error *err)
{
    fleck_least_squares_fault fault;
    fleck_relate_fit fit = { 0 };
    fleck_status status;

    for (size_t i = 0; i < result->factor_count; i++) {
        const fleck_relate_factor *const factor = &result->factors[i];

        if (!factor->is_category && !(factor->hi > factor->lo))
            return fleck_fail(
                err, FLECK_BAD_CALL,
                "factor %s is the same in all patches, so nothing can be related to it; "
                "leave it out, or give patches in which it differs",
                factor->column);
    }
    if (data->rows <= model->count)
        return fleck_fail(
            err, FLECK_BAD_INPUT,
            "%zu %s cannot carry a fit of %zu terms and show their scatter; print more, or "
            "leave out a factor",
            data->rows, result->units < result->patches ? "units" : "patches", model->count);
    status = fleck_relate_fit_make(data, model, NULL, 0, &fault, &fit, err);
    if (fault.kind != FLECK_COLUMN_FINE) {
        const fleck_model_term *const term = &model->term[fault.column];
        const size_t base = power_of(data, term);

        if (base != FLECK_RELATE_BASES && count_values(data, base) <= term->power[base])
            status = fleck_fail(err, FLECK_BAD_CALL,
                                "term %s needs more than %u different values of %s; print at more "
                                "settings, or leave the term out",
                                term->name, term->power[base], data->base[base].name);
        else if (fault.kind == FLECK_COLUMN_CONSTANT)
            status = fleck_fail(err, FLECK_BAD_CALL,
                                "term %s is the same in all patches; leave it out", term->name);
        else
            status =
                fleck_fail(err, FLECK_BAD_CALL,
                           "%s can be computed from %s in these patches, so that their effects "
                           "cannot be told apart; leave out one of them, or print them apart",
                           term->name, model->term[fault.partner].name);
    }
    fleck_relate_fit_clear(&fit);
    return status;
}
