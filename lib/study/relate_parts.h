/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the steps of relate hand to each other. */
#ifndef FLECK_STUDY_RELATE_PARTS_H
#define FLECK_STUDY_RELATE_PARTS_H

#include "stats/least_squares.h"
#include "study/relate_data.h"
#include "study/relate_model.h"

/* The fit of a measure to the units that have it, kept for the recipe. Start from {0}. */
typedef struct fleck_relate_fit {
    size_t rows;
    size_t *unit;  /* of each row */
    double *value; /* rows: the measure */
    fleck_least_squares fit;
} fleck_relate_fit;

/* Confidence of all intervals, and the level and power of what could have been shown. */
#define FLECK_RELATE_CONFIDENCE 0.95
#define FLECK_RELATE_LEVEL 0.05
#define FLECK_RELATE_POWER 0.8

/*
 * Fit the terms to one measure over the units for which each of `with` measures is there.
 *
 * with     places of measures, `with_count` of them; the first is the one fitted
 * fault    out: see fleck_least_squares_fit
 * fit      out: ended with fleck_relate_fit_clear, on failure too
 */
fleck_status fleck_relate_fit_make(const fleck_relate_data *data, const fleck_relate_model *model,
                                   const size_t *with, size_t with_count,
                                   fleck_least_squares_fault *fault, fleck_relate_fit *fit,
                                   fleck_error *err);
void fleck_relate_fit_clear(fleck_relate_fit *fit);

/* Check that all units together can carry the terms, naming the factor at fault. */
fleck_status fleck_relate_check_design(const fleck_relate_data *data,
                                       const fleck_relate_model *model, const fleck_relate *result,
                                       fleck_error *err);

/* Fill one measure of the result: fit, terms, effects, diagnostics, sentences. */
fleck_status fleck_relate_fill_measure(const fleck_relate_data *data,
                                       const fleck_relate_model *model,
                                       const fleck_relate_options *options, size_t measure,
                                       fleck_relate *result, fleck_error *err);

/* Turn the fits round: fill the result's recipe. */
fleck_status fleck_relate_find_recipe(const fleck_relate_data *data,
                                      const fleck_relate_model *model,
                                      const fleck_relate_options *options, fleck_relate *result,
                                      fleck_error *err);

#endif
