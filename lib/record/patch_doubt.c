/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Every doubt about a record of a patch. Each number that is missing has its reason here. */
#include <math.h>

#include "measure/doubt_rows.h"
#include "record/patch_parts.h"

static fleck_status add_if(bool applies, fleck_warnings *warnings, fleck_error *err,
                           const char *code, const char *sentence)
{
    return applies ? fleck_warnings_add(warnings, err, code, "%s", sentence) : FLECK_OK;
}

static fleck_status doubt_cutoff(fleck_patch *patch, fleck_error *err)
{
    const double coarser_mm = fmax(patch->geometry.pixel_x_mm, patch->geometry.pixel_y_mm);
    const double cutoff_px = patch->options->cutoff_mm / coarser_mm;

    if (cutoff_px >= 3)
        return FLECK_OK;
    return fleck_warnings_add(&patch->warnings, err, "cutoff-below-3-pixels",
                              "the cutoff of %g mm is %.2g pixels: dots near it are too small for "
                              "this resolution; scan finer or raise --cutoff",
                              patch->options->cutoff_mm, cutoff_px);
}

static fleck_status doubt_calibration(fleck_patch *patch, const fleck_record *record,
                                      fleck_error *err)
{
    fleck_warnings *const warnings = &patch->warnings;
    fleck_status status;

    if (patch->calibration == NULL)
        return fleck_warnings_add(warnings, err, "no-calibration",
                                  "no calibration: reflectance is relative to the scanner's white "
                                  "and optical_coverage cannot be given");
    status = add_if(isnan(record->tone.optical_coverage), warnings, err, "no-optical-coverage",
                    "the calibration does not hold both paper and ink, or they do not differ here: "
                    "optical_coverage cannot be given");
    if (status == FLECK_OK && record->ink.coverage < record->blank.coverage_limit)
        status = fleck_warnings_add(warnings, err, "below-detection-limit",
                                    "coverage is %.3g and blank paper of this lot gives up to %.3g: "
                                    "it cannot be told from none",
                                    record->ink.coverage, record->blank.coverage_limit);
    if (status == FLECK_OK && record->dots.per_cm2 < record->blank.per_cm2_limit)
        status = fleck_warnings_add(warnings, err, "below-detection-limit",
                                    "there are %.3g dots per cm2 and blank paper of this lot gives up "
                                    "to %.3g: they cannot be told from none",
                                    record->dots.per_cm2, record->blank.per_cm2_limit);
    return status;
}

static fleck_status doubt_missing_dots(fleck_patch *patch, const fleck_record *record,
                                       fleck_error *err)
{
    fleck_warnings *const warnings = &patch->warnings;
    const bool dots = record->dots.counted > 0, flecks = record->flecks.counted > 0;
    fleck_status status = add_if(!dots, warnings, err, "no-dots",
                                 "no dot reaches the cutoff: sizes and spacing cannot be given");

    if (status == FLECK_OK)
        status = add_if(dots && isnan(record->dots.per_cm2), warnings, err, "no-whole-dots",
                        "every counted dot touches the region's edge: sizes cannot be given; measure "
                        "a larger region");
    if (status == FLECK_OK)
        status = add_if(dots && isnan(record->spacing.nn_mean_mm), warnings, err, "no-spacing",
                        "too few dots away from the edge: a spacing cannot be given; measure a "
                        "larger region");
    if (status == FLECK_OK)
        status = add_if(!flecks, warnings, err, "no-flecks",
                        "no bare fleck reaches the cutoff: their sizes cannot be given");
    if (status == FLECK_OK)
        status = add_if(flecks && isnan(record->flecks.per_cm2), warnings, err, "no-whole-flecks",
                        "every counted bare fleck touches the region's edge: their sizes cannot be "
                        "given");
    if (status == FLECK_OK)
        status = add_if(isnan(record->grain.mean_diameter_mm), warnings, err, "no-grain",
                        "too few grains, or too large ones, for a Boolean model: the group grain "
                        "cannot be given");
    if (status == FLECK_OK)
        status = add_if(record->grain.fit_p < 0.05, warnings, err, "grain-misfit",
                        "a Boolean model of discs does not fit this print: its grain numbers mean "
                        "little");
    if (status == FLECK_OK)
        status = add_if(record->ink.coverage > 0.2, warnings, err, "dots-merge",
                        "above 20 % coverage dots merge: their size mixes size and coverage; compare "
                        "grain.mean_diameter_mm instead");
    if (status == FLECK_OK)
        status = add_if(record->dots_shape.largest_share > 0.5, warnings, err, "dots-span",
                        "one dot holds more than half of all ink: numbers of dots mean nothing; chords, "
                        "Euler number, flecks and spectrum carry the description");
    if (status == FLECK_OK)
        status = add_if(isnan(record->ink.mean_chord_mm), warnings, err, "no-chords",
                        "ink and bare paper meet nowhere: chords cannot be given");
    return status;
}

