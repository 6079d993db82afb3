/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "phantom/sheet_light.h"

#include <math.h>

const char fleck_sheet_light_formula[] =
    "1 + amplitude * (2 * (s - low) / (high - low) - 1), s = 0.7 * sin(0.9 * u + 0.4) + 0.5 * cos(1.1 * v "
    "- 0.3), u = 2 * x_px / width_px - 1, v = 2 * y_px / height_px - 1";

static double along(double u)
{
    return 0.7 * sin(0.9 * u + 0.4);
}

static double down(double v)
{
    return 0.5 * cos(1.1 * v - 0.3);
}

fleck_sheet_light fleck_sheet_light_of(double amplitude, size_t width_px, size_t height_px)
{
    return (fleck_sheet_light){
        .amplitude = amplitude,
        /* the sine rises all along; the cosine has its top at v = 0.3 / 1.1 and is lowest at v = -1 */
        .low = along(-1) + down(-1),
        .high = along(1) + down(0.3 / 1.1),
        .width_px = (double)width_px,
        .height_px = (double)height_px,
    };
}

void fleck_sheet_light_columns(const fleck_sheet_light *light, double *columns)
{
    for (size_t x = 0; (double)x < light->width_px; x++)
        columns[x] = along(2 * ((double)x + 0.5) / light->width_px - 1);
}

fleck_sheet_light_row fleck_sheet_light_in_row(const fleck_sheet_light *light, size_t y)
{
    const double slope = 2 * light->amplitude / (light->high - light->low);
    const double s = down(2 * ((double)y + 0.5) / light->height_px - 1);

    return (fleck_sheet_light_row){ 1 - light->amplitude + slope * (s - light->low), slope };
}
