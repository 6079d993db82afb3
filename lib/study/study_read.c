/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Runs become one study: their tables are kept as they were read, and each column of the study
 * knows its place in each of them.
 */
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "core/memory.h"
#include "core/text.h"
#include "study/study_table.h"

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the study; free some memory");
}

/* What is wrong with a run's table; line 0: with the table as a whole. */
FLECK_PRINTF(4, 5)
static fleck_status table_fault(fleck_error *err, const char *run, size_t line, const char *format,
                                ...)
{
    char *path = fleck_study_join(run, "", "patches.csv", "");
    char message[400];
    int used = 0;
    va_list arguments;
    fleck_status status;

    if (path == NULL)
        return no_memory(err);
    if (line > 0)
        used = snprintf(message, sizeof message, "line %zu ", line);
    va_start(arguments, format);
    vsnprintf(message + used, sizeof message - (size_t)used, format, arguments);
    va_end(arguments);
    status = fleck_study_fail_at(err, FLECK_BAD_INPUT, path, message);
    fleck_free(path);
    return status;
}

static bool is_there(const char *run, const char *name)
{
    char *path = fleck_study_join(run, "", name, "");
    struct stat about;
    const bool there = path != NULL && stat(path, &about) == 0;

    fleck_free(path);
    return there;
}

/* Whether the folder is a finished run, and not one of those before it by another name. */
static fleck_status check_run(const char *const *runs, size_t at, fleck_error *err)
{
    struct stat about, other;

    if (stat(runs[at], &about) != 0)
        return fleck_study_fail_at(err, FLECK_BAD_INPUT, runs[at],
                                   "is not there; give a folder that fleck measure -o has made");
    if (!S_ISDIR(about.st_mode))
        return fleck_study_fail_at(err, FLECK_BAD_INPUT, runs[at],
                                   "is no folder; give a folder that fleck measure -o has made");
    for (size_t i = 0; i < at; i++) {
        if (stat(runs[i], &other) == 0 && other.st_dev == about.st_dev &&
            other.st_ino == about.st_ino)
            return fleck_study_fail_at(err, FLECK_BAD_CALL, runs[at],
                                       "is given twice; name each run once");
    }
    if (is_there(runs[at], "patches.csv"))
        return FLECK_OK;
    if (is_there(runs[at], "run.json"))
        return fleck_study_fail_at(err, FLECK_BAD_INPUT, runs[at],
                                   "holds a run that is not finished; go on with fleck measure "
                                   "--resume");
    return fleck_study_fail_at(
        err, FLECK_BAD_INPUT, runs[at],
        "holds no patches.csv; give a folder that fleck measure -o has made");
}

static fleck_status read_table(fleck_study_run *run, fleck_error *err)
{
    char *path = fleck_study_join(run->path, "", "patches.csv", "");
    fleck_error inner = { 0 };
    fleck_status status;

    if (path == NULL)
        return no_memory(err);
    status = fleck_csv_read(path, &run->table, &inner);
    if (status != FLECK_OK)
        status = fleck_study_fail_at(err, status, path, inner.message);
    else if (!fleck_csv_find_column(run->table, "id", &run->id_column))
        status = fleck_study_fail_at(err, FLECK_BAD_INPUT, path,
                                     "has no column id; is it the table of a run?");
    else if (fleck_csv_row_count(run->table) < 2)
        status = fleck_study_fail_at(err, FLECK_BAD_INPUT, path,
                                     "holds no patch; failures.csv beside it says why");
    fleck_free(path);
    return status;
}

/* The name in a header's cell without blanks around it; NULL without memory. */
static char *column_name(const fleck_csv *table, size_t place)
{
    const char *name = fleck_csv_cell(table, 0, place);
    size_t length;
    char *copy;

    name += strspn(name, " \t");
    length = strlen(name);
    while (length > 0 && (name[length - 1] == ' ' || name[length - 1] == '\t'))
        length--;
    copy = fleck_alloc_array(length + 1, 1);
    if (copy != NULL) {
        memcpy(copy, name, length);
        copy[length] = '\0';
    }
    return copy;
}

