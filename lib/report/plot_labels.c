/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The key above the panel, and the labels of rules above it and at its right. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "report/plot_layout.h"

#define KEY_GAP_PT 4.0    /* from a sample to its name */
#define KEY_APART_PT 12.0 /* from a name to the next sample */
#define RIGHT_LABELS 0.28 /* of the page's width at most */

enum { KEY_ROWS = 8, RULE_ROWS = 6 };

/* A rule that is shown, and where. */
struct rule {
    size_t series;
    double place_pt;
};

static bool has_name(const fleck_plot_series *series)
{
    return series->name != NULL && series->name[0] != '\0';
}

static bool has_key(const fleck_plot_series *series)
{
    return has_name(series) && series->kind != FLECK_PLOT_RULE_X &&
           series->kind != FLECK_PLOT_RULE_Y && series->kind != FLECK_PLOT_NOTES;
}

static bool is_first_of_name(const fleck_plot *plot, size_t s)
{
    for (size_t i = 0; i < s; i++) {
        if (has_key(&plot->series[i]) && strcmp(plot->series[i].name, plot->series[s].name) == 0)
            return false;
    }
    return true;
}

void plot_layout_keys(plot_layout *layout)
{
    const double row_pt = 1.35 * layout->small_pt;
    const double right = layout->width_pt - PLOT_OUTER_PT;
    const double widest = right - layout->panel.left - PLOT_KEY_PT - KEY_GAP_PT;
    double x = layout->panel.left, middle = layout->above_pt + row_pt / 2;
    size_t row = 0;

    for (size_t s = 0; s < layout->plot->series_count && !layout->failed; s++) {
        const fleck_plot_series *const series = &layout->plot->series[s];
        plot_key *list;
        char *name;
        double width;

        if (!has_key(series) || !is_first_of_name(layout->plot, s))
            continue;
        name = plot_text_shorten(&layout->fonts, series->name, layout->small_pt, widest);
        list = fleck_grow(layout->keys, &layout->key_capacity, layout->key_count, sizeof *list);
        if (list == NULL || name == NULL) {
            layout->failed = true;
            layout->keys = list != NULL ? list : layout->keys;
            fleck_free(name);
            return;
        }
        layout->keys = list;
        width = PLOT_KEY_PT + KEY_GAP_PT + plot_text_width(&layout->fonts, name, layout->small_pt);
        if (x > layout->panel.left && x + width > right) {
            x = layout->panel.left;
            row++;
            middle += row_pt;
        }
        if (row == KEY_ROWS) {
            layout->unplaced++;
            row--;
            middle -= row_pt;
            x = right;
            fleck_free(name);
            continue;
        }
        list[layout->key_count++] = (plot_key){ .series = s, .x_pt = x, .y_pt = middle };
        plot_layout_add_text(layout, name, layout->small_pt, x + PLOT_KEY_PT + KEY_GAP_PT,
                             middle + 0.365 * layout->small_pt, 0, false);
        x += width + KEY_APART_PT;
    }
    if (layout->key_count > 0)
        layout->above_pt = middle + row_pt / 2 + PLOT_GAP_PT;
}

static bool is_shown(const plot_scale *scale, double at)
{
    const double place = plot_scale_place(scale, at), slack_pt = 0.01;

    /* one without a place compares false */
    return place >= fmin(scale->from_pt, scale->to_pt) - slack_pt &&
           place <= fmax(scale->from_pt, scale->to_pt) + slack_pt;
}

/* By place, falling; of equal places the first series first. */
static int compare_rules(const void *a, const void *b)
{
    const struct rule *const left = a, *const right = b;

    if (left->place_pt != right->place_pt)
        return left->place_pt > right->place_pt ? -1 : 1;
    return left->series < right->series ? -1 : 1;
}

/* The rules of a kind that have a label, from the right or from below. Freed with fleck_free(). */
static struct rule *find_rules(plot_layout *layout, fleck_plot_kind kind, const plot_scale *scale,
                               size_t *count)
{
    const fleck_plot *const plot = layout->plot;
    struct rule *const rules = fleck_alloc_array(plot->series_count, sizeof *rules);

    *count = 0;
    if (rules == NULL) {
        layout->failed = true;
        return NULL;
    }
    for (size_t s = 0; s < plot->series_count; s++) {
        const fleck_plot_series *const series = &plot->series[s];

        if (series->kind == kind && has_name(series) && is_shown(scale, series->at))
            rules[(*count)++] =
                (struct rule){ .series = s, .place_pt = plot_scale_place(scale, series->at) };
    }
    if (*count > 1)
        qsort(rules, *count, sizeof *rules, compare_rules);
    return rules;
}

