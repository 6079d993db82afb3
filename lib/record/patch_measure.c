/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The second pass over a patch: ink and bare runs at the threshold, components, chords and spectrum, and
 * the same components with the threshold moved a little down and up.
 */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "record/patch_parts.h"

/* Share of the ink-to-bare contrast by which the threshold is moved for `sensitivity`. */
static const double sensitivity_share = 0.05;

/* A component with more runs than this loses them: 6 MB, and it spans the patch or most of it. */
enum { MOST_RUNS = 500000 };

/* Keeps the runs of the component that is handed over, if it has any. */
static fleck_status gather_runs(fleck_layer *layer, fleck_gathered *into,
                                fleck_gathered_item *item, fleck_error *err)
{
    const fleck_blob_run *const runs =
        fleck_labeller_get_runs(layer->labeller, &item->run_count);

    item->first_run = into->run_count;
    for (size_t i = 0; i < item->run_count; i++) {
        fleck_blob_run *const moved =
            fleck_grow(into->runs, &into->run_capacity, into->run_count, sizeof *moved);

        if (moved == NULL)
            return fleck_patch_no_memory(err);
        into->runs = moved;
        into->runs[into->run_count++] = runs[i];
    }
    return FLECK_OK;
}

/* Keeps a component that counts; specks below the cutoff are only counted, so that noise cannot
   fill the memory. */
static fleck_status gather(void *context, fleck_phase phase, const fleck_component *component,
                           fleck_error *err)
{
    fleck_layer *const layer = context;
    fleck_gathered *const into = phase == FLECK_PHASE_INK ? &layer->ink : &layer->bare;
    fleck_gathered_item *moved;

    if (component->area_px > into->largest_px)
        into->largest_px = component->area_px;
    if (component->area_px < layer->patch->cutoff_area_px) {
        into->below_cutoff++;
        return FLECK_OK;
    }
    moved = fleck_grow(into->items, &into->capacity, into->count, sizeof *moved);
    if (moved == NULL)
        return fleck_patch_no_memory(err);
    into->items = moved;
    moved = &into->items[into->count++];
    *moved = (fleck_gathered_item){ .component = *component };
    into->counted_px += component->area_px;
    return gather_runs(layer, into, moved, err);
}

static fleck_status layer_begin(fleck_layer *layer, const fleck_patch *patch, unsigned k, int shift,
                                fleck_error *err)
{
    const size_t most_runs = patch->area.box.width_px / 2 + 1;

    layer->patch = patch;
    layer->k = k;
    layer->shift = shift;
    layer->runs = fleck_alloc_array(most_runs, sizeof *layer->runs);
    layer->runs_above = fleck_alloc_array(most_runs, sizeof *layer->runs_above);
    if (patch->area.mask != NULL)
        layer->unclipped = fleck_alloc_array(most_runs, sizeof *layer->unclipped);
    if (layer->runs == NULL || layer->runs_above == NULL ||
        (patch->area.mask != NULL && layer->unclipped == NULL))
        return fleck_patch_no_memory(err);
    return fleck_labeller_new(patch->area.box.width_px, patch->area.box.height_px, patch->area.mask,
                              gather, layer, &layer->labeller, err);
}

static void gathered_clear(fleck_gathered *gathered)
{
    free(gathered->items);
    free(gathered->runs);
    free(gathered->counted);
    free(gathered->weights_per_px2);
    free(gathered->blobs);
    free(gathered->shapes);
}

void fleck_layer_clear(fleck_layer *layer)
{
    free(layer->runs);
    free(layer->runs_above);
    free(layer->unclipped);
    fleck_labeller_free(layer->labeller);
    gathered_clear(&layer->ink);
    gathered_clear(&layer->bare);
    *layer = (fleck_layer){ 0 };
}

