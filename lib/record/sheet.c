/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A scan is decoded for all its patches together. The pixels of their regions are kept for the second
 * pass when the budget allows; otherwise the scan is decoded a second time. Which way it goes never
 * changes a number.
 */
#include "record/sheet.h"

#include <pthread.h>
#include <string.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "measure/doubt_jpeg.h"
#include "record/row_feed.h"
#include "record/spool.h"

const char fleck_stopped[] = "was stopped; go on with --resume";

struct fleck_budget {
    pthread_mutex_t lock;
    size_t left_bytes;
};

fleck_budget *fleck_budget_new(size_t bytes)
{
    fleck_budget *budget = fleck_alloc_zeroed(1, sizeof *budget);

    if (budget == NULL)
        return NULL;
    if (pthread_mutex_init(&budget->lock, NULL) != 0) {
        fleck_free(budget);
        return NULL;
    }
    budget->left_bytes = bytes;
    return budget;
}

void fleck_budget_free(fleck_budget *budget)
{
    if (budget == NULL)
        return;
    pthread_mutex_destroy(&budget->lock);
    fleck_free(budget);
}

static bool budget_take(fleck_budget *budget, size_t bytes)
{
    bool enough;

    pthread_mutex_lock(&budget->lock);
    enough = bytes <= budget->left_bytes;
    if (enough)
        budget->left_bytes -= bytes;
    pthread_mutex_unlock(&budget->lock);
    return enough;
}

static void budget_return(fleck_budget *budget, size_t bytes)
{
    pthread_mutex_lock(&budget->lock);
    budget->left_bytes += bytes;
    pthread_mutex_unlock(&budget->lock);
}

/* The patch takes part in the pass. */
static bool is_live(const fleck_sheet_patch *patch)
{
    return patch->patch != NULL && patch->failure.status == FLECK_OK;
}

static void fail_all(fleck_sheet *sheet, const fleck_error *err)
{
    for (size_t i = 0; i < sheet->patch_count; i++) {
        if (!sheet->patches[i].skip && sheet->patches[i].failure.status == FLECK_OK)
            sheet->patches[i].failure = *err;
    }
}

/* Whether the source is still what was hashed; all patches fail otherwise. */
static bool is_unchanged(fleck_sheet *sheet)
{
    fleck_error err = { 0 };

    if (fleck_sheet_source_is_unchanged(&sheet->source))
        return true;
    fleck_fail(&err, FLECK_BAD_INPUT, "changed or vanished while it was measured; measure it again");
    fail_all(sheet, &err);
    return false;
}

/* The caller wants to stop: said as a failure of the machine, since the run can be gone on with. */
static fleck_status check_stop(const fleck_sheet *sheet, fleck_error *err)
{
    const fleck_measure_observer *const observer = sheet->observer;

    if (observer->stop == NULL || !observer->stop(observer->context))
        return FLECK_OK;
    return fleck_fail(err, FLECK_NO_RESOURCE, "%s", fleck_stopped);
}

/* Something that changes no number but may be of interest. */
static void note(const fleck_sheet *sheet, const char *message)
{
    if (sheet->observer->note == NULL)
        return;
    pthread_mutex_lock(sheet->lock);
    sheet->observer->note(sheet->observer->context, sheet->source.path, message);
    pthread_mutex_unlock(sheet->lock);
}

static fleck_status stop_identifying(void *context, fleck_error *err)
{
    return check_stop(context, err);
}

void fleck_sheet_identify(fleck_sheet *sheet)
{
    const size_t aside = fleck_sheet_source_bytes_aside(&sheet->source);
    const bool in_memory = aside > 0 && budget_take(sheet->budget, aside);
    fleck_error err = { 0 };

    if (in_memory)
        sheet->aside_bytes = aside;
    else if (aside > 0)
        note(sheet, "its rows come only once and are more than may be kept in memory: they are put aside "
                    "in a temporary file");
    if (fleck_sheet_source_identify(&sheet->source, in_memory, stop_identifying, sheet, &err) != FLECK_OK)
        fail_all(sheet, &err);
}

static size_t pixel_bytes(const fleck_scan_info *info)
{
    return (size_t)(info->channels + (info->has_alpha ? 1 : 0)) * info->sample_bytes;
}

static size_t box_row_bytes(const fleck_sheet *sheet, const fleck_patch_box *box)
{
    return box->width_px * pixel_bytes(&sheet->info); /* no more than a row of the scan */
}

