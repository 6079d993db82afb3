/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/patch_parts.h"

#include <math.h>

#include "core/memory.h"

void fleck_dot_tables_clear(fleck_dot_tables *tables)
{
    if (tables == NULL)
        return;
    fleck_free(tables->dots.rows);
    fleck_free(tables->flecks.rows);
    *tables = (fleck_dot_tables){ 0 };
}

fleck_status fleck_patch_no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory to measure this patch; give a smaller --region");
}

size_t fleck_patch_inside(fleck_patch *patch, size_t y, const fleck_run **inside)
{
    *inside = patch->inside;
    if (patch->area.mask != NULL)
        return fleck_mask_runs(patch->area.mask, y, patch->inside);
    patch->inside[0] = (fleck_run){ 0, (uint32_t)patch->area.box.width_px };
    return 1;
}

/* A scan of one channel gives it whatever is asked for; auto looks at all four of a colour scan. */
static void choose_surveyed(fleck_patch *patch)
{
    patch->channel_count = 1;
    if (fleck_tone_channels(patch->tone) == 1) {
        patch->surveyed[0].channel = FLECK_CHANNEL_LUMINANCE;
    } else if (patch->options->channel != FLECK_CHANNEL_AUTO) {
        patch->surveyed[0].channel = patch->options->channel;
    } else {
        patch->channel_count = FLECK_CHANNELS;
        for (size_t i = 0; i < FLECK_CHANNELS; i++)
            patch->surveyed[i].channel = (fleck_channel)i;
    }
}

/* A window in pixels, within what the local threshold takes. */
static size_t window_px(double window_mm, double pixel_mm)
{
    const double wanted = round(window_mm / pixel_mm);

    return wanted < FLECK_LOCAL_LEAST_PX  ? FLECK_LOCAL_LEAST_PX
           : wanted > FLECK_LOCAL_MOST_PX ? FLECK_LOCAL_MOST_PX
                                          : (size_t)wanted;
}

static fleck_status make_local(fleck_patch *patch, fleck_local **out, fleck_error *err)
{
    const fleck_geometry *const geometry = &patch->geometry;
    const double window_mm = patch->options->window_mm;

    if (patch->levels == NULL)
        patch->levels = fleck_alloc_array(geometry->width_px, sizeof *patch->levels);
    if (patch->sides == NULL)
        patch->sides = fleck_alloc_array(geometry->width_px, sizeof *patch->sides);
    if (patch->levels == NULL || patch->sides == NULL)
        return fleck_patch_no_memory(err);
    return fleck_local_new(geometry->width_px, geometry->height_px,
                           window_px(window_mm, geometry->pixel_x_mm),
                           window_px(window_mm, geometry->pixel_y_mm), out, err);
}

static fleck_status make_survey(fleck_patch *patch, fleck_error *err)
{
    const size_t width_px = patch->area.box.width_px;
    fleck_status status = FLECK_OK;

    choose_surveyed(patch);
    patch->q = fleck_alloc_array(width_px, sizeof *patch->q);
    patch->inside = fleck_alloc_array(width_px / 2 + 1, sizeof *patch->inside);
    if (patch->q == NULL || patch->inside == NULL)
        return fleck_patch_no_memory(err);
    for (size_t i = 0; status == FLECK_OK && i < patch->channel_count; i++) {
        status = fleck_level_counter_new(patch->tone, patch->surveyed[i].channel,
                                         &patch->surveyed[i].counter, err);
        if (status == FLECK_OK && patch->options->threshold == FLECK_THRESHOLD_LOCAL)
            status = make_local(patch, &patch->surveyed[i].local, err);
        if (status == FLECK_OK)
            status = fleck_presence_new(width_px, patch->area.mask != NULL,
                                        &patch->surveyed[i].presence_rows, err);
    }
    fleck_code_counts_begin(&patch->codes, patch->info, width_px, patch->area.box.height_px);
    return status;
}

fleck_status fleck_patch_new(const fleck_input *input, const fleck_measure_options *options,
                             const fleck_calibration *calibration, const fleck_scan_info *info,
                             const fleck_tone *tone, const fleck_resolution *resolution,
                             const fleck_scan_mask *scan_mask, fleck_patch **out, fleck_error *err)
{
    fleck_patch *patch = fleck_alloc_zeroed(1, sizeof *patch);
    fleck_status status;

    *out = NULL;
    if (patch == NULL)
        return fleck_patch_no_memory(err);
    patch->input = input;
    patch->options = options;
    patch->calibration = calibration;
    patch->info = info;
    patch->tone = tone;
    patch->resolution = *resolution;
    patch->geometry.pixel_x_mm = 25.4 / resolution->ppi_x;
    patch->geometry.pixel_y_mm = 25.4 / resolution->ppi_y;
    patch->scan_mask = scan_mask;
    status = fleck_patch_area_find(input, options, info, scan_mask, patch->geometry.pixel_x_mm,
                                   patch->geometry.pixel_y_mm, &patch->area, err);
    if (status == FLECK_OK) {
        patch->geometry.width_px = patch->area.box.width_px;
        patch->geometry.height_px = patch->area.box.height_px;
        status = make_survey(patch, err);
    }
    if (status == FLECK_OK) {
        *out = patch;
        patch = NULL;
    }
    fleck_patch_free(patch);
    return status;
}

const fleck_patch_box *fleck_patch_get_box(const fleck_patch *patch)
{
    return &patch->area.box;
}

void fleck_patch_free(fleck_patch *patch)
{
    if (patch == NULL)
        return;
    for (size_t i = 0; i < FLECK_CHANNELS; i++) {
        fleck_level_counter_free(patch->surveyed[i].counter);
        fleck_presence_free(patch->surveyed[i].presence_rows);
        fleck_local_free(patch->surveyed[i].local);
    }
    for (size_t i = 0; i < FLECK_LAYERS; i++)
        fleck_layer_clear(&patch->layers[i]);
    fleck_free(patch->q);
    fleck_free(patch->batch.q);
    fleck_free(patch->levels);
    fleck_free(patch->sides);
    fleck_free(patch->inside);
    fleck_free(patch->counts);
    fleck_patch_area_clear(&patch->area);
    fleck_spectrum_maker_free(patch->spectrum_maker);
    fleck_random_set_maker_free(patch->random_set_maker);
    fleck_cell_counts_free(patch->cell_counts);
    fleck_print_noise_maker_free(patch->print_noise_maker);
    fleck_doubt_rows_free(patch->doubt_rows);
    fleck_warnings_clear(&patch->warnings);
    fleck_free(patch);
}
