/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The share of each pixel that a union of discs covers, row by row. */
#ifndef FLECK_PHANTOM_DISC_ROWS_H
#define FLECK_PHANTOM_DISC_ROWS_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"

/* In pixels, from the top left corner of the first pixel. */
typedef struct fleck_disc_px {
    double x, y, radius;
} fleck_disc_px;

typedef struct fleck_disc_rows fleck_disc_rows;

/*
 * discs        n discs, any of them partly or wholly outside; sorted here, borrowed until _free
 * antialias    false: 1 where the pixel's centre lies in a disc (its outline included), else 0
 *
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_disc_rows_new(fleck_disc_px *discs, size_t n, size_t width_px, bool antialias,
                                 fleck_disc_rows **out, fleck_error *err);

/* The next row, from the top: width_px shares from 0 to 1. Errors: FLECK_NO_RESOURCE. */
fleck_status fleck_disc_rows_next(fleck_disc_rows *rows, double *share, fleck_error *err);

/* End it; NULL is allowed. */
void fleck_disc_rows_free(fleck_disc_rows *rows);

#endif
