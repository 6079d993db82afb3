/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rectangles turned about their centre, and the share of each pixel that they cover. */
#ifndef FLECK_PHANTOM_PLATE_H
#define FLECK_PHANTOM_PLATE_H

#include <stdbool.h>
#include <stddef.h>

/* In one unit, y downward; turned anticlockwise to the eye. */
typedef struct fleck_plate {
    double x, y; /* centre */
    double width, height;
    double cosine, sine; /* of the turn */
} fleck_plate;

fleck_plate fleck_plate_at(double x, double y, double width, double height, double tilt_deg);

/* A point given from the plate's centre along its own sides. */
void fleck_plate_point(const fleck_plate *plate, double along, double down, double *x, double *y);

/* The way back. */
void fleck_plate_local(const fleck_plate *plate, double x, double y, double *along, double *down);

/* Whether a point lies inside; of the outline the right and the lower side belong to it, so that a
   straight plate holds the pixels from round(left) to round(right) - 1 by their centres. */
bool fleck_plate_holds(const fleck_plate *plate, double x, double y);

/* Corners from the top left on, clockwise. */
void fleck_plate_corners(const fleck_plate *plate, double x[4], double y[4]);

/* Whether two plates have an area in common. Source: separating axes of convex shapes. */
bool fleck_plates_overlap(const fleck_plate *a, const fleck_plate *b);

/* Whether the plate lies in the rectangle from (0, 0) to (width, height). */
bool fleck_plate_is_within(const fleck_plate *plate, double width, double height);

/* A stretch of a row. */
typedef struct fleck_stretch {
    size_t first, end;
} fleck_stretch;

/*
 * Share of the pixels of row y (plate in pixels, pixel (i, j) covers i to i + 1, j to j + 1).
 *
 * antialias    false: 1 where the plate holds the pixel's centre
 * share        out: filled in the stretch returned alone, which is empty where there is nothing
 */
fleck_stretch fleck_plate_row(const fleck_plate *plate, size_t y, size_t width_px, bool antialias,
                              double *share);

#endif
