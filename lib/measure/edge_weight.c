/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Correction for the border: a large dot lies wholly inside a small window more seldom than a small
 * one, so each whole dot counts as often as the inverse of that chance (Miles 1974; Lantuejoul
 * 1978). A box of w x h pixels clear of the outermost rows and columns has (W - w - 1)(H - h - 1)
 * places.
 */
#include "fleck/texture.h"

double fleck_edge_weight_per_px2(const fleck_geometry *geometry, const fleck_component *component)
{
    const double box_width_px = (double)component->max_x_px - (double)component->min_x_px + 1.0;
    const double box_height_px = (double)component->max_y_px - (double)component->min_y_px + 1.0;
    const double places_x = (double)geometry->width_px - box_width_px - 1.0;
    const double places_y = (double)geometry->height_px - box_height_px - 1.0;

    if (component->at_edge || places_x <= 0.0 || places_y <= 0.0)
        return 0.0;
    return 1.0 / (places_x * places_y);
}
