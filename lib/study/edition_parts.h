/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Inside fleck_edition_judge: which patches are which print, and the steps of the judgement. */
#ifndef FLECK_STUDY_EDITION_PARTS_H
#define FLECK_STUDY_EDITION_PARTS_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/edition.h"

/* A patch of the edition. */
typedef struct fleck_edition_row {
    double order;
    const char *print; /* names the print; "" when the order does */
    const char *round; /* of scanning; "" without */
    const char *id;
    size_t run, row;
    size_t print_index, round_index;
} fleck_edition_row;

typedef struct fleck_edition_layout {
    const fleck_study *study;
    const fleck_edition_options *options;
    fleck_edition_row *rows; /* by print, then round, then id */
    size_t row_count;
    size_t print_count, round_count;
    size_t *reference_rows;
    size_t reference_count;
} fleck_edition_layout;

/* Find prints, reference and what is missing; warns of what was left out. Cleared by the caller, always. */
fleck_status fleck_edition_lay_out(const fleck_study *study, const fleck_edition_options *options,
                                   fleck_edition_layout *layout, fleck_edition *out, fleck_error *err);
void fleck_edition_layout_clear(fleck_edition_layout *layout);

/* Everything about one measure but what needs the others, and the verdict. */
fleck_status fleck_edition_measure_fill(const fleck_edition_layout *layout, size_t column,
                                        const double *values, fleck_edition_measure *out,
                                        fleck_error *err);

/* The value of each print, NAN where it has none. */
fleck_status fleck_edition_values(const fleck_edition_layout *layout, size_t column, double *values,
                                  fleck_error *err);

/* Scanning against printing. */
fleck_status fleck_edition_gauge(const fleck_edition_layout *layout, size_t column,
                                 fleck_edition_measure *out, fleck_error *err);

/* Distance from the reference, and who is outside the tolerance. */
fleck_status fleck_edition_hold(const fleck_edition_layout *layout, size_t column,
                                const double *values, fleck_edition_measure *out, fleck_error *err);

/* Verdict and sentence, after change_p is final. */
fleck_status fleck_edition_decide(const fleck_edition *edition, fleck_edition_measure *measure,
                                  fleck_error *err);

/* The whole of them. */
fleck_status fleck_edition_sum_up(fleck_edition *edition, fleck_error *err);

/* Lay neighbouring prints over each other. */
fleck_status fleck_edition_find_pattern(const fleck_edition_layout *layout, fleck_edition *out,
                                        fleck_error *err);

/* Add a print to a list. */
fleck_status fleck_edition_list_add(fleck_edition_list *list, size_t room, size_t print,
                                    fleck_error *err);

fleck_status fleck_edition_no_memory(fleck_error *err);

#endif
