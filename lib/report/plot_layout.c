/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/plot_layout.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"

#define PT_PER_MM (72 / 25.4)

enum { LABEL_LINES = 2, CAPTION_LINES = 40 };

/* Sizes of type are those of print; common practice, no source. */
static const struct {
    double width_mm, panel_height_mm, text_pt, small_pt;
} pages[] = {
    [FLECK_PLOT_COLUMN] = { 85, 48, 7.5, 6.5 },
    [FLECK_PLOT_PAGE] = { 170, 78, 9, 8 },
};

plot_text *plot_layout_add_text(plot_layout *layout, char *string, double size_pt, double x_pt,
                                double y_pt, double align, bool upward)
{
    plot_text *list, *text;

    if (layout->failed || string == NULL) {
        layout->failed = true;
        fleck_free(string);
        return NULL;
    }
    list = fleck_grow(layout->texts, &layout->text_capacity, layout->text_count, sizeof *list);
    if (list == NULL) {
        layout->failed = true;
        fleck_free(string);
        return NULL;
    }
    layout->texts = list;
    text = &list[layout->text_count++];
    *text = (plot_text){ .string = string,
                         .family = plot_font_family(&layout->fonts, string),
                         .size_pt = size_pt,
                         .width_pt = plot_text_width(&layout->fonts, string, size_pt),
                         .x_pt = x_pt,
                         .y_pt = y_pt,
                         .upward = upward };
    if (upward)
        text->y_pt += align * text->width_pt;
    else
        text->x_pt -= align * text->width_pt;
    return text;
}

plot_box plot_text_box(const plot_text *text)
{
    const double up = PLOT_ASCENT * text->size_pt, down = PLOT_DESCENT * text->size_pt;

    if (text->upward)
        return (plot_box){ text->x_pt - up, text->y_pt - text->width_pt, text->x_pt + down,
                           text->y_pt };
    return (plot_box){ text->x_pt, text->y_pt - up, text->x_pt + text->width_pt,
                       text->y_pt + down };
}

bool plot_boxes_meet(plot_box a, plot_box b)
{
    return a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
}

static void make_ticks(const plot_scale *scale, size_t coarseness, plot_ticks *ticks)
{
    static const size_t most[PLOT_COARSEST + 1] = { 8, 7, 6, 5, 4, 3, 2, 2, 2 };

    if (scale->log)
        plot_ticks_log(scale->least, scale->greatest, coarseness, ticks);
    else
        plot_ticks_linear(scale->least, scale->greatest, most[coarseness], ticks);
}

/* Half of the room that a label takes along its axis. */
static double half_extent(const plot_layout *layout, const plot_tick *tick, bool along_x)
{
    return along_x ? plot_text_width(&layout->fonts, tick->label, layout->small_pt) / 2
                   : 0.5 * layout->small_pt;
}

/*
 * Whether labels keep a distance; with `blank` those that do not are taken away.
 * labels: how many there are
 */
static bool labels_fit(const plot_layout *layout, const plot_scale *scale, bool along_x,
                       plot_ticks *ticks, bool blank, size_t *labels)
{
    const double gap = (along_x ? 0.9 : 0.8) * layout->small_pt;
    double taken_to = -INFINITY;
    bool fit = true;

    *labels = 0;
    for (size_t i = 0; i < ticks->count; i++) {
        plot_tick *const tick = &ticks->tick[i];
        const double at = fabs(plot_scale_place(scale, tick->value) - scale->from_pt);
        const double half = half_extent(layout, tick, along_x);

        if (tick->label[0] == '\0')
            continue;
        if (at - half < taken_to + gap) {
            fit = false;
            if (blank)
                tick->label[0] = '\0';
            continue;
        }
        taken_to = at + half;
        (*labels)++;
    }
    return fit;
}

/* The closest ticks whose labels do not crowd. */
static void choose_ticks(const plot_layout *layout, const plot_scale *scale, bool along_x,
                         plot_ticks *ticks)
{
    size_t labels, coarseness;

    for (coarseness = 0; coarseness <= PLOT_COARSEST; coarseness++) {
        make_ticks(scale, coarseness, ticks);
        if (labels_fit(layout, scale, along_x, ticks, false, &labels))
            break;
    }
    if (coarseness > PLOT_COARSEST || (labels < 2 && coarseness > 0)) {
        make_ticks(scale, coarseness > PLOT_COARSEST ? PLOT_COARSEST : coarseness - 1, ticks);
        labels_fit(layout, scale, along_x, ticks, true, &labels);
    }
}

static char *axis_title(const fleck_plot_axis *axis)
{
    const bool has_unit = axis->unit != NULL && axis->unit[0] != '\0';
    fleck_text title = { 0 };

    fleck_text_add(&title, axis->label != NULL ? axis->label : "");
    if (has_unit) {
        if (title.length > 0)
            fleck_text_add(&title, " ");
        fleck_text_add(&title, "(");
        fleck_text_add(&title, axis->unit);
        fleck_text_add(&title, ")");
    }
    if (title.failed)
        fleck_text_clear(&title);
    return title.bytes;
}

