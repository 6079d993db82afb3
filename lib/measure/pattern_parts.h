/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the functions of a point pattern share. */
#ifndef FLECK_MEASURE_PATTERN_PARTS_H
#define FLECK_MEASURE_PATTERN_PARTS_H

#include <stddef.h>

#include "fleck/error.h"
#include "fleck/geometry.h"

/* Errors: FLECK_BAD_CALL, as fleck/pattern.h says. */
fleck_status fleck_pattern_check(const fleck_point_mm *points, size_t n, double width_mm,
                                 double height_mm, const double *r_mm, size_t count,
                                 fleck_error *err);

/* For qsort, so that sums have the same digits in whatever order points come: by x, then by y. */
int fleck_pattern_by_place(const void *a, const void *b);

#endif
