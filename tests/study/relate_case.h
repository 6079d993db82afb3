/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Calls of relate on tables small enough to stand in a test. */
#ifndef FLECK_TESTS_RELATE_CASE_H
#define FLECK_TESTS_RELATE_CASE_H

#include "fleck/relate.h"

/* Options with their lists written as one text each: "paste_pct,force_kg"; NULL for none. */
typedef struct relate_case {
    const char *factors, *categories, *terms, *measures, *solve;
    const char *targets;  /* "dots.d50_mm=0.3,..." */
    const char *held;     /* "force_kg=3,..." */
    const char *expected; /* "paste_pct-,..." */
    const char *stock, *water, *unit;
    double g_per_ml;
    bool mixed;
} relate_case;

/* Write a table as a run of its own and read it; ended with fleck_study_free. */
fleck_study *read_table(const char *table);

/* Relate what was read; the result is cleared by the caller. */
fleck_status relate_study(const fleck_study *study, const relate_case *what, fleck_relate *result,
                          fleck_error *err);

/* Both. */
fleck_status relate_table(const char *table, const relate_case *what, fleck_relate *result,
                          fleck_error *err);

/* The same, failing the test when it fails. */
void relate_fine(const char *table, const relate_case *what, fleck_relate *result);

/* The measure of that name; fails the test when there is none. */
const fleck_relate_measure *relate_measure(const fleck_relate *result, const char *name);

#endif
