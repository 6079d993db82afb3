/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How large an effect must be for a test to show it most of the time. */
#ifndef FLECK_STATS_DETECTABLE_H
#define FLECK_STATS_DETECTABLE_H

/*
 * The size of an effect, in its own standard errors, that a two-sided t test shows with the given
 * chance.
 *
 * df       degrees of freedom, > 0
 * alpha    level of the test, 0 < alpha < 1
 * power    alpha < power < 1
 *
 * Both tails count, as for a test that is two-sided. NAN for arguments outside. To about 1e-11.
 * Source: Cohen, Statistical Power Analysis, chapter 2.
 */
double fleck_detectable_effect(double df, double alpha, double power);

#endif
