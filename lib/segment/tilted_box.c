/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A pixel lies in the turned box when the two coordinates of its centre along the box's own sides
 * do. Both go one way along a row, so that each side bounds the pixels of a row at one end, which
 * halving finds.
 */
#include "segment/tilted_box.h"

#include <math.h>

#include "segment/mask_words.h"

/* A side of the box as a line: cos * x - sin * y above `limit`, or not above it. */
struct side {
    double along_x, along_y; /* of the coordinate that the side bounds */
    double limit_mm;         /* measured from the box's centre */
};

/* Pixels of the row, from the left, whose coordinate is on the side of the row's beginning. */
static size_t count_before(const struct side *side, double first_x_mm, double y_mm,
                           double pixel_x_mm, size_t width_px)
{
    const bool rising = side->along_x >= 0;
    size_t low = 0, high = width_px;

    while (low < high) {
        const size_t middle = low + (high - low) / 2;
        const double x_mm = first_x_mm + (double)middle * pixel_x_mm;
        const bool above = side->along_x * x_mm + side->along_y * y_mm > side->limit_mm;

        if (above == rising)
            high = middle;
        else
            low = middle + 1;
    }
    return low;
}

fleck_tilted_box fleck_tilted_box_upright(fleck_box_mm box, double tilt_deg)
{
    /* a tilt of just 45 degrees stays; remainder() is exact */
    const double rest_deg = remainder(tilt_deg, 90);
    const bool turned = fabs(remainder(tilt_deg - rest_deg, 180)) > 45;
    fleck_tilted_box upright = { box, rest_deg == -45 ? 45 : rest_deg };

    if (turned != (rest_deg == -45)) {
        upright.box.x_mm = box.x_mm + box.width_mm / 2 - box.height_mm / 2;
        upright.box.y_mm = box.y_mm + box.height_mm / 2 - box.width_mm / 2;
        upright.box.width_mm = box.height_mm;
        upright.box.height_mm = box.width_mm;
    }
    return upright;
}

static double radians(double degrees)
{
    return degrees * (3.14159265358979323846 / 180);
}

fleck_box_mm fleck_tilted_box_bounds(const fleck_tilted_box *tilted)
{
    const fleck_box_mm *const box = &tilted->box;
    const double c = cos(radians(tilted->tilt_deg)), s = fabs(sin(radians(tilted->tilt_deg)));
    const double width_mm = box->width_mm * c + box->height_mm * s;
    const double height_mm = box->width_mm * s + box->height_mm * c;

    if (tilted->tilt_deg == 0)
        return *box;
    return (fleck_box_mm){ box->x_mm + (box->width_mm - width_mm) / 2,
                           box->y_mm + (box->height_mm - height_mm) / 2, width_mm, height_mm };
}

void fleck_tilted_box_draw(const fleck_tilted_box *tilted, size_t left_px, size_t top_px,
                           double pixel_x_mm, double pixel_y_mm, fleck_mask *mask)
{
    const fleck_box_mm *const box = &tilted->box;
    const double c = cos(radians(tilted->tilt_deg)), s = sin(radians(tilted->tilt_deg));
    const struct side sides[] = {
        { c, -s, -box->width_mm / 2 }, /* y runs downward: anticlockwise is (c, -s), (s, c) */
        { c, -s, box->width_mm / 2 },
        { s, c, -box->height_mm / 2 },
        { s, c, box->height_mm / 2 },
    };
    const double first_x_mm =
        ((double)left_px + 0.5) * pixel_x_mm - (box->x_mm + box->width_mm / 2);

    for (size_t y = 0; y < mask->height_px; y++) {
        const double y_mm =
            ((double)(top_px + y) + 0.5) * pixel_y_mm - (box->y_mm + box->height_mm / 2);
        size_t start = 0, end = mask->width_px;

        for (size_t i = 0; i < sizeof sides / sizeof *sides; i++) {
            const size_t before =
                count_before(&sides[i], first_x_mm, y_mm, pixel_x_mm, mask->width_px);
            const bool lower = i % 2 == 0, rising = sides[i].along_x >= 0;

            if (lower == rising)
                start = before > start ? before : start;
            else
                end = before < end ? before : end;
        }
        if (start < end)
            fleck_mask_add_run(mask, y, start, end);
    }
}
