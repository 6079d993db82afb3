/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plots of one patch from its record and its dots. */
#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "fleck/plots.h"
#include "report/plots_say.h"
#include "report/run_plots.h"

static const char *const names[FLECK_RUN_PLOTS] = {
    [FLECK_RUN_SIZES] = "sizes",       [FLECK_RUN_SPACING] = "spacing",
    [FLECK_RUN_SPECTRUM] = "spectrum", [FLECK_RUN_CHORDS] = "chords",
    [FLECK_RUN_COVARIANCE] = "covariance", [FLECK_RUN_PATTERN] = "pattern",
};

const char *fleck_run_plot_name(fleck_run_plot plot)
{
    return names[plot];
}

bool fleck_run_plot_from_name(const char *name, fleck_run_plot *plot)
{
    for (int i = 0; i < FLECK_RUN_PLOTS; i++) {
        if (strcmp(name, names[i]) == 0) {
            *plot = (fleck_run_plot)i;
            return true;
        }
    }
    return false;
}

static bool fill_sizes(fleck_plot *plot, const run_patch *patch)
{
    const fleck_record *const record = &patch->record;
    const bool fitted = isfinite(record->dots_sizes.lognormal.median_mm);

    if (patch->dot_count == 0)
        return false;
    fleck_plot_fill_sizes(
        plot, &(fleck_plot_sizes){
                  .what = "dots",
                  .count = patch->dot_count,
                  .diameter_mm = patch->diameter_mm,
                  .weight = patch->weight,
                  .cutoff_mm = record->settings.cutoff_mm,
                  .lognormal_median_mm = fitted ? record->dots_sizes.lognormal.median_mm
                                                : record->dots.lognormal_median_mm,
                  .lognormal_gsd = fitted ? record->dots_sizes.lognormal.gsd
                                          : record->dots.lognormal_gsd,
              });
    return true;
}

static bool fill_spacing(fleck_plot *plot, const run_patch *patch)
{
    if (patch->near_count == 0)
        return false;
    fleck_plot_fill_spacing(plot, &(fleck_plot_spacing){ .what = "dots",
                                                         .count = patch->near_count,
                                                         .distance_mm = patch->near_mm,
                                                         .weight = patch->near_weight,
                                                         .mean_mm = patch->record.spacing.nn_mean_mm });
    return true;
}

static bool fill_spectrum(fleck_plot *plot, const run_patch *patch)
{
    const fleck_spectrum *const spectrum = &patch->record.spectrum;

    if (spectrum->rings == 0)
        return false;
    fleck_plot_fill_spectrum(
        plot, &(fleck_plot_spectrum){
                  .count = spectrum->rings,
                  .frequency_per_mm = spectrum->frequency_per_mm,
                  .ink_power_mm2 = spectrum->ink_power_mm2,
                  .tone_power_mm2 = spectrum->tone_power_mm2,
                  .tiles = spectrum->tiles,
                  .tile_px = spectrum->tile_px,
                  .dominant_spacing_mm = patch->record.spectrum_features.dominant_spacing_mm,
              });
    return true;
}

/* The record has the lower ends of classes; the upper end of the last is a step of R10 above it. */
static double *borders(const fleck_record_chords *chords, size_t *classes)
{
    const fleck_series *const from = &chords->from_mm;
    double *all;

    *classes = 0;
    if (from->count == 0 || chords->share.count != from->count)
        return NULL;
    all = fleck_alloc_array(from->count + 1, sizeof *all);
    if (all != NULL) {
        memcpy(all, from->values, from->count * sizeof *all);
        all[from->count] = all[from->count - 1] * pow(10, 0.1);
        *classes = from->count;
    }
    return all;
}

static bool fill_chords(fleck_plot *plot, const run_patch *patch)
{
    const fleck_record *const record = &patch->record;
    size_t ink_classes, bare_classes;
    double *const ink = borders(&record->ink_chords, &ink_classes);
    double *const bare = borders(&record->bare_chords, &bare_classes);
    const bool any = ink_classes + bare_classes > 0;

    if (any)
        fleck_plot_fill_chords(
            plot,
            &(fleck_plot_chords){
                .ink = { ink_classes, ink, record->ink_chords.share.values, NAN,
                         record->ink.mean_chord_mm },
                .bare = { bare_classes, bare, record->bare_chords.share.values, NAN,
                          record->flecks_mean_chord_mm },
            });
    fleck_free(ink);
    fleck_free(bare);
    return any;
}

static bool fill_covariance(fleck_plot *plot, const run_patch *patch)
{
    const fleck_series *const lag = &patch->record.covariance.lag_mm;
    const fleck_series *const radial = &patch->record.covariance.radial;

    if (lag->count == 0 || radial->count != lag->count)
        return false;
    fleck_plot_fill_covariance(plot, &(fleck_plot_covariance){ .count = lag->count,
                                                               .lag_mm = lag->values,
                                                               .probability = radial->values,
                                                               .coverage = patch->record.ink.coverage });
    return true;
}

static size_t whole(double value)
{
    return value > 0 && value < 1e15 ? (size_t)value : 0;
}

static bool fill_pattern(fleck_plot *plot, const run_patch *patch)
{
    const fleck_record *const record = &patch->record;
    const size_t count = record->pattern.r_mm.count;
    const bool enveloped = record->pattern.l_lo_mm.count == count &&
                           record->pattern.l_hi_mm.count == count;

    if (count == 0 || record->pattern.l_mm.count != count)
        return false;
    fleck_plot_fill_order(plot,
                          &(fleck_plot_order){
                              .what = "dots",
                              .count = count,
                              .points = whole(record->pattern.dots),
                              .simulations = whole(record->pattern.simulations),
                              .r_mm = record->pattern.r_mm.values,
                              .l_minus_r_mm = record->pattern.l_mm.values,
                              .lo_mm = enveloped ? record->pattern.l_lo_mm.values : NULL,
                              .hi_mm = enveloped ? record->pattern.l_hi_mm.values : NULL,
                          });
    return true;
}

bool run_plot_fill_patch(fleck_plot *plot, fleck_run_plot kind, const run_patch *patch)
{
    static bool (*const fill[FLECK_RUN_PLOTS])(fleck_plot *, const run_patch *) = {
        [FLECK_RUN_SIZES] = fill_sizes,       [FLECK_RUN_SPACING] = fill_spacing,
        [FLECK_RUN_SPECTRUM] = fill_spectrum, [FLECK_RUN_CHORDS] = fill_chords,
        [FLECK_RUN_COVARIANCE] = fill_covariance, [FLECK_RUN_PATTERN] = fill_pattern,
    };

    return fill[kind](plot, patch);
}
