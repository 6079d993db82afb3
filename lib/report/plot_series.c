/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Each kind of series as lines and areas in the panel. */
#include <math.h>

#include "core/memory.h"
#include "report/plot_draw.h"
#include "report/plot_swarm.h"

#define CAP_PT 2.2       /* half a cap of an interval */
#define SWARM_SHARE 0.2 /* of the distance between two names, to each side */

enum { MANY_POINTS = 150 };

struct panel {
    const plot_layout *layout;
    const fleck_plot_series *series;
    cairo_t *cairo;
};

static double place_x(const struct panel *panel, double value)
{
    return plot_scale_place(&panel->layout->ranges.x, value);
}

static double place_y(const struct panel *panel, double value)
{
    return plot_scale_place(&panel->layout->ranges.y, value);
}

/* Where a value that may have no place on a logarithmic axis begins: at the axis' end. */
static double place_y_or_end(const struct panel *panel, double value)
{
    const plot_scale *const y = &panel->layout->ranges.y;

    return y->log && value <= 0 ? y->from_pt : plot_scale_place(y, value);
}

static void draw_line(const struct panel *panel)
{
    const fleck_plot_series *const series = panel->series;
    bool down = false;

    plot_style_colour(panel->cairo, series->look, 0);
    plot_style_dash(panel->cairo, series);
    cairo_set_line_width(panel->cairo, PLOT_LINE_PT);
    for (size_t i = 0; i < series->count; i++) {
        const double x = place_x(panel, series->x[i]), y = place_y(panel, series->y[i]);
        const bool there = isfinite(x) && isfinite(y);

        if (there && down)
            cairo_line_to(panel->cairo, x, y);
        else if (there)
            cairo_move_to(panel->cairo, x, y);
        down = there;
    }
    cairo_stroke(panel->cairo);
}

/* Where bars stand: at 0 when the axis has it. */
static double bar_foot(const struct panel *panel)
{
    const plot_scale *const y = &panel->layout->ranges.y;

    if (y->log)
        return y->from_pt;
    return plot_scale_place(y, fmax(y->least, fmin(y->greatest, 0)));
}

static void draw_bars(const struct panel *panel)
{
    const fleck_plot_series *const series = panel->series;
    const double foot = bar_foot(panel);

    cairo_set_dash(panel->cairo, NULL, 0, 0);
    cairo_set_line_width(panel->cairo, PLOT_THIN_PT);
    for (size_t i = 0; i < series->count; i++) {
        const double from = place_x(panel, series->lo[i]), to = place_x(panel, series->hi[i]);
        const double y = place_y(panel, series->y[i]);

        if (!isfinite(from) || !isfinite(to) || !isfinite(y) || y == foot)
            continue;
        cairo_rectangle(panel->cairo, from, y, to - from, foot - y);
        plot_style_colour(panel->cairo, series->look, PLOT_BAR_TINT);
        cairo_fill_preserve(panel->cairo);
        plot_style_colour(panel->cairo, series->look, 0);
        cairo_stroke(panel->cairo);
    }
}

static void draw_steps(const struct panel *panel)
{
    const fleck_plot_series *const series = panel->series;
    const double foot = bar_foot(panel);
    double end = NAN; /* where the class before ends */

    plot_style_colour(panel->cairo, series->look, 0);
    plot_style_dash(panel->cairo, series);
    cairo_set_line_width(panel->cairo, PLOT_LINE_PT);
    for (size_t i = 0; i < series->count; i++) {
        const double from = place_x(panel, series->lo[i]), to = place_x(panel, series->hi[i]);
        const double y = place_y(panel, series->y[i]);

        if (!isfinite(from) || !isfinite(to) || !isfinite(y)) {
            if (isfinite(end))
                cairo_line_to(panel->cairo, end, foot);
            end = NAN;
            continue;
        }
        if (!(fabs(from - end) < 1e-6)) {
            if (isfinite(end))
                cairo_line_to(panel->cairo, end, foot);
            cairo_move_to(panel->cairo, from, foot);
        }
        cairo_line_to(panel->cairo, from, y);
        cairo_line_to(panel->cairo, to, y);
        end = to;
    }
    if (isfinite(end))
        cairo_line_to(panel->cairo, end, foot);
    cairo_stroke(panel->cairo);
}

static void draw_band(const struct panel *panel)
{
    const fleck_plot_series *const series = panel->series;

    for (size_t from = 0, to; from < series->count; from = to + 1) {
        for (to = from; to < series->count && isfinite(place_x(panel, series->x[to])) &&
                        isfinite(place_y_or_end(panel, series->lo[to])) &&
                        isfinite(place_y_or_end(panel, series->hi[to]));
             to++)
            cairo_line_to(panel->cairo, place_x(panel, series->x[to]),
                          place_y_or_end(panel, series->hi[to]));
        for (size_t i = to; i-- > from;)
            cairo_line_to(panel->cairo, place_x(panel, series->x[i]),
                          place_y_or_end(panel, series->lo[i]));
        if (to > from)
            cairo_close_path(panel->cairo);
        plot_style_colour(panel->cairo, series->look, PLOT_BAND_TINT);
        cairo_fill(panel->cairo);
    }
}

