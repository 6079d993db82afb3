/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A study: the patches of one or more runs as one table, of which compare, relate, edition and plan ask
 * their questions. Its rows are patches, its columns the manifest's factors and the measures.
 */
#ifndef FLECK_STUDY_H
#define FLECK_STUDY_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Patches of one or more runs, with all columns of their tables. */
typedef struct fleck_study fleck_study;

/* Stands for "no such column". */
#define FLECK_STUDY_NONE ((size_t)-1)

/*
 * Read one or more runs.
 *
 * runs     folders that `fleck measure -o` has made: patches.csv and records/ID.json are read; rows
 *          stand in the order of the folders and of their tables
 * count    at least 1
 * out      ended with fleck_study_free; NULL on failure
 *
 * Columns of all runs are united by name; a cell that a run has not is empty. A patch of a run of
 * several is told apart by its run's place, never by its id.
 *
 * Errors: FLECK_BAD_INPUT (no run there, a damaged table, an id that stands twice, a record that is missing
 * or from a newer version), FLECK_BAD_CALL (the same run twice), FLECK_NO_RESOURCE. The message begins with
 * the path concerned.
 */
FLECK_API fleck_status fleck_study_read(const char *const *runs, size_t count, fleck_study **out,
                                        fleck_error *err);

/* End a study; NULL is allowed. */
FLECK_API void fleck_study_free(fleck_study *study);

/* Number of runs that were read. */
FLECK_API size_t fleck_study_run_count(const fleck_study *study);
/* The folder as it was given. */
FLECK_API const char *fleck_study_run_path(const fleck_study *study, size_t run);

/* Number of patches of all runs; they stand run after run, in the order of each table. */
FLECK_API size_t fleck_study_row_count(const fleck_study *study);

/* Id of a patch; owned by the study. */
FLECK_API const char *fleck_study_id(const fleck_study *study, size_t row);

/* The run that a patch is of, from 0. */
FLECK_API size_t fleck_study_run_of(const fleck_study *study, size_t row);

/* Number of columns of all tables together, the id not counted. */
FLECK_API size_t fleck_study_column_count(const fleck_study *study);

/* Name of a column; owned by the study. */
FLECK_API const char *fleck_study_column_name(const fleck_study *study, size_t column);
/* Whether it is a measure of the key table, not a column of the user's own. */
FLECK_API bool fleck_study_column_is_measure(const fleck_study *study, size_t column);
/* FLECK_STUDY_NONE when there is none of that name. */
FLECK_API size_t fleck_study_find_column(const fleck_study *study, const char *name);
/*
 * The same, saying what there is. kind: "column", "measure" or "factor" for the message.
 * Errors: FLECK_BAD_CALL (naming the nearest that exist).
 */
FLECK_API fleck_status fleck_study_need_column(const fleck_study *study, const char *name,
                                               const char *kind, size_t *column, fleck_error *err);

/* A cell as it stands in the table, "" when empty; owned by the study. */
FLECK_API const char *fleck_study_text(const fleck_study *study, size_t row, size_t column);
/*
 * A cell as a number, NAN when it is empty. False for a text that is no number (decimal commas are read
 * where the manifest had them).
 */
FLECK_API bool fleck_study_number(const fleck_study *study, size_t row, size_t column, double *value);

/*
 * What of the settings that make numbers comparable (channel, ink, threshold method, cutoff, ppi, tone source,
 * calibration, tile, mask) differs among the given rows, one line for each setting, such as
 * "cutoff_mm: 0.1 (2.5-1 and 5 more), 0.2 (5-1 and 5 more)".
 *
 * out    lines separated by '\n', "" when nothing differs; freed with fleck_free()
 */
FLECK_API fleck_status fleck_study_differences(const fleck_study *study, const size_t *rows,
                                               size_t count, char **out, fleck_error *err);

/* The counted dots of a patch that have a weight. */
typedef struct fleck_study_dots {
    size_t count;
    double *diameter_mm;
    double *weight; /* > 0, in 1/mm2 */
} fleck_study_dots;

/*
 * Read dots/ID.csv of a row; ended with fleck_study_dots_clear, on failure too.
 * Errors: FLECK_BAD_INPUT (missing or damaged), FLECK_NO_RESOURCE. The message begins with the path.
 */
FLECK_API fleck_status fleck_study_read_dots(const fleck_study *study, size_t row,
                                             fleck_study_dots *dots, fleck_error *err);

/* Free what it owns and start anew; NULL is allowed. */
FLECK_API void fleck_study_dots_clear(fleck_study_dots *dots);

/* Rows that are one replicate: patches of one batch of paste, of one print. */
typedef struct fleck_study_units {
    size_t count;
    size_t *unit_of_row; /* row_count entries: 0 to count - 1, FLECK_STUDY_NONE for a row left out */
    char **name;         /* count names: the column's text, with the group where it needs one */
} fleck_study_units;

/*
 * Put rows into units.
 *
 * column    the unit's column; FLECK_STUDY_NONE: each row is its own unit
 * group_of_row    row_count entries, or NULL: units of the same text in different groups are different;
 *                 FLECK_STUDY_NONE leaves a row out
 * A row with an empty unit is its own. Units are numbered in order of their first row.
 * Ended with fleck_study_units_clear, on failure too. Errors: FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_study_group_units(const fleck_study *study, size_t column,
                                               const size_t *group_of_row, fleck_study_units *units,
                                               fleck_error *err);

/* Free what it owns and start anew; NULL is allowed. */
FLECK_API void fleck_study_units_clear(fleck_study_units *units);

/* The measures that a study command takes when it is not told: "ink.coverage", ... ; static storage. */
FLECK_API const char *const *fleck_study_default_measures(size_t *count);

#ifdef __cplusplus
}
#endif

#endif