static void drop_kept(fleck_sheet *sheet)
{
    for (size_t i = 0; i < sheet->patch_count; i++) {
        fleck_free(sheet->patches[i].kept);
        sheet->patches[i].kept = NULL;
    }
    budget_return(sheet->budget, sheet->kept_bytes);
    sheet->kept_bytes = 0;
}

/* Room for the pixels of all patches, or for none. */
static void try_to_keep(fleck_sheet *sheet)
{
    size_t total = 0, bytes;

    for (size_t i = 0; i < sheet->patch_count; i++) {
        const fleck_patch_box *box;

        if (!is_live(&sheet->patches[i]))
            continue;
        box = fleck_patch_get_box(sheet->patches[i].patch);
        if (!size_mul(box_row_bytes(sheet, box), box->height_px, &bytes) ||
            !size_add(total, bytes, &total))
            return;
    }
    if (!budget_take(sheet->budget, total))
        return;
    sheet->kept_bytes = total;
    for (size_t i = 0; i < sheet->patch_count; i++) {
        const fleck_patch_box *box;

        if (!is_live(&sheet->patches[i]))
            continue;
        box = fleck_patch_get_box(sheet->patches[i].patch);
        sheet->patches[i].kept = fleck_alloc_array(box_row_bytes(sheet, box), box->height_px);
        if (sheet->patches[i].kept == NULL) {
            drop_kept(sheet);
            return;
        }
    }
}

/* What a pass does with a patch's pixels of one of its rows (row counted within the patch). */
typedef fleck_status (*row_taker)(fleck_sheet *sheet, fleck_sheet_patch *patch, size_t row,
                                  const unsigned char *pixels, fleck_error *err);

static fleck_status take_survey_row(fleck_sheet *sheet, fleck_sheet_patch *patch, size_t row,
                                    const unsigned char *pixels, fleck_error *err)
{
    if (patch->kept != NULL) {
        const size_t bytes = box_row_bytes(sheet, fleck_patch_get_box(patch->patch));

        memcpy(patch->kept + row * bytes, pixels, bytes);
    }
    return fleck_patch_survey_row(patch->patch, pixels, err);
}

static fleck_status take_measure_row(fleck_sheet *sheet, fleck_sheet_patch *patch, size_t row,
                                     const unsigned char *pixels, fleck_error *err)
{
    (void)sheet;
    (void)row;
    return fleck_patch_measure_row(patch->patch, pixels, err);
}

/*
 * A pass over the rows of an open scan. Some rows are decoded while the patches take those decoded
 * before: the first pieces decode, each other piece is a patch.
 */
struct pass {
    fleck_sheet *sheet;
    row_taker take;
    size_t row_bytes;
    fleck_row_feed *feed;
    fleck_row_batch batch;
};

static void take_rows(const struct pass *pass, fleck_sheet_patch *patch)
{
    const fleck_patch_box *const box = fleck_patch_get_box(patch->patch);
    const size_t left = box->left_px * pixel_bytes(&pass->sheet->info);

    for (size_t i = 0; i < pass->batch.count && is_live(patch); i++) {
        const size_t y = pass->batch.first_row + i;

        if (y >= box->top_px && y - box->top_px < box->height_px)
            (void)pass->take(pass->sheet, patch, y - box->top_px,
                             pass->batch.rows + i * pass->row_bytes + left, &patch->failure);
    }
}

static void pass_piece(void *context, unsigned worker, size_t i)
{
    struct pass *const pass = context;
    const size_t pieces = fleck_row_feed_pieces(pass->feed);

    (void)worker;
    if (i < pieces)
        fleck_row_feed_decode(pass->feed, i);
    else if (is_live(&pass->sheet->patches[i - pieces]))
        take_rows(pass, &pass->sheet->patches[i - pieces]);
}

/* The rows from the first to behind the last that a patch needs. */
static void find_rows_needed(const fleck_sheet *sheet, size_t *first_row, size_t *past_row)
{
    *first_row = sheet->info.height_px;
    *past_row = 0;
    for (size_t i = 0; i < sheet->patch_count; i++) {
        const fleck_patch_box *box;

        if (!is_live(&sheet->patches[i]))
            continue;
        box = fleck_patch_get_box(sheet->patches[i].patch);
        if (box->top_px < *first_row)
            *first_row = box->top_px;
        if (box->top_px + box->height_px > *past_row)
            *past_row = box->top_px + box->height_px;
    }
}

/* A batch of rows is at most so large, and such a part of the memory there is, for the sake of a spectrum. */
enum { MOST_BATCH_BYTES = 16 << 20, PART_OF_ROOM = 8 };

