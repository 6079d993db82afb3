/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The components that have a weight, in an order of their own. */
#ifndef FLECK_MEASURE_SIZED_H
#define FLECK_MEASURE_SIZED_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/segment.h"
#include "fleck/texture.h"

typedef struct fleck_sized {
    uint64_t area_px;
    uint32_t first_y_px, first_x_px;
    double diameter_mm;
    double weight_per_px2;            /* > 0 */
    const fleck_component *component; /* in the caller's list */
} fleck_sized;

/*
 * List the components whose weight is above 0, by area and, where areas are equal, by their first
 * pixel, which no two share: every sum then runs in one fixed order, whatever order they came in.
 *
 * weights_per_px2    n of them; NULL: those of the whole region
 * out                *count elements, freed with fleck_free()
 *
 * O(n log n). Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_sized_list(const fleck_component *components, const double *weights_per_px2,
                              size_t n, const fleck_geometry *geometry, fleck_sized **out,
                              size_t *count, fleck_error *err);

#endif
