/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The heather images of tests/data/heather and what is known about them (source: the README there).
 */
#ifndef FLECK_TESTS_HEATHER_H
#define FLECK_TESTS_HEATHER_H

#include <stddef.h>
#include <stdint.h>

#include "segment/mask.h"

struct heather {
    const char *name;
    size_t width_px, height_px;
    uint64_t ink_px;
    double coverage;
    size_t ink_components_8, bare_components_4;
    uint64_t largest_ink_8_px, largest_bare_4_px;
    uint64_t changes_in_rows, changes_in_columns;
    double mean_chord_ink_px, mean_chord_bare_px;
    long euler_8_framed; /* of the image in a bare border */
};

enum { HEATHER_IMAGES = 3 };
extern const struct heather heather_images[HEATHER_IMAGES];

/* Read the picture of one image. */
struct mask heather_read(const struct heather *image);

#endif
