/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/patch.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "record/options.h"

/* Components of one phase as the labeller hands them over. */
struct gathered {
    fleck_component *counted;
    size_t count, capacity;
    uint64_t below_cutoff;
    uint64_t counted_px; /* pixels of all counted components */
    double *weights_per_px2; /* of the counted, at the end */
};

struct fleck_patch {
    const fleck_input *input;
    const fleck_measure_options *options;
    const fleck_tone *tone;
    fleck_resolution resolution;
    const fleck_scan_mask *scan_mask; /* may be NULL */
    fleck_patch_area area;
    fleck_geometry geometry;
    uint16_t *q; /* one row */
    fleck_run *inside; /* what of a row is measured, with a mask only */
    size_t next_survey_row;

    /* survey */
    fleck_channel channels[FLECK_CHANNELS];
    size_t channel_count;
    uint64_t *counts[FLECK_CHANNELS];
    fleck_cut cuts[FLECK_CHANNELS];
    bool one_tone[FLECK_CHANNELS];

    /* second pass */
    size_t chosen; /* index into channels */
    bool has_ink;
    uint64_t cutoff_area_px;
    fleck_run *runs, *runs_above; /* of ink, inside the mask */
    fleck_run *unclipped;         /* with a mask only */
    size_t run_count, run_count_above;
    size_t next_row;
    fleck_labeller *labeller;
    fleck_spectrum_maker *spectrum_maker;
    fleck_chord_counts chords;
    struct gathered ink, bare;
    fleck_warnings warnings;
};

void fleck_dot_table_clear(fleck_dot_table *table)
{
    if (table == NULL)
        return;
    free(table->rows);
    *table = (fleck_dot_table){ 0 };
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to measure this patch; give a smaller --region");
}

/* A scan of one channel gives it whatever is asked for; auto looks at all four of a colour scan. */
static void choose_surveyed(fleck_patch *patch)
{
    if (fleck_tone_channels(patch->tone) == 1) {
        patch->channels[0] = FLECK_CHANNEL_LUMINANCE;
        patch->channel_count = 1;
    } else if (patch->options->channel != FLECK_CHANNEL_AUTO) {
        patch->channels[0] = patch->options->channel;
        patch->channel_count = 1;
    } else {
        patch->channel_count = FLECK_CHANNELS;
        for (size_t i = 0; i < FLECK_CHANNELS; i++)
            patch->channels[i] = (fleck_channel)i;
    }
}

fleck_status fleck_patch_new(const fleck_input *input, const fleck_measure_options *options,
                             const fleck_scan_info *info, const fleck_tone *tone,
                             const fleck_resolution *resolution, const fleck_scan_mask *scan_mask,
                             fleck_patch **out, fleck_error *err)
{
    fleck_patch *patch = fleck_alloc_zeroed(1, sizeof *patch);
    fleck_status status;

    *out = NULL;
    if (patch == NULL)
        return no_memory(err);
    patch->input = input;
    patch->options = options;
    patch->tone = tone;
    patch->resolution = *resolution;
    patch->geometry.pixel_x_mm = 25.4 / resolution->ppi_x;
    patch->geometry.pixel_y_mm = 25.4 / resolution->ppi_y;
    patch->scan_mask = scan_mask;
    status = fleck_patch_area_find(input, options, info, scan_mask, patch->geometry.pixel_x_mm,
                                   patch->geometry.pixel_y_mm, &patch->area, err);
    if (status != FLECK_OK)
        goto done;
    patch->geometry.width_px = patch->area.box.width_px;
    patch->geometry.height_px = patch->area.box.height_px;
    choose_surveyed(patch);
    if (patch->area.mask != NULL) {
        patch->inside = fleck_alloc_array(patch->area.box.width_px / 2 + 1, sizeof *patch->inside);
        if (patch->inside == NULL)
            status = no_memory(err);
    }
    patch->q = fleck_alloc_array(patch->area.box.width_px, sizeof *patch->q);
    if (patch->q == NULL)
        status = no_memory(err);
    for (size_t i = 0; status == FLECK_OK && i < patch->channel_count; i++) {
        patch->counts[i] = fleck_alloc_zeroed(FLECK_LEVELS, sizeof *patch->counts[i]);
        if (patch->counts[i] == NULL)
            status = no_memory(err);
    }
    if (status == FLECK_OK) {
        *out = patch;
        patch = NULL;
    }
done:
    fleck_patch_free(patch);
    return status;
}

