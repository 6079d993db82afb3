/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where everything of a plot stands: found before anything is drawn, from widths that do not depend
 * on the format. Points (1/72 inch) from the page's top left, y downward. What cannot stand without
 * lying on another text is shortened, moved or, at last, left out and told in the caption.
 */
#ifndef FLECK_REPORT_PLOT_LAYOUT_H
#define FLECK_REPORT_PLOT_LAYOUT_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/plot.h"
#include "report/plot_font.h"
#include "report/plot_range.h"
#include "report/plot_ticks.h"

#define PLOT_OUTER_PT 2.0 /* left free at the page's edges */
#define PLOT_TICK_PT 3.0
#define PLOT_GAP_PT 2.0

typedef struct plot_text {
    char *string;
    size_t family;
    double size_pt, width_pt;
    double x_pt, y_pt; /* start of the line on which it stands */
    bool upward;       /* read from below */
    bool rimmed;       /* may lie over lines, so a white rim goes below */
} plot_text;

typedef struct plot_box {
    double left, top, right, bottom;
} plot_box;

/* An entry of the key: all series of one name. */
typedef struct plot_key {
    size_t series;     /* the first */
    double x_pt, y_pt; /* left end and middle of its sample */
} plot_key;

typedef struct plot_layout {
    const fleck_plot *plot;
    plot_fonts fonts;
    double width_pt, height_pt; /* of the page */
    double text_pt, small_pt;   /* sizes of type */
    plot_box panel;             /* what the axes enclose */
    plot_ranges ranges;
    plot_ticks x_ticks, y_ticks; /* x: none on an axis of names */
    size_t names_apart;          /* each so many-th name has a tick */
    plot_text *texts;
    size_t text_count, text_capacity;
    plot_key *keys;
    size_t key_count, key_capacity;
    double *rule_top_pt; /* for each series: where a rule across ends above */
    double above_pt;     /* bottom of what stands above the panel */
    size_t unplaced;     /* labels for which there was no room */
    bool failed;         /* no memory; further calls do nothing */
} plot_layout;

#define PLOT_KEY_PT 16.0 /* width of a sample in the key */

/* Errors: FLECK_NO_RESOURCE. Ended with plot_layout_clear, on failure too. The plot is borrowed. */
fleck_status plot_layout_make(const fleck_plot *plot, plot_layout *out, fleck_error *err);
void plot_layout_clear(plot_layout *layout);

/* What a text covers, generously: accents and descenders included. */
plot_box plot_text_box(const plot_text *text);
bool plot_boxes_meet(plot_box a, plot_box b);

/* ---- for the files that make parts of the layout ---- */

/*
 * Add a text, which is owned from here; NULL means that there was no memory.
 *
 * x_pt, y_pt    a place on its line: its start, middle or end for align 0, 0.5, 1
 * Returns the text, or NULL on failure.
 */
plot_text *plot_layout_add_text(plot_layout *layout, char *string, double size_pt, double x_pt,
                                double y_pt, double align, bool upward);

/* The key above the panel, in rows from y_pt downward; moves above_pt. */
void plot_layout_keys(plot_layout *layout);

/* How wide labels at the right of the panel are, 0 without. */
double plot_layout_right_labels_pt(const plot_layout *layout);

/* Labels of rules across the panel, above it; before its height is known. Moves above_pt. */
void plot_layout_rules_x(plot_layout *layout);

/* Labels of rules along, at the panel's right. */
void plot_layout_rules_y(plot_layout *layout);

/* Names below an axis of names; returns how far down they reach. */
double plot_layout_names(plot_layout *layout);

/* Texts beside points. */
void plot_layout_notes(plot_layout *layout);

#endif