/* Numbers that need a larger patch, or more of a texture than there is. */
static fleck_status doubt_missing_texture(fleck_patch *patch, const fleck_record *record,
                                          fleck_error *err)
{
    fleck_warnings *const warnings = &patch->warnings;
    const fleck_sampling *const sampling = &record->sampling;
    fleck_status status = add_if(
        record->dots.counted > 0 && isnan(record->dots_shape.gap_mean_mm), warnings, err, "no-gap",
        "there is no second dot, or the dots are too large to follow: a gap cannot be given");

    if (status == FLECK_OK)
        status = add_if(record->dots.counted > 0 && (record->dots_sizes.intervals.tiles == 0 ||
                                                     isnan(record->dots_sizes.lognormal.p)),
                        warnings, err, "no-size-intervals",
                        "too few whole dots (below 20), or all in a few places: intervals of their sizes "
                        "and the fit of a lognormal law cannot be given");
    if (status == FLECK_OK)
        status = add_if(record->flecks.counted > 0 && (record->flecks_sizes.intervals.tiles == 0 ||
                                                       isnan(record->flecks_sizes.lognormal.p)),
                        warnings, err, "no-fleck-intervals",
                        "too few whole bare flecks (below 20), or all in a few places: intervals of "
                        "their sizes and the fit of a lognormal law cannot be given");
    if (status == FLECK_OK)
        status = add_if(isnan(record->ink.coverage_se), warnings, err, "no-coverage-error",
                        "the region is too small for the scatter of coverage: its integral range and "
                        "standard error cannot be given; measure a larger region");
    if (status == FLECK_OK)
        status = add_if(isnan(sampling->tiles_cv) || isnan(sampling->evenness), warnings, err,
                        "no-evenness",
                        "fewer than four tiles lie in the region, or their scatter cannot be foretold: "
                        "evenness cannot be given");
    if (status == FLECK_OK)
        status = add_if(isnan(record->granulometry.mean_mm) || isnan(record->granulometry.median_mm),
                        warnings, err, "no-granulometry",
                        "the ink is wider than the largest disc that is tried: sizes by openings "
                        "cannot be given");
    return status;
}

/* Numbers of a spectrum that is there. */
static fleck_status doubt_missing_features(fleck_patch *patch, const fleck_record *record,
                                           fleck_error *err)
{
    fleck_warnings *const warnings = &patch->warnings;
    const fleck_spectrum_features *const features = &record->spectrum_features;
    bool octaves = true;
    fleck_status status =
        add_if(isnan(features->dominant_spacing_mm), warnings, err, "no-dominant-spacing",
               "no spacing stands out of the spectrum by more than chance: there is no dominant one");

    for (size_t i = 0; i < FLECK_SPECTRUM_OCTAVES; i++)
        octaves = octaves && !isnan(features->octave_sd[i]);
    if (status == FLECK_OK)
        status = add_if(isnan(features->direction_deg), warnings, err, "no-direction",
                        "the texture has no direction that is more than chance");
    if (status == FLECK_OK)
        status = add_if(!octaves, warnings, err, "no-wavelength",
                        "tiles are too small or pixels too large for tone variation at some "
                        "wavelengths: these cannot be given");
    return status;
}

