/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Patches made for tests of pictures, and pictures read back pixel by pixel. */
#ifndef FLECK_TESTS_OVERLAY_PATCHES_H
#define FLECK_TESTS_OVERLAY_PATCHES_H

#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/fleck.h"
#include "support/check.h"

/* A patch of two tones; dots from 2 pixels on are counted. */
struct patch {
    fleck_geometry geometry;
    uint8_t *ink; /* 1 where there is ink, measured or not */
    fleck_mask *mask;
    fleck_blob *dots;
    size_t dot_count, small_count;
    fleck_labeller *labeller;
    fleck_record record;
    fleck_patch_view view;
    size_t fails_at; /* row whose reading fails; SIZE_MAX: none does */
};

/* Bare paper everywhere; ink and mask are the test's to fill. */
void begin_patch(struct patch *patch, size_t width, size_t height, double pixel_x_mm,
                 double pixel_y_mm);
void put_disc(struct patch *patch, double x, double y, double radius);

/* Find the dots. */
void finish_patch(struct patch *patch, const char *id);
void end_patch(struct patch *patch);

/* A folder that is there while a group of tests runs. */
int make_folder(void **state);
int remove_folder(void **state);

/* A path in it; static storage, until the next call. */
const char *in_folder(const char *name);

struct picture {
    size_t width, height;
    uint8_t *rgb; /* freed with free() */
};

void read_picture(const char *path, struct picture *picture);

const uint8_t *pixel(const struct picture *picture, size_t x, size_t y);

#endif
