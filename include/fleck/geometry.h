/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sizes and places shared by all measures. */
#ifndef FLECK_GEOMETRY_H
#define FLECK_GEOMETRY_H

#include <stddef.h>

#ifdef __cplusplus
extern "C" {
#endif

/* A region as measured: its pixels and the size of one pixel, which need not be square. */
typedef struct fleck_geometry {
    size_t width_px;  /* > 0 */
    size_t height_px; /* > 0 */
    double pixel_x_mm; /* > 0 */
    double pixel_y_mm; /* > 0 */
} fleck_geometry;

/* A point in mm, origin at the region's top left, x to the right, y downward. */
typedef struct fleck_point_mm {
    double x_mm;
    double y_mm;
} fleck_point_mm;

/* A box in mm, (x, y) its top left corner seen from the scan's top left. */
typedef struct fleck_box_mm {
    double x_mm;
    double y_mm;
    double width_mm;
    double height_mm;
} fleck_box_mm;

#ifdef __cplusplus
}
#endif

#endif
