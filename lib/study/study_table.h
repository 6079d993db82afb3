/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Inside a study: tables of runs, kept as they were read, and where each column stands in them. */
#ifndef FLECK_STUDY_STUDY_TABLE_H
#define FLECK_STUDY_STUDY_TABLE_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/record.h"
#include "fleck/study.h"
#include "io/csv.h"

/* Settings that must agree for numbers to be comparable. */
typedef enum fleck_study_setting {
    FLECK_SETTING_CHANNEL,
    FLECK_SETTING_INK,
    FLECK_SETTING_THRESHOLD,
    FLECK_SETTING_CUTOFF,
    FLECK_SETTING_PPI,
    FLECK_SETTING_TONE,
    FLECK_SETTING_CALIBRATION,
    FLECK_SETTING_TILE,
    FLECK_SETTING_MASK,
    FLECK_STUDY_SETTINGS
} fleck_study_setting;

typedef struct fleck_study_row {
    size_t run;
    size_t table_row;
    char *settings[FLECK_STUDY_SETTINGS]; /* as a person reads them; owned */
    double ppi_x, ppi_y;
} fleck_study_row;

typedef struct fleck_study_run {
    char *path;
    fleck_csv *table;
    size_t id_column;
    size_t *place;       /* of each column of the study in the table; FLECK_STUDY_NONE: not there */
    bool *decimal_comma; /* of each column of the study: a comma in its cells is a decimal point */
} fleck_study_run;

typedef struct fleck_study_column {
    char *name;
    bool is_measure;
    bool is_number; /* a measure that is not told in words */
} fleck_study_column;

struct fleck_study {
    fleck_study_run *runs;
    size_t run_count;
    fleck_study_column *columns;
    size_t column_count, column_capacity;
    fleck_study_row *rows;
    size_t row_count, row_capacity;
};

/* "PATH: message" of another failure; a long path loses its beginning. Returns the status. */
fleck_status fleck_study_fail_at(fleck_error *err, fleck_status status, const char *path,
                                 const char *message);

/* run/part/name+ending; part may be "". NULL without memory. */
char *fleck_study_join(const char *run, const char *part, const char *name, const char *ending);

/* A number that may have a decimal comma. False when it is none. */
bool fleck_study_comma_number(const char *cell, double *value);

/*
 * Read records/ID.json of a row, without its lists of numbers; ended with fleck_record_clear, on
 * failure too. Errors: FLECK_BAD_INPUT (missing, damaged, of another patch), FLECK_NO_RESOURCE.
 */
fleck_status fleck_study_read_record(const fleck_study *study, size_t row, fleck_record *record,
                                     fleck_error *err);

/*
 * Read records/ID.json of each row, several at once, and keep what makes numbers comparable.
 * Errors: as fleck_study_read, of the first row that fails.
 */
fleck_status fleck_study_read_settings(fleck_study *study, fleck_error *err);

#endif