/* The ink runs of row y_px, which is in patch->q (and its thresholds in patch->levels). */
static void find_runs(fleck_layer *layer, size_t y_px)
{
    const fleck_patch *const patch = layer->patch;
    const fleck_mask *const mask = patch->area.mask;
    size_t count;

    if (patch->levels != NULL) {
        for (size_t x = 0; x < patch->area.box.width_px; x++)
            patch->sides[x] = patch->q[x] > patch->levels[x] + layer->shift;
    }
    count = fleck_runs_from_row(patch->levels != NULL ? patch->sides : patch->q,
                                patch->area.box.width_px, patch->levels != NULL ? 0 : layer->k,
                                patch->options->ink, mask == NULL ? layer->runs : layer->unclipped);
    layer->unclipped_count = count;
    layer->run_count = count;
    if (mask != NULL)
        layer->run_count =
            fleck_mask_clip_runs(mask, y_px, layer->unclipped, count, layer->runs);
}

/* The ink runs of the row in patch->q, those of the last row moving up, into the labeller. */
static fleck_status layer_row(fleck_layer *layer, fleck_error *err)
{
    const fleck_patch *const patch = layer->patch;
    fleck_run *const above = layer->runs;

    layer->runs = layer->runs_above;
    layer->runs_above = above;
    layer->run_count_above = layer->run_count;
    find_runs(layer, patch->next_row);
    for (size_t i = 0; i < layer->run_count; i++) {
        layer->ink_px += layer->runs[i].end_px - layer->runs[i].start_px;
        for (uint32_t x = layer->runs[i].start_px; patch->levels != NULL && x < layer->runs[i].end_px;
             x++)
            layer->ink_sum += patch->q[x];
    }
    return fleck_labeller_row(layer->labeller, layer->runs, layer->run_count, err);
}

/* The tiles of the spectrum are those of the evenness too. */
static fleck_status begin_tiles(fleck_patch *patch, fleck_error *err)
{
    const fleck_patch_box *const box = &patch->area.box;
    const size_t asked_px = patch->options->tile_px;
    size_t tile_px;
    fleck_status status =
        fleck_spectrum_choose_tile(&patch->geometry, patch->area.mask, asked_px, &tile_px, err);

    if (status == FLECK_OK && patch->has_ink)
        status = fleck_cell_counts_new(&patch->geometry, patch->area.mask, tile_px,
                                       &patch->cell_counts, err);
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
                                    patch->threads, &patch->spectrum_maker, err);
}

/* Level of a threshold moved by `by` in reflectance, within what a cut may be. */
static unsigned moved_level(unsigned k, double by)
{
    const double level = floor(65535 * (fleck_cut_threshold_reflectance(k) + by));

    return level < 0 ? 0 : level > FLECK_LEVELS - 2 ? FLECK_LEVELS - 2 : (unsigned)level;
}

/* The main layer keeps the runs of what counts, for the shapes. */
static fleck_status keep_runs(fleck_patch *patch, fleck_error *err)
{
    const fleck_runs_wanted wanted = { patch->cutoff_area_px, MOST_RUNS };
    fleck_labeller *const labeller = patch->layers[FLECK_LAYER_MAIN].labeller;
    const fleck_status status =
        fleck_labeller_keep_runs(labeller, FLECK_PHASE_INK, &wanted, err);

    return status == FLECK_OK ? fleck_labeller_keep_runs(labeller, FLECK_PHASE_BARE, &wanted, err)
                              : status;
}

static fleck_status begin_layers(fleck_patch *patch, fleck_error *err)
{
    const fleck_cut *const otsu = &patch->surveyed[patch->chosen].cut;
    /* for a pooled cut the classes' own means are known only at the end; the survey's are near */
    const double step = sensitivity_share * fabs(otsu->bare_reflectance - otsu->ink_reflectance);
    const double less = patch->options->ink == FLECK_INK_DARK ? -step : step;
    const int shift = isfinite(step) ? (int)lround(65535 * less) : 0;
    fleck_status status = layer_begin(&patch->layers[FLECK_LAYER_MAIN], patch, patch->cut.k, 0, err);

    if (status == FLECK_OK)
        status = keep_runs(patch, err);
    if (status == FLECK_OK && isfinite(step))
        status = layer_begin(&patch->layers[FLECK_LAYER_LESS], patch,
                             moved_level(patch->cut.k, less), shift, err);
    if (status == FLECK_OK && isfinite(step))
        status = layer_begin(&patch->layers[FLECK_LAYER_MORE], patch,
                             moved_level(patch->cut.k, -less), -shift, err);
    if (status == FLECK_OK) {
        fleck_random_set_options how = fleck_random_set_options_default();

        how.threads = patch->threads;
        status = fleck_random_set_maker_new(&patch->geometry, patch->area.mask != NULL, &how,
                                            &patch->random_set_maker, err);
    }
    if (status == FLECK_OK)
        status = fleck_doubt_rows_new(&patch->geometry, otsu->ink_reflectance,
                                      otsu->bare_reflectance, &patch->doubt_rows, err);
    return status;
}

