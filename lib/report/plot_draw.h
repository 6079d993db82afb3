/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Drawing of a plot that has been laid out. */
#ifndef FLECK_REPORT_PLOT_DRAW_H
#define FLECK_REPORT_PLOT_DRAW_H

#include <cairo.h>

#include "report/plot_layout.h"
#include "report/plot_style.h"

/* All of the page, in points. Errors: FLECK_NO_RESOURCE, what cairo failed at included. */
fleck_status plot_draw(const plot_layout *layout, cairo_t *cairo, fleck_error *err);

/* One series inside the panel. False without memory. */
bool plot_draw_series(const plot_layout *layout, size_t series, cairo_t *cairo);

#endif
