/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What stands below a patch: its id, a scale bar, the threshold in words and the meaning of lines. */
#ifndef FLECK_REPORT_OVERLAY_FOOTER_H
#define FLECK_REPORT_OVERLAY_FOOTER_H

#include "fleck/overlay.h"
#include "report/overlay_classes.h"

typedef struct overlay_footer {
    size_t width_px, height_px;
    uint8_t *places; /* in the palette, row by row */
} overlay_footer;

/*
 * kinds    of the patch's dots
 * lines    false: room is left where their meaning would stand
 *
 * Errors: FLECK_NO_RESOURCE. Ended with overlay_footer_clear, on failure too.
 */
fleck_status overlay_footer_make(const fleck_patch_view *view, const overlay_kinds *kinds,
                                 const fleck_overlay_place *place, bool lines,
                                 overlay_footer *footer, fleck_error *err);
void overlay_footer_clear(overlay_footer *footer);

#endif
