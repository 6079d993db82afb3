/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The rows of the second pass, some at a time: first their reflectances and the runs of each layer, row
 * by row in any order, then all that gathers from them, each gatherer with the rows in their order. So
 * both share the threads, and no number depends on how many there are.
 */
#include <string.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "record/patch_parts.h"

/* Pixels of the rows that are worked on together: enough to pay for starting threads, and cached. */
enum { BATCH_PX = 1 << 18, LEAST_ROWS = 16, MOST_ROWS = 512 };

/* Gatherers, those with most to do first. */
enum { SPECTRUM, MAIN, SETS, LESS, MORE, SIGNS, GATHERERS };

struct gathering {
    fleck_patch *patch;
    fleck_status status[GATHERERS];
    fleck_error errors[GATHERERS];
};

struct preparing {
    fleck_patch *patch;
    const unsigned char *pixels;
    size_t row_bytes;
};

size_t fleck_patch_batch_rows(size_t width_px, size_t height_px)
{
    size_t rows = BATCH_PX / width_px;

    rows = rows < LEAST_ROWS ? LEAST_ROWS : rows > MOST_ROWS ? MOST_ROWS : rows;
    return rows < height_px ? rows : height_px;
}

fleck_status fleck_layer_begin_rows(fleck_layer *layer, fleck_error *err)
{
    const fleck_patch *const patch = layer->patch;
    const size_t rows = patch->batch.capacity + 1;
    size_t runs;

    layer->most_runs = patch->area.box.width_px / 2 + 1;
    layer->counts = fleck_alloc_zeroed(rows, sizeof *layer->counts);
    if (!size_mul(layer->most_runs, rows, &runs) || layer->counts == NULL)
        return fleck_patch_no_memory(err);
    layer->runs = fleck_alloc_array(runs, sizeof *layer->runs);
    if (patch->area.mask != NULL) {
        layer->unclipped = fleck_alloc_array(runs, sizeof *layer->unclipped);
        layer->unclipped_counts = fleck_alloc_zeroed(rows, sizeof *layer->unclipped_counts);
    }
    if (layer->runs == NULL ||
        (patch->area.mask != NULL &&
         (layer->unclipped == NULL || layer->unclipped_counts == NULL)))
        return fleck_patch_no_memory(err);
    return FLECK_OK;
}

void fleck_layer_clear_rows(fleck_layer *layer)
{
    fleck_free(layer->runs);
    fleck_free(layer->counts);
    fleck_free(layer->unclipped);
    fleck_free(layer->unclipped_counts);
}

/* Runs of a row of the batch; row -1 is that above the batch. */
static fleck_run *runs_of(const fleck_layer *layer, size_t row_below, size_t *count)
{
    *count = layer->counts[row_below];
    return layer->runs + row_below * layer->most_runs;
}

