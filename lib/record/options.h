/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Options as they stand in records and run files. Texts are the caller's; NULL without memory. */
#ifndef FLECK_RECORD_OPTIONS_H
#define FLECK_RECORD_OPTIONS_H

#include "fleck/measure.h"

/* "otsu", "pooled", "local" or "fixed" */
const char *fleck_threshold_method_name(fleck_threshold_method method);

/* The threshold as asked for: "otsu", "pooled", "local:8" (window in mm), "fixed:0.4" */
char *fleck_threshold_text(const fleck_measure_options *options);

/* "dark" or "light" */
const char *fleck_ink_name(fleck_ink ink);

/* "X,Y,W,H" in mm */
char *fleck_box_text(const fleck_box_mm *box);

#endif