/* A patch alone in its scan, whose tiles are transformed as its rows come; NULL when it is another case. */
static fleck_patch *patch_with_tone(const fleck_sheet *sheet)
{
    if (sheet->patch_count != 1 || !is_live(&sheet->patches[0]) ||
        fleck_patch_tone_rows_at_once(sheet->patches[0].patch) == 0)
        return NULL;
    return sheet->patches[0].patch;
}

/* So that the decoder has as many rows before it as the tiles that are transformed meanwhile. */
static size_t choose_batch_rows(const fleck_sheet *sheet, size_t row_bytes)
{
    const size_t usual = fleck_patch_batch_rows(sheet->info.width_px, sheet->info.height_px);
    const fleck_patch *const patch = patch_with_tone(sheet);
    const size_t wanted = patch != NULL ? fleck_patch_tone_rows_at_once(patch) : 0;
    const size_t room = fleck_memory_room() / PART_OF_ROOM;
    const size_t bytes = room < MOST_BATCH_BYTES ? room : MOST_BATCH_BYTES;

    return wanted > usual && wanted <= bytes / row_bytes ? wanted : usual;
}

/* Hand the rows of an open scan to all live patches; a damaged scan fails them all. */
static void pass_rows(fleck_sheet *sheet, fleck_scan *scan, unsigned threads, row_taker take)
{
    struct pass pass = { .sheet = sheet, .take = take, .row_bytes = fleck_scan_row_bytes(scan) };
    fleck_patch *with_tone;
    size_t first_row, past_row;
    fleck_error err = { 0 };
    fleck_status status;

    find_rows_needed(sheet, &first_row, &past_row);
    if (past_row == 0)
        return;
    status = fleck_row_feed_new(&sheet->source, scan, first_row, past_row,
                                choose_batch_rows(sheet, pass.row_bytes), threads, &pass.feed, &err);
    if (status == FLECK_OK)
        fleck_parallel_for(threads, fleck_row_feed_pieces(pass.feed), pass_piece, &pass);
    while (status == FLECK_OK) {
        status = fleck_row_feed_turn(pass.feed, &pass.batch, &err);
        if (status == FLECK_OK && pass.batch.count == 0)
            break;
        if (status == FLECK_OK)
            status = check_stop(sheet, &err);
        if (status == FLECK_OK && (with_tone = patch_with_tone(sheet)) != NULL) {
            const bool is_last = pass.batch.first_row + pass.batch.count >= past_row;

            fleck_patch_share_tiles(with_tone, is_last ? threads : threads - 1);
        }
        if (status == FLECK_OK)
            fleck_parallel_for(threads, fleck_row_feed_pieces(pass.feed) + sheet->patch_count, pass_piece,
                               &pass);
    }
    if (status != FLECK_OK)
        fail_all(sheet, &err);
    fleck_row_feed_free(pass.feed);
}

/* All that is the same for every patch of the scan. */
static fleck_status open_scan(fleck_sheet *sheet, fleck_scan **scan, fleck_error *err)
{
    const fleck_measure_options *const options = sheet->options;
    fleck_status status = fleck_sheet_source_open(&sheet->source, scan, err);

    if (status != FLECK_OK)
        return status;
    sheet->info = *fleck_scan_get_info(*scan);
    if (sheet->info.pages > 1)
        status = fleck_warnings_add(&sheet->warnings, err, "more-pages",
                                    "the file holds %zu pages and page %zu is measured; choose "
                                    "another with --page",
                                    sheet->info.pages, sheet->info.page);
    if (status == FLECK_OK)
        status = fleck_resolution_choose(&sheet->info, options->ppi_x, options->ppi_y,
                                         sheet->calibration, &sheet->resolution, &sheet->warnings, err);
    if (status == FLECK_OK)
        status = fleck_tone_new(&sheet->info, sheet->calibration, &sheet->tone, &sheet->warnings,
                                err);
    if (status == FLECK_OK)
        status = fleck_doubt_jpeg_warn(&sheet->info, &sheet->warnings, err);
    /* the profile's bytes go when the scan is closed */
    sheet->info.icc = NULL;
    sheet->info.icc_bytes = 0;
    return status;
}

