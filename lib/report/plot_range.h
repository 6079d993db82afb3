/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the axes must show, and what cannot be shown on them. */
#ifndef FLECK_REPORT_PLOT_RANGE_H
#define FLECK_REPORT_PLOT_RANGE_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/plot.h"

typedef struct plot_scale {
    bool log;
    double least, greatest;
    double from_pt, to_pt; /* where these two lie on the page */
} plot_scale;

typedef struct plot_ranges {
    plot_scale x, y;
    bool empty;          /* nothing can be drawn */
    size_t missing;      /* values that are not numbers, or of more than 1e300 */
    size_t not_positive; /* values for which a logarithmic axis has no place */
    size_t outside;      /* values beyond an axis whose limits were given */
} plot_ranges;

/* Where a value lies on the page, NAN for one that has no place; those outside lie beyond the ends.
 */
double plot_scale_place(const plot_scale *scale, double value);

/* Ranges are never empty: one value, or none, is given some room. Places on the page are left at 0.
 */
plot_ranges plot_ranges_find(const fleck_plot *plot);

#endif
