/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The exact Euclidean distance map of a small picture whose pixels need not be square: first all columns,
 * or some of them at a time, then row by row.
 */
#ifndef FLECK_MEASURE_DISTANCE_MAP_H
#define FLECK_MEASURE_DISTANCE_MAP_H

#include <stddef.h>
#include <stdint.h>

/* Room for one row of fleck_distance_row. */
typedef struct fleck_distance_line {
    double *square; /* of a column's distance; width_px of them */
    double *border; /* width_px + 1 */
    size_t *apex;   /* width_px */
} fleck_distance_line;

/*
 * Steps from each pixel of the columns first_x to end_x - 1 to the nearest marked one above or below it;
 * FLECK_DISTANCE_FAR or more when the column has none.
 *
 * marked    width_px * height_px bytes, row by row, not 0 where marked
 * steps     out: as many values
 */
#define FLECK_DISTANCE_FAR (UINT32_MAX / 2)
void fleck_distance_columns(const uint8_t *marked, size_t width_px, size_t height_px, size_t first_x,
                            size_t end_x, uint32_t *steps);

/*
 * Square of the distance from the centre of each pixel of a row to that of the nearest marked pixel, in
 * mm2; INFINITY when none is marked.
 *
 * steps     of the row
 * square    out: width_px values
 *
 * O(width). Source: Felzenszwalb & Huttenlocher (2012), Theory of Computing 8, 415-428.
 */
void fleck_distance_row(const uint32_t *steps, size_t width_px, double pixel_x_mm, double pixel_y_mm,
                        fleck_distance_line *line, double *square);

/* Both for a whole picture; steps is room for width_px * height_px of them. */
void fleck_distance_map(const uint8_t *marked, size_t width_px, size_t height_px, double pixel_x_mm,
                        double pixel_y_mm, fleck_distance_line *line, uint32_t *steps, double *square);

#endif