const fleck_patch_box *fleck_patch_get_box(const fleck_patch *patch)
{
    return &patch->area.box;
}

void fleck_patch_survey_row(fleck_patch *patch, const void *pixels)
{
    const fleck_run whole = { 0, (uint32_t)patch->area.box.width_px };
    const fleck_run *inside = &whole;
    size_t inside_count = 1;

    if (patch->area.mask != NULL) {
        inside = patch->inside;
        inside_count = fleck_mask_runs(patch->area.mask, patch->next_survey_row, patch->inside);
    }
    patch->next_survey_row++;
    for (size_t i = 0; i < patch->channel_count; i++) {
        uint64_t *const counts = patch->counts[i];

        fleck_tone_row(patch->tone, patch->channels[i], pixels, patch->area.box.width_px, patch->q);
        for (size_t r = 0; r < inside_count; r++)
            for (size_t x = inside[r].start_px; x < inside[r].end_px; x++)
                counts[patch->q[x]]++;
    }
}

static fleck_status cut_channel(fleck_patch *patch, size_t i, fleck_error *err)
{
    const fleck_measure_options *const options = patch->options;
    size_t tones = 0;

    for (size_t level = 0; level < FLECK_LEVELS && tones < 2; level++)
        tones += patch->counts[i][level] > 0;
    patch->one_tone[i] = tones < 2;
    if (options->threshold == FLECK_THRESHOLD_FIXED) {
        const unsigned k = (unsigned)floor(65535 * options->fixed_reflectance);

        return fleck_cut_at(patch->counts[i], k, options->ink,
                            &patch->cuts[i], err);
    }
    if (patch->one_tone[i])
        return fleck_cut_at(patch->counts[i], 0, options->ink, &patch->cuts[i], err);
    return fleck_cut_otsu(patch->counts[i], options->ink, &patch->cuts[i], err);
}

fleck_status fleck_patch_survey_end(fleck_patch *patch, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t i = 0; i < patch->channel_count; i++) {
        if (status == FLECK_OK)
            status = cut_channel(patch, i, err);
        free(patch->counts[i]);
        patch->counts[i] = NULL;
    }
    return status;
}

bool fleck_patch_awaits_channel(const fleck_patch *patch)
{
    return patch->channel_count > 1;
}

double fleck_patch_between_variance(const fleck_patch *patch, fleck_channel channel)
{
    for (size_t i = 0; i < patch->channel_count; i++) {
        if (patch->channels[i] == channel)
            return patch->one_tone[i] ? 0 : patch->cuts[i].between_variance;
    }
    return 0;
}

/* Keeps a component that counts; specks below the cutoff are only counted, so that noise cannot
   fill the memory. */
static fleck_status gather(void *context, fleck_phase phase, const fleck_component *component,
                           fleck_error *err)
{
    fleck_patch *patch = context;
    struct gathered *into = phase == FLECK_PHASE_INK ? &patch->ink : &patch->bare;
    fleck_component *moved;

    if (component->area_px < patch->cutoff_area_px) {
        into->below_cutoff++;
        return FLECK_OK;
    }
    moved = fleck_grow(into->counted, &into->capacity, into->count, sizeof *moved);
    if (moved == NULL)
        return no_memory(err);
    into->counted = moved;
    into->counted[into->count++] = *component;
    into->counted_px += component->area_px;
    return FLECK_OK;
}

