/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Dots with their runs, from masks of the tests. */
#ifndef FLECK_TESTS_BLOBS_H
#define FLECK_TESTS_BLOBS_H

#include <stddef.h>

#include "fleck/shape.h"
#include "segment/mask.h"

struct blobs {
    fleck_blob *items; /* in the order of their first pixels; each owns its runs */
    size_t count;
};

/* Components of a phase with at least least_px pixels, through fleck_labeller. */
struct blobs blobs_from_mask(const struct mask *mask, fleck_phase phase, uint64_t least_px);

void blobs_free(struct blobs *blobs);

#endif
