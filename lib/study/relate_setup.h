/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A recipe's question: which factors to solve for, where the others stand, what is wanted. */
#ifndef FLECK_STUDY_RELATE_SETUP_H
#define FLECK_STUDY_RELATE_SETUP_H

#include "study/relate_parts.h"

typedef struct fleck_relate_setup {
    const fleck_relate_data *data;
    const fleck_relate_model *model;
    size_t solved_count;
    size_t solved[FLECK_RELATE_SOLVED];                            /* bases */
    double middle[FLECK_RELATE_SOLVED], half[FLECK_RELATE_SOLVED]; /* of the range tried */
    double base[FLECK_RELATE_BASES]; /* where all stand that are not solved for */
    size_t target_count;
    size_t target[FLECK_RELATE_TARGETS]; /* places of measures */
    double wanted[FLECK_RELATE_TARGETS];
} fleck_relate_setup;

/* Read the question; fills the result's recipe but for what is found. */
fleck_status fleck_relate_setup_make(const fleck_relate_data *data, const fleck_relate_model *model,
                                     const fleck_relate_options *options, fleck_relate_setup *setup,
                                     fleck_relate *result, fleck_error *err);

/* A solved factor at u, -1 to 1, exact at both ends. */
double fleck_relate_setup_at(const fleck_relate_setup *setup, const fleck_relate_recipe *recipe,
                             size_t solved, double u);

/* What one further patch at a place is expected to be: the fit and its 95 % prediction interval. */
fleck_relate_interval fleck_relate_setup_expect(const fleck_relate_setup *setup,
                                                const fleck_relate_fit *fit, const double *u);

/* Several targets at once by weighted least squares within the box that was tried. */
fleck_status fleck_relate_solve_joint(const fleck_relate_setup *setup, fleck_relate *result,
                                      fleck_error *err);

#endif