static fleck_status begin_spectrum(fleck_patch *patch, unsigned threads, fleck_error *err)
{
    const fleck_patch_box *const box = &patch->area.box;
    const size_t asked_px = patch->options->tile_px;
    size_t tile_px;
    fleck_status status =
        fleck_spectrum_choose_tile(&patch->geometry, patch->area.mask, asked_px, &tile_px, err);

    if (status != FLECK_OK)
        return status;
    if (tile_px == 0 && asked_px == 0)
        return fleck_warnings_add(&patch->warnings, err, "no-spectrum", "%s",
                                  patch->area.mask == NULL
                                      ? "the region is below 64 pixels on a side: no spectrum is given"
                                      : "no square of 64 pixels lies wholly inside what is measured: "
                                        "no spectrum is given");
    if (tile_px == 0)
        return fleck_warnings_add(&patch->warnings, err, "no-spectrum",
                                  "a tile of %zu pixels does not fit into the %s of %zu x %zu: "
                                  "no spectrum is given",
                                  asked_px, patch->area.mask == NULL ? "region" : "mask",
                                  box->width_px, box->height_px);
    return fleck_spectrum_maker_new(&patch->geometry, patch->area.mask, tile_px, patch->has_ink,
                                    threads, &patch->spectrum_maker, err);
}

fleck_status fleck_patch_measure_begin(fleck_patch *patch, fleck_channel channel, unsigned threads,
                                       fleck_error *err)
{
    const size_t most_runs = patch->area.box.width_px / 2 + 1;
    fleck_status status = FLECK_OK;

    patch->chosen = 0;
    for (size_t i = 0; patch->channel_count > 1 && i < patch->channel_count; i++) {
        if (patch->channels[i] == channel)
            patch->chosen = i;
    }
    /* a fixed threshold may leave one side empty */
    patch->has_ink = !patch->one_tone[patch->chosen] &&
                      isfinite(patch->cuts[patch->chosen].ink_reflectance) &&
                      isfinite(patch->cuts[patch->chosen].bare_reflectance);
    patch->cutoff_area_px = fleck_cutoff_area_px(&patch->geometry, patch->options->cutoff_mm);
    patch->runs = fleck_alloc_array(most_runs, sizeof *patch->runs);
    patch->runs_above = fleck_alloc_array(most_runs, sizeof *patch->runs_above);
    if (patch->area.mask != NULL)
        patch->unclipped = fleck_alloc_array(most_runs, sizeof *patch->unclipped);
    if (patch->runs == NULL || patch->runs_above == NULL ||
        (patch->area.mask != NULL && patch->unclipped == NULL))
        return no_memory(err);
    if (patch->has_ink)
        status = fleck_labeller_new(patch->area.box.width_px, patch->area.box.height_px,
                                    patch->area.mask, gather, patch, &patch->labeller, err);
    if (status == FLECK_OK)
        status = begin_spectrum(patch, threads, err);
    return status;
}

/* The ink runs of the row in patch->q, those of the last row moving up. */
static void find_runs(fleck_patch *patch)
{
    const fleck_mask *const mask = patch->area.mask;
    fleck_run *const above = patch->runs;
    size_t count;

    patch->runs = patch->runs_above;
    patch->runs_above = above;
    patch->run_count_above = patch->run_count;
    count = fleck_runs_from_row(patch->q, patch->area.box.width_px, patch->cuts[patch->chosen].k,
                                patch->options->ink, mask == NULL ? patch->runs : patch->unclipped);
    if (mask != NULL)
        count = fleck_mask_clip_runs(mask, patch->next_row, patch->unclipped, count, patch->runs);
    patch->run_count = count;
}

fleck_status fleck_patch_measure_row(fleck_patch *patch, const void *pixels, fleck_error *err)
{
    const size_t width_px = patch->area.box.width_px;
    fleck_status status = FLECK_OK;

    fleck_tone_row(patch->tone, patch->channels[patch->chosen], pixels, width_px, patch->q);
    if (patch->has_ink) {
        find_runs(patch);
        fleck_chord_counts_add_row(&patch->chords, width_px, patch->area.mask, patch->next_row,
                                   patch->runs, patch->run_count, patch->runs_above,
                                   patch->run_count_above);
        status = fleck_labeller_row(patch->labeller, patch->runs, patch->run_count, err);
    }
    if (status == FLECK_OK && patch->spectrum_maker != NULL)
        status = fleck_spectrum_maker_row(patch->spectrum_maker, patch->q, patch->runs,
                                          patch->run_count, err);
    patch->next_row++;
    return status;
}

static int by_first_pixel(const void *a, const void *b)
{
    const fleck_component *const one = a, *const other = b;

    if (one->first_y_px != other->first_y_px)
        return one->first_y_px < other->first_y_px ? -1 : 1;
    return one->first_x_px < other->first_x_px ? -1 : one->first_x_px > other->first_x_px;
}