/* Add the columns of a run that no run before it has. Columns without a name are passed over. */
static fleck_status unite_columns(fleck_study *study, const fleck_study_run *run, fleck_error *err)
{
    const size_t count = fleck_csv_cell_count(run->table, 0);

    for (size_t i = 0; i < count; i++) {
        char *name = column_name(run->table, i);
        const fleck_key *key;
        fleck_study_column *grown;

        if (name == NULL)
            return no_memory(err);
        if (*name == '\0' || fleck_study_find_column(study, name) != FLECK_STUDY_NONE) {
            fleck_free(name);
            continue;
        }
        grown = fleck_grow(study->columns, &study->column_capacity, study->column_count,
                           sizeof *study->columns);
        if (grown == NULL) {
            fleck_free(name);
            return no_memory(err);
        }
        study->columns = grown;
        key = fleck_key_find(name);
        grown[study->column_count].name = name;
        grown[study->column_count].is_measure = key != NULL && key->measure != 0;
        grown[study->column_count].is_number =
            key != NULL && key->measure != 0 && key->kind != FLECK_KEY_TEXT;
        study->column_count++;
    }
    return FLECK_OK;
}

/* Where the columns of the study stand in a run's table. */
static fleck_status place_columns(const fleck_study *study, fleck_study_run *run, fleck_error *err)
{
    const size_t count = fleck_csv_cell_count(run->table, 0);

    run->place = fleck_alloc_array(study->column_count, sizeof *run->place);
    run->decimal_comma = fleck_alloc_zeroed(study->column_count, sizeof *run->decimal_comma);
    if (run->place == NULL || run->decimal_comma == NULL)
        return no_memory(err);
    for (size_t i = 0; i < study->column_count; i++)
        run->place[i] = FLECK_STUDY_NONE;
    for (size_t i = 0; i < count; i++) {
        char *name = column_name(run->table, i);
        size_t column;

        if (name == NULL)
            return no_memory(err);
        column = *name != '\0' ? fleck_study_find_column(study, name) : FLECK_STUDY_NONE;
        if (column != FLECK_STUDY_NONE && run->place[column] != FLECK_STUDY_NONE) {
            const fleck_status status =
                table_fault(err, run->path, 0,
                            "has the column %.100s twice; give one of them another name in the "
                            "manifest and measure again",
                            name);

            fleck_free(name);
            return status;
        }
        if (column != FLECK_STUDY_NONE)
            run->place[column] = i;
        fleck_free(name);
    }
    return FLECK_OK;
}

/*
 * A factor's cells stand in patches.csv as they stood in the manifest, so a decimal comma outlives
 * a change of the separator. It is one unless some number of the column has a decimal point.
 */
static bool has_decimal_comma(const fleck_study_run *run, size_t place)
{
    const size_t rows = fleck_csv_row_count(run->table);
    double value;

    if (fleck_csv_separator(run->table) != ',')
        return true;
    for (size_t row = 1; row < rows; row++) {
        const char *const cell = fleck_csv_cell(run->table, row, place);

        if (strchr(cell, '.') != NULL && fleck_text_to_number(cell, &value))
            return false;
    }
    return true;
}

/* Cells of measures are numbers; each row is whole. */
static fleck_status check_cells(const fleck_study *study, fleck_study_run *run, fleck_error *err)
{
    const size_t rows = fleck_csv_row_count(run->table);
    const size_t cells = fleck_csv_cell_count(run->table, 0);
    double value;

    for (size_t column = 0; column < study->column_count; column++) {
        const size_t place = run->place[column];

        if (place == FLECK_STUDY_NONE)
            continue;
        run->decimal_comma[column] = study->columns[column].is_number
                                         ? fleck_csv_separator(run->table) != ','
                                         : has_decimal_comma(run, place);
    }
    for (size_t row = 1; row < rows; row++) {
        const size_t found = fleck_csv_cell_count(run->table, row);

        if (found != cells)
            return table_fault(err, run->path, fleck_csv_line(run->table, row),
                               "has %zu cells, the header %zu: the table is damaged; go on with "
                               "fleck measure --resume to write it anew",
                               found, cells);
        for (size_t column = 0; column < study->column_count; column++) {
            const size_t place = run->place[column];
            const char *cell;

            if (place == FLECK_STUDY_NONE || !study->columns[column].is_number)
                continue;
            cell = fleck_csv_cell(run->table, row, place);
            if (cell[strspn(cell, " \t")] == '\0' ||
                (run->decimal_comma[column] ? fleck_study_comma_number(cell, &value)
                                            : fleck_text_to_number(cell, &value)))
                continue;
            return table_fault(
                err, run->path, fleck_csv_line(run->table, row),
                "holds \"%.60s\" for %s, which is no number; go on with fleck measure "
                "--resume to write the table anew",
                cell, study->columns[column].name);
        }
    }
    return FLECK_OK;
}

