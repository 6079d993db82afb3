/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Small pictures of patches: grey, to one scale in both directions. */
#ifndef FLECK_REPORT_OVERLAY_THUMB_H
#define FLECK_REPORT_OVERLAY_THUMB_H

#include "fleck/measure.h"

enum { OVERLAY_THUMBS = 2 };

/* A small picture in the making. */
typedef struct overlay_thumb {
    size_t most_px; /* of its longer side */
    const char *path;
} overlay_thumb;

/*
 * Write small pictures of a patch, reading it once. Each pixel has the mean reflectance of the
 * measured pixels in it and is white where fewer than half are measured. None is larger than the
 * scan's pixels make it; of oblong ones the shorter side counts.
 * Errors: FLECK_NO_RESOURCE, what the view returns.
 */
fleck_status overlay_thumbs_write(const fleck_patch_view *view,
                                  const overlay_thumb thumbs[OVERLAY_THUMBS], fleck_error *err);

#endif
