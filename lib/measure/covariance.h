/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From counted pairs to the three series of the two-point covariance. */
#ifndef FLECK_MEASURE_COVARIANCE_H
#define FLECK_MEASURE_COVARIANCE_H

#include "fleck/random_set.h"
#include "measure/lags.h"

/*
 * coverage    stands at lag 0
 * set         gains along_x, along_y and radial; what it holds stays valid on failure
 *
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_covariance_fill(const fleck_lags *lags, double coverage, fleck_random_set *set,
                                   fleck_error *err);

void fleck_two_point_clear(fleck_two_point *series);

#endif
