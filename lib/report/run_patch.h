/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One patch of a run with all its lists and its dots, as plots need it. */
#ifndef FLECK_REPORT_RUN_PATCH_H
#define FLECK_REPORT_RUN_PATCH_H

#include "fleck/record.h"
#include "fleck/study.h"

typedef struct run_patch {
    fleck_record record;
    size_t dot_count; /* dots with a weight of the edge correction */
    double *diameter_mm, *weight;
    size_t near_count; /* dots whose nearest one is nearer than the border */
    double *near_mm, *near_weight;
    bool near_weighted; /* false: the region is no upright box, and all count the same */
} run_patch;

/*
 * Read records/ID.json and dots/ID.csv of a row; ended with run_patch_clear, on failure too. A table
 * of dots that is not there gives none.
 * Errors: FLECK_BAD_INPUT (a damaged file), FLECK_NO_RESOURCE. The message begins with the path.
 */
fleck_status run_patch_read(const fleck_study *study, size_t row, run_patch *patch, fleck_error *err);

void run_patch_clear(run_patch *patch);

/*
 * A regular file as bytes, NUL-terminated, freed with fleck_free(). False when it is not there, is larger
 * than `most` bytes or cannot be read.
 */
bool run_file_read(const char *path, size_t most, char **bytes, size_t *size);

#endif
