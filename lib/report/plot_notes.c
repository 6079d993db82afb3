/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Texts beside points: where they cover no other text and as few points as can be. */
#include <math.h>
#include <stdlib.h>

#include "core/memory.h"
#include "report/plot_layout.h"

enum { SIDES = 8, DISTANCES = 3 };

static size_t points_inside(const plot_layout *layout, plot_box box)
{
    const fleck_plot *const plot = layout->plot;
    size_t inside = 0;

    for (size_t s = 0; s < plot->series_count; s++) {
        const fleck_plot_series *const series = &plot->series[s];

        if (series->kind != FLECK_PLOT_POINTS && series->kind != FLECK_PLOT_INTERVALS &&
            series->kind != FLECK_PLOT_LINE)
            continue;
        for (size_t i = 0; i < series->count; i++) {
            const double x = plot_scale_place(&layout->ranges.x, series->x[i]);
            const double y = plot_scale_place(&layout->ranges.y, series->y[i]);

            /* one without a place compares false */
            inside += x > box.left && x < box.right && y > box.top && y < box.bottom;
        }
    }
    return inside;
}

/* A box of a text at one side of a point, at 1, 2 or 3 steps from it. */
static plot_box box_beside(double x, double y, double width, double height, size_t side,
                           size_t distance)
{
    /* where the box lies: -1 left or above, 0 centred, 1 right or below; right above comes first */
    static const struct {
        int x, y;
    } sides[SIDES] = { { 1, -1 }, { -1, -1 }, { 0, -1 }, { 1, 0 },
                       { -1, 0 }, { 1, 1 },   { -1, 1 }, { 0, 1 } };
    const double step = 1.5 + 2.5 * (double)(distance + (sides[side].x == 0 || sides[side].y == 0));
    const double left = x - width / 2 + sides[side].x * (width / 2 + step);
    const double top = y - height / 2 + sides[side].y * (height / 2 + step);

    return (plot_box){ left, top, left + width, top + height };
}

static bool is_free(const plot_layout *layout, plot_box box)
{
    const plot_box *const panel = &layout->panel;

    if (box.left < panel->left + 1 || box.right > layout->width_pt - PLOT_OUTER_PT ||
        box.top < panel->top || box.bottom > panel->bottom)
        return false;
    for (size_t i = 0; i < layout->text_count; i++) {
        if (plot_boxes_meet(box, plot_text_box(&layout->texts[i])))
            return false;
    }
    return true;
}

static void place_note(plot_layout *layout, double x, double y, const char *note)
{
    const double height = (PLOT_ASCENT + PLOT_DESCENT) * layout->small_pt;
    const double panel_width = layout->panel.right - layout->panel.left;
    char *const shown =
        plot_text_shorten(&layout->fonts, note, layout->small_pt, 0.6 * panel_width);
    plot_text *const text = plot_layout_add_text(layout, shown, layout->small_pt, 0, 0, 0, false);
    size_t fewest = (size_t)-1;
    plot_box best = { 0 };

    if (text == NULL)
        return;
    layout->text_count--; /* not in its own way */
    for (size_t distance = 0; distance < DISTANCES && fewest > 0; distance++) {
        for (size_t side = 0; side < SIDES && fewest > 0; side++) {
            const plot_box box = box_beside(x, y, text->width_pt, height, side, distance);
            size_t covered;

            if (!is_free(layout, box))
                continue;
            covered = points_inside(layout, box);
            if (covered < fewest) {
                fewest = covered;
                best = box;
            }
        }
    }
    if (fewest == (size_t)-1) {
        layout->unplaced++;
        free(text->string);
        return;
    }
    text->x_pt = best.left;
    text->y_pt = best.top + PLOT_ASCENT * layout->small_pt;
    text->plate = true;
    layout->text_count++;
}

void plot_layout_notes(plot_layout *layout)
{
    for (size_t s = 0; s < layout->plot->series_count; s++) {
        const fleck_plot_series *const series = &layout->plot->series[s];

        for (size_t i = 0; series->kind == FLECK_PLOT_NOTES && i < series->count; i++) {
            const double x = plot_scale_place(&layout->ranges.x, series->x[i]);
            const double y = plot_scale_place(&layout->ranges.y, series->y[i]);

            if (isfinite(x) && isfinite(y) && series->texts[i][0] != '\0')
                place_note(layout, x, y, series->texts[i]);
        }
    }
}
