/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The law that disc diameters follow: moments, quantiles, draws. */
#ifndef FLECK_PHANTOM_SIZE_LAW_H
#define FLECK_PHANTOM_SIZE_LAW_H

#include "fleck/phantom.h"
#include "phantom/dice.h"

typedef struct fleck_size_law {
    fleck_phantom_sizes kind;
    double median_mm;     /* of the diameter */
    double log_gsd;       /* lognormal: ln of the geometric standard deviation */
    double half_range_mm; /* uniform */
} fleck_size_law;

/* Law of the options; a lognormal with gsd 1 and a uniform without range become fixed. */
fleck_size_law fleck_size_law_of(const fleck_phantom_options *options);

double fleck_size_law_mean_radius(const fleck_size_law *law);
double fleck_size_law_mean_radius_sq(const fleck_size_law *law);

/* Diameter below which a share of the dots lies, 0 < share < 1. */
double fleck_size_law_quantile(const fleck_size_law *law, double share);

/* Largest diameter a draw can give when normal numbers stay within +-z. */
double fleck_size_law_largest(const fleck_size_law *law, double z);

/* A diameter; normal numbers outside +-z are drawn again. */
double fleck_size_law_draw(const fleck_size_law *law, double z, fleck_dice *dice);

/* Mean area that a disc shares with itself moved by h: E[gamma_R(h)]. Source: Matheron (1975). */
double fleck_size_law_mean_overlap(const fleck_size_law *law, double h_mm);

/* Area that two discs of one radius share at the distance h. */
double fleck_disc_overlap(double radius, double h);

/* Composite Simpson rule on 2 * pairs equal steps. */
double fleck_simpson(double (*f)(const void *context, double x), const void *context, double from,
                     double to, int pairs);

#endif