static plot_lines wrap_title(plot_layout *layout, const fleck_plot_axis *axis, double length_pt)
{
    plot_lines lines = { 0 };
    char *const title = axis_title(axis);

    if (title == NULL || plot_text_wrap(&layout->fonts, title, layout->text_pt, length_pt,
                                        LABEL_LINES, &lines, NULL) != FLECK_OK)
        layout->failed = true;
    fleck_free(title);
    return lines;
}

/* Add lines one below another; each one's text moves over to the layout. */
static void add_lines(plot_layout *layout, plot_lines *lines, double size_pt, double x_pt,
                      double y_pt, double align, bool upward)
{
    for (size_t i = 0; i < lines->count; i++) {
        const double further = (double)i * PLOT_LINE * size_pt;

        plot_layout_add_text(layout, lines->line[i], size_pt, upward ? x_pt + further : x_pt,
                             upward ? y_pt : y_pt + further, align, upward);
        lines->line[i] = NULL;
    }
}

static double y_labels_width(const plot_layout *layout)
{
    double widest = 0;

    for (size_t i = 0; i < layout->y_ticks.count; i++)
        widest = fmax(widest, plot_text_width(&layout->fonts, layout->y_ticks.tick[i].label,
                                              layout->small_pt));
    return widest;
}

/* Choose x ticks, and move the panel's sides in until no label crosses the page's edge. */
static void fit_x_axis(plot_layout *layout)
{
    plot_scale *const x = &layout->ranges.x;

    for (int pass = 0; pass < 3; pass++) {
        double beyond_left = 0, beyond_right = 0;

        x->from_pt = layout->panel.left;
        x->to_pt = layout->panel.right;
        if (layout->plot->x.scale == FLECK_PLOT_NAMES)
            return;
        choose_ticks(layout, x, true, &layout->x_ticks);
        for (size_t i = 0; i < layout->x_ticks.count; i++) {
            const plot_tick *const tick = &layout->x_ticks.tick[i];
            const double half = half_extent(layout, tick, true);
            const double at = plot_scale_place(x, tick->value);

            beyond_left = fmax(beyond_left, PLOT_OUTER_PT - (at - half));
            beyond_right = fmax(beyond_right, at + half - (layout->width_pt - PLOT_OUTER_PT));
        }
        if (beyond_left <= 0 && beyond_right <= 0)
            return;
        layout->panel.left += beyond_left;
        layout->panel.right -= beyond_right;
    }
}

static void add_counted(fleck_text *text, size_t count, const char *one, const char *several)
{
    if (count > 0)
        fleck_text_add_format(text, "%s%zu %s", text->length > 0 ? " " : "", count,
                              count == 1 ? one : several);
}

/* The caption and what the drawing has to say. */
static char *whole_caption(const plot_layout *layout)
{
    fleck_text text = { 0 };
    const char *const caption = layout->plot->caption;

    fleck_text_add(&text, caption != NULL ? caption : "");
    add_counted(&text, layout->ranges.missing, "missing value is not shown.",
                "missing values are not shown.");
    add_counted(&text, layout->ranges.not_positive,
                "value that is not above 0 is not shown on the logarithmic axis.",
                "values that are not above 0 are not shown on the logarithmic axis.");
    add_counted(&text, layout->ranges.outside, "value lies outside the axes.",
                "values lie outside the axes.");
    add_counted(&text, layout->unplaced, "label is left out for want of room.",
                "labels are left out for want of room.");
    if (text.failed)
        fleck_text_clear(&text);
    return text.bytes;
}

static void lay_out_caption(plot_layout *layout)
{
    const double line = PLOT_LINE * layout->small_pt;
    plot_lines lines = { 0 };
    char *const caption = whole_caption(layout);

    if (caption == NULL || plot_text_wrap(&layout->fonts, caption, layout->small_pt,
                                          layout->width_pt - 2 * PLOT_OUTER_PT, CAPTION_LINES,
                                          &lines, NULL) != FLECK_OK)
        layout->failed = true;
    if (lines.count > 0) {
        layout->height_pt += 2.5 * PLOT_GAP_PT;
        add_lines(layout, &lines, layout->small_pt, PLOT_OUTER_PT,
                  layout->height_pt + PLOT_ASCENT * layout->small_pt, 0, false);
        layout->height_pt +=
            (double)(lines.count - 1) * line + (PLOT_ASCENT + PLOT_DESCENT) * layout->small_pt;
    }
    layout->height_pt += PLOT_OUTER_PT;
    plot_lines_clear(&lines);
    fleck_free(caption);
}

