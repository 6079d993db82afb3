/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * First down and up the columns, where the distance is a count of pixels; then along each row the
 * lower envelope of the parabolas that stand on the column distances.
 */
#include "measure/distance_map.h"

#include <math.h>

void fleck_distance_columns(const uint8_t *marked, size_t width_px, size_t height_px, size_t first_x,
                            size_t end_x, uint32_t *steps)
{
    const size_t w = width_px;

    for (size_t x = first_x; x < end_x; x++)
        steps[x] = marked[x] ? 0 : FLECK_DISTANCE_FAR;
    for (size_t y = 1; y < height_px; y++) {
        for (size_t i = y * w + first_x; i < y * w + end_x; i++)
            steps[i] = marked[i] ? 0 : steps[i - w] + 1;
    }
    for (size_t y = height_px - 1; y-- > 0;) {
        for (size_t i = y * w + first_x; i < y * w + end_x; i++)
            steps[i] = steps[i + w] + 1 < steps[i] ? steps[i + w] + 1 : steps[i];
    }
}

/* Where the parabola of apex b gets below that of apex a < b, in pixels. */
static double crossing(const double *value, size_t a, size_t b, double per_px2)
{
    const double x = (double)a, z = (double)b;

    return ((value[b] - value[a]) * per_px2 + z * z - x * x) / (2 * (z - x));
}

void fleck_distance_row(const uint32_t *steps, size_t width_px, double pixel_x_mm, double pixel_y_mm,
                        fleck_distance_line *line, double *square)
{
    const double per_px2 = 1 / (pixel_x_mm * pixel_x_mm);
    size_t count = 0, at = 0;

    for (size_t x = 0; x < width_px; x++) {
        const double column_mm = (double)steps[x] * pixel_y_mm;

        line->square[x] = column_mm * column_mm;
    }
    for (size_t x = 0; x < width_px; x++) {
        double from = -INFINITY;

        if (steps[x] >= FLECK_DISTANCE_FAR)
            continue;
        if (steps[x] == 0 && x > 0 && steps[x - 1] == 0) { /* most are marked: what follows gives the same */
            line->apex[count] = x;
            line->border[count++] = (double)x - 0.5;
            continue;
        }
        while (count > 0) {
            from = crossing(line->square, line->apex[count - 1], x, per_px2);
            if (from > line->border[count - 1])
                break;
            count--;
            from = -INFINITY;
        }
        line->apex[count] = x;
        line->border[count++] = from;
    }
    if (count == 0) {
        for (size_t x = 0; x < width_px; x++)
            square[x] = INFINITY;
        return;
    }
    line->border[count] = INFINITY;
    for (size_t x = 0; x < width_px; x++) {
        double step_mm;

        while (line->border[at + 1] < (double)x)
            at++;
        step_mm = ((double)x - (double)line->apex[at]) * pixel_x_mm;
        square[x] = line->square[line->apex[at]] + step_mm * step_mm;
    }
}

void fleck_distance_map(const uint8_t *marked, size_t width_px, size_t height_px, double pixel_x_mm,
                        double pixel_y_mm, fleck_distance_line *line, uint32_t *steps, double *square)
{
    fleck_distance_columns(marked, width_px, height_px, 0, width_px, steps);
    for (size_t y = 0; y < height_px; y++)
        fleck_distance_row(steps + y * width_px, width_px, pixel_x_mm, pixel_y_mm, line,
                           square + y * width_px);
}