/* The ink runs of row y_px, whose reflectances are q, into place i. */
static void find_runs(fleck_layer *layer, size_t y_px, const uint16_t *q, size_t i)
{
    const fleck_patch *const patch = layer->patch;
    const fleck_mask *const mask = patch->area.mask;
    const size_t width_px = patch->area.box.width_px;
    fleck_run *const runs = layer->runs + i * layer->most_runs;
    fleck_run *const found = mask == NULL ? runs : layer->unclipped + i * layer->most_runs;
    size_t count;

    if (patch->levels != NULL) {
        for (size_t x = 0; x < width_px; x++)
            patch->sides[x] = q[x] > patch->levels[x] + layer->shift;
    }
    count = fleck_runs_from_row(patch->levels != NULL ? patch->sides : q, width_px,
                                patch->levels != NULL ? 0 : layer->k, patch->options->ink, found);
    layer->counts[i] = count;
    if (mask != NULL) {
        layer->unclipped_counts[i] = count;
        layer->counts[i] = fleck_mask_clip_runs(mask, y_px, found, count, runs);
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

static uint16_t *q_of(const fleck_patch *patch, size_t row)
{
    return patch->batch.q + row * patch->area.box.width_px;
}

/* Reflectances and runs of one row of the batch. */
static void prepare_row(fleck_patch *patch, size_t row, const void *pixels)
{
    const size_t y = patch->next_row + row;
    uint16_t *const q = q_of(patch, row);

    tone_row(patch, pixels, y, q);
    if (patch->levels != NULL)
        fleck_local_levels(patch->surveyed[patch->chosen].local, y, patch->levels);
    for (size_t i = 0; i < FLECK_LAYERS; i++) {
        if (patch->layers[i].labeller != NULL)
            find_runs(&patch->layers[i], y, q, row + 1);
    }
}

static void prepare_piece(void *context, unsigned worker, size_t i)
{
    const struct preparing *const preparing = context;

    (void)worker;
    prepare_row(preparing->patch, i, preparing->pixels + i * preparing->row_bytes);
}

static fleck_status gather_layer(fleck_layer *layer, fleck_error *err)
{
    const fleck_patch *const patch = layer->patch;
    fleck_status status = FLECK_OK;

    if (layer->labeller == NULL)
        return FLECK_OK;
    for (size_t row = 0; status == FLECK_OK && row < patch->batch.count; row++) {
        const uint16_t *const q = q_of(patch, row);
        size_t count;
        const fleck_run *const runs = runs_of(layer, row + 1, &count);

        for (size_t i = 0; i < count; i++) {
            layer->ink_px += runs[i].end_px - runs[i].start_px;
            for (uint32_t x = runs[i].start_px; patch->levels != NULL && x < runs[i].end_px; x++)
                layer->ink_sum += q[x];
        }
        status = fleck_labeller_row(layer->labeller, runs, count, err);
    }
    return status;
}

static void count_levels(fleck_patch *patch, const uint16_t *q, const fleck_run *inside,
                         size_t inside_count)
{
    for (size_t r = 0; r < inside_count; r++) {
        for (size_t x = inside[r].start_px; x < inside[r].end_px; x++)
            patch->counts[q[x]]++;
    }
}

/* The sets of ink and bare paper, whose runs are those of the main layer; and a histogram. */
static fleck_status gather_sets(fleck_patch *patch, fleck_error *err)
{
    const fleck_layer *const main = &patch->layers[FLECK_LAYER_MAIN];
    const size_t width_px = patch->area.box.width_px;
    fleck_status status = FLECK_OK;

    for (size_t row = 0; status == FLECK_OK && row < patch->batch.count; row++) {
        const size_t y = patch->next_row + row;
        const fleck_run *inside, *runs, *above;
        const size_t inside_count = fleck_patch_inside(patch, y, &inside);
        size_t count, count_above;

        if (patch->counts != NULL)
            count_levels(patch, q_of(patch, row), inside, inside_count);
        if (!patch->has_ink)
            continue;
        runs = runs_of(main, row + 1, &count);
        above = runs_of(main, row, &count_above);
        fleck_chord_counts_add_row(&patch->chords, width_px, patch->area.mask, y, runs, count, above,
                                   count_above);
        status = fleck_random_set_maker_row(patch->random_set_maker, runs, count, inside,
                                            inside_count, err);
        if (status == FLECK_OK)
            status = fleck_cell_counts_row(patch->cell_counts, runs, count, err);
    }
    return status;
}

static fleck_status gather_spectrum(fleck_patch *patch, fleck_error *err)
{
    const fleck_layer *const main = &patch->layers[FLECK_LAYER_MAIN];
    fleck_status status = FLECK_OK;

    for (size_t row = 0; status == FLECK_OK && patch->spectrum_maker != NULL &&
                         row < patch->batch.count; row++) {
        const fleck_run *runs = NULL;
        size_t count = 0;

        if (patch->has_ink)
            runs = runs_of(main, row + 1, &count);
        if (!patch->has_early_tone)
            status = fleck_spectrum_maker_tone_row(patch->spectrum_maker, q_of(patch, row), err);
        if (status == FLECK_OK && patch->has_ink)
            status = fleck_spectrum_maker_ink_row(patch->spectrum_maker, runs, count, err);
    }
    return status;
}

/* Noise of the tone, and what of the tone raises doubts. */
static fleck_status gather_signs(fleck_patch *patch, fleck_error *err)
{
    const fleck_layer *const main = &patch->layers[FLECK_LAYER_MAIN];
    fleck_status status = FLECK_OK;

    for (size_t row = 0; status == FLECK_OK && row < patch->batch.count; row++) {
        const uint16_t *const q = q_of(patch, row);

        if (patch->has_ink) {
            const bool masked = patch->area.mask != NULL;

            fleck_doubt_rows_add(patch->doubt_rows, q,
                                 (masked ? main->unclipped : main->runs) +
                                     (row + 1) * main->most_runs,
                                 masked ? main->unclipped_counts[row + 1] : main->counts[row + 1]);
        }
        status = fleck_print_noise_maker_row(patch->print_noise_maker, q, err);
    }
    return status;
}

static void gather_piece(void *context, unsigned worker, size_t i)
{
    struct gathering *const gathering = context;
    fleck_patch *const patch = gathering->patch;
    fleck_error *const err = &gathering->errors[i];
    fleck_status *const status = &gathering->status[i];

    (void)worker;
    switch (i) {
    case SPECTRUM:
        *status = gather_spectrum(patch, err);
        break;
    case MAIN:
        *status = gather_layer(&patch->layers[FLECK_LAYER_MAIN], err);
        break;
    case SETS:
        *status = gather_sets(patch, err);
        break;
    case LESS:
        *status = gather_layer(&patch->layers[FLECK_LAYER_LESS], err);
        break;
    case MORE:
        *status = gather_layer(&patch->layers[FLECK_LAYER_MORE], err);
        break;
    case SIGNS:
        *status = gather_signs(patch, err);
        break;
    }
}

/* The last row of a batch is that above the next one. */
static void move_up(fleck_patch *patch)
{
    for (size_t i = 0; i < FLECK_LAYERS; i++) {
        fleck_layer *const layer = &patch->layers[i];
        size_t count;

        if (layer->labeller == NULL)
            continue;
        memcpy(layer->runs, runs_of(layer, patch->batch.count, &count),
               layer->counts[patch->batch.count] * sizeof *layer->runs);
        layer->counts[0] = layer->counts[patch->batch.count];
    }
    patch->next_row += patch->batch.count;
    patch->batch.count = 0;
}

static fleck_status gather_batch(fleck_patch *patch, fleck_error *err)
{
    struct gathering gathering = { .patch = patch };

    fleck_parallel_for(patch->threads, GATHERERS, gather_piece, &gathering);
    for (size_t i = 0; i < GATHERERS; i++) {
        if (gathering.status[i] != FLECK_OK) {
            if (err != NULL)
                *err = gathering.errors[i];
            return gathering.status[i];
        }
    }
    move_up(patch);
    return FLECK_OK;
}

fleck_status fleck_patch_measure_row(fleck_patch *patch, const void *pixels, fleck_error *err)
{
    const size_t row = patch->batch.count, y = patch->next_row + row;
    fleck_status status = FLECK_OK;

    prepare_row(patch, row, pixels);
    if (patch->rows.kept == NULL)
        status = fleck_spool_put(patch->rows.spool, spool_offset(patch, y), q_of(patch, row),
                                 patch->area.box.width_px * sizeof *patch->q, err);
    patch->batch.count++;
    if (status == FLECK_OK && (patch->batch.count == patch->batch.capacity ||
                               y + 1 == patch->area.box.height_px))
        status = gather_batch(patch, err);
    return status;
}

fleck_status fleck_patch_measure_kept(fleck_patch *patch, bool *more, fleck_error *err)
{
    const size_t left = patch->area.box.height_px - patch->next_row;
    /* the thresholds of local windows are found for one row after the other */
    const unsigned threads = patch->levels != NULL ? 1 : patch->threads;
    struct preparing preparing = {
        .patch = patch,
        .pixels = patch->rows.kept + patch->next_row * patch->rows.kept_row_bytes,
        .row_bytes = patch->rows.kept_row_bytes,
    };
    fleck_status status;

    patch->batch.count = left < patch->batch.capacity ? left : patch->batch.capacity;
    fleck_parallel_for(threads, patch->batch.count, prepare_piece, &preparing);
    status = gather_batch(patch, err);
    *more = status == FLECK_OK && patch->next_row < patch->area.box.height_px;
    return status;
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
    find_runs(main, y_px, patch->q, 0);
    *count = main->counts[0];
    memcpy(runs, main->runs, *count * sizeof *runs);
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
