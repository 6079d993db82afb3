/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A Gaussian random field with the covariance exp(-h^2 / a^2), cut at a level, row by row. */
#ifndef FLECK_PHANTOM_FIELD_ROWS_H
#define FLECK_PHANTOM_FIELD_ROWS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"

/* Where and what to draw. */
typedef struct fleck_field_frame {
    uint64_t seed;
    double correlation_mm; /* a */
    double level;          /* ink is where the field is at or below it */
    double pixel_mm;
    double left_px, top_px; /* whole numbers: the first pixel, seen from the picture's top left */
    size_t width_px;
    bool antialias; /* share of 4 x 4 points in a pixel; false: 1 or 0 as its centre is */
    bool fibre;     /* the texture of paper: of the same seed another field than a speckle's */
} fleck_field_frame;

typedef struct fleck_field_rows fleck_field_rows;

/* Errors: FLECK_NO_RESOURCE. */
fleck_status fleck_field_rows_new(const fleck_field_frame *frame, fleck_field_rows **out,
                                  fleck_error *err);

/* The next row, from the top: width_px shares of ink. */
void fleck_field_rows_next(fleck_field_rows *rows, double *share);

/* The same row as values of the field at the pixels' centres, mean 0 and variance 1; of a frame
   without antialias. */
void fleck_field_rows_values(fleck_field_rows *rows, double *value);

/* End it; NULL is allowed. */
void fleck_field_rows_free(fleck_field_rows *rows);

#endif
