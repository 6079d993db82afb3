/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Texts and scale bars on pictures. */
#ifndef FLECK_REPORT_OVERLAY_TEXT_H
#define FLECK_REPORT_OVERLAY_TEXT_H

#include <cairo.h>
#include <stddef.h>

#include "report/plot_font.h"

/* A copy in which control characters are blanks and what is not UTF-8 is U+FFFD; NULL without
   memory. */
char *overlay_clean_text(const char *text);

/* One line of text from its left end, y its base line. */
void overlay_show(cairo_t *cairo, const plot_fonts *fonts, const char *text, double size_px,
                  double x, double y);

/* The longest of 1, 2, 5, 10 ... mm (or parts of one) that is at most so long. */
double overlay_bar_mm(double most_mm);

/* A bar of mm with its length in words at its right, from (x, y), y the base line of the words. */
void overlay_show_bar(cairo_t *cairo, const plot_fonts *fonts, double mm, double px_per_mm,
                      double size_px, double x, double y);

#endif
