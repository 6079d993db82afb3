/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The second pass over a patch begins: ink and bare runs at the threshold, components, chords and
 * spectrum, and the same components with the threshold moved a little down and up. Its rows are in
 * patch_rows.c.
 */
#include <math.h>

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
    fleck_status status;

    layer->patch = patch;
    layer->k = k;
    layer->shift = shift;
    status = fleck_layer_begin_rows(layer, err);
    if (status != FLECK_OK)
        return status;
    return fleck_labeller_new(patch->area.box.width_px, patch->area.box.height_px, patch->area.mask,
                              gather, layer, &layer->labeller, err);
}

/* Of a moved threshold dots alone are measured. */
static fleck_status moved_layer_begin(fleck_layer *layer, const fleck_patch *patch, unsigned k,
                                      int shift, fleck_error *err)
{
    const fleck_status status = layer_begin(layer, patch, k, shift, err);

    return status == FLECK_OK ? fleck_labeller_leave_out_bare(layer->labeller, err) : status;
}

static void gathered_clear(fleck_gathered *gathered)
{
    fleck_free(gathered->items);
    fleck_free(gathered->runs);
    fleck_free(gathered->counted);
    fleck_free(gathered->weights_per_px2);
    fleck_free(gathered->blobs);
    fleck_free(gathered->shapes);
}

void fleck_layer_clear(fleck_layer *layer)
{
    fleck_layer_clear_rows(layer);
    fleck_labeller_free(layer->labeller);
    gathered_clear(&layer->ink);
    gathered_clear(&layer->bare);
    *layer = (fleck_layer){ 0 };
}

fleck_status fleck_patch_begin_spectrum(fleck_patch *patch, unsigned threads, fleck_error *err)
{
    const fleck_status status =
        fleck_spectrum_choose_tile(&patch->geometry, patch->area.mask, patch->options->tile_px,
                                   &patch->tile_px, err);

    if (status != FLECK_OK || patch->tile_px == 0)
        return status;
    return fleck_spectrum_maker_new(&patch->geometry, patch->area.mask, patch->tile_px, true, threads,
                                    &patch->spectrum_maker, err);
}

/* The tiles of the spectrum are those of the evenness too. */
static fleck_status begin_tiles(fleck_patch *patch, fleck_error *err)
{
    const fleck_patch_box *const box = &patch->area.box;
    const size_t asked_px = patch->options->tile_px;
    fleck_status status = FLECK_OK;

    if (!patch->has_early_tone)
        status = fleck_patch_begin_spectrum(patch, patch->threads, err);
    if (status == FLECK_OK && patch->has_ink)
        status = fleck_cell_counts_new(&patch->geometry, patch->area.mask, patch->tile_px,
                                       &patch->cell_counts, err);
    if (status != FLECK_OK || patch->tile_px > 0)
        return status;
    if (asked_px == 0)
        return fleck_warnings_add(&patch->warnings, err, "no-spectrum", "%s",
                                  patch->area.mask == NULL
                                      ? "the region is below 64 pixels on a side: no spectrum is given"
                                      : "no square of 64 pixels lies wholly inside what is measured: "
                                        "no spectrum is given");
    return fleck_warnings_add(&patch->warnings, err, "no-spectrum",
                              "a tile of %zu pixels does not fit into the %s of %zu x %zu: "
                              "no spectrum is given",
                              asked_px, patch->area.mask == NULL ? "region" : "mask",
                              box->width_px, box->height_px);
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
        status = moved_layer_begin(&patch->layers[FLECK_LAYER_LESS], patch,
                                   moved_level(patch->cut.k, less), shift, err);
    if (status == FLECK_OK && isfinite(step))
        status = moved_layer_begin(&patch->layers[FLECK_LAYER_MORE], patch,
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

static fleck_status begin_batch(fleck_patch *patch, fleck_error *err)
{
    const fleck_patch_box *const box = &patch->area.box;
    const size_t rows = fleck_patch_batch_rows(box->width_px, box->height_px);
    size_t pixels;

    patch->batch = (fleck_batch){ .halves = patch->rows.kept != NULL ? 2 : 1 };
    patch->batch.capacity = (rows + patch->batch.halves - 1) / patch->batch.halves;
    if (size_mul(patch->batch.halves * patch->batch.capacity, box->width_px, &pixels))
        patch->batch.q = fleck_alloc_array(pixels, sizeof *patch->batch.q);
    return patch->batch.q != NULL ? FLECK_OK : fleck_patch_no_memory(err);
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
    status = begin_batch(patch, err);
    if (status == FLECK_OK && patch->has_ink)
        status = begin_layers(patch, err);
    if (status == FLECK_OK)
        status = begin_tiles(patch, err);
    if (status == FLECK_OK)
        status = fleck_print_noise_maker_new(&patch->geometry, patch->area.mask,
                                             &patch->print_noise_maker, err);
    return status;
}