static fleck_status fill_settings(const fleck_patch *patch, fleck_record *record, fleck_error *err)
{
    const fleck_measure_options *const options = patch->options;
    const bool grey = fleck_tone_channels(patch->tone) == 1;
    const fleck_box_mm *const region = fleck_patch_region(patch->input, options);

    record->id = fleck_copy_text(patch->input->id);
    record->settings.channel = fleck_copy_text(fleck_channel_name(options->channel));
    record->settings.channel_used = fleck_copy_text(
        grey ? "grey" : fleck_channel_name(patch->channels[patch->chosen]));
    record->settings.tone_from = fleck_copy_text(
        fleck_tone_source_name(fleck_tone_get_source(patch->tone)));
    record->settings.ink = fleck_copy_text(fleck_ink_name(options->ink));
    record->settings.threshold = fleck_threshold_text(options);
    record->threshold.method = fleck_copy_text(fleck_threshold_method_name(options->threshold));
    if (region != NULL)
        record->settings.region = fleck_box_text(region);
    record->settings.tilt_deg = fleck_patch_tilt_deg(patch->input, options);
    if (patch->scan_mask != NULL) {
        record->settings.mask = fleck_copy_text(options->mask_path);
        record->settings.mask_sha256 = fleck_copy_text(patch->scan_mask->sha256);
    }
    record->settings.cutoff_mm = options->cutoff_mm;
    record->settings.margin_mm = options->margin_mm;
    record->settings.tile_px = options->tile_px > 0 ? (double)options->tile_px : NAN;
    record->settings.page = (double)options->page;
    if (record->id == NULL || record->settings.channel == NULL ||
        record->settings.channel_used == NULL || record->settings.tone_from == NULL ||
        record->settings.ink == NULL || record->settings.threshold == NULL ||
        record->threshold.method == NULL || (region != NULL && record->settings.region == NULL) ||
        (patch->scan_mask != NULL &&
         (record->settings.mask == NULL || record->settings.mask_sha256 == NULL)))
        return no_memory(err);
    return FLECK_OK;
}

static void fill_region(const fleck_patch *patch, fleck_record *record)
{
    const fleck_geometry *const geometry = &patch->geometry;

    record->region.x_mm = (double)patch->area.box.left_px * geometry->pixel_x_mm;
    record->region.y_mm = (double)patch->area.box.top_px * geometry->pixel_y_mm;
    record->region.width_mm = (double)geometry->width_px * geometry->pixel_x_mm;
    record->region.height_mm = (double)geometry->height_px * geometry->pixel_y_mm;
    record->region.area_mm2 = record->region.width_mm * record->region.height_mm;
    if (patch->area.mask != NULL)
        record->region.area_mm2 = fleck_area_mm2(geometry, fleck_mask_area_px(patch->area.mask));
}

static void fill_tone(const fleck_patch *patch, fleck_record *record)
{
    const fleck_cut *const cut = &patch->cuts[patch->chosen];

    record->tone.mean_reflectance = cut->mean_reflectance;
    record->tone.sd_reflectance = cut->sd_reflectance;
    record->tone.density = fleck_tone_density(cut->mean_reflectance);
    if (!patch->has_ink && patch->options->threshold != FLECK_THRESHOLD_FIXED)
        return;
    record->threshold.threshold_reflectance = fleck_cut_threshold_reflectance(cut->k);
    record->threshold.separability = cut->separability;
    record->threshold.ink_reflectance = cut->ink_reflectance;
    record->threshold.bare_reflectance = cut->bare_reflectance;
}

