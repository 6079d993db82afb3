/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/region_check.h"

#include <math.h>

fleck_status fleck_region_check(const fleck_geometry *geometry, const fleck_mask *mask,
                                fleck_error *err)
{
    if (geometry->width_px == 0 || geometry->height_px == 0 || !(geometry->pixel_x_mm > 0) ||
        !(geometry->pixel_y_mm > 0) || !isfinite(geometry->pixel_x_mm) ||
        !isfinite(geometry->pixel_y_mm))
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "a region of %zu x %zu pixels of %g x %g mm has no size; give one above 0",
            geometry->width_px, geometry->height_px, geometry->pixel_x_mm, geometry->pixel_y_mm);
    if (mask != NULL && (fleck_mask_width_px(mask) != geometry->width_px ||
                         fleck_mask_height_px(mask) != geometry->height_px))
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "the mask does not fit a region of %zu x %zu pixels; give one of its size",
            geometry->width_px, geometry->height_px);
    return FLECK_OK;
}
