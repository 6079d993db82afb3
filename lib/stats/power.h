/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What Student's two-sample t test can show: two groups of equal size and spread, tested to both
 * sides. */
#ifndef FLECK_STATS_POWER_H
#define FLECK_STATS_POWER_H

/*
 * The chance that the test finds a difference.
 *
 * group_size    n of each group, above 1; it need not be whole
 * effect        difference of the means over the spread within a group
 * alpha         level of the test, above 0 and below 1
 *
 * The chance of finding it with the wrong sign is counted. NAN outside these ranges.
 * Source: the noncentral t distribution with 2 n - 2 degrees of freedom around effect sqrt(n / 2).
 */
double fleck_power_two_groups(double group_size, double effect, double alpha);

/*
 * The least group size, 2 or more, at which the test finds the effect with chance `power`. Not
 * rounded. INFINITY above 1e7 or for an effect of 0; NAN outside the ranges, power being between
 * alpha and 1.
 */
double fleck_power_group_size(double effect, double alpha, double power);

/* The least effect that groups of this size find with chance `power`; NAN outside the ranges. */
double fleck_power_effect(double group_size, double alpha, double power);

#endif