static fleck_status fill_dots(const fleck_patch *patch, fleck_record *record,
                              fleck_dot_table *table, fleck_error *err)
{
    const fleck_geometry *const geometry = &patch->geometry;
    const size_t n = patch->ink.count;
    fleck_point_mm *centres = fleck_alloc_array(n, sizeof *centres);
    double *distances = fleck_alloc_array(n, sizeof *distances);
    fleck_status status = FLECK_OK;

    table->rows = fleck_alloc_array(n, sizeof *table->rows);
    table->count = n;
    table->geometry = *geometry;
    if (centres == NULL || distances == NULL || table->rows == NULL) {
        table->count = 0;
        status = no_memory(err);
        goto done;
    }
    for (size_t i = 0; i < n; i++)
        centres[i] = fleck_component_centroid(&patch->ink.counted[i], geometry);
    status = fleck_nearest_neighbours(centres, n, record->region.width_mm, record->region.height_mm,
                                      distances, err);
    if (status == FLECK_OK)
        status = fleck_spacing_summarise_in(centres, distances, n, geometry, patch->area.mask,
                                            &record->spacing, err);
    for (size_t i = 0; i < n; i++) {
        table->rows[i].component = patch->ink.counted[i];
        table->rows[i].weight_per_px2 = patch->ink.weights_per_px2[i];
        table->rows[i].nn_mm = status == FLECK_OK ? distances[i] : NAN;
    }
done:
    free(centres);
    free(distances);
    return status;
}

static fleck_status fill_phase(const fleck_patch *patch, struct gathered *phase,
                               fleck_sizes *sizes, fleck_error *err)
{
    fleck_status status;

    if (phase->count > 0)
        qsort(phase->counted, phase->count, sizeof *phase->counted, by_first_pixel);
    phase->weights_per_px2 = fleck_alloc_array(phase->count, sizeof *phase->weights_per_px2);
    if (phase->weights_per_px2 == NULL)
        return no_memory(err);
    status = fleck_edge_weights(&patch->geometry, patch->area.mask, phase->counted, phase->count,
                                phase->weights_per_px2, err);
    if (status == FLECK_OK)
        status = fleck_sizes_summarise(phase->counted, phase->weights_per_px2, phase->count,
                                       phase->below_cutoff, &patch->geometry, sizes, err);
    return status;
}

static fleck_status fill_ink_groups(fleck_patch *patch, fleck_record *record,
                                     fleck_dot_table *dots, fleck_error *err)
{
    const double region_px = (double)(patch->chords.ink_px + patch->chords.bare_px);
    fleck_status status = fleck_labeller_finish(patch->labeller, err);

    if (status != FLECK_OK)
        return status;
    record->ink.coverage = (double)patch->chords.ink_px / region_px;
    record->ink.counted_coverage = (double)patch->ink.counted_px / region_px;
    record->ink.mean_chord_mm = fleck_mean_chord_mm(&patch->chords, FLECK_PHASE_INK,
                                                    &patch->geometry);
    record->flecks_mean_chord_mm = fleck_mean_chord_mm(&patch->chords, FLECK_PHASE_BARE,
                                                       &patch->geometry);
    status = fill_phase(patch, &patch->ink, &record->dots, err);
    if (status == FLECK_OK)
        status = fill_phase(patch, &patch->bare, &record->flecks, err);
    if (status == FLECK_OK)
        status = fill_dots(patch, record, dots, err);
    return status;
}