static fleck_status doubt_rows(fleck_patch *patch, fleck_error *err)
{
    fleck_scan_doubts found;

    if (patch->doubt_rows == NULL)
        return FLECK_OK;
    fleck_doubt_rows_finish(patch->doubt_rows, &found);
    if (patch->area.mask != NULL) { /* the border they look along is not the patch's */
        found.rim = (fleck_doubt_rim){ 0 };
        found.wander = (fleck_doubt_wander){ 0 };
    }
    return fleck_scan_doubts_warn(&found, patch->info->format == FLECK_SCAN_JPEG, &patch->warnings,
                                  err);
}

/* Most windows take their threshold from others: see docs/doubts.md. */
static fleck_status doubt_windows(fleck_patch *patch, fleck_error *err)
{
    const fleck_local_summary *const found = &patch->surveyed[patch->chosen].local_summary;

    if (!patch->has_ink || patch->options->threshold != FLECK_THRESHOLD_LOCAL ||
        5 * found->own >= 3 * found->windows)
        return FLECK_OK;
    if (found->own == 0)
        return fleck_warnings_add(&patch->warnings, err, "local-bare-windows",
                                  "in none of %zu windows ink and paper stand apart: the local "
                                  "threshold is Otsu's of the whole patch; give larger windows with "
                                  "--threshold local:MM",
                                  found->windows);
    return fleck_warnings_add(&patch->warnings, err, "local-bare-windows",
                              "in only %zu of %zu windows ink and paper stand apart, the others take "
                              "their threshold from these: coverage may be far off; look at a picture "
                              "of the dots, give larger windows with --threshold local:MM, or use otsu",
                              found->own, found->windows);
}

fleck_status fleck_patch_doubt(fleck_patch *patch, const fleck_record *record, fleck_error *err)
{
    fleck_warnings *const warnings = &patch->warnings;
    const fleck_surveyed *const chosen = &patch->surveyed[patch->chosen];
    fleck_status status = doubt_cutoff(patch, err);

    if (status == FLECK_OK)
        status = doubt_calibration(patch, record, err);
    if (status == FLECK_OK)
        status = add_if(!(record->tone.mean_reflectance > 0), warnings, err, "no-density",
                        "the region is pure black: a density cannot be given");
    if (status == FLECK_OK)
        status = doubt_rows(patch, err);
    if (status == FLECK_OK && patch->has_ink)
        status = doubt_missing_dots(patch, record, err);
    if (status == FLECK_OK && patch->has_ink)
        status = doubt_missing_texture(patch, record, err);
    if (status == FLECK_OK && record->spectrum.rings > 0)
        status = doubt_missing_features(patch, record, err);
    if (status == FLECK_OK)
        status = add_if(isnan(record->print_noise.graininess) || isnan(record->print_noise.mottle),
                        warnings, err, "no-graininess",
                        "the region holds less than two tiles of 1.27 mm, or pixels are too large for "
                        "readings of 42 um: graininess and mottle cannot be given");
    if (status == FLECK_OK)
        status = add_if(patch->has_ink && chosen->presence.cut_in_noise &&
                            patch->options->threshold == FLECK_THRESHOLD_OTSU,
                        warnings, err, "threshold-in-noise",
                        "Otsu's threshold lies within the noise of paper or ink: coverage may be far "
                        "off; use --threshold fixed:R or pooled");
    if (status == FLECK_OK)
        status = doubt_windows(patch, err);
    if (status == FLECK_OK)
        status = add_if(!patch->has_ink, warnings, err, "no-speckle",
                        isnan(record->ink.coverage)
                            ? "ink and paper do not stand apart in the region: there are no dots to "
                              "measure, and without a calibration no coverage"
                            : "ink and paper do not stand apart in the region: there are no dots to "
                              "measure");
    return status;
}
