/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The mask of a call: a picture that is white where scans of its size are measured. */
#ifndef FLECK_RECORD_SCAN_MASK_H
#define FLECK_RECORD_SCAN_MASK_H

#include "fleck/segment.h"
#include "io/sha256.h"

typedef struct fleck_scan_mask {
    fleck_mask *mask;
    char sha256[FLECK_SHA256_TEXT_BYTES];
} fleck_scan_mask;

/*
 * Read a PNG, TIFF or JPEG: a pixel is inside where its quantised luminance, by its file's own
 * curve, is at least half of 65535, rounded up. Costs one bit for each pixel of the picture.
 *
 * out    to be ended with fleck_scan_mask_clear, also after a failure
 *
 * Errors: FLECK_BAD_CALL (it cannot be read, nothing in it is white), FLECK_NO_RESOURCE; the
 * message names the file.
 */
fleck_status fleck_scan_mask_read(const char *path, fleck_scan_mask *out, fleck_error *err);

/* Free what it owns; NULL is allowed. */
void fleck_scan_mask_clear(fleck_scan_mask *mask);

#endif
