/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rings of one frequency step on the plane of a tile's Fourier transform. */
#ifndef FLECK_MEASURE_RINGS_H
#define FLECK_MEASURE_RINGS_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"

/*
 * The step is 1 / (side_px * larger pixel side): with it every ring up to the last one, the Nyquist
 * frequency of the larger side, is whole.
 */
typedef struct fleck_rings {
    size_t side_px;
    size_t count; /* rings 1 to side_px / 2 */
    double step_per_mm;
    double stretch_x, stretch_y; /* one of them 1: (kx, ky) lies at (x kx, y ky) steps */
    uint16_t *number;            /* of (kx, ky), both >= 0, at kx * (side_px / 2 + 1) + ky */
    uint32_t *column_length;     /* for each kx: points, from ky 0 on, that lie in a ring */
    uint64_t *samples;           /* by ring, 0 being the centre: points of the whole plane */
} fleck_rings;

/*
 * side_px    even, 2 to 65536; asserted
 *
 * Errors: FLECK_NO_RESOURCE. Thread-safe.
 */
fleck_status fleck_rings_new(size_t side_px, double pixel_x_mm, double pixel_y_mm, fleck_rings *out,
                             fleck_error *err);

/* Sums by ring that are added to side by side, a column each. */
enum { FLECK_RING_LANES = 4 };

/*
 * Add the power of some columns to the sums of their rings.
 *
 * kx, count    the first of them, 0 to side_px / 2, and how many, at most FLECK_RING_LANES; those
 *              between 0 and side_px / 2 count twice, for their mirror images
 * power        side_px values of each column, ky in the order of a DFT
 * lanes        rings->count + 1 sums by ring for each of FLECK_RING_LANES columns
 */
void fleck_rings_add_columns(const fleck_rings *rings, size_t kx, size_t count, const double *power,
                             double *lanes);

/* Free the arrays; a cleared struct is allowed. */
void fleck_rings_clear(fleck_rings *rings);

#endif
