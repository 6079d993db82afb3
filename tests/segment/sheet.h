/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Test sheets drawn by the tests: patches whose place is known, and what lies beside them. */
#ifndef FLECK_TESTS_SHEET_H
#define FLECK_TESTS_SHEET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/locate.h"

typedef struct test_sheet {
    size_t width_px, height_px;
    double pixel_mm;
    float *tone; /* linear red, green, blue of each pixel */
    float paper[3], ink[3];
    uint64_t seed;
} test_sheet;

typedef enum sheet_shape { SHEET_BOX, SHEET_ELLIPSE, SHEET_RAGGED } sheet_shape;

/* Where a patch truly is: its centre in mm, its sides, its tilt. */
typedef struct sheet_place {
    double x_mm, y_mm, width_mm, height_mm, tilt_deg;
} sheet_place;

/* Cream paper, blue-black ink; change them before anything is drawn. */
void sheet_init(test_sheet *sheet, double width_mm, double height_mm, double ppi);
void sheet_set_paper(test_sheet *sheet, const float paper[3], const float ink[3]);
void sheet_clear(test_sheet *sheet);

/* Discs at random places, overlaps allowed, to the coverage; 1: solid. */
void sheet_patch(test_sheet *sheet, const sheet_place *place, sheet_shape shape, double coverage,
                 double diameter_mm);

/* rows x columns patches, the grid turned about the sheet's centre. places: out, in reading order.
 */
void sheet_grid(test_sheet *sheet, size_t rows, size_t columns, double size_mm, double pitch_mm,
                double tilt_deg, const double *coverages, size_t coverage_count,
                sheet_place *places);

void sheet_line(test_sheet *sheet, double x1, double y1, double x2, double y2, double thick_mm,
                float tone);
void sheet_fill(test_sheet *sheet, double x, double y, double width, double height, float tone);
void sheet_cross(test_sheet *sheet, double x, double y);
void sheet_scribble(test_sheet *sheet, double x, double y, double width, double height);
void sheet_ruler(test_sheet *sheet, double x, double y, double length);
void sheet_grey_scale(test_sheet *sheet, double x, double y, size_t steps, double width,
                      double height);

/* Light that rises by this share from corner to corner, fibre, noise; then a PNG is written. */
void sheet_write(test_sheet *sheet, double light, double noise, bool grey, const char *path);

/* Name of a scratch file, the same for the whole program, removed at the end. */
const char *sheet_scratch(const char *ending);

/*
 * Every patch of the layout is the place of the same number: each side within 0.4 mm, tilt within
 * 0.5 degrees.
 */
void sheet_check(const char *source, const fleck_layout *layout, const sheet_place *places,
                 size_t count);

#endif
