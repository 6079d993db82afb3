/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The rows of the second pass, some at a time: first their reflectances and the runs of each layer, row
 * by row in any order, then all that gathers from them, each gatherer with the rows in their order. Where
 * the pixels are kept, the next rows are made while the gatherers are at these: whoever has no gatherer
 * left to take makes rows, so that all threads end at about the same time. No number depends on how many
 * there are.
 */
#include <string.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "record/patch_parts.h"

/* Pixels of the rows that are worked on together: enough to pay for waking threads, and cached. */
enum { BATCH_PX = 1 << 18, LEAST_ROWS = 16, MOST_ROWS = 512 };

/* Gatherers, those with most to do first. */
enum { SPECTRUM, MAIN, SETS, LESS, MORE, SIGNS, GATHERERS };

/* Rows in a half of the batch, and where they stand in the patch. */
struct rows {
    size_t half, first_row, count;
};

struct gathering {
    fleck_patch *patch;
    struct rows ahead; /* to be made meanwhile */
    bool in_order;     /* one row after the other: a piece in front of all */
    fleck_status status[GATHERERS];
    fleck_error errors[GATHERERS];
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
    const size_t rows = patch->batch.halves * (patch->batch.capacity + 1);
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

/* Where the runs of the row above the first of a half are; those of the half follow. */
static size_t place_above(const fleck_patch *patch, size_t half)
{
    return half * (patch->batch.capacity + 1);
}

/* Runs of the row above a row of the batch, or of the last one. */
static fleck_run *runs_above(const fleck_layer *layer, size_t row, size_t *count)
{
    const size_t place = place_above(layer->patch, layer->patch->batch.half) + row;

    *count = layer->counts[place];
    return layer->runs + place * layer->most_runs;
}

static fleck_run *runs_of(const fleck_layer *layer, size_t row, size_t *count)
{
    return runs_above(layer, row + 1, count);
}

/* The ink runs of row y_px, whose reflectances are q, into a place. */
static void find_runs(fleck_layer *layer, size_t y_px, const uint16_t *q, size_t place)
{
    const fleck_patch *const patch = layer->patch;
    const fleck_mask *const mask = patch->area.mask;
    const size_t width_px = patch->area.box.width_px;
    fleck_run *const runs = layer->runs + place * layer->most_runs;
    fleck_run *const found = mask == NULL ? runs : layer->unclipped + place * layer->most_runs;
    size_t count;

    if (patch->levels != NULL) {
        for (size_t x = 0; x < width_px; x++)
            patch->sides[x] = q[x] > patch->levels[x] + layer->shift;
    }
    count = fleck_runs_from_row(patch->levels != NULL ? patch->sides : q, width_px,
                                patch->levels != NULL ? 0 : layer->k, patch->options->ink, found);
    layer->counts[place] = count;
    if (mask != NULL) {
        layer->unclipped_counts[place] = count;
        layer->counts[place] = fleck_mask_clip_runs(mask, y_px, found, count, runs);
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

static uint16_t *q_in(const fleck_patch *patch, size_t half, size_t row)
{
    return patch->batch.q + (half * patch->batch.capacity + row) * patch->area.box.width_px;
}

static uint16_t *q_of(const fleck_patch *patch, size_t row)
{
    return q_in(patch, patch->batch.half, row);
}

/* Reflectances and runs of one row. */
static void prepare_row(fleck_patch *patch, const struct rows *rows, size_t row, const void *pixels)
{
    const size_t y = rows->first_row + row;
    uint16_t *const q = q_in(patch, rows->half, row);

    tone_row(patch, pixels, y, q);
    if (patch->levels != NULL)
        fleck_local_levels(patch->surveyed[patch->chosen].local, y, patch->levels);
    for (size_t i = 0; i < FLECK_LAYERS; i++) {
        if (patch->layers[i].labeller != NULL)
            find_runs(&patch->layers[i], y, q, place_above(patch, rows->half) + row + 1);
    }
}

/* The same of a row that is kept. */
static void prepare_kept(fleck_patch *patch, const struct rows *rows, size_t row)
{
    prepare_row(patch, rows, row,
                patch->rows.kept + (rows->first_row + row) * patch->rows.kept_row_bytes);
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
        const fleck_run *const runs = runs_of(layer, row, &count);

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
        runs = runs_of(main, row, &count);
        above = runs_above(main, row, &count_above);
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
        if (!patch->has_early_tone)
            status = fleck_spectrum_maker_tone_row(patch->spectrum_maker, q_of(patch, row), err);
        if (status == FLECK_OK && patch->has_ink) {
            size_t count;
            const fleck_run *const runs = runs_of(main, row, &count);

            status = fleck_spectrum_maker_ink_row(patch->spectrum_maker, runs, count, err);
        }
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
            const size_t place = place_above(patch, patch->batch.half) + row + 1;

            fleck_doubt_rows_add(patch->doubt_rows, q,
                                 (masked ? main->unclipped : main->runs) + place * main->most_runs,
                                 masked ? main->unclipped_counts[place] : main->counts[place]);
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

/* Gatherers come first, the rows are many and short. */
static void do_piece(void *context, unsigned worker, size_t i)
{
    struct gathering *const gathering = context;
    const struct rows *const ahead = &gathering->ahead;
    const size_t first_gatherer = gathering->in_order ? 1 : 0;

    if (i >= first_gatherer && i < first_gatherer + GATHERERS) {
        gather_piece(context, worker, i - first_gatherer);
    } else if (gathering->in_order) {
        for (size_t row = 0; row < ahead->count; row++)
            prepare_kept(gathering->patch, ahead, row);
    } else {
        prepare_kept(gathering->patch, ahead, i - GATHERERS);
    }
}

/* The last row of a batch is that above the next one. */
static void move_up(fleck_patch *patch, size_t next_half)
{
    for (size_t i = 0; i < FLECK_LAYERS; i++) {
        fleck_layer *const layer = &patch->layers[i];
        const size_t place = place_above(patch, next_half);
        const fleck_run *last;
        size_t count;

        if (layer->labeller == NULL)
            continue;
        last = runs_above(layer, patch->batch.count, &count);
        memcpy(layer->runs + place * layer->most_runs, last, count * sizeof *last);
        layer->counts[place] = count;
    }
    patch->next_row += patch->batch.count;
    patch->batch.half = next_half;
    patch->batch.count = patch->batch.ahead;
    patch->batch.ahead = 0;
}

/* All gatherers take the batch, while the rows ahead are made. */
static fleck_status gather_batch(fleck_patch *patch, const struct rows *ahead, fleck_error *err)
{
    /* the thresholds of local windows are found for one row after the other */
    struct gathering gathering = { .patch = patch, .ahead = *ahead, .in_order = patch->levels != NULL };

    fleck_parallel_for(patch->threads, GATHERERS + (gathering.in_order ? 1 : ahead->count), do_piece,
                       &gathering);
    for (size_t i = 0; i < GATHERERS; i++) {
        if (gathering.status[i] != FLECK_OK) {
            if (err != NULL)
                *err = gathering.errors[i];
            return gathering.status[i];
        }
    }
    patch->batch.ahead = ahead->count;
    move_up(patch, ahead->half);
    return FLECK_OK;
}

fleck_status fleck_patch_measure_row(fleck_patch *patch, const void *pixels, fleck_error *err)
{
    const size_t row = patch->batch.count, y = patch->next_row + row;
    const struct rows rows = { 0, patch->next_row, row + 1 }, none = { 0, 0, 0 };
    fleck_status status = FLECK_OK;

    prepare_row(patch, &rows, row, pixels);
    if (patch->rows.kept == NULL)
        status = fleck_spool_put(patch->rows.spool, spool_offset(patch, y), q_of(patch, row),
                                 patch->area.box.width_px * sizeof *patch->q, err);
    patch->batch.count++;
    if (status == FLECK_OK && (patch->batch.count == patch->batch.capacity ||
                               y + 1 == patch->area.box.height_px))
        status = gather_batch(patch, &none, err);
    return status;
}

/* The rows that come next, into a half. */
static struct rows rows_from(const fleck_patch *patch, size_t first_row, size_t half)
{
    const size_t left = patch->area.box.height_px - first_row, most = patch->batch.capacity;

    return (struct rows){ half, first_row, left < most ? left : most };
}

fleck_status fleck_patch_measure_kept(fleck_patch *patch, bool *more, fleck_error *err)
{
    fleck_status status;
    struct rows ahead;

    if (patch->batch.count == 0) {
        const struct rows first = rows_from(patch, 0, 0);

        for (size_t row = 0; row < first.count; row++)
            prepare_kept(patch, &first, row);
        patch->batch.count = first.count;
    }
    ahead = rows_from(patch, patch->next_row + patch->batch.count, 1 - patch->batch.half);
    status = gather_batch(patch, &ahead, err);
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
