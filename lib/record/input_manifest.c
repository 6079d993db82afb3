/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A manifest's rows as patches: `scan`, `patch`, `region` and `tilt_deg` are read, all else is carried
 * along.
 */
#include "record/input_parts.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "io/csv.h"

struct fleck_manifest {
    const char *path;
    fleck_csv *csv;
    char **names;    /* of the columns, trimmed */
    size_t *columns; /* for each, its place among the list's */
    size_t count;
    size_t scan;
    size_t patch;  /* SIZE_MAX when there is none */
    size_t region; /* the same */
    size_t tilt;   /* the same */
};

static int compare_names(const void *a, const void *b)
{
    return strcmp(*(char *const *)a, *(char *const *)b);
}

static fleck_status fail_without_scan(const fleck_manifest *manifest, fleck_error *err)
{
    fleck_text found = { 0 };
    char buffer[FLECK_SHORT_TEXT_BYTES];
    size_t i;
    fleck_status status;

    for (i = 0; i < manifest->count && found.length < 200; i++)
        fleck_text_add_format(&found, "%s%s", i > 0 ? ", " : "",
                              fleck_short_text(manifest->names[i], buffer));
    fleck_text_add(&found, i < manifest->count ? ", ..." : "");
    if (found.failed)
        status = fleck_inputs_no_memory(err);
    else
        status = fleck_fail(err, FLECK_BAD_INPUT,
                            "has no column \"scan\" (its columns: %s); call the column of the "
                            "files \"scan\"",
                            found.bytes);
    fleck_text_clear(&found);
    return status;
}

static fleck_status check_names(const fleck_manifest *manifest, fleck_error *err)
{
    const size_t count = manifest->count;
    char buffer[FLECK_SHORT_TEXT_BYTES];
    char **sorted;
    fleck_status status = FLECK_OK;

    if (manifest->scan == SIZE_MAX)
        return fail_without_scan(manifest, err);
    for (size_t i = 0; i < count; i++) {
        if (manifest->names[i][0] == '\0')
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "has no name over its column %zu; name the column or remove it",
                              i + 1);
        if (strcmp(manifest->names[i], "id") == 0)
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "has a column \"id\", which is fleck's own name; rename it, or call "
                              "it patch");
    }
    sorted = fleck_alloc_array(count, sizeof *sorted);
    if (sorted == NULL)
        return fleck_inputs_no_memory(err);
    memcpy(sorted, manifest->names, count * sizeof *sorted);
    qsort(sorted, count, sizeof *sorted, compare_names);
    for (size_t i = 1; i < count && status == FLECK_OK; i++) {
        if (strcmp(sorted[i - 1], sorted[i]) == 0)
            status = fleck_fail(err, FLECK_BAD_INPUT, "has two columns \"%s\"; rename one of them",
                                fleck_short_text(sorted[i], buffer));
    }
    fleck_free(sorted);
    return status;
}

/* Spreadsheets leave such rows below a table. */
static bool is_blank(const fleck_csv *csv, size_t row)
{
    for (size_t i = 0; i < fleck_csv_cell_count(csv, row); i++) {
        size_t length;

        (void)fleck_trimmed(fleck_csv_cell(csv, row, i), &length);
        if (length > 0)
            return false;
    }
    return true;
}

static size_t find(const fleck_csv *csv, const char *name)
{
    size_t column = SIZE_MAX;

    (void)fleck_csv_find_column(csv, name, &column);
    return column;
}

