/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Colours, markers and dashes of a plot. */
#ifndef FLECK_REPORT_PLOT_STYLE_H
#define FLECK_REPORT_PLOT_STYLE_H

#include <cairo.h>

#include "fleck/plot.h"

#define PLOT_THIN_PT 0.5
#define PLOT_LINE_PT 1.1
#define PLOT_BAR_TINT 0.65
#define PLOT_BAND_TINT 0.8

/* tint: 0 the colour itself, 1 white */
void plot_style_colour(cairo_t *cairo, fleck_plot_look look, double tint);

void plot_style_dash(cairo_t *cairo, const fleck_plot_series *series);

/* A marker of a radius around a place, with a thin white rim that parts it from its neighbours. */
void plot_style_marker(cairo_t *cairo, const fleck_plot_series *series, double x, double y,
                       double radius_pt);

/* The sample of a series in the key, from the left end of its line's middle. */
void plot_style_sample(cairo_t *cairo, const fleck_plot_series *series, double x, double y,
                       double width_pt, double height_pt);

#endif