static void draw_rule(const struct panel *panel)
{
    const plot_layout *const layout = panel->layout;
    const size_t s = (size_t)(panel->series - layout->plot->series);
    const bool across = panel->series->kind == FLECK_PLOT_RULE_X;
    const double at =
        across ? place_x(panel, panel->series->at) : place_y(panel, panel->series->at);

    if (!isfinite(at))
        return;
    plot_style_colour(panel->cairo, panel->series->look, 0);
    plot_style_dash(panel->cairo, panel->series);
    cairo_set_line_width(panel->cairo, 0.75 * PLOT_LINE_PT);
    if (across && at >= layout->panel.left - 0.01 && at <= layout->panel.right + 0.01) {
        cairo_move_to(panel->cairo, at,
                      layout->rule_top_pt[s] > 0 ? layout->rule_top_pt[s] : layout->panel.top);
        cairo_line_to(panel->cairo, at, layout->panel.bottom);
    } else if (!across && at >= layout->panel.top - 0.01 && at <= layout->panel.bottom + 0.01) {
        cairo_move_to(panel->cairo, layout->panel.left, at);
        cairo_line_to(panel->cairo, layout->panel.right, at);
    }
    cairo_stroke(panel->cairo);
}

static void draw_intervals(const struct panel *panel)
{
    const fleck_plot_series *const series = panel->series;

    for (size_t i = 0; i < series->count; i++) {
        const double x = place_x(panel, series->x[i]), y = place_y(panel, series->y[i]);
        const double lo = place_y_or_end(panel, series->lo[i]);
        const double hi = place_y_or_end(panel, series->hi[i]);

        if (!isfinite(x) || !isfinite(y))
            continue;
        if (isfinite(lo) && isfinite(hi)) {
            plot_style_colour(panel->cairo, series->look, 0);
            cairo_set_dash(panel->cairo, NULL, 0, 0);
            cairo_set_line_width(panel->cairo, 0.8 * PLOT_LINE_PT);
            cairo_move_to(panel->cairo, x, lo);
            cairo_line_to(panel->cairo, x, hi);
            cairo_move_to(panel->cairo, x - CAP_PT, lo);
            cairo_line_to(panel->cairo, x + CAP_PT, lo);
            cairo_move_to(panel->cairo, x - CAP_PT, hi);
            cairo_line_to(panel->cairo, x + CAP_PT, hi);
            cairo_stroke(panel->cairo);
        }
        plot_style_marker(panel->cairo, series, x, y, 1.9);
    }
}

static bool draw_points(const struct panel *panel)
{
    const plot_layout *const layout = panel->layout;
    const fleck_plot_series *const series = panel->series;
    const bool names = layout->plot->x.scale == FLECK_PLOT_NAMES;
    const double radius = series->count > MANY_POINTS ? 1.2 : 1.7;
    const double apart = 2.15 * radius;
    const double slot = names ? (layout->panel.right - layout->panel.left) /
                                    fmax(1, (double)layout->plot->x.name_count)
                              : 40;
    double *const x = fleck_alloc_array(series->count, sizeof *x);
    double *const y = fleck_alloc_array(series->count, sizeof *y);
    int *const column = fleck_alloc_zeroed(series->count, sizeof *column);
    bool done = x != NULL && y != NULL && column != NULL;

    for (size_t i = 0; done && i < series->count; i++) {
        x[i] = place_x(panel, series->x[i]);
        y[i] = place_y(panel, series->y[i]);
    }
    if (done && series->spread)
        done = plot_swarm(x, y, series->count, apart, (size_t)(SWARM_SHARE * slot / apart), column);
    for (size_t i = 0; done && i < series->count; i++) {
        if (isfinite(x[i]) && isfinite(y[i]))
            plot_style_marker(panel->cairo, series, x[i] + apart * column[i], y[i], radius);
    }
    fleck_free(x);
    fleck_free(y);
    fleck_free(column);
    return done;
}

bool plot_draw_series(const plot_layout *layout, size_t series, cairo_t *cairo)
{
    const struct panel panel = { layout, &layout->plot->series[series], cairo };

    cairo_new_path(cairo);
    switch (panel.series->kind) {
    case FLECK_PLOT_LINE:
        draw_line(&panel);
        break;
    case FLECK_PLOT_POINTS:
        return draw_points(&panel);
    case FLECK_PLOT_BARS:
        draw_bars(&panel);
        break;
    case FLECK_PLOT_STEPS:
        draw_steps(&panel);
        break;
    case FLECK_PLOT_INTERVALS:
        draw_intervals(&panel);
        break;
    case FLECK_PLOT_BAND:
        draw_band(&panel);
        break;
    case FLECK_PLOT_RULE_X:
    case FLECK_PLOT_RULE_Y:
        draw_rule(&panel);
        break;
    case FLECK_PLOT_NOTES:
        break;
    }
    return true;
}
