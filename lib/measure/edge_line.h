/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A straight edge between two tones: where it runs, and how clean it is. */
#ifndef FLECK_MEASURE_EDGE_LINE_H
#define FLECK_MEASURE_EDGE_LINE_H

#include <stdbool.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/geometry.h"

/* A picture of quantised reflectance, row by row, and the cut between its tones. */
typedef struct fleck_edge_picture {
    const uint16_t *q;
    fleck_geometry geometry;
    unsigned k;
} fleck_edge_picture;

/* The line through all places where the tone passes the cut. Lengths in mm, y downward. */
typedef struct fleck_edge_line {
    double x_mm, y_mm;             /* a point of it */
    double normal_x, normal_y;     /* of length 1, from the ink to bare paper */
    double angle_deg;              /* of the line, anticlockwise, 0 to 180 */
    double length_mm;              /* inside the picture */
    double steps_px; /* by which it leaves the rows, the columns and the diagonals: the least of these */
    double off_mm;                 /* root mean square distance of these places from it */
    double left_out;               /* share of them that lie too far off to belong to it */
    double ink_room_mm, bare_room_mm; /* how far the picture reaches to either side */
} fleck_edge_line;

/* False when there is no place to lay a line through. O(pixels). */
bool fleck_edge_line_fit(const fleck_edge_picture *picture, fleck_edge_line *line);

/* Mean profile across the line. NAN when it does not show both tones. */
typedef struct fleck_edge_profile {
    double ink_part_mm, bare_part_mm; /* from 10 to 50 % and from 50 to 90 %, counted from the ink */
    double noise;                     /* standard deviation of the noisier tone over the contrast */
} fleck_edge_profile;

/*
 * width_mm    of the edge, about: the tones are taken from two widths and a pixel on
 *
 * O(pixels). Errors: FLECK_NO_RESOURCE.
 * Source: ISO 12233, slanted edge: distances from the line sample it finer than pixels do.
 */
fleck_status fleck_edge_profile_take(const fleck_edge_picture *picture, const fleck_edge_line *line,
                                     double width_mm, fleck_edge_profile *out, fleck_error *err);

#endif
