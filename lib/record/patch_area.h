/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which pixels of a scan a patch covers. */
#ifndef FLECK_RECORD_PATCH_AREA_H
#define FLECK_RECORD_PATCH_AREA_H

#include <stddef.h>

#include "fleck/measure.h"
#include "fleck/scan.h"
#include "record/scan_mask.h"

/* The box of pixels around a patch. */
typedef struct fleck_patch_box {
    size_t left_px, top_px, width_px, height_px;
} fleck_patch_box;

typedef struct fleck_patch_area {
    fleck_patch_box box; /* the smallest one */
    fleck_mask *mask;    /* of its size; NULL: the whole box. Owned */
} fleck_patch_area;

/* The region a patch asks for, its own or that of the call; NULL for the whole scan. */
const fleck_box_mm *fleck_patch_region(const fleck_input *input,
                                       const fleck_measure_options *options);

/* The tilt that goes with it, 0 without one. */
double fleck_patch_tilt_deg(const fleck_input *input, const fleck_measure_options *options);

/*
 * The pixels inside region, tilt, margin and mask.
 *
 * scan_mask    NULL: none
 * out          to be ended with fleck_patch_area_clear, also after a failure
 *
 * Costs one bit for each pixel of the box, and three while it is made, when there is a tilt or
 * mask. Errors: FLECK_BAD_INPUT (region outside the scan, nothing left, a mask for scans of another
 * size), FLECK_NO_RESOURCE.
 */
fleck_status fleck_patch_area_find(const fleck_input *input, const fleck_measure_options *options,
                                   const fleck_scan_info *info, const fleck_scan_mask *scan_mask,
                                   double pixel_x_mm, double pixel_y_mm, fleck_patch_area *out,
                                   fleck_error *err);

/* Free what it owns; NULL is allowed. */
void fleck_patch_area_clear(fleck_patch_area *area);

#endif
