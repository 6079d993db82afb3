/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The part of a patch whose dots are looked at as a pattern. */
#ifndef FLECK_MEASURE_PATTERN_WINDOW_H
#define FLECK_MEASURE_PATTERN_WINDOW_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/segment.h"

/* Pixels left to left + width - 1 and top to top + height - 1 of a region. */
typedef struct fleck_pattern_box {
    size_t left_px, top_px, width_px, height_px;
} fleck_pattern_box;

/*
 * A box of inside pixels, about the largest there is: the region is looked at in blocks, 256 along
 * its shorter side, and of the boxes made of whole blocks the largest is taken; of equal ones the
 * topmost, then the leftmost. The whole region without a mask, or with one that covers it. Its
 * width is 0 when no block is inside.
 *
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_pattern_largest_box(const fleck_geometry *geometry, const fleck_mask *mask,
                                       fleck_pattern_box *out, fleck_error *err);

/* Where centroids count, and what has to be drawn for them. */
typedef struct fleck_pattern_window {
    fleck_pattern_box points;
    fleck_pattern_box drawn; /* holds the dots of those points, cut where the region cuts them */
} fleck_pattern_window;

/*
 * A window in the middle of a box. Dots near its border must be seen whole, or cut as the region
 * cuts them: on each side that is not the region's own, it stays margin_px clear of the box, and
 * draws reach so far beyond it.
 *
 * shrink    its sides over the box's, above 0 and at most 1
 *
 * Returns false when nothing is left.
 */
bool fleck_pattern_window_choose(const fleck_geometry *geometry, const fleck_pattern_box *box,
                                 double shrink, size_t margin_px, fleck_pattern_window *out);

/*
 * Place of a component's centroid in the window.
 *
 * left_px, top_px    of the pixels that the component counts from, in the region
 *
 * Returns false, *place untouched, when it lies outside.
 */
bool fleck_pattern_place(const fleck_pattern_window *window, const fleck_geometry *geometry,
                         const fleck_component *component, size_t left_px, size_t top_px,
                         fleck_point_mm *place);

#endif
