/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Scans that are no files join the list. */
#include <string.h>

#include "core/memory.h"
#include "fleck/inputs.h"
#include "io/scan_reader.h"
#include "record/input_parts.h"

static fleck_status check_id(const fleck_inputs *inputs, const char *id, fleck_error *err)
{
    if (id == NULL || id[0] == '\0')
        return fleck_fail(err, FLECK_BAD_CALL, "the scan has no id; give one");
    if (inputs->slice_of > 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the list was cut in slices before; add all scans, then take the slice");
    for (size_t i = 0; i < inputs->count; i++) {
        if (inputs->items[i].failure == NULL && strcmp(inputs->items[i].id, id) == 0)
            return fleck_fail(err, FLECK_BAD_CALL, "there is a patch with this id already; give another");
    }
    return FLECK_OK;
}

static fleck_status add(fleck_inputs *inputs, const char *id, const fleck_input_source *source,
                        fleck_error *err)
{
    fleck_entries entries = { 0 };
    fleck_input *items;
    fleck_input_source *sources;
    char *own_id = NULL;
    fleck_status status;

    if ((status = check_id(inputs, id, err)) != FLECK_OK)
        return status;
    items = fleck_grow(inputs->items, &inputs->capacity, inputs->count, sizeof *items);
    if (items != NULL)
        inputs->items = items;
    sources = fleck_grow(inputs->sources, &inputs->source_capacity, inputs->source_count, sizeof *sources);
    if (sources != NULL)
        inputs->sources = sources;
    own_id = fleck_copy_text(id);
    if (items == NULL || sources == NULL || own_id == NULL)
        status = fleck_inputs_no_memory(err);
    if (status == FLECK_OK)
        status = fleck_scan_add_entry(id, inputs, &entries, err);
    if (status == FLECK_OK) {
        sources[inputs->source_count++] = *source;
        items[inputs->count] = entries.items[0].input;
        fleck_free(items[inputs->count].id); /* the stem of a path */
        items[inputs->count].id = own_id;
        items[inputs->count].source = inputs->source_count;
        inputs->count++;
        own_id = NULL;
    }
    fleck_free(own_id);
    fleck_free(entries.items);
    return status;
}

fleck_status fleck_inputs_add_memory(fleck_inputs *inputs, const char *id, const void *bytes,
                                     size_t size, fleck_error *err)
{
    const fleck_input_source source = { .bytes = bytes, .size = size };

    if (bytes == NULL)
        return fleck_fail(err, FLECK_BAD_CALL, "there are no bytes; give those of a PNG, TIFF or JPEG");
    return add(inputs, id, &source, err);
}

fleck_status fleck_inputs_add_rows(fleck_inputs *inputs, const char *id,
                                   const fleck_row_source *source, fleck_error *err)
{
    fleck_input_source one = { 0 };
    const fleck_status status = fleck_scan_rows_take(source, &one.rows, err);

    return status == FLECK_OK ? add(inputs, id, &one, err) : status;
}
