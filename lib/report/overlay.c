/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/overlay.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "io/picture.h"
#include "report/overlay_draw.h"
#include "report/overlay_footer.h"
#include "report/overlay_lines.h"
#include "report/overlay_palette.h"

#define MOST_PPI 1e6 /* that a picture can hold */

struct drawing {
    const fleck_overlay_place *place;
    overlay_lines *lines;
    overlay_footer footer;
    uint8_t ground;
};

/* A fleck_picture_row: margin, patch, margin, texts. */
static fleck_status give_row(void *context, size_t y, void *samples, fleck_error *err)
{
    struct drawing *const drawing = context;
    const fleck_overlay_place *const place = drawing->place;
    const size_t first = place->top_px - place->line_px;
    const size_t last = place->top_px + place->height_px + place->line_px;
    const size_t texts = 2 * place->top_px + place->height_px;
    const overlay_footer *const footer = &drawing->footer;

    if (y >= first && y < last)
        return overlay_lines_row(drawing->lines, samples, err);
    if (y < texts) {
        overlay_lines_ground(place, drawing->ground, samples);
    } else {
        memset(samples, OVERLAY_WHITE, place->picture_width_px);
        memcpy(samples, footer->places + (y - texts) * footer->width_px, footer->width_px);
    }
    return FLECK_OK;
}

static double ppi(double pixel_mm, double scale)
{
    return fmin(25.4 * scale / pixel_mm, MOST_PPI);
}

fleck_status overlay_draw(const fleck_patch_view *view, const overlay_kinds *kinds,
                          const fleck_overlay_place *place, bool lines, const char *path,
                          fleck_error *err)
{
    const bool light = overlay_is_light(view->record);
    uint8_t palette[OVERLAY_COLOURS][3];
    struct drawing drawing = { .place = place, .ground = overlay_ground(light) };
    fleck_picture picture = {
        .format = FLECK_PICTURE_PNG,
        .width_px = place->picture_width_px,
        .channels = 1,
        .bits = 8,
        .ppi_x = ppi(view->geometry->pixel_x_mm, place->scale_x),
        .ppi_y = ppi(view->geometry->pixel_y_mm, place->scale_y),
        .srgb = true,
        .palette = (const uint8_t(*)[3])palette,
        .palette_count = OVERLAY_COLOURS,
    };
    fleck_status status;

    overlay_palette_fill(light, palette);
    status = overlay_footer_make(view, kinds, place, lines, &drawing.footer, err);
    if (status == FLECK_OK)
        status = overlay_lines_new(view, lines ? kinds : NULL, place, &drawing.lines, err);
    picture.height_px = place->height_px + 2 * place->top_px + drawing.footer.height_px;
    if (status == FLECK_OK)
        status = fleck_picture_write(path, &picture, give_row, &drawing, err);
    overlay_lines_free(drawing.lines);
    overlay_footer_clear(&drawing.footer);
    return status;
}

fleck_status fleck_overlay_draw(const fleck_patch_view *view, const fleck_overlay_options *options,
                                bool lines, const char *path, fleck_error *err)
{
    overlay_kinds kinds = { 0 };
    fleck_overlay_place place;
    fleck_status status = fleck_overlay_get_place(view->geometry, options, &place, err);

    if (status == FLECK_OK)
        status = overlay_kinds_find(view, &kinds, err);
    if (status == FLECK_OK)
        status = overlay_draw(view, &kinds, &place, lines, path, err);
    overlay_kinds_clear(&kinds);
    return status;
}
