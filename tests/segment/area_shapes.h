/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Areas of many shapes, one byte a pixel (1 inside), and the same as the library's masks. */
#ifndef FLECK_TESTS_AREA_SHAPES_H
#define FLECK_TESTS_AREA_SHAPES_H

#include "segment/mask.h"

enum area_kind {
    AREA_FULL,
    AREA_EMPTY,
    AREA_ONE_PIXEL,
    AREA_ONE_ROW,
    AREA_ONE_COLUMN,
    AREA_DISC,
    AREA_RING, /* a disc with a hole */
    AREA_COMB, /* teeth three pixels wide on a broad back */
    AREA_BLOBS,
    AREA_HOLES, /* full but for a few pixels */
    AREA_NOISE,
    AREA_KINDS
};

extern const char *const area_names[AREA_KINDS];

struct mask area_make(enum area_kind kind, size_t width_px, size_t height_px, uint64_t *state);

/* The caller ends it with fleck_mask_free. */
fleck_mask *area_mask(const struct mask *area);

/* Ink of one picture that lies in an area. */
struct mask area_clipped(const struct mask *ink, const struct mask *area);

#endif
