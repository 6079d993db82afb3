/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/plot_draw.h"

#include <math.h>
#include <string.h>

#define RIM_PT 2.0
#define MARKER_ROOM_PT 3.0 /* markers may reach over the panel's edge */

/* Areas lie below lines, lines below points. */
static const fleck_plot_kind layers[] = {
    FLECK_PLOT_BAND, FLECK_PLOT_BARS,   FLECK_PLOT_STEPS,     FLECK_PLOT_RULE_Y,
    FLECK_PLOT_LINE, FLECK_PLOT_POINTS, FLECK_PLOT_INTERVALS,
};

static bool draw_layers(const plot_layout *layout, cairo_t *cairo)
{
    const plot_box *const panel = &layout->panel;
    bool done = true;

    cairo_save(cairo);
    cairo_rectangle(cairo, panel->left - MARKER_ROOM_PT, panel->top - MARKER_ROOM_PT,
                    panel->right - panel->left + 2 * MARKER_ROOM_PT,
                    panel->bottom - panel->top + 2 * MARKER_ROOM_PT);
    cairo_clip(cairo);
    for (size_t l = 0; l < sizeof layers / sizeof *layers; l++) {
        for (size_t s = 0; s < layout->plot->series_count; s++) {
            if (layout->plot->series[s].kind == layers[l])
                done = done && plot_draw_series(layout, s, cairo);
        }
    }
    cairo_restore(cairo);
    for (size_t s = 0; s < layout->plot->series_count; s++) {
        if (layout->plot->series[s].kind == FLECK_PLOT_RULE_X) /* reaches up to its label */
            done = done && plot_draw_series(layout, s, cairo);
    }
    return done;
}

static void draw_axes(const plot_layout *layout, cairo_t *cairo)
{
    const plot_box *const panel = &layout->panel;
    const fleck_plot_axis *const x = &layout->plot->x;

    cairo_set_source_rgb(cairo, 0.1, 0.1, 0.1);
    cairo_set_dash(cairo, NULL, 0, 0);
    cairo_set_line_width(cairo, PLOT_THIN_PT);
    cairo_move_to(cairo, panel->left, panel->top);
    cairo_line_to(cairo, panel->left, panel->bottom);
    cairo_line_to(cairo, panel->right, panel->bottom);
    for (size_t i = 0; i < layout->y_ticks.count; i++) {
        const plot_tick *const tick = &layout->y_ticks.tick[i];
        const double at = plot_scale_place(&layout->ranges.y, tick->value);

        cairo_move_to(cairo, panel->left, at);
        cairo_rel_line_to(cairo, -PLOT_TICK_PT * (tick->label[0] != '\0' ? 1 : 0.55), 0);
    }
    for (size_t i = 0; i < layout->x_ticks.count; i++) {
        const plot_tick *const tick = &layout->x_ticks.tick[i];
        const double at = plot_scale_place(&layout->ranges.x, tick->value);

        cairo_move_to(cairo, at, panel->bottom);
        cairo_rel_line_to(cairo, 0, PLOT_TICK_PT * (tick->label[0] != '\0' ? 1 : 0.55));
    }
    for (size_t i = 0; x->scale == FLECK_PLOT_NAMES && i < x->name_count;
         i += layout->names_apart) {
        cairo_move_to(cairo, plot_scale_place(&layout->ranges.x, (double)i), panel->bottom);
        cairo_rel_line_to(cairo, 0, PLOT_TICK_PT);
    }
    cairo_stroke(cairo);
}

static void draw_keys(const plot_layout *layout, cairo_t *cairo)
{
    const fleck_plot *const plot = layout->plot;

    for (size_t k = 0; k < layout->key_count; k++) {
        const char *const name = plot->series[layout->keys[k].series].name;

        for (size_t l = 0; l < sizeof layers / sizeof *layers; l++) {
            for (size_t s = 0; s < plot->series_count; s++) {
                const fleck_plot_series *const series = &plot->series[s];

                if (series->kind == layers[l] && series->kind != FLECK_PLOT_RULE_Y &&
                    series->name != NULL && strcmp(series->name, name) == 0)
                    plot_style_sample(cairo, series, layout->keys[k].x_pt, layout->keys[k].y_pt,
                                      PLOT_KEY_PT, 0.75 * layout->small_pt);
            }
        }
    }
}

static void draw_texts(const plot_layout *layout, cairo_t *cairo)
{
    cairo_set_dash(cairo, NULL, 0, 0);
    for (size_t i = 0; i < layout->text_count; i++) {
        const plot_text *const text = &layout->texts[i];

        cairo_save(cairo);
        cairo_set_font_face(cairo, layout->fonts.face[text->family]);
        cairo_set_font_size(cairo, text->size_pt);
        cairo_translate(cairo, text->x_pt, text->y_pt);
        if (text->upward)
            cairo_rotate(cairo, -3.14159265358979323846 / 2);
        if (text->rimmed) {
            cairo_move_to(cairo, 0, 0);
            cairo_text_path(cairo, text->string);
            cairo_set_source_rgb(cairo, 1, 1, 1);
            cairo_set_line_width(cairo, RIM_PT);
            cairo_stroke(cairo);
        }
        cairo_move_to(cairo, 0, 0);
        cairo_set_source_rgb(cairo, 0.1, 0.1, 0.1);
        cairo_show_text(cairo, text->string);
        cairo_restore(cairo);
    }
}

fleck_status plot_draw(const plot_layout *layout, cairo_t *cairo, fleck_error *err)
{
    cairo_font_options_t *const options = plot_font_options();
    bool done;

    cairo_set_font_options(cairo, options);
    cairo_font_options_destroy(options);
    cairo_set_source_rgb(cairo, 1, 1, 1);
    cairo_paint(cairo);
    cairo_set_line_join(cairo, CAIRO_LINE_JOIN_ROUND);
    done = draw_layers(layout, cairo);
    draw_axes(layout, cairo);
    draw_keys(layout, cairo);
    draw_texts(layout, cairo);
    if (!done)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the plot; free some memory");
    if (cairo_status(cairo) != CAIRO_STATUS_SUCCESS)
        return fleck_fail(err, FLECK_NO_RESOURCE, "the plot cannot be drawn (%s); free some memory",
                          cairo_status_to_string(cairo_status(cairo)));
    return FLECK_OK;
}
