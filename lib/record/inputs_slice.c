/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/inputs.h"

#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "io/sha256.h"
#include "record/input_parts.h"

/* A scan of the list and where it first stands. */
struct scan {
    const char *path;
    size_t first, number; /* number: of scans in the order of their first patches */
};

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for the list of patches; free some memory");
}

static int by_path(const void *a, const void *b)
{
    const struct scan *const one = a, *const other = b;
    const int order = strcmp(one->path, other->path);

    return order != 0 ? order : one->first < other->first ? -1 : one->first > other->first;
}

static int by_first(const void *a, const void *b)
{
    const struct scan *const one = a, *const other = b;

    return one->first < other->first ? -1 : one->first > other->first;
}

/* Lengths before texts: no two lists give the same. */
static void add_counted(fleck_text *text, const char *part)
{
    fleck_text_add_format(text, "%zu:", strlen(part));
    fleck_text_add(text, part);
}

/* What tells a list from another: all that reaches a record or a table. */
static char *digest(const fleck_inputs *inputs)
{
    fleck_text text = { 0 };
    char *sha256 = NULL;

    for (size_t c = 0; c < inputs->column_count; c++)
        add_counted(&text, inputs->columns[c]);
    for (size_t i = 0; i < inputs->count; i++) {
        const fleck_input *const input = &inputs->items[i];

        add_counted(&text, input->id);
        add_counted(&text, input->path);
        if (input->has_region)
            fleck_text_add_format(&text, "%.17g,%.17g,%.17g,%.17g,%.17g,", input->region.x_mm,
                                  input->region.y_mm, input->region.width_mm,
                                  input->region.height_mm, input->tilt_deg);
        for (size_t c = 0; c < inputs->column_count; c++)
            add_counted(&text, input->cells != NULL ? input->cells[c] : "");
        add_counted(&text, input->failure != NULL ? input->failure : "");
    }
    for (size_t i = 0; i < inputs->failure_count; i++)
        add_counted(&text, inputs->failures[i].path);
    if (!text.failed)
        sha256 = fleck_alloc_array(FLECK_SHA256_TEXT_BYTES, 1);
    if (sha256 != NULL)
        fleck_sha256_bytes(text.bytes != NULL ? text.bytes : "", text.length, sha256);
    fleck_text_clear(&text);
    return sha256;
}

/* For each patch the number of its scan. */
static bool number_scans(const fleck_inputs *inputs, size_t *number)
{
    struct scan *const scans = fleck_alloc_array(inputs->count, sizeof *scans);
    size_t count = 0;

    if (scans == NULL)
        return false;
    for (size_t i = 0; i < inputs->count; i++)
        scans[i] = (struct scan){ inputs->items[i].path, i, 0 };
    if (inputs->count > 1)
        qsort(scans, inputs->count, sizeof *scans, by_path);
    for (size_t i = 0; i < inputs->count; i++) {
        /* until the numbers are known: the first patch of the scan */
        scans[i].number = i > 0 && strcmp(scans[i].path, scans[i - 1].path) == 0
                              ? scans[i - 1].number
                              : scans[i].first;
    }
    if (inputs->count > 1)
        qsort(scans, inputs->count, sizeof *scans, by_first);
    for (size_t i = 0; i < inputs->count; i++)
        number[i] = scans[i].number == i ? count++ : number[scans[i].number];
    fleck_free(scans);
    return true;
}

fleck_status fleck_inputs_take_slice(fleck_inputs *inputs, size_t slice, size_t of,
                                     fleck_error *err)
{
    size_t *number;
    size_t kept = 0;

    if (inputs->slice_of > 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the list is a slice already; take it from the whole list");
    if (slice < 1 || slice > of)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "slice %zu of %zu does not exist; choose one from 1 to %zu", slice, of,
                          of);
    number = fleck_alloc_array(inputs->count, sizeof *number);
    inputs->places = fleck_alloc_array(inputs->count, sizeof *inputs->places);
    inputs->whole_sha256 = digest(inputs);
    if (number == NULL || inputs->places == NULL || inputs->whole_sha256 == NULL ||
        !number_scans(inputs, number)) {
        fleck_free(number);
        return no_memory(err);
    }
    inputs->slice = slice;
    inputs->slice_of = of;
    inputs->whole_count = inputs->count;
    for (size_t i = 0; i < inputs->whole_count; i++) {
        if (number[i] % of != slice - 1) {
            fleck_input_clear(&inputs->items[i]);
            continue;
        }
        inputs->places[kept] = i;
        inputs->items[kept++] = inputs->items[i];
    }
    inputs->count = kept;
    for (size_t i = 0; slice > 1 && i < inputs->failure_count; i++) {
        fleck_free(inputs->failures[i].path);
        fleck_free(inputs->failures[i].message);
    }
    if (slice > 1)
        inputs->failure_count = 0;
    fleck_free(number);
    return FLECK_OK;
}
