/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The first look at a patch: histograms of the channels that may be measured, whether there is speckle
 * at all, and what the raw codes tell of the scan.
 */
#include <math.h>

#include "core/memory.h"
#include "measure/doubt_clipping.h"
#include "measure/doubt_comb.h"
#include "measure/paper_outliers.h"
#include "record/patch_parts.h"

fleck_status fleck_patch_take_tone_early(fleck_patch *patch, unsigned threads, fleck_error *err)
{
    fleck_status status;

    if (fleck_patch_awaits_others(patch))
        return FLECK_OK;
    status = fleck_patch_begin_spectrum(patch, threads, err);
    patch->has_early_tone = patch->spectrum_maker != NULL;
    return status;
}

void fleck_patch_share_tiles(fleck_patch *patch, unsigned threads)
{
    if (patch->has_early_tone)
        fleck_spectrum_maker_set_threads(patch->spectrum_maker, threads);
}

size_t fleck_patch_tone_rows_at_once(const fleck_patch *patch)
{
    return patch->has_early_tone ? fleck_spectrum_maker_rows_at_once(patch->spectrum_maker) : 0;
}

fleck_status fleck_patch_survey_row(fleck_patch *patch, const void *pixels, fleck_error *err)
{
    const size_t width_px = patch->area.box.width_px;
    const size_t y = patch->next_row++;
    const fleck_run *inside;
    const size_t inside_count = fleck_patch_inside(patch, y, &inside);

    fleck_code_counts_add_row(&patch->codes, pixels, width_px);
    if (patch->calibration != NULL)
        patch->outside_px += fleck_tone_count_outside(patch->tone, pixels, width_px);
    for (size_t i = 0; i < patch->channel_count; i++) {
        fleck_surveyed *const surveyed = &patch->surveyed[i];

        fleck_tone_row_at(patch->tone, surveyed->channel, pixels, width_px,
                          patch->area.box.left_px, patch->area.box.top_px + y, patch->q);
        fleck_presence_row(surveyed->presence_rows, patch->q, inside, inside_count);
        if (surveyed->local != NULL) /* refuses nothing but a row too many */
            (void)fleck_local_add_row(surveyed->local, patch->q, inside, inside_count, NULL);
        for (size_t r = 0; r < inside_count; r++)
            fleck_level_counter_add(surveyed->counter, pixels, patch->q, inside[r].start_px,
                                    inside[r].end_px);
    }
    return patch->has_early_tone
               ? fleck_spectrum_maker_tone_row(patch->spectrum_maker, patch->q, err)
               : FLECK_OK;
}

/* The threshold level that --threshold fixed:R means. */
static unsigned fixed_level(const fleck_measure_options *options)
{
    return (unsigned)floor(65535 * options->fixed_reflectance);
}

/* What follows from the histogram. */
static fleck_status survey_channel(const fleck_patch *patch, fleck_surveyed *surveyed,
                                   const uint64_t *counts, fleck_error *err)
{
    const fleck_measure_options *const options = patch->options;
    fleck_status status;

    surveyed->lowest = 0;
    while (surveyed->lowest + 1 < FLECK_LEVELS && counts[surveyed->lowest] == 0)
        surveyed->lowest++;
    surveyed->highest = FLECK_LEVELS - 1;
    while (surveyed->highest > surveyed->lowest && counts[surveyed->highest] == 0)
        surveyed->highest--;
    surveyed->one_tone = surveyed->lowest == surveyed->highest;
    if (surveyed->one_tone)
        status = fleck_cut_at(counts, surveyed->lowest, options->ink, &surveyed->cut, err);
    else
        status = fleck_cut_otsu(counts, options->ink, &surveyed->cut, err);
    if (status != FLECK_OK)
        return status;
    surveyed->presence =
        fleck_presence_decide(surveyed->presence_rows, counts, &surveyed->cut);
    surveyed->paper_level = surveyed->presence.present
                                ? fleck_paper_level(counts, surveyed->cut.k, options->ink)
                                : NAN;
    if (surveyed->local != NULL)
        status = fleck_local_settle(surveyed->local, &surveyed->cut, &surveyed->local_summary, err);
    if (options->threshold == FLECK_THRESHOLD_FIXED)
        status = fleck_cut_at(counts, fixed_level(options), options->ink, &surveyed->cut,
                              err);
    return status;
}

static fleck_status doubt_codes(fleck_patch *patch, fleck_error *err)
{
    const fleck_doubt_clipping clipping = fleck_doubt_clipping_finish(&patch->codes);
    const fleck_doubt_comb comb = fleck_doubt_comb_finish(&patch->codes);
    const double pixels = (double)patch->area.box.width_px * (double)patch->area.box.height_px;
    fleck_status status = fleck_doubt_clipping_warn(&clipping, &patch->warnings, err);

    if (status == FLECK_OK)
        status = fleck_doubt_comb_warn(&comb, &patch->warnings, err);
    /* stray pixels are noise, not tones beyond the scale */
    if (status == FLECK_OK && (double)patch->outside_px > 0.001 * pixels)
        status = fleck_warnings_add(&patch->warnings, err, "tone-outside-curve",
                                    "%.2g %% of the pixels are darker or lighter than the steps of "
                                    "the calibration: their reflectance is held at the end; "
                                    "calibrate with a longer grey scale",
                                    100 * (double)patch->outside_px / pixels);
    return status;
}

fleck_status fleck_patch_survey_end(fleck_patch *patch, fleck_pool *pool, fleck_error *err)
{
    uint64_t *const counts = fleck_alloc_array(FLECK_LEVELS, sizeof *counts);
    fleck_status status =
        counts != NULL ? doubt_codes(patch, err) : fleck_patch_no_memory(err);

    for (size_t i = 0; i < patch->channel_count; i++) {
        fleck_surveyed *const surveyed = &patch->surveyed[i];

        if (status == FLECK_OK) {
            fleck_level_counter_get(surveyed->counter, counts);
            status = survey_channel(patch, surveyed, counts, err);
        }
        if (status == FLECK_OK && pool != NULL)
            fleck_pool_add(pool, surveyed->channel, counts);
        fleck_level_counter_free(surveyed->counter);
        surveyed->counter = NULL;
        fleck_presence_free(surveyed->presence_rows);
        surveyed->presence_rows = NULL;
    }
    fleck_free(counts);
    patch->next_row = 0;
    return status;
}

bool fleck_patch_awaits_channel(const fleck_patch *patch)
{
    return patch->channel_count > 1;
}

bool fleck_patch_awaits_others(const fleck_patch *patch)
{
    return patch->channel_count > 1 || patch->options->threshold == FLECK_THRESHOLD_POOLED;
}

double fleck_patch_between_variance(const fleck_patch *patch, fleck_channel channel)
{
    for (size_t i = 0; i < patch->channel_count; i++) {
        if (patch->surveyed[i].channel == channel)
            return patch->surveyed[i].one_tone ? 0 : patch->surveyed[i].cut.between_variance;
    }
    return 0;
}
