/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Masks of the tests: one byte a pixel, ways to make them, and the runs and components in them. */
#ifndef FLECK_TESTS_MASK_H
#define FLECK_TESTS_MASK_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/segment.h"

struct mask {
    size_t width_px, height_px;
    uint8_t *ink; /* 1 ink, 0 bare, row by row; 2 outside of what is measured */
};

struct mask mask_new(size_t width_px, size_t height_px); /* bare */
void mask_free(struct mask *mask);

/* Rows of '#' and '.', parted by blanks: "#. .#". */
struct mask mask_from_text(const char *text);

struct mask mask_random(size_t width_px, size_t height_px, double coverage, uint64_t *state);

/* Discs at random places until about this coverage: speckle as on a print. */
struct mask mask_speckle(size_t width_px, size_t height_px, double radius_px, double coverage,
                         uint64_t *state);

/* Turned by 90 degrees, mirrored left to right, and set in a bare border of one pixel. */
struct mask mask_turned(const struct mask *mask);
struct mask mask_mirrored(const struct mask *mask);
struct mask mask_framed(const struct mask *mask);

/* Runs of one row, written down from the definition; room for (width + 1) / 2. */
size_t mask_runs(const struct mask *mask, size_t y, fleck_run *runs);

/* Components in the order of their first pixels. */
struct components {
    fleck_component *items;
    size_t count;
};

void components_free(struct components *components);
void components_sort(struct components *components);

/* Fail, naming the picture, unless both have the same components, every member of them. */
void components_check(const char *name, const struct components *found,
                      const struct components *twin);

/* Both phases through fleck_labeller; result[phase]. The second takes the area to be labelled. */
void mask_label(const struct mask *mask, struct components result[2]);
void mask_label_in(const struct mask *mask, const fleck_mask *area, struct components result[2]);

/* One phase by flood fill, the slow twin. */
struct components mask_flood(const struct mask *mask, fleck_phase phase);

#endif
