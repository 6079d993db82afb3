/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plots of one patch's texture as functions of frequency, length or distance. */
#include <math.h>

#include "core/memory.h"
#include "core/text.h"
#include "fleck/plots.h"
#include "report/plot_number.h"
#include "report/plots_say.h"

void fleck_plot_fill_spectrum(fleck_plot *plot, const fleck_plot_spectrum *spectrum)
{
    const bool has_peak =
        isfinite(spectrum->dominant_spacing_mm) && spectrum->dominant_spacing_mm > 0;
    fleck_text label = { 0 }, caption = { 0 };

    fleck_plot_set_x(plot, &(fleck_plot_axis){ .label = "spatial frequency",
                                               .unit = "1/mm",
                                               .scale = FLECK_PLOT_LOG });
    fleck_plot_set_y(plot, &(fleck_plot_axis){
                               .label = "power", .unit = "mm\xc2\xb2", .scale = FLECK_PLOT_LOG });
    if (spectrum->ink_power_mm2 != NULL)
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_LINE,
                                                   .name = "ink",
                                                   .count = spectrum->count,
                                                   .x = spectrum->frequency_per_mm,
                                                   .y = spectrum->ink_power_mm2 });
    if (spectrum->tone_power_mm2 != NULL)
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_LINE,
                                                   .name = "tone",
                                                   .count = spectrum->count,
                                                   .x = spectrum->frequency_per_mm,
                                                   .y = spectrum->tone_power_mm2,
                                                   .look = FLECK_LOOK_SECOND });
    if (has_peak) {
        plots_say_number(&label, "spacing", spectrum->dominant_spacing_mm, "mm");
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_RULE_X,
                                                   .name = label.bytes,
                                                   .at = 1 / spectrum->dominant_spacing_mm,
                                                   .look = FLECK_LOOK_QUIET });
        if (label.failed)
            plots_no_memory(plot);
    }
    fleck_text_add(&caption, "Radial power spectrum");
    if (spectrum->tiles > 0) {
        fleck_text_add(&caption, ", ");
        plots_say_count(&caption, spectrum->tiles, "tile", "tiles");
        if (spectrum->tile_px > 0)
            fleck_text_add_format(&caption, " of %zu px", spectrum->tile_px);
    }
    if (!has_peak)
        fleck_text_add(&caption, "; no spacing stands out");
    plots_end_caption(plot, &caption);
    fleck_text_clear(&label);
}

/* Add the chords of a phase, its shares in per cent. */
static void add_chords(fleck_plot *plot, const fleck_plot_chords_of *of, const char *phase,
                       fleck_plot_kind kind, fleck_plot_look look)
{
    double *const share = fleck_alloc_array(of->classes, sizeof *share);
    fleck_text name = { 0 };

    plots_say_number(&name, phase, of->mean_mm, "mm");
    if (share == NULL || name.failed) {
        plots_no_memory(plot);
    } else if (of->classes > 0 && of->from_mm != NULL && of->share != NULL) {
        for (size_t c = 0; c < of->classes; c++)
            share[c] = 100 * of->share[c];
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = kind,
                                                   .name = name.bytes,
                                                   .count = of->classes,
                                                   .lo = of->from_mm,
                                                   .hi = of->from_mm + 1,
                                                   .y = share,
                                                   .look = look });
    }
    fleck_text_clear(&name);
    fleck_free(share);
}

