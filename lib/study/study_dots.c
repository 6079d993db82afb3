/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <string.h>

#include "core/memory.h"
#include "fleck/inputs.h"
#include "study/study_table.h"

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a table of dots; free some memory");
}

/* A cell as a number of 0 or more. */
static bool cell_number(const fleck_csv *table, size_t row, size_t column, double *value)
{
    return fleck_csv_number(table, fleck_csv_cell(table, row, column), value) && *value >= 0;
}

/* Keep the dots of a table that have a weight. Errors without a path. */
static fleck_status take_dots(const fleck_csv *table, fleck_study_dots *dots, fleck_error *err)
{
    const size_t rows = fleck_csv_row_count(table);
    size_t diameter_column, weight_column;

    if (!fleck_csv_find_column(table, "diameter_mm", &diameter_column) ||
        !fleck_csv_find_column(table, "weight_per_mm2", &weight_column))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "has no column diameter_mm or weight_per_mm2; measure again");
    dots->diameter_mm = fleck_alloc_array(rows, sizeof *dots->diameter_mm);
    dots->weight = fleck_alloc_array(rows, sizeof *dots->weight);
    if (dots->diameter_mm == NULL || dots->weight == NULL)
        return no_memory(err);
    for (size_t row = 1; row < rows; row++) {
        double diameter_mm, weight;

        if (fleck_csv_cell_count(table, row) != fleck_csv_cell_count(table, 0) ||
            !cell_number(table, row, diameter_column, &diameter_mm) ||
            !cell_number(table, row, weight_column, &weight))
            return fleck_fail(err, FLECK_BAD_INPUT, "line %zu is damaged; measure again",
                              fleck_csv_line(table, row));
        if (weight > 0) {
            dots->diameter_mm[dots->count] = diameter_mm;
            dots->weight[dots->count++] = weight;
        }
    }
    return FLECK_OK;
}

fleck_status fleck_study_read_dots(const fleck_study *study, size_t row, fleck_study_dots *dots,
                                   fleck_error *err)
{
    char *name = fleck_id_to_file_name(fleck_study_id(study, row));
    char *path = NULL;
    fleck_csv *table = NULL;
    fleck_error inner = { 0 };
    fleck_status status;

    *dots = (fleck_study_dots){ 0 };
    if (name != NULL)
        path = fleck_study_join(study->runs[study->rows[row].run].path, "dots", name, ".csv");
    if (path == NULL) {
        fleck_free(name);
        return no_memory(err);
    }
    status = fleck_csv_read(path, &table, &inner);
    if (status == FLECK_OK)
        status = take_dots(table, dots, &inner);
    if (status != FLECK_OK)
        fleck_study_fail_at(err, status, path, inner.message);
    fleck_csv_free(table);
    fleck_free(path);
    fleck_free(name);
    return status;
}

void fleck_study_dots_clear(fleck_study_dots *dots)
{
    if (dots == NULL)
        return;
    fleck_free(dots->diameter_mm);
    fleck_free(dots->weight);
    *dots = (fleck_study_dots){ 0 };
}
