/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How large a patch is drawn, and where. */
#include <math.h>

#include "fleck/overlay.h"

#include "core/versioned.h"

/* Sides in picture pixels from which the legend can be read; of the patch, for a scale to be chosen. */
enum { LEAST_PICTURE_PX = 640, LEAST_PATCH_PX = 900, MOST_PATCH_PX = 8000 };
enum { LEAST_MARGIN_PX = 10, MOST_MARGIN_PX = 40, MOST_SCALE = 16 };
#define LEAST_SCALE 0.001

void fleck_overlay_options_init(fleck_overlay_options *options, size_t struct_bytes)
{
    const fleck_overlay_options defaults = { .scale = 0 };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

fleck_status fleck_overlay_options_check(const fleck_overlay_options *options, fleck_error *err)
{
    fleck_overlay_options known = fleck_overlay_options_default();
    fleck_status status;

    if ((status = fleck_versioned_take(options, &known, sizeof known, "picture options", err)) != FLECK_OK)
        return status;
    options = &known;
    if (options->scale == 0 || (options->scale >= LEAST_SCALE && options->scale <= MOST_SCALE))
        return FLECK_OK;
    return fleck_fail(err, FLECK_BAD_CALL,
                      "the scale of pictures is %g; give picture pixels per scan pixel from %g to %d",
                      options->scale, LEAST_SCALE, MOST_SCALE);
}

/* Scale for a patch so many scan pixels long. */
static double choose(double longer_px)
{
    if (longer_px < 2000)
        return fmin(fmax(3, ceil(LEAST_PATCH_PX / longer_px)), MOST_SCALE);
    if (longer_px < 4000)
        return 2;
    return fmin(1, MOST_PATCH_PX / longer_px);
}

fleck_status fleck_overlay_get_place(const fleck_geometry *geometry,
                                     const fleck_overlay_options *options,
                                     fleck_overlay_place *place, fleck_error *err)
{
    const double finest = fmin(geometry->pixel_x_mm, geometry->pixel_y_mm);
    const double wide = (double)geometry->width_px * geometry->pixel_x_mm / finest;
    const double high = (double)geometry->height_px * geometry->pixel_y_mm / finest;
    const double longer = fmax(wide, high);
    fleck_overlay_options known = fleck_overlay_options_default();
    double scale;
    size_t smallest;
    fleck_status status;

    if ((status = fleck_versioned_take(options, &known, sizeof known, "picture options", err)) != FLECK_OK)
        return status;
    options = &known;
    if ((status = fleck_overlay_options_check(options, err)) != FLECK_OK)
        return status;
    scale = options->scale > 0 ? options->scale : choose(longer);
    if (scale * longer > FLECK_OVERLAY_MOST_PX)
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "its picture would be %.0f pixels long; give a --picture-scale of at most "
                          "%.6g, or none",
                          scale * longer, floor(1000 * FLECK_OVERLAY_MOST_PX / longer) / 1000);
    *place = (fleck_overlay_place){
        .width_px = (size_t)fmax(1, round(scale * wide)),
        .height_px = (size_t)fmax(1, round(scale * high)),
        .line_px = 1,
    };
    place->scale_x = (double)place->width_px / (double)geometry->width_px;
    place->scale_y = (double)place->height_px / (double)geometry->height_px;
    smallest = place->width_px / geometry->width_px < place->height_px / geometry->height_px
                   ? place->width_px / geometry->width_px
                   : place->height_px / geometry->height_px;
    place->on_edges = smallest >= 2;
    if (smallest / 4 > 1)
        place->line_px = smallest / 4;
    place->left_px = place->width_px / 80;
    if (place->left_px < LEAST_MARGIN_PX)
        place->left_px = LEAST_MARGIN_PX;
    if (place->left_px > MOST_MARGIN_PX)
        place->left_px = MOST_MARGIN_PX;
    place->top_px = place->left_px;
    place->picture_width_px = place->width_px + 2 * place->left_px;
    if (place->picture_width_px < LEAST_PICTURE_PX)
        place->picture_width_px = LEAST_PICTURE_PX;
    return FLECK_OK;
}
