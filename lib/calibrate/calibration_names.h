/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Words of the calibration file that are not keys of its structs. */
#ifndef FLECK_CALIBRATE_CALIBRATION_NAMES_H
#define FLECK_CALIBRATE_CALIBRATION_NAMES_H

#include "fleck/calibration.h"

extern const char *const fleck_field_term_names[FLECK_FIELD_TERMS];

extern const char *const fleck_clip_names[FLECK_CLIP_LIGHT + 1];

/* Name of a colour sample: "grey", or "red", "green", "blue". */
const char *fleck_colour_name(unsigned channels, unsigned colour);

#endif
