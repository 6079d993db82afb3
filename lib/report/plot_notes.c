/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Texts beside points: where they lie on no other text and on as little else as can be. */
#include <math.h>

#include "core/memory.h"
#include "report/plot_layout.h"

#define MARKER_PT 2.5 /* room around a point, its marker and rim included */

enum { SIDES = 8, DISTANCES = 3, POINT_COST = 10, LINE_COST = 3 };

/* Whether a line between two places meets a box: the part of it inside all four sides is not empty.
 */
static bool line_meets(plot_box box, double x0, double y0, double x1, double y1)
{
    const double from[2] = { x0, y0 }, way[2] = { x1 - x0, y1 - y0 };
    const double least[2] = { box.left, box.top }, greatest[2] = { box.right, box.bottom };
    double enter = 0, leave = 1;

    for (int axis = 0; axis < 2; axis++) {
        double a, b;

        if (way[axis] == 0) {
            if (from[axis] < least[axis] || from[axis] > greatest[axis])
                return false;
            continue;
        }
        a = (least[axis] - from[axis]) / way[axis];
        b = (greatest[axis] - from[axis]) / way[axis];
        enter = fmax(enter, fmin(a, b));
        leave = fmin(leave, fmax(a, b));
    }
    return enter < leave;
}

/* What a series loses to a box that covers it. */
static size_t series_cost(const plot_layout *layout, const fleck_plot_series *series, plot_box box)
{
    const plot_box wide = { box.left - MARKER_PT, box.top - MARKER_PT, box.right + MARKER_PT,
                            box.bottom + MARKER_PT };
    const bool is_line = series->kind == FLECK_PLOT_LINE;
    double x_before = NAN, y_before = NAN;
    size_t cost = 0;

    if (series->kind == FLECK_PLOT_RULE_Y) {
        const double y = plot_scale_place(&layout->ranges.y, series->at);

        return y > box.top && y < box.bottom ? LINE_COST : 0;
    }
    if (!is_line && series->kind != FLECK_PLOT_POINTS && series->kind != FLECK_PLOT_INTERVALS)
        return 0;
    for (size_t i = 0; i < series->count; i++) {
        const double x = plot_scale_place(&layout->ranges.x, series->x[i]);
        const double y = plot_scale_place(&layout->ranges.y, series->y[i]);

        /* what has no place compares false */
        if (is_line && isfinite(x + y + x_before + y_before))
            cost += line_meets(box, x_before, y_before, x, y) ? LINE_COST : 0;
        else if (!is_line && x > wide.left && x < wide.right && y > wide.top && y < wide.bottom)
            cost += POINT_COST;
        x_before = x;
        y_before = y;
    }
    return cost;
}

/* A box of a text at one side of a point, at 1, 2 or 3 steps from it. */
static plot_box box_beside(double x, double y, double width, double height, size_t side,
                           size_t distance)
{
    /* where the box lies: -1 left or above, 0 centred, 1 right or below; above comes first */
    static const struct {
        int x, y;
    } sides[SIDES] = { { 0, -1 }, { 1, 0 }, { -1, 0 },  { 0, 1 },
                       { 1, -1 }, { 1, 1 }, { -1, -1 }, { -1, 1 } };
    const bool straight = sides[side].x == 0 || sides[side].y == 0;
    const double step = MARKER_PT + (straight ? 0.6 : -0.6) + 3 * (double)distance;
    const double left = x - width / 2 + sides[side].x * (width / 2 + step);
    const double top = y - height / 2 + sides[side].y * (height / 2 + step);

    return (plot_box){ left, top, left + width, top + height };
}

static bool is_free(const plot_layout *layout, plot_box box)
{
    const plot_box *const panel = &layout->panel;

    /* the room above the panel is that for half a label */
    if (box.left < panel->left + 1 || box.right > layout->width_pt - PLOT_OUTER_PT ||
        box.top < panel->top - 0.6 * layout->small_pt || box.bottom > panel->bottom)
        return false;
    for (size_t i = 0; i < layout->text_count; i++) {
        if (plot_boxes_meet(box, plot_text_box(&layout->texts[i])))
            return false;
    }
    return true;
}

static void place_note(plot_layout *layout, double x, double y, const char *note)
{
    const double height = 0.95 * layout->small_pt;
    const double panel_width = layout->panel.right - layout->panel.left;
    char *const shown =
        plot_text_shorten(&layout->fonts, note, layout->small_pt, 0.6 * panel_width);
    plot_text *const text = plot_layout_add_text(layout, shown, layout->small_pt, 0, 0, 0, false);
    size_t least = (size_t)-1;
    plot_box best = { 0 };

    if (text == NULL)
        return;
    layout->text_count--; /* not in its own way */
    for (size_t distance = 0; distance < DISTANCES; distance++) {
        for (size_t side = 0; side < SIDES && least > distance; side++) {
            const plot_box box = box_beside(x, y, text->width_pt, height, side, distance);
            size_t cost = distance;

            if (!is_free(layout, box))
                continue;
            for (size_t s = 0; s < layout->plot->series_count && cost < least; s++)
                cost += series_cost(layout, &layout->plot->series[s], box);
            if (cost < least) {
                least = cost;
                best = box;
            }
        }
    }
    if (least == (size_t)-1) {
        layout->unplaced++;
        fleck_free(text->string);
        return;
    }
    text->x_pt = best.left;
    text->y_pt = best.top + 0.75 * layout->small_pt;
    text->rimmed = true;
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
