/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The study reads records without their lists of numbers; here they are read whole. */
#include "report/run_patch.h"

#include <math.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>

#include "core/memory.h"
#include "fleck/inputs.h"
#include "io/csv.h"
#include "study/study_table.h"

/* Far above any record; common practice, no source. */
enum { MOST_RECORD_BYTES = 64 * 1024 * 1024 };

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a patch; free some memory");
}

bool run_file_read(const char *path, size_t most, char **bytes, size_t *size)
{
    struct stat about;
    FILE *stream = NULL;
    bool read = false;

    *bytes = NULL;
    *size = 0;
    if (stat(path, &about) != 0 || !S_ISREG(about.st_mode) || about.st_size < 0 ||
        (unsigned long long)about.st_size > most)
        return false;
    *bytes = fleck_alloc_array((size_t)about.st_size + 1, 1);
    if (*bytes != NULL)
        stream = fopen(path, "rb");
    if (stream != NULL) {
        *size = (size_t)about.st_size;
        read = fread(*bytes, 1, *size, stream) == *size;
        fclose(stream);
    }
    if (!read) {
        fleck_free(*bytes);
        *bytes = NULL;
        *size = 0;
    } else {
        (*bytes)[*size] = '\0';
    }
    return read;
}

static fleck_status read_record(const char *path, fleck_record *record, fleck_error *err)
{
    fleck_error inner = { 0 };
    char *bytes = NULL;
    size_t size = 0;
    fleck_status status = FLECK_OK;

    if (!run_file_read(path, MOST_RECORD_BYTES, &bytes, &size))
        return fleck_study_fail_at(err, FLECK_BAD_INPUT, path, "cannot be read; measure again");
    if ((status = fleck_record_from_json(bytes, size, record, &inner)) != FLECK_OK)
        fleck_study_fail_at(err, status, path, inner.message);
    fleck_free(bytes);
    return status;
}

/* A cell as a number of 0 or more; an empty one is NAN. */
static bool take_number(const fleck_csv *table, size_t row, size_t column, double *value)
{
    const char *const cell = fleck_csv_cell(table, row, column);

    *value = NAN;
    return cell[0] == '\0' || (fleck_csv_number(table, cell, value) && *value >= 0);
}

enum dot_column { DIAMETER, WEIGHT, X, Y, NEAR, DOT_COLUMNS };

/*
 * Weight of a nearest-neighbour distance in a box: 0 where the border is nearer than the neighbour.
 * Source: Hanisch (1984).
 */
static double near_weight(const fleck_record *record, double x_mm, double y_mm, double near_mm)
{
    const double width_mm = record->region.width_mm, height_mm = record->region.height_mm;
    const double border_mm = fmin(fmin(x_mm, width_mm - x_mm), fmin(y_mm, height_mm - y_mm));

    if (!(near_mm < border_mm))
        return 0;
    return 1 / ((width_mm - 2 * near_mm) * (height_mm - 2 * near_mm));
}

static fleck_status take_dots(const fleck_csv *table, run_patch *patch, fleck_error *err)
{
    static const char *const names[DOT_COLUMNS] = { "diameter_mm", "weight_per_mm2", "x_mm", "y_mm",
                                                    "nn_mm" };
    const size_t rows = fleck_csv_row_count(table);
    size_t column[DOT_COLUMNS];

    for (size_t i = 0; i < DOT_COLUMNS; i++) {
        if (!fleck_csv_find_column(table, names[i], &column[i]))
            return fleck_fail(err, FLECK_BAD_INPUT, "has no column %s; measure again", names[i]);
    }
    patch->diameter_mm = fleck_alloc_array(rows, sizeof *patch->diameter_mm);
    patch->weight = fleck_alloc_array(rows, sizeof *patch->weight);
    patch->near_mm = fleck_alloc_array(rows, sizeof *patch->near_mm);
    patch->near_weight = fleck_alloc_array(rows, sizeof *patch->near_weight);
    if (patch->diameter_mm == NULL || patch->weight == NULL || patch->near_mm == NULL ||
        patch->near_weight == NULL)
        return no_memory(err);
    for (size_t row = 1; row < rows; row++) {
        double value[DOT_COLUMNS], weight = 1;

        for (size_t i = 0; i < DOT_COLUMNS; i++) {
            if (!take_number(table, row, column[i], &value[i]))
                return fleck_fail(err, FLECK_BAD_INPUT, "line %zu is damaged; measure again",
                                  fleck_csv_line(table, row));
        }
        if (value[WEIGHT] > 0 && value[DIAMETER] > 0) {
            patch->diameter_mm[patch->dot_count] = value[DIAMETER];
            patch->weight[patch->dot_count++] = value[WEIGHT];
        }
        if (patch->near_weighted)
            weight = near_weight(&patch->record, value[X], value[Y], value[NEAR]);
        if (value[NEAR] > 0 && weight > 0) {
            patch->near_mm[patch->near_count] = value[NEAR];
            patch->near_weight[patch->near_count++] = weight;
        }
    }
    return FLECK_OK;
}

fleck_status run_patch_read(const fleck_study *study, size_t row, run_patch *patch, fleck_error *err)
{
    const char *const run = fleck_study_run_path(study, fleck_study_run_of(study, row));
    char *const name = fleck_id_to_file_name(fleck_study_id(study, row));
    char *record_path = NULL, *dots_path = NULL;
    fleck_csv *table = NULL;
    struct stat about;
    fleck_error inner = { 0 };
    fleck_status status;

    memset(patch, 0, sizeof *patch);
    fleck_record_init(&patch->record);
    if (name != NULL) {
        record_path = fleck_study_join(run, "records", name, ".json");
        dots_path = fleck_study_join(run, "dots", name, ".csv");
    }
    if (record_path == NULL || dots_path == NULL) {
        status = no_memory(err);
        goto done;
    }
    if ((status = read_record(record_path, &patch->record, err)) != FLECK_OK)
        goto done;
    patch->near_weighted = patch->record.settings.mask == NULL &&
                           !(fabs(patch->record.settings.tilt_deg) > 0);
    if (stat(dots_path, &about) == 0) {
        status = fleck_csv_read(dots_path, &table, &inner);
        if (status == FLECK_OK)
            status = take_dots(table, patch, &inner);
        if (status != FLECK_OK)
            fleck_study_fail_at(err, status, dots_path, inner.message);
    }
done:
    fleck_csv_free(table);
    fleck_free(dots_path);
    fleck_free(record_path);
    fleck_free(name);
    return status;
}

void run_patch_clear(run_patch *patch)
{
    if (patch == NULL)
        return;
    fleck_record_clear(&patch->record);
    fleck_free(patch->diameter_mm);
    fleck_free(patch->weight);
    fleck_free(patch->near_mm);
    fleck_free(patch->near_weight);
    memset(patch, 0, sizeof *patch);
    fleck_record_init(&patch->record);
}
