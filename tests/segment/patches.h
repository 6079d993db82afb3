/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Drawn patches of quantised reflectance: paper with noise, uneven light, discs of ink. */
#ifndef FLECK_TESTS_PATCHES_H
#define FLECK_TESTS_PATCHES_H

#include <stddef.h>
#include <stdint.h>

/* Reflectance, row by row; above 1 and below 0 it is cut off only when quantised. */
struct patch {
    size_t width_px, height_px;
    double *tone;
};

struct patch patch_new(size_t width_px, size_t height_px, double tone);
void patch_free(struct patch *patch);

/* Normal noise, from pixel to pixel or smoothed to fibres of about 2 smooth_px + 1 pixels. */
void patch_add_noise(struct patch *patch, double sd, size_t smooth_px, uint64_t *state);

/* Discs at random places, `depth` darker, until about this coverage; rims one pixel soft. Returns the
   coverage. */
double patch_add_discs(struct patch *patch, double radius_px, double coverage, double depth,
                       uint64_t *state);

/* Times 1 + slope x/width + bow (x/width - 1/2)^2, and the same along y. */
void patch_shade(struct patch *patch, double slope, double bow);

/* Quantised as read from a file of so many sRGB codes (IEC 61966-2-1): 255 or 65535. Freed with free(). */
uint16_t *patch_scan(const struct patch *patch, double codes);

#endif
