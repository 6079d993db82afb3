/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How pixels of a scan and of a picture of it belong together along one direction. */
#ifndef FLECK_REPORT_OVERLAY_AXIS_H
#define FLECK_REPORT_OVERLAY_AXIS_H

#include <stddef.h>
#include <stdint.h>

/*
 * Scan pixel x begins at picture pixel floor(x picture / scan). Enlarged, each picture pixel shows
 * one scan pixel; reduced, each scan pixel belongs to one picture pixel. Whole numbers throughout.
 */
typedef struct overlay_axis {
    size_t scan_px;    /* > 0 */
    size_t picture_px; /* > 0 */
} overlay_axis;

/* First scan pixel of a picture pixel, and the one behind its last. */
static inline size_t overlay_axis_first(const overlay_axis *axis, size_t at)
{
    if (axis->picture_px >= axis->scan_px)
        return ((at + 1) * axis->scan_px - 1) / axis->picture_px;
    return (at * axis->scan_px + axis->picture_px - 1) / axis->picture_px;
}

static inline size_t overlay_axis_end(const overlay_axis *axis, size_t at)
{
    if (axis->picture_px >= axis->scan_px)
        return overlay_axis_first(axis, at) + 1;
    return overlay_axis_first(axis, at + 1);
}

/* First picture pixel of a scan pixel; picture_px for the one behind the last. */
static inline size_t overlay_axis_start(const overlay_axis *axis, size_t scan)
{
    return scan * axis->picture_px / axis->scan_px;
}

#endif
