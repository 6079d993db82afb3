/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The Euler number of ink, row by row. */
#ifndef FLECK_MEASURE_EULER_H
#define FLECK_MEASURE_EULER_H

#include "measure/bit_rows.h"

/*
 * Vertices - edges + faces that row y adds. Ink pixels are closed squares, which makes corners
 * touch (8-connected). A pixel owns its face, its upper and left edge and the vertex between them,
 * all of which are counted where the pixel, its left, upper and upper left neighbours are inside,
 * so that everything counted is known.
 */
int64_t fleck_euler_of_row(const fleck_bit_rows *ink, const fleck_bit_rows *inside, size_t y);

#endif
