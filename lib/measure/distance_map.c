/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * First down and up the columns, where the distance is a count of pixels; then along each row the
 * lower envelope of the parabolas that stand on the column distances.
 */
#include "measure/distance_map.h"

#include <math.h>

static void columns(const uint8_t *marked, size_t w, size_t h, double py, double *square)
{
    for (size_t i = 0; i < w; i++)
        square[i] = marked[i] ? 0 : INFINITY;
    for (size_t y = 1; y < h; y++) {
        for (size_t i = y * w; i < (y + 1) * w; i++)
            square[i] = marked[i] ? 0 : square[i - w] + 1;
    }
    for (size_t y = h - 1; y-- > 0;) {
        for (size_t i = y * w; i < (y + 1) * w; i++) {
            if (square[i + w] + 1 < square[i])
                square[i] = square[i + w] + 1;
        }
    }
    for (size_t i = 0; i < w * h; i++)
        square[i] = square[i] * py * (square[i] * py);
}

/* Where the parabola of apex b gets below that of apex a < b, in pixels. */
static double crossing(const double *value, size_t a, size_t b, double per_px2)
{
    const double x = (double)a, z = (double)b;

    return ((value[b] - value[a]) * per_px2 + z * z - x * x) / (2 * (z - x));
}

static void row(double *values, size_t w, double px, fleck_distance_line *line)
{
    const double per_px2 = 1 / (px * px);
    size_t count = 0, at = 0;

    for (size_t x = 0; x < w; x++)
        line->square[x] = values[x];
    for (size_t x = 0; x < w; x++) {
        double from = -INFINITY;

        if (!(line->square[x] < INFINITY))
            continue;
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
    if (count == 0)
        return;
    line->border[count] = INFINITY;
    for (size_t x = 0; x < w; x++) {
        double step_mm;

        while (line->border[at + 1] < (double)x)
            at++;
        step_mm = ((double)x - (double)line->apex[at]) * px;
        values[x] = line->square[line->apex[at]] + step_mm * step_mm;
    }
}

void fleck_distance_map(const uint8_t *marked, size_t width_px, size_t height_px, double pixel_x_mm,
                        double pixel_y_mm, fleck_distance_line *line, double *square)
{
    columns(marked, width_px, height_px, pixel_y_mm, square);
    for (size_t y = 0; y < height_px; y++)
        row(square + y * width_px, width_px, pixel_x_mm, line);
}