fleck_status fleck_patch_measure_begin(fleck_patch *patch, const fleck_decision *decision,
                                       unsigned threads, const fleck_patch_rows *rows,
                                       fleck_error *err)
{
    const fleck_surveyed *chosen;
    fleck_status status = FLECK_OK;

    patch->threads = threads;
    patch->rows = *rows;
    patch->chosen = 0;
    for (size_t i = 0; patch->channel_count > 1 && i < patch->channel_count; i++) {
        if (patch->surveyed[i].channel == decision->channel)
            patch->chosen = i;
    }
    chosen = &patch->surveyed[patch->chosen];
    patch->cut = chosen->cut;
    if (patch->options->threshold == FLECK_THRESHOLD_POOLED) {
        patch->cut.k = decision->pooled_k[chosen->channel];
        patch->counts = fleck_alloc_zeroed(FLECK_LEVELS, sizeof *patch->counts);
        if (patch->counts == NULL)
            return fleck_patch_no_memory(err);
    }
    /* what is asked for at a fixed threshold is measured there; else ink and paper must stand apart */
    if (patch->options->threshold == FLECK_THRESHOLD_LOCAL)
        patch->cut.k = (unsigned)lround(chosen->local_summary.mean_k);
    patch->has_ink =
        patch->cut.k >= chosen->lowest && patch->cut.k < chosen->highest &&
        (patch->options->threshold == FLECK_THRESHOLD_FIXED || chosen->presence.present);
    patch->cutoff_area_px = fleck_cutoff_area_px(&patch->geometry, patch->options->cutoff_mm);
    if (patch->has_ink)
        status = begin_layers(patch, err);
    if (status == FLECK_OK)
        status = begin_tiles(patch, err);
    if (status == FLECK_OK)
        status = fleck_print_noise_maker_new(&patch->geometry, patch->area.mask,
                                             &patch->print_noise_maker, err);
    return status;
}

static void count_levels(fleck_patch *patch)
{
    const fleck_run *inside;
    const size_t count = fleck_patch_inside(patch, patch->next_row, &inside);

    for (size_t r = 0; r < count; r++) {
        for (size_t x = inside[r].start_px; x < inside[r].end_px; x++)
            patch->counts[patch->q[x]]++;
    }
}

/* Reflectance of row y_px of the patch. */
static void tone_row(const fleck_patch *patch, const void *pixels, size_t y_px, uint16_t *q)
{
    fleck_tone_row_at(patch->tone, patch->surveyed[patch->chosen].channel, pixels,
                      patch->area.box.width_px, patch->area.box.left_px,
                      patch->area.box.top_px + y_px, q);
}

static uint64_t spool_offset(const fleck_patch *patch, size_t y_px)
{
    return patch->rows.spool_offset_bytes +
           (uint64_t)y_px * patch->area.box.width_px * sizeof *patch->q;
}

fleck_status fleck_patch_read_row(void *context, size_t y_px, uint16_t *q, fleck_error *err)
{
    const fleck_patch *const patch = context;

    if (patch->rows.kept == NULL)
        return fleck_spool_get(patch->rows.spool, spool_offset(patch, y_px), q,
                               patch->area.box.width_px * sizeof *q, err);
    tone_row(patch, patch->rows.kept + y_px * patch->rows.kept_row_bytes, y_px, q);
    return FLECK_OK;
}

