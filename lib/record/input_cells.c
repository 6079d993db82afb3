/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Cells of patches that no manifest has given. */
#include <string.h>

#include "core/memory.h"
#include "fleck/inputs.h"
#include "record/input_parts.h"

char **fleck_input_cells(char *const *cells, size_t before, size_t count, size_t at, const char *text)
{
    size_t bytes;
    char **made, *next;

    if (!size_mul(count, sizeof *made, &bytes) || !size_add(bytes, 1, &bytes))
        return NULL;
    for (size_t i = 0; i < count; i++) {
        const char *const cell = i == at ? text : cells != NULL && i < before ? cells[i] : "";

        if (!size_add(bytes, strlen(cell) + 1, &bytes))
            return NULL;
    }
    made = fleck_alloc_array(bytes, 1);
    if (made == NULL)
        return NULL;
    next = (char *)(made + count);
    for (size_t i = 0; i < count; i++) {
        const char *const cell = i == at ? text : cells != NULL && i < before ? cells[i] : "";
        const size_t length = strlen(cell) + 1;

        made[i] = memcpy(next, cell, length);
        next += length;
    }
    return made;
}

static size_t find_column(const fleck_inputs *inputs, const char *column)
{
    size_t i = 0;

    while (i < inputs->column_count && strcmp(inputs->columns[i], column) != 0)
        i++;
    return i;
}

/* One more column, which all patches have empty but one. */
static fleck_status add_column(fleck_inputs *inputs, size_t patch, const char *column, const char *text,
                               fleck_error *err)
{
    const size_t at = inputs->column_count;
    char **const columns = fleck_alloc_array(at + 1, sizeof *columns);
    char ***const cells = fleck_alloc_zeroed(inputs->count, sizeof *cells);
    char *const name = fleck_copy_text(column);
    bool good = columns != NULL && cells != NULL && name != NULL;

    for (size_t i = 0; good && i < inputs->count; i++) {
        cells[i] = fleck_input_cells(inputs->items[i].cells, at, at + 1, at, i == patch ? text : "");
        good = cells[i] != NULL;
    }
    if (good) {
        if (at > 0)
            memcpy(columns, inputs->columns, at * sizeof *columns);
        columns[at] = name;
        fleck_free(inputs->columns);
        inputs->columns = columns;
        inputs->column_count++;
    } else {
        fleck_free(columns);
        fleck_free(name);
    }
    for (size_t i = 0; cells != NULL && i < inputs->count; i++) {
        char **const gone = good ? inputs->items[i].cells : cells[i];

        if (good)
            inputs->items[i].cells = cells[i];
        fleck_free(gone);
    }
    fleck_free(cells);
    return good ? FLECK_OK : fleck_inputs_no_memory(err);
}

fleck_status fleck_inputs_set_cell(fleck_inputs *inputs, const char *id, const char *column, const char *text,
                                   fleck_error *err)
{
    size_t patch = 0, at;
    char **cells;

    if (column == NULL || column[0] == '\0' || strcmp(column, "id") == 0)
        return fleck_fail(err, FLECK_BAD_CALL, "a column cannot be called \"%s\"; give another name",
                          column != NULL ? column : "");
    while (id != NULL && patch < inputs->count &&
           (inputs->items[patch].failure != NULL || strcmp(inputs->items[patch].id, id) != 0))
        patch++;
    if (id == NULL || patch == inputs->count)
        return fleck_fail(err, FLECK_BAD_CALL, "there is no patch with this id; add it first");
    if (text == NULL)
        text = "";
    at = find_column(inputs, column);
    if (at == inputs->column_count)
        return add_column(inputs, patch, column, text, err);
    cells = fleck_input_cells(inputs->items[patch].cells, inputs->column_count, inputs->column_count, at, text);
    if (cells == NULL)
        return fleck_inputs_no_memory(err);
    fleck_free(inputs->items[patch].cells);
    inputs->items[patch].cells = cells;
    return FLECK_OK;
}
