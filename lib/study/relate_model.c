/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "study/relate_model.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the terms; free some memory");
}

/* One factor of a product as it was written. */
struct part {
    size_t factor;
    unsigned power;
};

static bool same_powers(const fleck_model_term *a, const fleck_model_term *b)
{
    return memcmp(a->power, b->power, sizeof a->power) == 0;
}

static fleck_status add_term(fleck_relate_model *model, const fleck_model_term *term,
                             const char *name, fleck_error *err)
{
    if (model->count == FLECK_RELATE_TERMS)
        return fleck_fail(err, FLECK_BAD_CALL, "there are more than %d terms; leave some out",
                          FLECK_RELATE_TERMS);
    for (size_t i = 0; i < model->count; i++) {
        if (same_powers(&model->term[i], term))
            return fleck_fail(err, FLECK_BAD_CALL, "term %s stands twice; name it once", name);
    }
    model->term[model->count] = *term;
    model->term[model->count].name = fleck_copy_text(name);
    if (model->term[model->count].name == NULL)
        return no_memory(err);
    model->count++;
    return FLECK_OK;
}

/* Read "NAME" or "NAME^P" of a product. */
static fleck_status read_part(const fleck_relate *result, const char *text, size_t length,
                              const char *whole, struct part *part, fleck_error *err)
{
    const char *const hat = memchr(text, '^', length);
    const size_t name_length = hat != NULL ? (size_t)(hat - text) : length;

    part->power = 1;
    if (hat != NULL) {
        if (length != name_length + 2 || hat[1] < '1' || hat[1] > '0' + FLECK_CURVE_DEGREE)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "term %s has a power that cannot be fitted; give one from ^1 to ^%d",
                              whole, FLECK_CURVE_DEGREE);
        part->power = (unsigned)(hat[1] - '0');
    }
    for (part->factor = 0; part->factor < result->factor_count; part->factor++) {
        const char *const column = result->factors[part->factor].column;

        if (strlen(column) == name_length && memcmp(column, text, name_length) == 0)
            return FLECK_OK;
    }
    return fleck_fail(
        err, FLECK_BAD_CALL,
        "term %s holds '%.*s', which is no factor; name it in --factors or --category too", whole,
        (int)(name_length < 60 ? name_length : 60), text);
}

/* The name of a product with its category's level put in. */
static char *name_of(const fleck_relate *result, const struct part *parts, size_t count,
                     size_t level)
{
    fleck_text text = { 0 };

    for (size_t i = 0; i < count; i++) {
        const fleck_relate_factor *const factor = &result->factors[parts[i].factor];

        fleck_text_add_format(&text, "%s%s", i > 0 ? "*" : "", factor->column);
        if (factor->is_category)
            fleck_text_add_format(&text, "=%s", factor->levels[level]);
        else if (parts[i].power > 1)
            fleck_text_add_format(&text, "^%u", parts[i].power);
    }
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}

static size_t base_of(const fleck_relate_data *data, size_t factor, size_t level)
{
    size_t at = 0;

    while (data->base[at].factor != factor || data->base[at].level != level)
        at++;
    return at;
}

static fleck_status add_product(const fleck_relate_data *data, const fleck_relate *result,
                                const struct part *parts, size_t count, size_t level,
                                const char *whole, fleck_relate_model *model, fleck_error *err)
{
    fleck_model_term term = { 0 };
    char *name;
    fleck_status status;

    for (size_t i = 0; i < count; i++) {
        const bool is_category = result->factors[parts[i].factor].is_category;
        const size_t base = base_of(data, parts[i].factor, is_category ? level : 0);

        if (term.power[base] + parts[i].power > FLECK_CURVE_DEGREE)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "term %s has a power that cannot be fitted; give one up to ^%d",
                              whole, FLECK_CURVE_DEGREE);
        term.power[base] = (unsigned char)(term.power[base] + parts[i].power);
    }
    name = name_of(result, parts, count, level);
    status = name != NULL ? add_term(model, &term, name, err) : no_memory(err);
    fleck_free(name);
    return status;
}

