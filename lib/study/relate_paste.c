/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Paste in per cent from what was poured together: grams of paste in 100 ml of the mix. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "study/relate_data.h"
#include "study/relate_words.h"

const char fleck_relate_paste_name[] = "paste_pct";

static int by_volumes(const void *a, const void *b)
{
    const fleck_relate_mix *const left = a;
    const fleck_relate_mix *const right = b;

    if (left->stock_ml != right->stock_ml)
        return left->stock_ml < right->stock_ml ? -1 : 1;
    return (left->water_ml > right->water_ml) - (left->water_ml < right->water_ml);
}

static fleck_status read_volume(const fleck_study *study, size_t row, size_t column, double *volume,
                                fleck_error *err)
{
    if (fleck_study_number(study, row, column, volume) && !(*volume < 0))
        return FLECK_OK;
    return fleck_fail(err, FLECK_BAD_CALL,
                      "column %s of patch %s is '%.60s', which is no volume; give ml, 0 or more",
                      fleck_study_column_name(study, column), fleck_study_id(study, row),
                      fleck_study_text(study, row, column));
}

/* "14 ml of stock x 0.25 g/ml = 3.5 g in 14 + 86 = 100 ml: 3.5 g per 100 ml (6 patches)" */
static char *arithmetic(const fleck_relate_mix *mix, double stock_g_per_ml)
{
    fleck_text text = { 0 };

    fleck_words_add_number(&text, mix->stock_ml);
    fleck_text_add(&text, " ml of stock x ");
    fleck_words_add_number(&text, stock_g_per_ml);
    fleck_text_add(&text, " g/ml = ");
    fleck_words_add_number(&text, mix->stock_ml * stock_g_per_ml);
    fleck_text_add(&text, " g in ");
    fleck_words_add_number(&text, mix->stock_ml);
    fleck_text_add(&text, " + ");
    fleck_words_add_number(&text, mix->water_ml);
    fleck_text_add(&text, " = ");
    fleck_words_add_number(&text, mix->stock_ml + mix->water_ml);
    fleck_text_add(&text, " ml: ");
    fleck_words_add_number(&text, mix->paste_pct);
    fleck_text_add_format(&text, " g per 100 ml (%zu %s)", mix->patches,
                          mix->patches == 1 ? "patch" : "patches");
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the mixes; free some memory");
}

/* Sort the mixes of all patches and keep each once. */
static fleck_status gather(fleck_relate *result, double stock_g_per_ml, fleck_error *err)
{
    size_t kept = 0;

    if (result->mix_count > 0)
        qsort(result->mixes, result->mix_count, sizeof *result->mixes, by_volumes);
    for (size_t i = 0; i < result->mix_count; i++) {
        if (kept > 0 && by_volumes(&result->mixes[kept - 1], &result->mixes[i]) == 0)
            result->mixes[kept - 1].patches++;
        else
            result->mixes[kept++] = result->mixes[i];
    }
    result->mix_count = kept;
    for (size_t i = 0; i < kept; i++) {
        result->mixes[i].sentence = arithmetic(&result->mixes[i], stock_g_per_ml);
        if (result->mixes[i].sentence == NULL)
            return no_memory(err);
    }
    return FLECK_OK;
}

fleck_status fleck_relate_mix_paste(const fleck_study *study, const fleck_relate_options *options,
                                    double *percent, fleck_relate *result, fleck_error *err)
{
    const size_t rows = fleck_study_row_count(study);
    size_t stock_column, water_column;
    fleck_status status;

    if (fleck_study_find_column(study, fleck_relate_paste_name) != FLECK_STUDY_NONE)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "the table has a column %s of its own; leave out --paste-percent or rename it",
            fleck_relate_paste_name);
    if (!(options->stock_g_per_ml > 0) || !isfinite(options->stock_g_per_ml))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the stock's paste is no weight; give g per ml above 0");
    if ((status = fleck_study_need_column(study, options->stock_ml_column, "column", &stock_column,
                                          err)) != FLECK_OK ||
        (status = fleck_study_need_column(study, options->water_ml_column, "column", &water_column,
                                          err)) != FLECK_OK)
        return status;
    result->mixes = fleck_alloc_zeroed(rows, sizeof *result->mixes);
    if (result->mixes == NULL)
        return no_memory(err);
    for (size_t row = 0; row < rows; row++) {
        double stock, water;

        if ((status = read_volume(study, row, stock_column, &stock, err)) != FLECK_OK ||
            (status = read_volume(study, row, water_column, &water, err)) != FLECK_OK)
            return status;
        percent[row] = NAN;
        if (isnan(stock) || isnan(water))
            continue;
        if (!(stock + water > 0))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "patch %s has no stock and no water; give its volumes in ml",
                              fleck_study_id(study, row));
        /* 10 + 90 ml and 20 + 180 ml are one setting: what rounding parts is joined */
        percent[row] = round(100 * stock * options->stock_g_per_ml / (stock + water) * 1e9) / 1e9;
        result->mixes[result->mix_count++] =
            (fleck_relate_mix){ stock, water, percent[row], 1, NULL };
    }
    return gather(result, options->stock_g_per_ml, err);
}
