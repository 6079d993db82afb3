/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A study as relate needs it: one row for each unit, factors as numbers, measures averaged. */
#ifndef FLECK_STUDY_RELATE_DATA_H
#define FLECK_STUDY_RELATE_DATA_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/relate.h"

enum { FLECK_RELATE_BASES = 64 };

/* A number that terms are made of: a factor, or whether a category has a level other than its
 * first. */
typedef struct fleck_relate_base {
    char *name;    /* "paste_pct", "paper=rough" */
    size_t factor; /* its place in the result's factors */
    size_t level;  /* of a category, from 1; 0 for a number */
} fleck_relate_base;

typedef struct fleck_relate_data {
    size_t rows; /* units, in an order that does not hang on the order of the tables */
    char **name; /* of each unit: the patch's id or the unit's text */
    fleck_relate_base base[FLECK_RELATE_BASES];
    size_t base_count;
    double *value;  /* of each base in turn, `rows` numbers */
    char **measure; /* names */
    size_t measure_count;
    double
        *measured; /* of each measure in turn, `rows` numbers; NAN when missing in the whole unit */
    size_t *setting; /* of each row: which rows have the same bases */
    size_t settings;
} fleck_relate_data;

/*
 * Take the table of a study apart. Fills patches, units, unit, factors, mixes and warnings of the
 * result. data    out: ended with fleck_relate_data_clear, on failure too
 */
fleck_status fleck_relate_data_take(const fleck_study *study, const fleck_relate_options *options,
                                    fleck_relate_data *data, fleck_relate *result,
                                    fleck_error *err);

void fleck_relate_data_clear(fleck_relate_data *data);

/*
 * The columns of stock and water as paste_pct for each row of the study: NAN where one of them is
 * empty. Fills the result's mixes. percent    out: row_count numbers
 */
fleck_status fleck_relate_mix_paste(const fleck_study *study, const fleck_relate_options *options,
                                    double *percent, fleck_relate *result, fleck_error *err);

/* The name of the factor that fleck_relate_mix_paste makes. */
extern const char fleck_relate_paste_name[];

#endif
