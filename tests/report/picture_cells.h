/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Pictures as the mean lightness of small cells, and references of them that were looked at and kept:
 * another version of a font or library makes no difference, a curve left out or moved does.
 */
#ifndef FLECK_TESTS_PICTURE_CELLS_H
#define FLECK_TESTS_PICTURE_CELLS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* Lightness 0 to 255, row by row; freed with free(). */
typedef struct picture_cells {
    size_t width, height;
    uint8_t *lightness;
} picture_cells;

/* Of a PNG of opaque colours: its green. */
picture_cells picture_cells_of_png(const unsigned char *bytes, size_t size);
picture_cells picture_cells_of_png_file(const char *path);

/* Of a PDF as pdftoppm of poppler draws it at 300 ppi. */
picture_cells picture_cells_of_pdf(const unsigned char *bytes, size_t size);

/* How far it is from tests/report/references/NAME.png: above 1 it is another picture. Frees the cells. */
double picture_cells_off(picture_cells cells, const char *name);

/* Fails when it is another picture; frees the cells. */
void check_picture_cells(picture_cells cells, const char *name);

/* Keep it as NAME.png; frees the cells. */
bool picture_cells_keep(picture_cells cells, const char *name);

#endif
