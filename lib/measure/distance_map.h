/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The exact Euclidean distance map of a small picture whose pixels need not be square. */
#ifndef FLECK_MEASURE_DISTANCE_MAP_H
#define FLECK_MEASURE_DISTANCE_MAP_H

#include <stddef.h>
#include <stdint.h>

/* Room for one line of fleck_distance_map. */
typedef struct fleck_distance_line {
    double *square, *border; /* max(width, height) + 1 each */
    size_t *apex;
} fleck_distance_line;

/*
 * Square of the distance from each pixel's centre to that of the nearest marked pixel, in mm2;
 * INFINITY when none is marked.
 *
 * marked    width_px * height_px bytes, row by row, not 0 where marked
 * square    out: as many values
 *
 * O(pixels). Source: Felzenszwalb & Huttenlocher (2012), Theory of Computing 8, 415-428.
 */
void fleck_distance_map(const uint8_t *marked, size_t width_px, size_t height_px, double pixel_x_mm,
                        double pixel_y_mm, fleck_distance_line *line, double *square);

#endif
