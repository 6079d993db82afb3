/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The rows of the patch in a picture, with or without lines.
 *
 * Enlarged twice or more, a line is drawn on the paper's side of a dot's edge, on the picture pixels
 * that are no farther from the dot than a line is wide. Lines are at most half a scan pixel wide, so
 * such a pixel sees scan pixels of one block of 2 x 2 alone; these touch, and whatever of them is ink
 * is one dot. Lines of different dots therefore never meet, and no ink is hidden. Otherwise the line
 * is the dot's own outermost pixels.
 */
#ifndef FLECK_REPORT_OVERLAY_LINES_H
#define FLECK_REPORT_OVERLAY_LINES_H

#include "fleck/overlay.h"
#include "report/overlay_classes.h"

/* How the line of a class is drawn. */
typedef enum overlay_style {
    OVERLAY_SOLID,
    OVERLAY_DOTTED,
    OVERLAY_DASHED,
    OVERLAY_DOUBLE /* a second line of the other lightness within the dot, one line's width from the
                      edge; beside the first one where that is of the dot's own pixels */
} overlay_style;

/* What is left open in dotted and dashed lines has the colour of the ground. */
overlay_style overlay_style_of(unsigned class);

typedef struct overlay_lines overlay_lines;

/*
 * kinds    NULL: without lines; borrowed like view and place until overlay_lines_free
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status overlay_lines_new(const fleck_patch_view *view, const overlay_kinds *kinds,
                               const fleck_overlay_place *place, overlay_lines **out,
                               fleck_error *err);

/*
 * The next row of the picture: rows come from line_px above the patch to line_px below it.
 *
 * out    place->picture_width_px places in the palette
 */
fleck_status overlay_lines_row(overlay_lines *lines, uint8_t *out, fleck_error *err);

/* A row beside the patch: the ground as wide as the patch and its margins, white behind. */
void overlay_lines_ground(const fleck_overlay_place *place, uint8_t ground, uint8_t *out);

void overlay_lines_free(overlay_lines *lines);

#endif
