/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Phantoms of the tests, taken apart into dots with all that is measured on each. */
#ifndef FLECK_TESTS_SPECKLE_H
#define FLECK_TESTS_SPECKLE_H

#include "fleck/phantom.h"
#include "fleck/shape.h"
#include "measure/blobs.h"

struct speckle {
    fleck_geometry geometry;
    uint16_t *q;
    fleck_cut cut; /* Otsu's */
    struct blobs blobs;
    fleck_outline *outlines;
    fleck_dot_tone *tones;
    fleck_patch_tone patch;
};

/* Dots of at least 3 pixels, tones not yet measured. */
struct speckle speckle_from_phantom(const fleck_phantom_options *options);
struct speckle speckle_from_q(uint16_t *q, const fleck_geometry *geometry, fleck_ink ink,
                              fleck_phase phase); /* owns q from here */

/* What fleck_dot_tones needs, its reader reading q. */
fleck_dot_tone_input speckle_input(struct speckle *speckle);

/* Measure tones as they are. */
void speckle_measure(struct speckle *speckle);

void speckle_free(struct speckle *speckle);

#endif