static fleck_status read_term(const fleck_relate_data *data, const fleck_relate *result,
                              const char *text, fleck_relate_model *model, fleck_error *err)
{
    struct part parts[FLECK_RELATE_FACTORS];
    size_t count = 0, category = FLECK_RELATE_FACTORS;
    fleck_status status = FLECK_OK;

    for (const char *at = text;; at++) {
        const size_t length = strcspn(at, "*");

        if (count == FLECK_RELATE_FACTORS)
            return fleck_fail(err, FLECK_BAD_CALL, "term %.60s has too many factors; give fewer",
                              text);
        if ((status = read_part(result, at, length, text, &parts[count], err)) != FLECK_OK)
            return status;
        if (result->factors[parts[count].factor].is_category) {
            if (category != FLECK_RELATE_FACTORS || parts[count].power > 1)
                return fleck_fail(
                    err, FLECK_BAD_CALL,
                    "term %s has a category more than once; give it once, without a power", text);
            category = parts[count].factor;
        }
        count++;
        at += length;
        if (*at == '\0')
            break;
    }
    if (category == FLECK_RELATE_FACTORS)
        return add_product(data, result, parts, count, 0, text, model, err);
    for (size_t level = 1; level < result->factors[category].level_count && status == FLECK_OK;
         level++)
        status = add_product(data, result, parts, count, level, text, model, err);
    return status;
}

void fleck_relate_model_row(const fleck_relate_model *model, size_t base_count, const double *base,
                            double *row)
{
    for (size_t j = 0; j < model->count; j++) {
        row[j] = 1;
        for (size_t i = 0; i < base_count; i++) {
            for (unsigned p = 0; p < model->term[j].power[i]; p++)
                row[j] *= base[i];
        }
    }
}

void fleck_relate_model_slope(const fleck_relate_model *model, size_t base_count,
                              const double *base, size_t by, double *row)
{
    for (size_t j = 0; j < model->count; j++) {
        row[j] = model->term[j].power[by];
        for (size_t i = 0; i < base_count; i++) {
            for (unsigned p = i == by; p < model->term[j].power[i]; p++)
                row[j] *= base[i];
        }
    }
}

size_t fleck_relate_model_along(const fleck_relate_model *model, size_t base_count,
                                const double *base, size_t along, double middle, double half,
                                double *rows)
{
    size_t degree = 0;

    for (size_t i = 0; i < (FLECK_CURVE_DEGREE + 1) * model->count; i++)
        rows[i] = 0;
    for (size_t j = 0; j < model->count; j++) {
        const unsigned char *const power = model->term[j].power;
        double *const term = rows + j;

        term[0] = 1;
        for (size_t i = 0; i < base_count; i++) {
            for (unsigned p = 0; i != along && p < power[i]; p++)
                term[0] *= base[i];
        }
        for (unsigned p = 0; p < power[along]; p++) {
            for (size_t k = p + 2; k-- > 0;)
                term[k * model->count] = middle * term[k * model->count] +
                                         (k > 0 ? half * term[(k - 1) * model->count] : 0);
        }
        if (power[along] > degree)
            degree = power[along];
    }
    return degree;
}

bool fleck_relate_model_bends(const fleck_relate_model *model, size_t base)
{
    for (size_t j = 0; j < model->count; j++) {
        if (model->term[j].power[base] > 1)
            return true;
    }
    return false;
}

void fleck_relate_model_clear(fleck_relate_model *model)
{
    for (size_t i = 0; i < model->count; i++)
        fleck_free(model->term[i].name);
    *model = (fleck_relate_model){ 0 };
}

fleck_status fleck_relate_model_make(const fleck_relate_data *data, const fleck_relate *result,
                                     const char *const *terms, size_t term_count,
                                     fleck_relate_model *model, fleck_error *err)
{
    fleck_model_term term = { 0 };
    fleck_status status;

    *model = (fleck_relate_model){ 0 };
    status = add_term(model, &term, "intercept", err);
    for (size_t i = 0; i < data->base_count && status == FLECK_OK; i++) {
        term = (fleck_model_term){ 0 };
        term.power[i] = 1;
        status = add_term(model, &term, data->base[i].name, err);
    }
    for (size_t i = 0; i < term_count && status == FLECK_OK; i++)
        status = read_term(data, result, terms[i], model, err);
    return status;
}
