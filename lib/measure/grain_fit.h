/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The Boolean model of discs whose covariance is nearest to that of a mask. */
#ifndef FLECK_MEASURE_GRAIN_FIT_H
#define FLECK_MEASURE_GRAIN_FIT_H

#include "fleck/random_set.h"
#include "measure/lags.h"

/*
 * What pairs one step apart tell of the grains' mean overlap at that step, over their mean area: 1
 * at step 0, 0 where no grain reaches. NAN when it cannot be told.
 */
double fleck_grain_overlap(const fleck_pairs *pairs);

/* Pairs of all members of a ring together, and the members' mean length. */
fleck_pairs fleck_lag_ring_pairs(const fleck_lags *lags, const fleck_lag_ring *ring,
                                 double *length_mm);

/* Area-weighted median diameter of the discs: the length that the fit works with. */
double fleck_disc_model_weighted_mm(const fleck_disc_model *model);

/*
 * Fit to the rings of lags, those that are no longer than the area-weighted median diameter.
 *
 * coverage    of the whole region, which gives the number of discs
 * start       a model near by, which saves time; NULL: none is known
 *
 * Returns false, the model untouched, without both phases or with fewer than two rings that short.
 */
bool fleck_grain_fit(const fleck_lags *lags, double coverage, const fleck_disc_model *start,
                     fleck_disc_model *model);

#endif