void fleck_sheet_survey(fleck_sheet *sheet, unsigned threads)
{
    fleck_scan *scan = NULL;
    fleck_error err = { 0 };
    bool any = false;

    for (size_t i = 0; i < sheet->patch_count; i++)
        any = any || (!sheet->patches[i].skip && sheet->patches[i].failure.status == FLECK_OK);
    if (!any)
        return;
    if (open_scan(sheet, &scan, &err) != FLECK_OK) {
        fail_all(sheet, &err);
        goto done;
    }
    for (size_t i = 0; i < sheet->patch_count; i++) {
        fleck_sheet_patch *const patch = &sheet->patches[i];

        if (!patch->skip && patch->failure.status == FLECK_OK)
            (void)fleck_patch_new(patch->input, sheet->options, sheet->calibration, &sheet->info,
                                  sheet->tone, &sheet->resolution, sheet->mask, &patch->patch,
                                  &patch->failure);
        if (sheet->patch_count == 1 && is_live(patch))
            (void)fleck_patch_take_tone_early(patch->patch, threads, &patch->failure);
    }
    try_to_keep(sheet);
    pass_rows(sheet, scan, threads, take_survey_row);
    (void)is_unchanged(sheet);
    for (size_t i = 0; i < sheet->patch_count; i++) {
        if (is_live(&sheet->patches[i]))
            (void)fleck_patch_survey_end(sheet->patches[i].patch, sheet->pool,
                                         &sheet->patches[i].failure);
    }
done:
    fleck_scan_close(scan);
}

bool fleck_sheet_will_await_channel(const fleck_sheet *sheet)
{
    return sheet->options->channel == FLECK_CHANNEL_AUTO &&
           fleck_sheet_source_channels(&sheet->source) > 1;
}

bool fleck_sheet_awaits_others(const fleck_sheet *sheet)
{
    for (size_t i = 0; i < sheet->patch_count; i++) {
        if (is_live(&sheet->patches[i]) && fleck_patch_awaits_others(sheet->patches[i].patch))
            return true;
    }
    return false;
}