/*
 * Labels are flags at the right of their rules. From the right to the left each takes the lowest
 * row that is free, so that the rule of a higher one passes at the left of those below. Near the
 * page's edge a flag stands over its rule.
 */
void plot_layout_rules_x(plot_layout *layout)
{
    const double row_pt = 1.3 * layout->small_pt, edge = layout->width_pt - PLOT_OUTER_PT;
    double free_to[RULE_ROWS]; /* of each row, from the left */
    size_t count, rows = 0, first_text = layout->text_count;
    struct rule *const rules = find_rules(layout, FLECK_PLOT_RULE_X, &layout->ranges.x, &count);

    for (size_t r = 0; r < RULE_ROWS; r++)
        free_to[r] = INFINITY;
    for (size_t i = 0; i < count && !layout->failed; i++) {
        const size_t s = rules[i].series;
        char *const name = plot_text_shorten(&layout->fonts, layout->plot->series[s].name,
                                             layout->small_pt, edge - layout->panel.left);
        const double width =
            name != NULL ? plot_text_width(&layout->fonts, name, layout->small_pt) : 0;
        const double left = fmax(fmin(rules[i].place_pt + 1, edge - width), PLOT_OUTER_PT);
        plot_text *text;
        size_t row = 0;

        while (row < RULE_ROWS && left + width + 0.5 * layout->small_pt > free_to[row])
            row++;
        if (row == RULE_ROWS) {
            layout->unplaced++;
            fleck_free(name);
            continue;
        }
        free_to[row] = left;
        rows = row + 1 > rows ? row + 1 : rows;
        /* for now rows are counted upward from 0 */
        layout->rule_top_pt[s] = -row_pt * (double)row;
        text = plot_layout_add_text(layout, name, layout->small_pt, left, -row_pt * (double)row, 0,
                                    false);
        if (text != NULL)
            text->rimmed = true;
    }
    layout->above_pt += row_pt * (double)rows;
    for (size_t i = first_text; i < layout->text_count; i++)
        layout->texts[i].y_pt += layout->above_pt - PLOT_DESCENT * layout->small_pt;
    for (size_t i = 0; i < count; i++) {
        const size_t s = rules[i].series;

        layout->rule_top_pt[s] += layout->above_pt - 0.75 * layout->small_pt;
    }
    fleck_free(rules);
}

double plot_layout_right_labels_pt(const plot_layout *layout)
{
    double widest = 0;

    for (size_t s = 0; s < layout->plot->series_count; s++) {
        const fleck_plot_series *const series = &layout->plot->series[s];

        if (series->kind == FLECK_PLOT_RULE_Y && has_name(series) &&
            is_shown(&layout->ranges.y, series->at))
            widest = fmax(widest, plot_text_width(&layout->fonts, series->name, layout->small_pt));
    }
    return fmin(widest, RIGHT_LABELS * layout->width_pt);
}

/* From below upward labels are moved apart, then from above downward into the panel. */
void plot_layout_rules_y(plot_layout *layout)
{
    const double apart = 1.2 * layout->small_pt;
    const double top = layout->panel.top, bottom = layout->panel.bottom;
    const double width = RIGHT_LABELS * layout->width_pt;
    const size_t room = (size_t)((bottom - top) / apart);
    size_t count;
    struct rule *const rules = find_rules(layout, FLECK_PLOT_RULE_Y, &layout->ranges.y, &count);

    if (count > room) {
        layout->unplaced += count - room;
        count = room;
    }
    for (size_t i = 1; i < count; i++)
        rules[i].place_pt = fmin(rules[i].place_pt, rules[i - 1].place_pt - apart);
    for (size_t i = count; i-- > 0;) {
        const double least = i + 1 < count ? rules[i + 1].place_pt + apart : top;

        rules[i].place_pt = fmax(rules[i].place_pt, least);
    }
    for (size_t i = 0; i < count && !layout->failed; i++)
        plot_layout_add_text(layout,
                             plot_text_shorten(&layout->fonts,
                                               layout->plot->series[rules[i].series].name,
                                               layout->small_pt, width),
                             layout->small_pt, layout->panel.right + 2 * PLOT_GAP_PT,
                             rules[i].place_pt + 0.365 * layout->small_pt, 0, false);
    fleck_free(rules);
}
