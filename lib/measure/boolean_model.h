/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Boolean model of discs with lognormal diameters: what it says of points a step apart. */
#ifndef FLECK_MEASURE_BOOLEAN_MODEL_H
#define FLECK_MEASURE_BOOLEAN_MODEL_H

#include "fleck/random_set.h"

/*
 * E[gamma_R(h)] / E[pi R^2]: overlap of a disc with itself moved by h over its area, for discs
 * whose AREA-weighted median radius is radius_mm and whose variance of the logarithm is
 * log_variance.
 */
double fleck_boolean_overlap(double radius_mm, double log_variance, double lag_mm);

/* The same for several steps, which share what does not depend on them. overlap: out, count values. */
void fleck_boolean_overlaps(double radius_mm, double log_variance, const double *lag_mm, size_t count,
                            double *overlap);

#endif