/* Labels of ticks; returns how far down those of the x axis reach. */
static double lay_out_tick_labels(plot_layout *layout)
{
    const double baseline =
        layout->panel.bottom + PLOT_TICK_PT + PLOT_GAP_PT + 0.76 * layout->small_pt;

    for (size_t i = 0; i < layout->y_ticks.count; i++) {
        const plot_tick *const tick = &layout->y_ticks.tick[i];

        if (tick->label[0] != '\0')
            plot_layout_add_text(layout, fleck_copy_text(tick->label), layout->small_pt,
                                 layout->panel.left - PLOT_TICK_PT - PLOT_GAP_PT,
                                 plot_scale_place(&layout->ranges.y, tick->value) +
                                     0.365 * layout->small_pt,
                                 1, false);
    }
    if (layout->plot->x.scale == FLECK_PLOT_NAMES)
        return plot_layout_names(layout);
    for (size_t i = 0; i < layout->x_ticks.count; i++) {
        const plot_tick *const tick = &layout->x_ticks.tick[i];

        if (tick->label[0] != '\0')
            plot_layout_add_text(layout, fleck_copy_text(tick->label), layout->small_pt,
                                 plot_scale_place(&layout->ranges.x, tick->value), baseline, 0.5,
                                 false);
    }
    return baseline + PLOT_DESCENT * layout->small_pt;
}

fleck_status plot_layout_make(const fleck_plot *plot, plot_layout *out, fleck_error *err)
{
    const size_t page = plot->size == FLECK_PLOT_PAGE ? FLECK_PLOT_PAGE : FLECK_PLOT_COLUMN;
    const double height_pt = pages[page].panel_height_mm * PT_PER_MM;
    plot_lines x_title = { 0 }, y_title = { 0 };
    double right_labels_pt, middle_pt;
    fleck_status status;

    *out = (plot_layout){ .plot = plot,
                          .width_pt = pages[page].width_mm * PT_PER_MM,
                          .text_pt = pages[page].text_pt,
                          .small_pt = pages[page].small_pt,
                          .ranges = plot_ranges_find(plot) };
    if ((status = plot_fonts_init(&out->fonts, err)) != FLECK_OK)
        goto done;
    out->rule_top_pt = fleck_alloc_zeroed(plot->series_count, sizeof *out->rule_top_pt);
    if (out->rule_top_pt == NULL)
        out->failed = true;

    /* from the left to the right: all widths */
    out->ranges.y.to_pt = height_pt;
    choose_ticks(out, &out->ranges.y, false, &out->y_ticks);
    y_title = wrap_title(out, &plot->y, height_pt);
    out->panel.left = PLOT_OUTER_PT + PLOT_LINE * out->text_pt * (double)y_title.count +
                      PLOT_GAP_PT + y_labels_width(out) + PLOT_GAP_PT + PLOT_TICK_PT;
    right_labels_pt = plot_layout_right_labels_pt(out);
    out->panel.right = out->width_pt - PLOT_OUTER_PT -
                       (right_labels_pt > 0 ? right_labels_pt + 2 * PLOT_GAP_PT : PLOT_GAP_PT);
    fit_x_axis(out);
    middle_pt = (out->panel.left + out->panel.right) / 2;
    x_title = wrap_title(out, &plot->x,
                         2 * fmin(middle_pt, out->width_pt - middle_pt) - 2 * PLOT_OUTER_PT);

    /* from the top to the bottom: all heights; the topmost y label reaches above the panel */
    out->above_pt = PLOT_OUTER_PT;
    plot_layout_keys(out);
    plot_layout_rules_x(out);
    out->panel.top =
        out->above_pt + (out->above_pt > PLOT_OUTER_PT ? PLOT_GAP_PT : 0) + 0.6 * out->small_pt;
    out->panel.bottom = out->panel.top + height_pt;
    out->ranges.y.from_pt = out->panel.bottom;
    out->ranges.y.to_pt = out->panel.top;
    plot_layout_rules_y(out);
    add_lines(out, &y_title, out->text_pt, PLOT_OUTER_PT + PLOT_ASCENT * out->text_pt,
              (out->panel.top + out->panel.bottom) / 2, 0.5, true);
    out->height_pt = lay_out_tick_labels(out);
    if (x_title.count > 0) {
        add_lines(out, &x_title, out->text_pt, middle_pt,
                  out->height_pt + PLOT_GAP_PT / 2 + PLOT_ASCENT * out->text_pt, 0.5, false);
        out->height_pt +=
            PLOT_GAP_PT / 2 +
            out->text_pt * (PLOT_ASCENT + PLOT_DESCENT + PLOT_LINE * (double)(x_title.count - 1));
    }
    if (out->ranges.empty)
        plot_layout_add_text(out, fleck_copy_text("no data"), out->text_pt,
                             (out->panel.left + out->panel.right) / 2,
                             (out->panel.top + out->panel.bottom) / 2, 0.5, false);
    plot_layout_notes(out);
    lay_out_caption(out);
    if (out->failed || plot_fonts_failed(&out->fonts))
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the plot; free some memory");
done:
    plot_lines_clear(&x_title);
    plot_lines_clear(&y_title);
    return status;
}

void plot_layout_clear(plot_layout *layout)
{
    plot_fonts_clear(&layout->fonts);
    for (size_t i = 0; i < layout->text_count; i++)
        fleck_free(layout->texts[i].string);
    fleck_free(layout->texts);
    fleck_free(layout->keys);
    fleck_free(layout->rule_top_pt);
    *layout = (plot_layout){ 0 };
}
