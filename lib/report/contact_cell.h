/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The small picture of a patch that a contact sheet is made of, read back. */
#ifndef FLECK_REPORT_CONTACT_CELL_H
#define FLECK_REPORT_CONTACT_CELL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"

typedef struct contact_cell {
    size_t width_px, height_px;
    double width_mm, height_mm;
    uint8_t *codes; /* by the sRGB curve; NULL when only the size was asked for */
} contact_cell;

/*
 * *found    out: false when there is no such file, which is no error
 * Errors: FLECK_BAD_INPUT (no such picture as fleck makes), FLECK_NO_RESOURCE.
 */
fleck_status contact_cell_read(const char *path, bool pixels, bool *found, contact_cell *cell,
                               fleck_error *err);
void contact_cell_clear(contact_cell *cell);

/* Code of the mean reflectance over a box given in pixels of the cell, cut to what it holds; white
   (255) beyond. decoded: 256 reflectances. */
uint8_t contact_cell_mean(const contact_cell *cell, const double *decoded, double left, double top,
                          double right, double bottom);

#endif
