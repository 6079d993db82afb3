/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Second angular moments of the power on the frequency plane: how far a texture has a direction. */
#ifndef FLECK_MEASURE_RING_MOMENTS_H
#define FLECK_MEASURE_RING_MOMENTS_H

#include <stddef.h>

#include "measure/rings.h"

/* Sums over the middle rings of one tile, t the angle of the frequency, y downward. */
typedef struct fleck_ring_moments {
    double cosine; /* power times cos 2t */
    double sine;   /* power times sin 2t */
    double total;  /* power */
} fleck_ring_moments;

/* Add the power of column kx, ky in the order of a DFT. */
void fleck_ring_moments_add_column(const fleck_rings *rings, size_t kx, const double *power,
                                   fleck_ring_moments *moments);

/* Over tiles; start from {0}. */
typedef struct fleck_moment_sums {
    size_t tiles;
    double cosine, sine, total;
    double squares; /* of cosine and sine, tile by tile */
} fleck_moment_sums;

void fleck_moment_sums_add(fleck_moment_sums *sums, const fleck_ring_moments *tile);

typedef struct fleck_moment_verdict {
    double anisotropy;    /* NAN without power */
    double p;             /* NAN with less than 2 tiles or no scatter */
    double direction_deg; /* of the structure, y upward; NAN when p does not tell it from chance */
} fleck_moment_verdict;

fleck_moment_verdict fleck_moment_sums_judge(const fleck_moment_sums *sums);

#endif
