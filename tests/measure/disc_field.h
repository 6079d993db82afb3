/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Fields of discs as a labeller would list them, without an image. */
#ifndef FLECK_TESTS_DISC_FIELD_H
#define FLECK_TESTS_DISC_FIELD_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/geometry.h"
#include "fleck/segment.h"

typedef struct disc_law {
    double side_mm; /* of the square patch */
    double pixel_mm;
    double per_mm2; /* discs that arrive, whose pixels reach the cutoff or not */
    double median_mm, gsd;
    double cutoff_mm;
    bool apart;          /* an arriving disc that would overlap is turned away */
    double cluster_size; /* discs to a cluster, on average; 0: no clusters */
    double cluster_sd_mm;
} disc_law;

typedef struct disc_field {
    fleck_geometry geometry;
    fleck_component *counted; /* at or above the cutoff, with a pixel in the patch */
    size_t count;
    uint64_t
        *centred_px; /* areas of those whose centre lies in the patch: each once, no edge effect */
    size_t centred;
} disc_field;

/* Draw one; false without memory. Ended with disc_field_clear. */
bool disc_field_draw(const disc_law *law, uint64_t *random, disc_field *field);
void disc_field_clear(disc_field *field);

/* Smallest counted area in pixels at which the share of discs of the law reaches p. */
uint64_t disc_law_quantile_px(const disc_law *law, double p);

/* Discs of the law per mm2 that are counted; without `apart`. */
double disc_law_counted_per_mm2(const disc_law *law);

#endif