fleck_status fleck_manifest_open(const char *path, fleck_manifest **out, fleck_error *err)
{
    fleck_manifest *manifest = fleck_alloc_zeroed(1, sizeof *manifest);
    size_t row = 1;
    fleck_status status;

    *out = NULL;
    if (manifest == NULL)
        return fleck_inputs_no_memory(err);
    manifest->path = path;
    if ((status = fleck_csv_read(path, &manifest->csv, err)) != FLECK_OK)
        goto done;
    manifest->count = fleck_csv_cell_count(manifest->csv, 0);
    manifest->names = fleck_alloc_zeroed(manifest->count, sizeof *manifest->names);
    manifest->columns = fleck_alloc_zeroed(manifest->count, sizeof *manifest->columns);
    if (manifest->names == NULL || manifest->columns == NULL) {
        status = fleck_inputs_no_memory(err);
        goto done;
    }
    for (size_t i = 0; i < manifest->count; i++) {
        size_t length;
        const char *name = fleck_trimmed(fleck_csv_cell(manifest->csv, 0, i), &length);

        manifest->names[i] = fleck_copy_bytes(name, length);
        if (manifest->names[i] == NULL) {
            status = fleck_inputs_no_memory(err);
            goto done;
        }
    }
    manifest->scan = find(manifest->csv, "scan");
    manifest->patch = find(manifest->csv, "patch");
    manifest->region = find(manifest->csv, "region");
    manifest->tilt = find(manifest->csv, "tilt_deg");
    if ((status = check_names(manifest, err)) != FLECK_OK)
        goto done;
    while (row < fleck_csv_row_count(manifest->csv) && is_blank(manifest->csv, row))
        row++;
    if (row == fleck_csv_row_count(manifest->csv)) {
        status =
            fleck_fail(err, FLECK_BAD_INPUT, "has a header but no rows; add a row for each patch");
        goto done;
    }
    *out = manifest;
    manifest = NULL;
done:
    fleck_manifest_close(manifest);
    return status;
}

fleck_status fleck_manifest_add_columns(fleck_manifest *manifest, fleck_inputs *inputs,
                                        fleck_error *err)
{
    const size_t before = inputs->column_count;
    size_t most;
    char **columns;

    if (!size_add(before, manifest->count, &most) || !size_mul(most, sizeof *columns, &most) ||
        (columns = fleck_resize(inputs->columns, most)) == NULL)
        return fleck_inputs_no_memory(err);
    inputs->columns = columns;
    for (size_t i = 0; i < manifest->count; i++) {
        size_t at = 0;

        while (at < before && strcmp(columns[at], manifest->names[i]) != 0)
            at++;
        if (at == before) { /* names within one manifest all differ */
            at = inputs->column_count;
            columns[at] = fleck_copy_text(manifest->names[i]);
            if (columns[at] == NULL)
                return fleck_inputs_no_memory(err);
            inputs->column_count++;
        }
        manifest->columns[i] = at;
    }
    return FLECK_OK;
}

/*
 * The cells of a row as one block: pointers, an empty text for the columns the row does not have,
 * and the texts. Without a manifest all are empty.
 */
static char **make_cells(const fleck_manifest *manifest, size_t row, size_t column_count)
{
    const size_t count = manifest != NULL ? manifest->count : 0;
    size_t bytes;
    char **cells;
    char *text;

    if (!size_mul(column_count, sizeof *cells, &bytes) || !size_add(bytes, 1, &bytes))
        return NULL;
    for (size_t i = 0; i < count; i++) {
        if (!size_add(bytes, strlen(fleck_csv_cell(manifest->csv, row, i)) + 1, &bytes))
            return NULL;
    }
    cells = fleck_alloc_array(bytes, 1);
    if (cells == NULL)
        return NULL;
    text = (char *)(cells + column_count);
    *text = '\0';
    for (size_t i = 0; i < column_count; i++)
        cells[i] = text;
    text++;
    for (size_t i = 0; i < count; i++) {
        const char *cell = fleck_csv_cell(manifest->csv, row, i);
        const size_t length = strlen(cell) + 1;

        memcpy(text, cell, length);
        cells[manifest->columns[i]] = text;
        text += length;
    }
    return cells;
}