/* Every null of the record has its reason here. */
static fleck_status add_doubts(fleck_patch *patch, const fleck_record *record, fleck_error *err)
{
    fleck_warnings *const warnings = &patch->warnings;
    const double coarser_mm = fmax(patch->geometry.pixel_x_mm, patch->geometry.pixel_y_mm);
    const double cutoff_px = patch->options->cutoff_mm / coarser_mm;
    fleck_status status = FLECK_OK;

    if (cutoff_px < 3)
        status = fleck_warnings_add(warnings, err, "cutoff-below-3-pixels",
                                    "the cutoff of %g mm is %.2g pixels: dots near it are too small "
                                    "for this resolution; scan finer or raise --cutoff",
                                    patch->options->cutoff_mm, cutoff_px);
    if (status == FLECK_OK)
        status = fleck_warnings_add(warnings, err, "no-calibration",
                                    "no calibration: reflectance is relative to the scanner's white "
                                    "and optical_coverage cannot be given");
    if (status == FLECK_OK && !(record->tone.mean_reflectance > 0))
        status = fleck_warnings_add(warnings, err, "no-density",
                                    "the region is pure black: a density cannot be given");
    if (status != FLECK_OK)
        return status;
    if (!patch->has_ink)
        return fleck_warnings_add(warnings, err, "no-speckle",
                                  "ink and paper do not stand apart in the region: there are no dots "
                                  "to measure");
    if (!(record->dots.counted > 0))
        status = fleck_warnings_add(warnings, err, "no-dots",
                                    "no dot reaches the cutoff of %g mm: sizes and spacing cannot "
                                    "be given",
                                    patch->options->cutoff_mm);
    else if (isnan(record->dots.per_cm2))
        status = fleck_warnings_add(warnings, err, "no-whole-dots",
                                    "every counted dot touches the region's edge: sizes cannot be "
                                    "given; measure a larger region");
    if (status == FLECK_OK && record->dots.counted > 0 && isnan(record->spacing.nn_mean_mm))
        status = fleck_warnings_add(warnings, err, "no-spacing",
                                    "too few dots away from the edge: a spacing cannot be given; "
                                    "measure a larger region");
    if (status == FLECK_OK && !(record->flecks.counted > 0))
        status = fleck_warnings_add(warnings, err, "no-flecks",
                                    "no bare fleck reaches the cutoff of %g mm: their sizes cannot "
                                    "be given",
                                    patch->options->cutoff_mm);
    else if (status == FLECK_OK && isnan(record->flecks.per_cm2))
        status = fleck_warnings_add(warnings, err, "no-whole-flecks",
                                    "every counted bare fleck touches the region's edge: their "
                                    "sizes cannot be given");
    if (status == FLECK_OK && isnan(record->ink.mean_chord_mm))
        status = fleck_warnings_add(warnings, err, "no-chords",
                                    "the threshold leaves ink or bare paper alone: chords cannot be "
                                    "given");
    return status;
}

/*
 * Whether there is speckle. Without it a fixed threshold still says on which side all of it lies;
 * Otsu's cannot.
 */
static const char *find_speckle(const fleck_patch *patch, fleck_record *record)
{
    const fleck_cut *const cut = &patch->cuts[patch->chosen];
    bool all_ink;

    if (patch->has_ink)
        return "present";
    if (patch->options->threshold != FLECK_THRESHOLD_FIXED)
        return "flat";
    all_ink = isfinite(cut->ink_reflectance);
    record->ink.coverage = all_ink ? 1 : 0;
    return all_ink ? "flat" : "blank";
}

fleck_status fleck_patch_measure_end(fleck_patch *patch, fleck_record *record,
                                     fleck_dot_table *dots, fleck_error *err)
{
    fleck_status status = fill_settings(patch, record, err);

    if (status != FLECK_OK)
        return status;
    fill_region(patch, record);
    fill_tone(patch, record);
    dots->geometry = patch->geometry;
    if (patch->has_ink)
        status = fill_ink_groups(patch, record, dots, err);
    if (status == FLECK_OK && patch->spectrum_maker != NULL) {
        status = fleck_spectrum_maker_finish(patch->spectrum_maker, &record->spectrum, err);
        if (status == FLECK_OK) {
            record->spectrum_tile_px = (double)record->spectrum.tile_px;
            record->spectrum_tiles = (double)record->spectrum.tiles;
        }
    }
    if (status == FLECK_OK) {
        record->speckle = fleck_copy_text(find_speckle(patch, record));
        status = record->speckle != NULL ? add_doubts(patch, record, err) : no_memory(err);
    }
    if (status == FLECK_OK)
        status = fleck_warnings_append(&record->warnings, &patch->warnings, err);
    return status;
}

void fleck_patch_free(fleck_patch *patch)
{
    if (patch == NULL)
        return;
    for (size_t i = 0; i < FLECK_CHANNELS; i++)
        free(patch->counts[i]);
    free(patch->q);
    free(patch->runs);
    free(patch->runs_above);
    free(patch->inside);
    free(patch->unclipped);
    free(patch->ink.counted);
    free(patch->ink.weights_per_px2);
    free(patch->bare.counted);
    free(patch->bare.weights_per_px2);
    fleck_patch_area_clear(&patch->area);
    fleck_labeller_free(patch->labeller);
    fleck_spectrum_maker_free(patch->spectrum_maker);
    fleck_warnings_clear(&patch->warnings);
    free(patch);
}
