/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/plots_say.h"

#include <math.h>

#include "report/plot_number.h"

#define NOT_PARTED "\xc2\xa0" /* a blank at which no line ends */

void plots_no_memory(fleck_plot *plot)
{
    if (plot->error.status == FLECK_OK)
        fleck_fail(&plot->error, FLECK_NO_RESOURCE, "no memory for the plot; free some memory");
}

void plots_say_count(fleck_text *text, size_t count, const char *one, const char *several)
{
    fleck_text_add_format(text, "n" NOT_PARTED "=" NOT_PARTED "%zu %s", count,
                          count == 1 ? one : several);
}

static void say_rounded(fleck_text *text, const char *lead, double value, int digits,
                        const char *unit)
{
    fleck_text_add(text, lead);
    fleck_text_add(text, NOT_PARTED);
    plot_number_add(text, value, digits);
    if (unit != NULL && unit[0] != '\0') {
        fleck_text_add(text, NOT_PARTED);
        fleck_text_add(text, unit);
    }
}

void plots_say_number(fleck_text *text, const char *lead, double value, const char *unit)
{
    say_rounded(text, lead, value, 3, unit);
}

void plots_add_rule(fleck_plot *plot, fleck_plot_kind kind, const char *name, double at, int digits,
                    const char *unit, fleck_plot_look look)
{
    fleck_text label = { 0 };

    if (!isfinite(at))
        return;
    say_rounded(&label, name, at, digits, unit);
    if (label.failed)
        plots_no_memory(plot);
    else
        fleck_plot_add(plot, &(fleck_plot_series){
                                 .kind = kind, .name = label.bytes, .at = at, .look = look });
    fleck_text_clear(&label);
}

void plots_end_caption(fleck_plot *plot, fleck_text *text)
{
    fleck_text_add(text, ".");
    if (text->failed)
        plots_no_memory(plot);
    else
        fleck_plot_add_caption(plot, text->bytes);
    fleck_text_clear(text);
}
