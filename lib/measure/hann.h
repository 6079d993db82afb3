/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The window that keeps a tile's borders from looking like texture. */
#ifndef FLECK_MEASURE_HANN_H
#define FLECK_MEASURE_HANN_H

#include <stddef.h>

/* Periodic Hann window (1 - cos(2 pi i / side)) / 2, i from 0 to side - 1; freed with fleck_free(). NULL
 * when there is no memory. */
double *fleck_hann_new(size_t side);

/* Sum of its squares. */
double fleck_hann_squares(const double *window, size_t side);

#endif
