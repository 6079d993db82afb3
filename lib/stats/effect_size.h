/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A difference in units of the spread, so that measures of different units can be set side by side.
 */
#ifndef FLECK_STATS_EFFECT_SIZE_H
#define FLECK_STATS_EFFECT_SIZE_H

#include "stats/moments.h"

/* All NAN when there are too few values or they have no spread. */
typedef struct fleck_effect_size {
    double g;
    double lo, hi;
} fleck_effect_size;

/*
 * Hedges' g of two groups: mean of b less mean of a over the pooled standard deviation, with the
 * exact correction for few values, J = Gamma(df / 2) / (sqrt(df / 2) Gamma((df - 1) / 2)).
 *
 * confidence    of the interval, such as 0.95: J times the limits from the noncentral t
 * distribution
 *
 * Needs two values in each group. Source: Hedges & Olkin (1985); Steiger & Fouladi (1997) for the
 * limits.
 */
fleck_effect_size fleck_hedges_g(const fleck_moments *a, const fleck_moments *b, double confidence);

/* The same of pairs: mean of the differences over their standard deviation. Needs three pairs. */
fleck_effect_size fleck_hedges_g_paired(const fleck_moments *differences, double confidence);

#endif
