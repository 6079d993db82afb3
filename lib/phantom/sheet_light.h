/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Light that is not the same all over the scanner's glass. */
#ifndef FLECK_PHANTOM_SHEET_LIGHT_H
#define FLECK_PHANTOM_SHEET_LIGHT_H

#include <stddef.h>

/*
 * 1 - amplitude to 1 + amplitude, by s = 0.7 sin(0.9 u + 0.4) + 0.5 cos(1.1 v - 0.3), u and v going
 * from -1 to 1 over the picture: smooth, lopsided, and no polynomial that a calibration could hit.
 */
typedef struct fleck_sheet_light {
    double amplitude;
    double low, high; /* least and largest s */
    double width_px, height_px;
} fleck_sheet_light;

extern const char fleck_sheet_light_formula[];

fleck_sheet_light fleck_sheet_light_of(double amplitude, size_t width_px, size_t height_px);

/* The part of s that a column has, for each column's middle: width_px values. */
void fleck_sheet_light_columns(const fleck_sheet_light *light, double *columns);

/* In one row the light is base + slope * (the column's part). */
typedef struct fleck_sheet_light_row {
    double base, slope;
} fleck_sheet_light_row;

fleck_sheet_light_row fleck_sheet_light_in_row(const fleck_sheet_light *light, size_t y);

#endif
