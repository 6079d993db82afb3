/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FLECK_CALIBRATE_TONE_REFLECT_H
#define FLECK_CALIBRATE_TONE_REFLECT_H

#include "fleck/tone.h"

/*
 * As fleck_tone_row_at, but neither rounded nor cut to 0 to 1: for means that must not suffer from
 * the noise above white.
 */
void fleck_tone_reflect_row(const fleck_tone *tone, fleck_channel channel, const void *pixels,
                            size_t count, size_t x_px, size_t y_px, double *reflectance);

/*
 * The reflectances of 8-bit codes, 256 of them and the tone's own, where one sample of a pixel decides
 * the channel's; else NULL.
 * step, sample    out: samples of a pixel, and which of them it is
 */
const uint16_t *fleck_tone_byte_table(const fleck_tone *tone, fleck_channel channel, size_t *step,
                                      unsigned *sample);

#endif
