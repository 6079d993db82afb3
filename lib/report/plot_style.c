/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Source: Okabe & Ito (2008), Color Universal Design, for the colours. */
#include "report/plot_style.h"

#include <math.h>

static const struct {
    double red, green, blue;
    fleck_plot_marker marker;
    fleck_plot_dash dash;
} looks[] = {
    [FLECK_LOOK_FIRST] = { 0, 0.447, 0.698, FLECK_MARKER_DISC, FLECK_DASH_NONE },
    [FLECK_LOOK_SECOND] = { 0.835, 0.369, 0, FLECK_MARKER_TRIANGLE, FLECK_DASH_DASHED },
    [FLECK_LOOK_THIRD] = { 0, 0.62, 0.451, FLECK_MARKER_SQUARE, FLECK_DASH_DASH_DOT },
    [FLECK_LOOK_FOURTH] = { 0.8, 0.475, 0.655, FLECK_MARKER_DIAMOND, FLECK_DASH_DOTTED },
    [FLECK_LOOK_DARK] = { 0.1, 0.1, 0.1, FLECK_MARKER_DISC, FLECK_DASH_NONE },
    [FLECK_LOOK_QUIET] = { 0.45, 0.45, 0.45, FLECK_MARKER_RING, FLECK_DASH_DASHED },
};

static fleck_plot_look known_look(fleck_plot_look look)
{
    return (size_t)look < sizeof looks / sizeof *looks ? look : FLECK_LOOK_DARK;
}

void plot_style_colour(cairo_t *cairo, fleck_plot_look look, double tint)
{
    const fleck_plot_look known = known_look(look);

    cairo_set_source_rgb(cairo, looks[known].red + tint * (1 - looks[known].red),
                         looks[known].green + tint * (1 - looks[known].green),
                         looks[known].blue + tint * (1 - looks[known].blue));
}

void plot_style_dash(cairo_t *cairo, const fleck_plot_series *series)
{
    static const struct {
        int count;
        double lengths[4];
    } dashes[] = {
        [FLECK_DASH_OF_LOOK] = { 0, { 0 } },
        [FLECK_DASH_NONE] = { 0, { 0 } },
        [FLECK_DASH_DASHED] = { 2, { 4, 2 } },
        [FLECK_DASH_DOTTED] = { 2, { 1, 1.6 } },
        [FLECK_DASH_DASH_DOT] = { 4, { 5, 1.6, 1, 1.6 } },
    };
    fleck_plot_dash dash = series->dash;

    if (dash == FLECK_DASH_OF_LOOK)
        dash = looks[known_look(series->look)].dash;
    if ((size_t)dash >= sizeof dashes / sizeof *dashes)
        dash = FLECK_DASH_NONE;
    cairo_set_dash(cairo, dashes[dash].lengths, dashes[dash].count, 0);
}

static void polygon(cairo_t *cairo, double x, double y, double radius, int corners, double turn)
{
    for (int i = 0; i < corners; i++) {
        const double angle = 2 * 3.14159265358979323846 * i / corners + turn;

        cairo_line_to(cairo, x + radius * cos(angle), y + radius * sin(angle));
    }
    cairo_close_path(cairo);
}

void plot_style_marker(cairo_t *cairo, const fleck_plot_series *series, double x, double y,
                       double radius_pt)
{
    const double quarter = 3.14159265358979323846 / 2;
    fleck_plot_marker marker = series->marker;

    if (marker == FLECK_MARKER_OF_LOOK)
        marker = looks[known_look(series->look)].marker;
    cairo_set_dash(cairo, NULL, 0, 0);
    cairo_new_path(cairo);
    switch (marker) {
    case FLECK_MARKER_TRIANGLE:
        polygon(cairo, x, y, 1.35 * radius_pt, 3, -quarter);
        break;
    case FLECK_MARKER_SQUARE:
        polygon(cairo, x, y, 1.25 * radius_pt, 4, quarter / 2);
        break;
    case FLECK_MARKER_DIAMOND:
        polygon(cairo, x, y, 1.4 * radius_pt, 4, 0);
        break;
    case FLECK_MARKER_CROSS:
        cairo_move_to(cairo, x - radius_pt, y - radius_pt);
        cairo_line_to(cairo, x + radius_pt, y + radius_pt);
        cairo_move_to(cairo, x - radius_pt, y + radius_pt);
        cairo_line_to(cairo, x + radius_pt, y - radius_pt);
        break;
    case FLECK_MARKER_DASH:
        cairo_move_to(cairo, x - 2.2 * radius_pt, y);
        cairo_line_to(cairo, x + 2.2 * radius_pt, y);
        break;
    default:
        cairo_arc(cairo, x, y, radius_pt, 0, 4 * quarter);
        break;
    }
    if (marker == FLECK_MARKER_RING) {
        cairo_set_source_rgb(cairo, 1, 1, 1);
        cairo_fill_preserve(cairo);
    }
    if (marker == FLECK_MARKER_CROSS || marker == FLECK_MARKER_DASH ||
        marker == FLECK_MARKER_RING) {
        plot_style_colour(cairo, series->look, 0);
        cairo_set_line_width(cairo, PLOT_LINE_PT);
        cairo_stroke(cairo);
        return;
    }
    cairo_set_source_rgb(cairo, 1, 1, 1);
    cairo_set_line_width(cairo, PLOT_THIN_PT);
    cairo_stroke_preserve(cairo);
    plot_style_colour(cairo, series->look, 0);
    cairo_fill(cairo);
}

void plot_style_sample(cairo_t *cairo, const fleck_plot_series *series, double x, double y,
                       double width_pt, double height_pt)
{
    const double middle = x + width_pt / 2;

    cairo_set_line_width(cairo, PLOT_LINE_PT);
    switch (series->kind) {
    case FLECK_PLOT_BAND:
    case FLECK_PLOT_BARS:
        cairo_set_dash(cairo, NULL, 0, 0);
        cairo_rectangle(cairo, x, y - height_pt / 2, width_pt, height_pt);
        plot_style_colour(cairo, series->look,
                          series->kind == FLECK_PLOT_BAND ? PLOT_BAND_TINT : PLOT_BAR_TINT);
        cairo_fill_preserve(cairo);
        if (series->kind == FLECK_PLOT_BARS) {
            plot_style_colour(cairo, series->look, 0);
            cairo_set_line_width(cairo, PLOT_THIN_PT);
            cairo_stroke(cairo);
        }
        cairo_new_path(cairo);
        break;
    case FLECK_PLOT_POINTS:
        plot_style_marker(cairo, series, middle, y, 1.8);
        break;
    case FLECK_PLOT_INTERVALS:
        plot_style_colour(cairo, series->look, 0);
        cairo_set_dash(cairo, NULL, 0, 0);
        cairo_move_to(cairo, middle, y - 0.75 * height_pt);
        cairo_line_to(cairo, middle, y + 0.75 * height_pt);
        cairo_stroke(cairo);
        plot_style_marker(cairo, series, middle, y, 1.5);
        break;
    default:
        plot_style_colour(cairo, series->look, 0);
        plot_style_dash(cairo, series);
        cairo_move_to(cairo, x, y);
        cairo_line_to(cairo, x + width_pt, y);
        cairo_stroke(cairo);
        break;
    }
}
