/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Two groups of values. Sleep: Student (1908), hours of sleep gained by ten patients with two
 * drugs. Permeability: Hollander & Wolfe (1973), of human membranes. The other two are made up, one
 * with many equal values.
 */
#ifndef FLECK_TESTS_GROUP_SETS_H
#define FLECK_TESTS_GROUP_SETS_H

#include <stddef.h>

enum { GROUP_SETS = 4, SMALL = 0, TIED = 1, SLEEP = 2, PERMEABILITY = 3 };

static const struct {
    const char *name;
    size_t n_a, n_b;
    double a[10], b[10];
} group_sets[GROUP_SETS] = {
    { "two_small",
      5,
      6,
      { 10.12, 11.35, 9.87, 12.04, 10.66 },
      { 12.91, 11.72, 13.48, 12.25, 14.03, 11.18 } },
    { "two_tied", 6, 7, { 3, 5, 5, 6, 8, 4 }, { 5, 7, 8, 9, 8, 10, 6 } },
    { "sleep",
      10,
      10,
      { 0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0, 2 },
      { 1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4 } },
    { "permeability",
      10,
      5,
      { 0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46 },
      { 1.15, 0.88, 0.90, 0.74, 1.21 } },
};

#endif
