/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Embedded colour profiles: from device codes to linear light with the primaries of sRGB. */
#ifndef FLECK_CALIBRATE_ICC_H
#define FLECK_CALIBRATE_ICC_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"

/*
 * A profile, opened in a Little CMS context of its own. White is the profile's own white
 * (relative colorimetric, no black point compensation).
 */
typedef struct fleck_icc fleck_icc;

/*
 * Open a profile for pixels of `channels` colour samples.
 *
 * bytes, size    the profile; borrowed for the call
 * channels       1 grey, 3 RGB, 4 CMYK. A profile for RGB is taken for grey too: R = G = B
 * out            to be ended with fleck_icc_free; NULL on failure
 *
 * Errors: FLECK_BAD_INPUT (damaged, for another kind of pixels, not a profile of a device),
 * FLECK_NO_RESOURCE. Thread-safe.
 */
fleck_status fleck_icc_open(const void *bytes, size_t size, unsigned channels, fleck_icc **out,
                            fleck_error *err);

/*
 * True when each sample has a curve, and for RGB a matrix mixes what the curves give; always so for
 * grey. False when only fleck_icc_to_linear can say what a pixel means.
 */
bool fleck_icc_has_curves(const fleck_icc *icc);

/* Whether the profile is for RGB, be it of grey pixels. */
bool fleck_icc_is_for_rgb(const fleck_icc *icc);

/*
 * Curve of one sample, for a profile that has curves: linear[i] is the linear light of the code
 * i / (levels - 1), for grey relative luminance (white 1). Not clamped.
 *
 * Errors: FLECK_BAD_INPUT (damaged). Not thread-safe on one profile.
 */
fleck_status fleck_icc_read_curve(const fleck_icc *icc, unsigned sample, size_t levels,
                                  double *linear, fleck_error *err);

/*
 * Matrix of an RGB profile that has curves: linear sRGB = matrix * (what the three curves give).
 * Errors: FLECK_BAD_INPUT (damaged). Not thread-safe on one profile.
 */
fleck_status fleck_icc_read_matrix(const fleck_icc *icc, double matrix[3][3], fleck_error *err);

enum { FLECK_ICC_CHUNK = 256 }; /* pixels fleck_icc_to_linear takes at a time, on the stack */

/*
 * Linear light of pixels, for a profile without curves.
 *
 * device    count pixels of `channels` samples, 0 to 1 (CMYK: 1 is full ink)
 * count     at most FLECK_ICC_CHUNK
 * rgb       out: 3 * count values, white 1; below 0 or above 1 for colours outside sRGB
 *
 * Never fails. Thread-safe, also on one profile: the transform has no cache, so Little CMS only
 * reads it.
 */
void fleck_icc_to_linear(const fleck_icc *icc, const float *device, size_t count, double *rgb);

/* End a profile; NULL is allowed. */
void fleck_icc_free(fleck_icc *icc);

#endif
