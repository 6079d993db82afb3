/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "study/relate_data.h"

#include "core/memory.h"
#include "study/relate_take.h"

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the table of units; free some memory");
}

void fleck_relate_data_clear(fleck_relate_data *data)
{
    for (size_t i = 0; data->name != NULL && i < data->rows; i++)
        fleck_free(data->name[i]);
    for (size_t i = 0; i < data->base_count; i++)
        fleck_free(data->base[i].name);
    for (size_t i = 0; i < data->measure_count; i++)
        fleck_free(data->measure[i]);
    fleck_free(data->name);
    fleck_free(data->value);
    fleck_free(data->measure);
    fleck_free(data->measured);
    fleck_free(data->setting);
    *data = (fleck_relate_data){ 0 };
}

static void free_taking(fleck_relate_taking *taking)
{
    fleck_free(taking->paste);
    fleck_free(taking->base);
    fleck_free(taking->used);
    fleck_free(taking->patches);
    fleck_free(taking->setting);
    fleck_free(taking->measure_column);
    fleck_study_units_clear(&taking->units);
}

fleck_status fleck_relate_data_take(const fleck_study *study, const fleck_relate_options *options,
                                    fleck_relate_data *data, fleck_relate *result, fleck_error *err)
{
    fleck_relate_taking taking = { .study = study, .options = options };
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
    if (status != FLECK_OK ||
        (status = fleck_relate_take_columns(&taking, data, result, err)) != FLECK_OK ||
        (status = fleck_relate_take_units(&taking, data, result, err)) != FLECK_OK)
        goto done;
    result->patches = taking.patch_count;
    result->units = data->rows;
done:
    free_taking(&taking);
    return status;
}