/* "X Y W H", numbers with blanks between. */
static bool read_region(const fleck_csv *csv, const char *cell, fleck_box_mm *region)
{
    double numbers[4];

    for (size_t i = 0; i < 4; i++) {
        char token[64]; /* no length in mm is longer */
        size_t length;

        cell += strspn(cell, " \t");
        length = strcspn(cell, " \t");
        if (length == 0 || length >= sizeof token)
            return false;
        memcpy(token, cell, length);
        token[length] = '\0';
        if (!fleck_csv_number(csv, token, &numbers[i]))
            return false;
        cell += length;
    }
    if (cell[strspn(cell, " \t")] != '\0' || !(numbers[2] > 0) || !(numbers[3] > 0))
        return false;
    *region = (fleck_box_mm){ numbers[0], numbers[1], numbers[2], numbers[3] };
    return true;
}

/* Sets the tilt; the row's fault as an error. */
static fleck_status check_tilt(const fleck_manifest *manifest, size_t row, fleck_input *input,
                               fleck_error *fault)
{
    const fleck_csv *csv = manifest->csv;
    const size_t line = fleck_csv_line(csv, row);
    const char *cell;
    char buffer[FLECK_SHORT_TEXT_BYTES];
    size_t length;

    if (manifest->tilt == SIZE_MAX)
        return FLECK_OK;
    cell = fleck_trimmed(fleck_csv_cell(csv, row, manifest->tilt), &length);
    if (length == 0)
        return FLECK_OK;
    if (!fleck_csv_number(csv, cell, &input->tilt_deg) ||
        !(input->tilt_deg >= -180 && input->tilt_deg <= 180))
        return fleck_fail(fault, FLECK_BAD_INPUT,
                          "line %zu of the manifest has the tilt \"%s\"; write degrees from -180 to "
                          "180, anticlockwise",
                          line, fleck_short_text(cell, buffer));
    if (!input->has_region && input->tilt_deg != 0)
        return fleck_fail(fault, FLECK_BAD_INPUT,
                          "line %zu of the manifest has a tilt and no region; fill in the region "
                          "that is turned",
                          line);
    return FLECK_OK;
}

/* The row's fault as an error, FLECK_OK when it has none; sets region and tilt. */
static fleck_status check_row(const fleck_manifest *manifest, size_t row, fleck_input *input,
                              fleck_error *fault)
{
    const fleck_csv *csv = manifest->csv;
    const size_t line = fleck_csv_line(csv, row), count = fleck_csv_cell_count(csv, row);
    const char *region;
    size_t length;

    if (count != manifest->count)
        return fleck_fail(fault, FLECK_BAD_INPUT,
                          "line %zu of the manifest has %zu %s where the header has %zu; put in "
                          "what is missing, or quote cells that hold the separator",
                          line, count, count == 1 ? "cell" : "cells", manifest->count);
    (void)fleck_trimmed(fleck_csv_cell(csv, row, manifest->scan), &length);
    if (length == 0)
        return fleck_fail(fault, FLECK_BAD_INPUT,
                          "line %zu of the manifest names no scan; fill in its column \"scan\"",
                          line);
    if (manifest->region == SIZE_MAX)
        return check_tilt(manifest, row, input, fault);
    region = fleck_trimmed(fleck_csv_cell(csv, row, manifest->region), &length);
    if (length == 0)
        return check_tilt(manifest, row, input, fault);
    input->has_region = read_region(csv, region, &input->region);
    if (!input->has_region) {
        char buffer[FLECK_SHORT_TEXT_BYTES];

        return fleck_fail(
            fault, FLECK_BAD_INPUT,
            "line %zu of the manifest has the region \"%s\"; write X Y W H in mm with "
            "blanks between, W and H above 0",
            line, fleck_short_text(region, buffer));
    }
    return check_tilt(manifest, row, input, fault);
}