/* What a row adds to the sets of ink and bare paper, whose runs are those of the main layer. */
static fleck_status add_to_sets(fleck_patch *patch, fleck_error *err)
{
    const fleck_layer *const main = &patch->layers[FLECK_LAYER_MAIN];
    const fleck_run *inside;
    const size_t inside_count = fleck_patch_inside(patch, patch->next_row, &inside);
    fleck_status status = fleck_random_set_maker_row(patch->random_set_maker, main->runs,
                                                     main->run_count, inside, inside_count, err);

    if (status == FLECK_OK)
        status = fleck_cell_counts_row(patch->cell_counts, main->runs, main->run_count, err);
    return status;
}

fleck_status fleck_patch_measure_row(fleck_patch *patch, const void *pixels, fleck_error *err)
{
    const size_t width_px = patch->area.box.width_px;
    fleck_layer *const main = &patch->layers[FLECK_LAYER_MAIN];
    fleck_status status = FLECK_OK;

    tone_row(patch, pixels, patch->next_row, patch->q);
    if (patch->rows.kept == NULL)
        status = fleck_spool_put(patch->rows.spool, spool_offset(patch, patch->next_row), patch->q,
                                 width_px * sizeof *patch->q, err);
    if (patch->counts != NULL)
        count_levels(patch);
    if (patch->levels != NULL)
        fleck_local_levels(patch->surveyed[patch->chosen].local, patch->next_row, patch->levels);
    for (size_t i = 0; status == FLECK_OK && i < FLECK_LAYERS; i++) {
        if (patch->layers[i].labeller != NULL)
            status = layer_row(&patch->layers[i], err);
    }
    if (patch->has_ink) {
        fleck_chord_counts_add_row(&patch->chords, width_px, patch->area.mask, patch->next_row,
                                   main->runs, main->run_count, main->runs_above,
                                   main->run_count_above);
        if (status == FLECK_OK)
            status = add_to_sets(patch, err);
        fleck_doubt_rows_add(patch->doubt_rows, patch->q,
                             patch->area.mask == NULL ? main->runs : main->unclipped,
                             main->unclipped_count);
    }
    if (status == FLECK_OK && patch->spectrum_maker != NULL)
        status = fleck_spectrum_maker_row(patch->spectrum_maker, patch->q, main->runs,
                                          main->run_count, err);
    if (status == FLECK_OK)
        status = fleck_print_noise_maker_row(patch->print_noise_maker, patch->q, err);
    patch->next_row++;
    return status;
}

/* A fleck_row_reader of the view. */
static fleck_status view_row(void *context, size_t y_px, uint16_t *q, fleck_error *err)
{
    return fleck_patch_read_row(context, y_px, q, err);
}

static fleck_status view_ink(void *context, size_t y_px, fleck_run *runs, size_t *count,
                             fleck_error *err)
{
    fleck_patch *const patch = context;
    fleck_layer *const main = &patch->layers[FLECK_LAYER_MAIN];
    fleck_status status;

    *count = 0;
    if (!patch->has_ink)
        return FLECK_OK;
    status = fleck_patch_read_row(patch, y_px, patch->q, err);
    if (status != FLECK_OK)
        return status;
    if (patch->levels != NULL)
        fleck_local_levels(patch->surveyed[patch->chosen].local, y_px, patch->levels);
    find_runs(main, y_px);
    memcpy(runs, main->runs, main->run_count * sizeof *runs);
    *count = main->run_count;
    return FLECK_OK;
}

void fleck_patch_get_view(fleck_patch *patch, const fleck_record *record, fleck_patch_view *view)
{
    const fleck_gathered *const ink = &patch->layers[FLECK_LAYER_MAIN].ink;

    *view = (fleck_patch_view){
        .record = record,
        .geometry = &patch->geometry,
        .mask = patch->area.mask,
        .dots = ink->blobs,
        .dot_count = ink->blobs != NULL ? ink->count : 0,
        .context = patch,
        .read_row = view_row,
        .read_ink = view_ink,
    };
}
