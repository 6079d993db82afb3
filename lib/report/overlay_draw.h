/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Drawing of an overlay whose dots have been told apart and whose place is known. */
#ifndef FLECK_REPORT_OVERLAY_DRAW_H
#define FLECK_REPORT_OVERLAY_DRAW_H

#include "fleck/overlay.h"
#include "report/overlay_classes.h"

/* Errors: FLECK_NO_RESOURCE, what the view returns. */
fleck_status overlay_draw(const fleck_patch_view *view, const overlay_kinds *kinds,
                          const fleck_overlay_place *place, bool lines, const char *path,
                          fleck_error *err);

#endif
