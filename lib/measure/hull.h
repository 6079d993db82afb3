/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The convex hull of a blob's pixels, and its Feret diameters. */
#ifndef FLECK_MEASURE_HULL_H
#define FLECK_MEASURE_HULL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/segment.h"

/* A pixel's corner, from the upper left corner of the blob's box. */
typedef struct fleck_corner {
    int64_t x, y;
} fleck_corner;

/* Room that is used again from blob to blob. Start from {0}. */
typedef struct fleck_hull {
    fleck_corner *corners; /* without three in a line; around the blob, y downward anticlockwise */
    size_t count, capacity;
    double *x_mm, *y_mm; /* for fleck_hull_feret */
} fleck_hull;

/* The hull of all pixels of some runs, sorted by row; false without memory. */
bool fleck_hull_of_runs(fleck_hull *hull, const fleck_blob_run *runs, size_t run_count);

/* Twice its area in pixels. */
uint64_t fleck_hull_doubled_area(const fleck_hull *hull);

/* Largest and smallest distance between two parallel lines that touch it. */
void fleck_hull_feret(const fleck_hull *hull, double pixel_x_mm, double pixel_y_mm,
                      double *max_mm, double *min_mm);

void fleck_hull_clear(fleck_hull *hull);

#endif
