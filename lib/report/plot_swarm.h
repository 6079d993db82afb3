/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FLECK_REPORT_PLOT_SWARM_H
#define FLECK_REPORT_PLOT_SWARM_H

#include <stdbool.h>
#include <stddef.h>

/*
 * Columns in which points at the same x stand beside each other instead of upon each other.
 *
 * x, y        n places; NAN: passed over
 * apart       distance from which two points of one column do not touch
 * most        columns on each side, at most 60; where these are all taken points do touch
 * column      out: 0 for the middle, then 1, -1, 2, -2 ...
 *
 * Returns false without memory.
 */
bool plot_swarm(const double *x, const double *y, size_t n, double apart, size_t most, int *column);

#endif