void fleck_plot_fill_chords(fleck_plot *plot, const fleck_plot_chords *chords)
{
    fleck_text caption = { 0 };

    fleck_plot_set_x(
        plot, &(fleck_plot_axis){ .label = "chord length", .unit = "mm", .scale = FLECK_PLOT_LOG });
    fleck_plot_set_y(
        plot, &(fleck_plot_axis){ .label = "share by number", .unit = "%", .from_zero = true });
    add_chords(plot, &chords->ink, "ink, mean", FLECK_PLOT_BARS, FLECK_LOOK_FIRST);
    add_chords(plot, &chords->bare, "bare, mean", FLECK_PLOT_STEPS, FLECK_LOOK_SECOND);
    fleck_text_add(
        &caption, "Chords along rows and columns that no border cuts, weighted for the edge");
    if (isfinite(chords->ink.chords) && isfinite(chords->bare.chords)) {
        fleck_text_add(&caption, "; n = ");
        plot_number_add(&caption, chords->ink.chords, 15);
        fleck_text_add(&caption, " in ink, ");
        plot_number_add(&caption, chords->bare.chords, 15);
        fleck_text_add(&caption, " in bare paper");
    }
    plots_end_caption(plot, &caption);
}

void fleck_plot_fill_covariance(fleck_plot *plot, const fleck_plot_covariance *covariance)
{
    fleck_text caption = { 0 };

    fleck_plot_set_x(plot, &(fleck_plot_axis){ .label = "distance h", .unit = "mm" });
    fleck_plot_set_y(plot, &(fleck_plot_axis){ .label = "C(h)", .from_zero = true });
    fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_LINE,
                                               .name = covariance->model != NULL ? "patch" : NULL,
                                               .count = covariance->count,
                                               .x = covariance->lag_mm,
                                               .y = covariance->probability });
    if (covariance->model != NULL)
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_LINE,
                                                   .name = "model of discs",
                                                   .count = covariance->count,
                                                   .x = covariance->lag_mm,
                                                   .y = covariance->model,
                                                   .look = FLECK_LOOK_SECOND });
    plots_add_rule(plot, FLECK_PLOT_RULE_Y,
                   "p\xc2\xb2\xc2\xa0=", covariance->coverage * covariance->coverage, 3, NULL,
                   FLECK_LOOK_QUIET);
    fleck_text_add(&caption, "Chance that two points at the distance h are both ink");
    if (isfinite(covariance->coverage))
        plots_say_number(&caption, "; coverage p\xc2\xa0=", covariance->coverage, NULL);
    plots_end_caption(plot, &caption);
}

void fleck_plot_fill_order(fleck_plot *plot, const fleck_plot_order *order)
{
    const char *const what = order->what != NULL ? order->what : "dots";
    fleck_text caption = { 0 };
    size_t first = 0; /* place of the band */

    fleck_plot_set_x(plot,
                     &(fleck_plot_axis){ .label = "distance r", .unit = "mm", .from_zero = true });
    fleck_plot_set_y(plot, &(fleck_plot_axis){ .label = "L(r) \xe2\x88\x92 r", .unit = "mm" });
    if (order->lo_mm != NULL && order->hi_mm != NULL)
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_BAND,
                                                   .name = "random places",
                                                   .count = order->count,
                                                   .x = order->r_mm,
                                                   .lo = order->lo_mm,
                                                   .hi = order->hi_mm,
                                                   .look = FLECK_LOOK_QUIET });
    fleck_plot_add(
        plot, &(fleck_plot_series){ .kind = FLECK_PLOT_RULE_Y, .at = 0, .look = FLECK_LOOK_QUIET });
    fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_LINE,
                                               .name = what,
                                               .count = order->count,
                                               .x = order->r_mm,
                                               .y = order->l_minus_r_mm });
    fleck_text_add(&caption, "Above the band clustered, below it regular");
    if (order->points > 0) {
        fleck_text_add(&caption, "; ");
        plots_say_count(&caption, order->points, what, what);
    }
    if (order->simulations > 0)
        fleck_text_add_format(&caption, "; band of %zu simulations", order->simulations);
    while (order->lo_mm != NULL && first < order->count && !isfinite(order->lo_mm[first]))
        first++;
    if (first > 0 && first < order->count) {
        plots_say_number(&caption, "; below", order->r_mm[first], "mm");
        fleck_text_add(&caption, " there is none, as the dots\xe2\x80\x99 own size decides there");
    }
    plots_end_caption(plot, &caption);
}
