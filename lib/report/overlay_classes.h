/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What each pixel of a patch is: outside, bare, or ink of a dot of one kind. */
#ifndef FLECK_REPORT_OVERLAY_CLASSES_H
#define FLECK_REPORT_OVERLAY_CLASSES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/measure.h"

/* In this order the larger wins where a picture pixel covers several. */
enum overlay_class {
    OVERLAY_OUTSIDE,
    OVERLAY_BARE,
    OVERLAY_SMALL, /* dots from here on; this one is below the cutoff, or too large to keep its runs */
    OVERLAY_COUNTED,
    OVERLAY_MERGED,
    OVERLAY_EDGE,
    OVERLAY_CLASSES
};

/* How the counted dots of a patch divide. */
typedef struct overlay_kinds {
    uint8_t *of_dot; /* class of each dot of the view */
    size_t count[OVERLAY_CLASSES];
    bool without_runs; /* there is a counted dot whose ink looks as if it were below the cutoff */
} overlay_kinds;

/*
 * At the edge; else merged when fleck_split_dots parts it; else simply counted.
 * Errors: FLECK_NO_RESOURCE. Ended with overlay_kinds_clear, on failure too.
 */
fleck_status overlay_kinds_find(const fleck_patch_view *view, overlay_kinds *kinds,
                                fleck_error *err);
void overlay_kinds_clear(overlay_kinds *kinds);

/* Classes of all pixels row by row. */
typedef struct overlay_classes overlay_classes;

/* Errors: FLECK_NO_RESOURCE. View and kinds are borrowed until overlay_classes_free. */
fleck_status overlay_classes_new(const fleck_patch_view *view, const overlay_kinds *kinds,
                                 overlay_classes **out, fleck_error *err);

/* The next row, from the top: width_px classes. Errors: what the view returns. */
fleck_status overlay_classes_row(overlay_classes *classes, uint8_t *row, fleck_error *err);

void overlay_classes_free(overlay_classes *classes);

#endif