/* Make room for an entry and take it over, also on failure. */
static fleck_status add_entry(fleck_entries *entries, fleck_entry *entry, fleck_error *err)
{
    fleck_entry *items =
        fleck_grow(entries->items, &entries->capacity, entries->count, sizeof *items);
    const fleck_input *input = &entry->input;

    if (items != NULL)
        entries->items = items;
    if (items == NULL || input->id == NULL || input->path == NULL || input->cells == NULL) {
        fleck_input_clear(&entry->input);
        return fleck_inputs_no_memory(err);
    }
    items[entries->count++] = *entry;
    return FLECK_OK;
}

static char *copy_stem(const char *path)
{
    size_t begin, end, stem_end;

    fleck_path_name(path, &begin, &end, &stem_end);
    return fleck_copy_bytes(path + begin, stem_end - begin);
}

static char *path_of_scan(const fleck_manifest *manifest, const char *scan, size_t length)
{
    size_t begin, end, stem_end;
    char *name = fleck_copy_bytes(scan, length), *path;

    if (name == NULL || name[0] == '/')
        return name;
    fleck_path_name(manifest->path, &begin, &end, &stem_end);
    path = fleck_path_join(manifest->path, begin, name);
    fleck_free(name);
    return path;
}

static fleck_status add_row(const fleck_manifest *manifest, size_t row, size_t column_count,
                            fleck_entries *entries, fleck_error *err)
{
    const fleck_csv *csv = manifest->csv;
    const size_t line = fleck_csv_line(csv, row);
    fleck_entry entry = { .manifest = manifest->path, .line = line };
    fleck_input *input = &entry.input;
    size_t scan_length, patch_length;
    const char *scan = fleck_trimmed(fleck_csv_cell(csv, row, manifest->scan), &scan_length);
    const char *patch = fleck_trimmed(fleck_csv_cell(csv, row, manifest->patch), &patch_length);
    fleck_error fault;

    entry.named = patch_length > 0 || scan_length == 0;
    input->cells = make_cells(manifest, row, column_count);
    input->path = scan_length > 0 ? path_of_scan(manifest, scan, scan_length)
                                  : fleck_copy_text(manifest->path);
    if (patch_length > 0) {
        input->id = fleck_copy_bytes(patch, patch_length);
    } else if (scan_length == 0) {
        fleck_text id = { 0 };

        fleck_text_add_format(&id, "line %zu", line);
        if (id.failed)
            fleck_text_clear(&id);
        input->id = id.bytes;
    } else if (input->path != NULL) {
        input->id = copy_stem(input->path);
    }
    if (check_row(manifest, row, input, &fault) != FLECK_OK) {
        input->failure = fleck_copy_text(fault.message);
        if (input->failure == NULL) {
            fleck_input_clear(input);
            return fleck_inputs_no_memory(err);
        }
    }
    return add_entry(entries, &entry, err);
}

fleck_status fleck_manifest_add_rows(const fleck_manifest *manifest, const fleck_inputs *inputs,
                                     fleck_entries *entries, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t row = 1; status == FLECK_OK && row < fleck_csv_row_count(manifest->csv); row++) {
        if (!is_blank(manifest->csv, row))
            status = add_row(manifest, row, inputs->column_count, entries, err);
    }
    return status;
}

fleck_status fleck_scan_add_entry(const char *path, const fleck_inputs *inputs,
                                  fleck_entries *entries, fleck_error *err)
{
    fleck_entry entry = { 0 };

    entry.input.id = copy_stem(path);
    entry.input.path = fleck_copy_text(path);
    entry.input.cells = make_cells(NULL, 0, inputs->column_count);
    return add_entry(entries, &entry, err);
}

void fleck_manifest_close(fleck_manifest *manifest)
{
    if (manifest == NULL)
        return;
    for (size_t i = 0; manifest->names != NULL && i < manifest->count; i++)
        fleck_free(manifest->names[i]);
    fleck_free(manifest->names);
    fleck_free(manifest->columns);
    fleck_csv_free(manifest->csv);
    fleck_free(manifest);
}
