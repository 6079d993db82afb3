/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The t distribution around 0 and off 0: what tests, intervals and power of differences rest on. */
#ifndef FLECK_STATS_NONCENTRAL_T_H
#define FLECK_STATS_NONCENTRAL_T_H

/*
 * The chance that Student's t with df > 0 degrees of freedom, which need not be whole, lies farther
 * from 0 than t to either side; NAN for NAN. Accurate for every df, which a normal approximation is
 * not.
 */
double fleck_t_two_sided(double t, double df);

/* The chance that it lies above t. */
double fleck_t_above(double t, double df);

/* The t > 0 that it surpasses to either side with the chance p, 0 < p < 1: 2.228 for 0.05 and 10.
 */
double fleck_t_two_sided_quantile(double p, double df);

/*
 * The chance that (Z + delta) / sqrt(V / df) lies above t, or below it; Z is standard normal, V is
 * chi-squared with df > 0. To about 1e-12.
 * Source: the integral over the spread, by the trapezoidal rule, which for such a bell converges
 * faster than any power of its step (Trefethen & Weideman 2014).
 */
double fleck_noncentral_t_above(double t, double df, double delta);
double fleck_noncentral_t_below(double t, double df, double delta);

/* The delta for which t lies at the given chance: fleck_noncentral_t_above(t, df, delta) = above.
 */
double fleck_noncentral_t_delta(double t, double df, double above);

#endif