static int by_text(const void *a, const void *b)
{
    const char *const *const left = a;
    const char *const *const right = b;

    return strcmp(*left, *right);
}

/* Ids of one run tell its patches apart. */
static fleck_status check_ids(const fleck_study_run *run, fleck_error *err)
{
    const size_t count = fleck_csv_row_count(run->table) - 1;
    const char **ids = fleck_alloc_array(count, sizeof *ids);
    fleck_status status = FLECK_OK;

    if (ids == NULL)
        return no_memory(err);
    for (size_t i = 0; i < count; i++)
        ids[i] = fleck_csv_cell(run->table, i + 1, run->id_column);
    qsort(ids, count, sizeof *ids, by_text);
    for (size_t i = 1; i < count && status == FLECK_OK; i++) {
        if (strcmp(ids[i - 1], ids[i]) == 0)
            status =
                table_fault(err, run->path, 0,
                            "holds the id \"%.100s\" twice; go on with fleck measure --resume to "
                            "write the table anew",
                            ids[i]);
    }
    fleck_free(ids);
    return status;
}

static fleck_status add_rows(fleck_study *study, size_t run, fleck_error *err)
{
    const size_t count = fleck_csv_row_count(study->runs[run].table);

    for (size_t row = 1; row < count; row++) {
        fleck_study_row *const grown =
            fleck_grow(study->rows, &study->row_capacity, study->row_count, sizeof *study->rows);

        if (grown == NULL)
            return no_memory(err);
        study->rows = grown;
        grown[study->row_count++] = (fleck_study_row){ .run = run, .table_row = row };
    }
    return FLECK_OK;
}

static fleck_status read_runs(fleck_study *study, const char *const *runs, size_t count,
                              fleck_error *err)
{
    fleck_status status;

    for (size_t i = 0; i < count; i++) {
        if ((status = check_run(runs, i, err)) != FLECK_OK)
            return status;
    }
    for (size_t i = 0; i < count; i++) {
        fleck_study_run *const run = &study->runs[study->run_count++];

        run->path = fleck_copy_text(runs[i]);
        if (run->path == NULL)
            return no_memory(err);
        if ((status = read_table(run, err)) != FLECK_OK ||
            (status = unite_columns(study, run, err)) != FLECK_OK)
            return status;
    }
    for (size_t i = 0; i < count; i++) {
        fleck_study_run *const run = &study->runs[i];

        if ((status = place_columns(study, run, err)) != FLECK_OK ||
            (status = check_cells(study, run, err)) != FLECK_OK ||
            (status = check_ids(run, err)) != FLECK_OK ||
            (status = add_rows(study, i, err)) != FLECK_OK)
            return status;
    }
    return fleck_study_read_settings(study, err);
}

fleck_status fleck_study_read(const char *const *runs, size_t count, fleck_study **out,
                              fleck_error *err)
{
    fleck_study *study;
    fleck_status status;

    *out = NULL;
    if (count == 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "no run is named; give a folder that fleck measure -o has made");
    study = fleck_alloc_zeroed(1, sizeof *study);
    if (study == NULL)
        return no_memory(err);
    study->runs = fleck_alloc_zeroed(count, sizeof *study->runs);
    status = study->runs != NULL ? read_runs(study, runs, count, err) : no_memory(err);
    if (status == FLECK_OK) {
        *out = study;
        study = NULL;
    }
    fleck_study_free(study);
    return status;
}
