/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A study on its way into a table of units: what its two halves share. */
#ifndef FLECK_STUDY_RELATE_TAKE_H
#define FLECK_STUDY_RELATE_TAKE_H

#include "study/relate_data.h"

/* A patch on its way into a unit. */
typedef struct fleck_relate_patch {
    const fleck_study *study;
    size_t row;
    size_t bases;
    const double *base; /* its bases */
} fleck_relate_patch;

typedef struct fleck_relate_taking {
    const fleck_study *study;
    const fleck_relate_options *options;
    size_t rows; /* of the study */
    size_t
        column[FLECK_RELATE_FACTORS]; /* of each factor; FLECK_STUDY_NONE for the paste made here */
    double *paste;                    /* of each row, NULL without */
    double *base;                     /* of each row in turn, base_count numbers */
    bool *used;                       /* of each row */
    fleck_relate_patch *patches;      /* those used, by id */
    size_t patch_count;
    size_t *setting; /* of each row of the study; FLECK_STUDY_NONE when not used */
    size_t settings;
    size_t *measure_column;
    fleck_study_units units;
} fleck_relate_taking;

/*
 * Find factors and measures, and read the factors of each row as numbers: fills patches, used and
 * base. Errors: as fleck_relate_study.
 */
fleck_status fleck_relate_take_columns(fleck_relate_taking *taking, fleck_relate_data *data,
                                       fleck_relate *result, fleck_error *err);

/* Average the patches of each unit; fills the rest of the data. Errors: as fleck_relate_study. */
fleck_status fleck_relate_take_units(fleck_relate_taking *taking, fleck_relate_data *data,
                                     fleck_relate *result, fleck_error *err);

#endif
