/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rectangles that are turned against the scan's rows. */
#ifndef FLECK_SEGMENT_TILTED_BOX_H
#define FLECK_SEGMENT_TILTED_BOX_H

#include "fleck/geometry.h"
#include "fleck/segment.h"

/* `box` turned by tilt_deg about its own centre, anticlockwise as seen on the scan. */
typedef struct fleck_tilted_box {
    fleck_box_mm box;
    double tilt_deg;
} fleck_tilted_box;

/*
 * The same rectangle with a tilt of more than -45 and at most 45 degrees, its sides changed over
 * when it is turned by a right angle, so that quarter turns are no tilt.
 */
fleck_tilted_box fleck_tilted_box_upright(fleck_box_mm box, double tilt_deg);

/* The smallest box along rows and columns around it; the box itself without a tilt. */
fleck_box_mm fleck_tilted_box_bounds(const fleck_tilted_box *tilted);

/*
 * Add the pixels whose centres lie in a tilted box to a mask, whose first pixel is (left_px,
 * top_px) of the scan. Of its sides, which lie at left and top before it is turned, the box does
 * not hold what lies on them, of the other two it does: without a tilt these are the pixels from
 * round(x / pixel) to round((x + width) / pixel) - 1.
 *
 * tilted    from fleck_tilted_box_upright
 */
void fleck_tilted_box_draw(const fleck_tilted_box *tilted, size_t left_px, size_t top_px,
                           double pixel_x_mm, double pixel_y_mm, fleck_mask *mask);

#endif
