/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Small pictures of discs for tests that look at tone: soft edges, noise, 8-bit or finer codes. */
#ifndef FLECK_TESTS_DISC_PICTURE_H
#define FLECK_TESTS_DISC_PICTURE_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/segment.h"

typedef struct disc_picture {
    size_t width_px, height_px;
    double *reflectance;
    uint16_t *q;
    fleck_run *runs; /* room for one row */
} disc_picture;

/*
 * Discs of 10 to 16 pixels in a grid of 40 pixels, moved at random; ink 0.1, paper 0.8; edges
 * blurred by softness_px (0: hard); white noise.
 */
disc_picture disc_picture_new(size_t width_px, size_t height_px, double softness_px, double noise,
                              uint64_t seed);

/* q from reflectance, rounded to `levels` levels of a square root curve, as 8-bit codes are: 255.
 */
void disc_picture_code(disc_picture *picture, double levels);

/* Ink runs of row y with the cut half way. Returns their number. */
size_t disc_picture_row(disc_picture *picture, size_t y);

void disc_picture_free(disc_picture *picture);

/* A normal deviate. */
double test_normal(uint64_t *state);

#endif
