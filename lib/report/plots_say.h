/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Labels and captions that ready-made plots have in common. */
#ifndef FLECK_REPORT_PLOTS_SAY_H
#define FLECK_REPORT_PLOTS_SAY_H

#include "core/text.h"
#include "fleck/plots.h"

void plots_no_memory(fleck_plot *plot);

/* "n = 1 patch" or "n = 12 patches". */
void plots_say_count(fleck_text *text, size_t count, const char *one, const char *several);

/* "LEAD 0.85 mm", three digits; without a unit where that is NULL. */
void plots_say_number(fleck_text *text, const char *lead, double value, const char *unit);

/* A rule labelled "NAME 0.85 mm", so many digits; none when the value is not finite. */
void plots_add_rule(fleck_plot *plot, fleck_plot_kind kind, const char *name, double at, int digits,
                    const char *unit, fleck_plot_look look);

/* Put a full stop behind the text, move it to the plot and clear it. */
void plots_end_caption(fleck_plot *plot, fleck_text *text);

#endif
