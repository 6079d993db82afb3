/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "study/study_table.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"

fleck_status fleck_study_fail_at(fleck_error *err, fleck_status status, const char *path,
                                 const char *message)
{
    enum { LONGEST = 200 }; /* leaves room for the message */
    const size_t length = strlen(path);
    const char *end = path;

    if (length > LONGEST) {
        end = path + length - LONGEST;
        while (((unsigned char)*end & 0xc0) == 0x80) /* not within a character */
            end++;
    }
    return fleck_fail(err, status, "%s%s: %s", end > path ? "..." : "", end, message);
}

char *fleck_study_join(const char *run, const char *part, const char *name, const char *ending)
{
    fleck_text text = { 0 };

    fleck_text_add_format(&text, "%s/%s%s%s%s", run, part, *part != '\0' ? "/" : "", name, ending);
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}

bool fleck_study_comma_number(const char *cell, double *value)
{
    char copy[64];
    char *comma;

    if (fleck_text_to_number(cell, value))
        return true;
    if (strlen(cell) >= sizeof copy || strchr(cell, '.') != NULL)
        return false;
    memcpy(copy, cell, strlen(cell) + 1);
    comma = strchr(copy, ',');
    if (comma == NULL)
        return false;
    *comma = '.';
    return fleck_text_to_number(copy, value);
}

void fleck_study_free(fleck_study *study)
{
    if (study == NULL)
        return;
    for (size_t i = 0; i < study->run_count; i++) {
        fleck_free(study->runs[i].path);
        fleck_csv_free(study->runs[i].table);
        fleck_free(study->runs[i].place);
        fleck_free(study->runs[i].decimal_comma);
    }
    for (size_t i = 0; i < study->column_count; i++)
        fleck_free(study->columns[i].name);
    for (size_t i = 0; i < study->row_count; i++) {
        for (size_t s = 0; s < FLECK_STUDY_SETTINGS; s++)
            fleck_free(study->rows[i].settings[s]);
    }
    fleck_free(study->runs);
    fleck_free(study->columns);
    fleck_free(study->rows);
    fleck_free(study);
}

size_t fleck_study_run_count(const fleck_study *study)
{
    return study->run_count;
}

const char *fleck_study_run_path(const fleck_study *study, size_t run)
{
    return study->runs[run].path;
}

size_t fleck_study_row_count(const fleck_study *study)
{
    return study->row_count;
}

const char *fleck_study_id(const fleck_study *study, size_t row)
{
    const fleck_study_row *const at = &study->rows[row];
    const fleck_study_run *const run = &study->runs[at->run];

    return fleck_csv_cell(run->table, at->table_row, run->id_column);
}

size_t fleck_study_run_of(const fleck_study *study, size_t row)
{
    return study->rows[row].run;
}

size_t fleck_study_column_count(const fleck_study *study)
{
    return study->column_count;
}

const char *fleck_study_column_name(const fleck_study *study, size_t column)
{
    return study->columns[column].name;
}

bool fleck_study_column_is_measure(const fleck_study *study, size_t column)
{
    return study->columns[column].is_measure;
}

size_t fleck_study_find_column(const fleck_study *study, const char *name)
{
    for (size_t i = 0; i < study->column_count; i++) {
        if (strcmp(study->columns[i].name, name) == 0)
            return i;
    }
    return FLECK_STUDY_NONE;
}

const char *fleck_study_text(const fleck_study *study, size_t row, size_t column)
{
    const fleck_study_row *const at = &study->rows[row];
    const fleck_study_run *const run = &study->runs[at->run];

    if (run->place[column] == FLECK_STUDY_NONE)
        return "";
    return fleck_csv_cell(run->table, at->table_row, run->place[column]);
}

bool fleck_study_number(const fleck_study *study, size_t row, size_t column, double *value)
{
    const char *const cell = fleck_study_text(study, row, column);

    if (cell[strspn(cell, " \t")] == '\0') {
        *value = NAN;
        return true;
    }
    if (study->runs[study->rows[row].run].decimal_comma[column])
        return fleck_study_comma_number(cell, value);
    return fleck_text_to_number(cell, value);
}

const char *const *fleck_study_default_measures(size_t *count)
{
    static const char *const measures[] = {
        "ink.coverage",       "dots.d50_mm",          "dots.per_cm2",
        "spacing.nn_mean_mm", "flecks.mean_chord_mm", "spectrum.dominant_spacing_mm",
    };

    *count = sizeof measures / sizeof *measures;
    return measures;
}
