/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How wide texts are, and how to make them fit. Widths do not depend on what is drawn on, so that
 * all formats have one layout.
 */
#ifndef FLECK_REPORT_PLOT_FONT_H
#define FLECK_REPORT_PLOT_FONT_H

#include <cairo.h>
#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"

enum { PLOT_FAMILIES = 4 };

/* How far letters reach above and below their line, in parts of the font's size; accents included.
 */
#define PLOT_ASCENT 0.93
#define PLOT_DESCENT 0.24
#define PLOT_LINE 1.25 /* from one line to the next */

typedef struct plot_fonts {
    cairo_scaled_font_t *at_100[PLOT_FAMILIES];
    cairo_font_face_t *face[PLOT_FAMILIES];
} plot_fonts;

/* Errors: FLECK_NO_RESOURCE. Ended with plot_fonts_clear, on failure too. */
fleck_status plot_fonts_init(plot_fonts *fonts, fleck_error *err);
void plot_fonts_clear(plot_fonts *fonts);

/* Whether memory has run out while texts were measured: widths may be 0 then. To be asked at the end. */
bool plot_fonts_failed(const plot_fonts *fonts);

/* The options with which texts must be drawn to be as wide as they were measured. */
cairo_font_options_t *plot_font_options(void);

/* The first family that has all characters of a text; the first of all when none has. */
size_t plot_font_family(const plot_fonts *fonts, const char *text);

double plot_text_width(const plot_fonts *fonts, const char *text, double size_pt);

/*
 * A copy that is at most so wide: the text itself, or as much of it as there is room for on both
 * sides of an ellipsis (the start and the end of a name tell it from others). NULL without memory.
 */
char *plot_text_shorten(const plot_fonts *fonts, const char *text, double size_pt, double width_pt);

typedef struct plot_lines {
    size_t count;
    char **line;
} plot_lines;

/*
 * Break a text into lines at blanks and at '\n', words that are too long anywhere. What follows the
 * last line that is allowed is joined to it and that shortened. Errors: FLECK_NO_RESOURCE. *out is
 * ended with plot_lines_clear, on failure too.
 */
fleck_status plot_text_wrap(const plot_fonts *fonts, const char *text, double size_pt,
                            double width_pt, size_t most, plot_lines *out, fleck_error *err);
void plot_lines_clear(plot_lines *lines);

#endif
