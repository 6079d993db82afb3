/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A Gaussian blur of rows that arrive one after the other. */
#ifndef FLECK_PHANTOM_SOFTEN_H
#define FLECK_PHANTOM_SOFTEN_H

#include <stddef.h>

#include "fleck/error.h"

typedef struct fleck_soften fleck_soften;

/* Pixels by which the source must be wider than the result on each side: 4 standard deviations, at
   least 3 pixels, none without blur. */
size_t fleck_soften_margin_px(double sd_px);

/*
 * width_px    of the result; the rows given are wider by the margin on both sides
 *
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_soften_new(double sd_px, size_t width_px, fleck_soften **out, fleck_error *err);

/* Hand over the next row, from the margin above the picture on. */
void fleck_soften_put(fleck_soften *soften, const double *row);

/* The row that lies a margin above the last one given; 2 * margin + 1 rows must have been given. */
void fleck_soften_get(const fleck_soften *soften, double *row);

/* End it; NULL is allowed. */
void fleck_soften_free(fleck_soften *soften);

#endif