static fleck_status fill_source(const fleck_sheet *sheet, fleck_record *record, fleck_error *err)
{
    const fleck_scan_info *const info = &sheet->info;

    record->source.path = fleck_copy_text(sheet->source.path);
    record->source.sha256 = fleck_copy_text(sheet->source.sha256);
    record->source.format = fleck_copy_text(fleck_scan_format_name(info->format));
    record->source.ppi_from = fleck_copy_text(sheet->resolution.from);
    record->source.width_px = (double)info->width_px;
    record->source.height_px = (double)info->height_px;
    record->source.bits = info->bits;
    record->source.channels = info->channels + (info->has_alpha ? 1u : 0u);
    record->source.ppi_x = sheet->resolution.ppi_x;
    record->source.ppi_y = sheet->resolution.ppi_y;
    if (record->source.path == NULL || record->source.sha256 == NULL ||
        record->source.format == NULL || record->source.ppi_from == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a record; free some memory");
    return fleck_warnings_append(&record->warnings, &sheet->warnings, err);
}

struct second_pass {
    fleck_sheet *sheet;
    void (*done)(void *context, fleck_sheet_patch *patch, fleck_record *record,
                 fleck_dot_tables *tables);
    void *context;
    const fleck_decision *decision;
    unsigned threads;   /* for one patch */
    unsigned outer_threads; /* for all together */
    fleck_spool *spool; /* for rows of patches that are not kept */
    uint64_t spool_bytes;
};

/* What the patch reads its rows from once more. */
static fleck_patch_rows find_rows(struct second_pass *pass, const fleck_sheet_patch *patch)
{
    const fleck_patch_box *const box = fleck_patch_get_box(patch->patch);
    fleck_patch_rows rows = { .kept = patch->kept,
                              .kept_row_bytes = box_row_bytes(pass->sheet, box) };

    if (patch->kept == NULL) {
        rows.spool = pass->spool;
        rows.spool_offset_bytes = pass->spool_bytes;
        pass->spool_bytes += (uint64_t)box->width_px * box->height_px * sizeof(uint16_t);
    }
    return rows;
}

static void begin_patch(const struct second_pass *pass, fleck_sheet_patch *patch,
                        const fleck_patch_rows *rows)
{
    (void)fleck_patch_measure_begin(patch->patch, pass->decision, pass->threads, rows,
                                    &patch->failure);
}

static void end_patch(const struct second_pass *pass, fleck_sheet_patch *patch)
{
    fleck_record record;
    fleck_dot_tables tables = { 0 };

    fleck_record_init(&record);
    if (is_live(patch) && fill_source(pass->sheet, &record, &patch->failure) == FLECK_OK)
        (void)fleck_patch_measure_end(patch->patch, &record, &tables, &patch->failure);
    if (is_live(patch) && pass->sheet->observer->patch != NULL) {
        fleck_patch_view view;

        fleck_patch_get_view(patch->patch, &record, &view);
        (void)pass->sheet->observer->patch(pass->sheet->observer->context, &view, &patch->failure);
    }
    fleck_patch_free(patch->patch);
    patch->patch = NULL;
    if (patch->failure.status == FLECK_OK) {
        pass->done(pass->context, patch, &record, &tables);
        return;
    }
    fleck_record_clear(&record);
    fleck_dot_tables_clear(&tables);
    pass->done(pass->context, patch, NULL, NULL);
}

/* The whole second pass of one patch from its kept pixels. */
static void measure_kept(void *context, unsigned worker, size_t i)
{
    struct second_pass *const pass = context;
    fleck_sheet_patch *const patch = &pass->sheet->patches[i];
    bool more = true;

    (void)worker;
    if (patch->skip)
        return;
    if (is_live(patch)) {
        const fleck_patch_rows rows = find_rows(pass, patch);

        begin_patch(pass, patch, &rows);
    }
    while (is_live(patch) && more) {
        if (check_stop(pass->sheet, &patch->failure) == FLECK_OK)
            (void)fleck_patch_measure_kept(patch->patch, &more, &patch->failure);
    }
    end_patch(pass, patch);
}

/* The second pass of all patches from a second decoding. */
static void measure_again(struct second_pass *pass)
{
    fleck_sheet *const sheet = pass->sheet;
    fleck_scan *scan = NULL;
    fleck_error err = { 0 };

    note(sheet, "its pixels are more than may be kept in memory: it is decoded a second time");
    if (is_unchanged(sheet) && fleck_spool_new(&pass->spool, &err) != FLECK_OK)
        fail_all(sheet, &err);
    for (size_t i = 0; i < sheet->patch_count; i++) {
        if (is_live(&sheet->patches[i])) {
            const fleck_patch_rows rows = find_rows(pass, &sheet->patches[i]);

            begin_patch(pass, &sheet->patches[i], &rows);
        }
    }
    if (fleck_sheet_source_open(&sheet->source, &scan, &err) == FLECK_OK) {
        const fleck_scan_info *const info = fleck_scan_get_info(scan);

        if (info->width_px != sheet->info.width_px || info->height_px != sheet->info.height_px ||
            pixel_bytes(info) != pixel_bytes(&sheet->info)) {
            fleck_fail(&err, FLECK_BAD_INPUT, "changed while it was measured; measure it again");
            fail_all(sheet, &err);
        }
        pass_rows(sheet, scan, pass->outer_threads, take_measure_row);
        (void)is_unchanged(sheet);
    } else {
        fail_all(sheet, &err);
    }
    fleck_scan_close(scan);
    for (size_t i = 0; i < sheet->patch_count; i++) {
        if (!sheet->patches[i].skip)
            end_patch(pass, &sheet->patches[i]);
    }
    fleck_spool_free(pass->spool);
}

void fleck_sheet_measure(fleck_sheet *sheet, const fleck_decision *decision, unsigned threads,
                         void (*done)(void *context, fleck_sheet_patch *patch,
                                      fleck_record *record, fleck_dot_tables *tables),
                         void *context)
{
    const unsigned outer = threads < sheet->patch_count ? threads : (unsigned)sheet->patch_count;
    struct second_pass pass = {
        .sheet = sheet,
        .done = done,
        .context = context,
        .decision = decision,
        .threads = outer > 0 ? threads / outer : 1,
        .outer_threads = threads,
    };
    bool any_live = false, all_kept = true;

    for (size_t i = 0; i < sheet->patch_count; i++) {
        if (is_live(&sheet->patches[i])) {
            any_live = true;
            all_kept = all_kept && sheet->patches[i].kept != NULL;
        }
    }
    if (!any_live || all_kept) {
        fleck_parallel_for(outer, sheet->patch_count, measure_kept, &pass);
    } else {
        measure_again(&pass);
    }
    drop_kept(sheet);
}

void fleck_sheet_clear(fleck_sheet *sheet)
{
    drop_kept(sheet);
    for (size_t i = 0; i < sheet->patch_count; i++) {
        fleck_patch_free(sheet->patches[i].patch);
        sheet->patches[i].patch = NULL;
    }
    fleck_sheet_source_clear(&sheet->source);
    budget_return(sheet->budget, sheet->aside_bytes);
    sheet->aside_bytes = 0;
    fleck_tone_free(sheet->tone);
    sheet->tone = NULL;
    fleck_warnings_clear(&sheet->warnings);
}
