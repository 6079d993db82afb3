/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A scan is read more than once: for its hash, for the survey and perhaps for the measurement. Files and
 * memory bear that; rows that come only once are put aside while they are hashed.
 */
#include "record/sheet_source.h"

#include <string.h>

#include "core/memory.h"

static bool is_rows(const fleck_sheet_source *source)
{
    return source->given != NULL && source->given->bytes == NULL;
}

static bool comes_once(const fleck_sheet_source *source)
{
    return is_rows(source) && source->given->rows.start == NULL;
}

size_t fleck_sheet_source_bytes_aside(const fleck_sheet_source *source)
{
    const fleck_row_source *rows;

    if (!comes_once(source))
        return 0;
    rows = &source->given->rows;
    /* fits, as was checked when it joined the list */
    return rows->width_px * (rows->channels + (rows->has_alpha ? 1u : 0u)) * rows->sample_bytes *
           rows->height_px;
}

/* Samples of two bytes with the lower one first, on every machine. */
static void add_samples(fleck_sha256 *hash, const unsigned char *row, size_t bytes, unsigned sample_bytes)
{
    static const uint16_t one = 1;

    if (sample_bytes == 1 || *(const unsigned char *)&one == 1) {
        fleck_sha256_add(hash, row, bytes);
        return;
    }
    for (size_t i = 0; i < bytes; i += 2) {
        const unsigned char swapped[2] = { row[i + 1], row[i] };

        fleck_sha256_add(hash, swapped, sizeof swapped);
    }
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for some rows; free some memory");
}

static fleck_status read_rows(fleck_sheet_source *source, fleck_scan *scan, unsigned char *row,
                              fleck_sha256 *hash, fleck_status (*stop)(void *context, fleck_error *err),
                              void *context, fleck_error *err)
{
    const fleck_scan_info *const info = fleck_scan_get_info(scan);
    fleck_status status = FLECK_OK;

    for (size_t y = 0; status == FLECK_OK && y < info->height_px; y++) {
        unsigned char *const at = source->kept != NULL ? source->kept + y * source->row_bytes : row;

        if (stop != NULL)
            status = stop(context, err);
        if (status == FLECK_OK)
            status = fleck_scan_read_row(scan, at, err);
        if (status == FLECK_OK)
            add_samples(hash, at, source->row_bytes, info->sample_bytes);
        if (status == FLECK_OK && source->spool != NULL)
            status = fleck_spool_put(source->spool, (uint64_t)y * source->row_bytes, at, source->row_bytes, err);
    }
    return status;
}

static fleck_status identify_rows(fleck_sheet_source *source, bool in_memory,
                                  fleck_status (*stop)(void *context, fleck_error *err), void *context,
                                  fleck_error *err)
{
    fleck_scan *scan = NULL;
    fleck_sha256 *hash = NULL;
    unsigned char *row = NULL;
    fleck_status status;

    if (source->page != 1)
        return fleck_fail(err, FLECK_BAD_INPUT, "has one page only; ask for page 1");
    if ((status = fleck_scan_open_rows(&source->given->rows, &scan, err)) != FLECK_OK)
        return status;
    source->row_bytes = fleck_scan_row_bytes(scan);
    if (comes_once(source) && in_memory)
        source->kept = fleck_alloc_array(fleck_sheet_source_bytes_aside(source), 1);
    if (comes_once(source) && source->kept == NULL)
        status = fleck_spool_new(&source->spool, err);
    hash = fleck_sha256_new();
    row = fleck_alloc_array(source->row_bytes, 1);
    if (status == FLECK_OK && (hash == NULL || row == NULL))
        status = no_memory(err);
    if (status == FLECK_OK)
        status = read_rows(source, scan, row, hash, stop, context, err);
    if (status == FLECK_OK)
        fleck_sha256_finish(hash, source->sha256);
    fleck_free(row);
    fleck_sha256_free(hash);
    fleck_scan_close(scan);
    return status;
}

static fleck_status open_file_or_memory(const fleck_sheet_source *source, fleck_scan **scan, fleck_error *err)
{
    return source->given == NULL
               ? fleck_scan_open(source->path, source->page, scan, err)
               : fleck_scan_open_memory(source->given->bytes, source->given->size, source->page, scan, err);
}

unsigned fleck_sheet_source_channels(const fleck_sheet_source *source)
{
    fleck_scan *scan = NULL;
    unsigned channels = 0;

    if (is_rows(source))
        return source->given->rows.channels;
    if (open_file_or_memory(source, &scan, NULL) == FLECK_OK)
        channels = fleck_scan_get_info(scan)->channels;
    fleck_scan_close(scan);
    return channels;
}

fleck_status fleck_sheet_source_identify(fleck_sheet_source *source, bool in_memory,
                                         fleck_status (*stop)(void *context, fleck_error *err),
                                         void *context, fleck_error *err)
{
    fleck_scan *scan = NULL;
    fleck_status status;

    if (is_rows(source))
        return identify_rows(source, in_memory, stop, context, err);
    /* a file that is not there is told by the opening */
    if (source->given == NULL)
        (void)fleck_file_stamp_take(source->path, &source->stamp);
    /* opened first: a file of many gigabytes that is no scan must not be hashed to its end */
    status = open_file_or_memory(source, &scan, err);
    if (status == FLECK_OK && source->given == NULL)
        status = fleck_sha256_file(source->path, source->sha256, err);
    else if (status == FLECK_OK)
        fleck_sha256_bytes(source->given->bytes, source->given->size, source->sha256);
    fleck_scan_close(scan);
    return status;
}

/* A row that was put aside. */
static fleck_status read_aside(void *context, size_t y_px, void *row, fleck_error *err)
{
    const fleck_sheet_source *const source = context;

    if (source->kept == NULL)
        return fleck_spool_get(source->spool, (uint64_t)y_px * source->row_bytes, row, source->row_bytes, err);
    memcpy(row, source->kept + y_px * source->row_bytes, source->row_bytes);
    return FLECK_OK;
}

fleck_status fleck_sheet_source_open(fleck_sheet_source *source, fleck_scan **out, fleck_error *err)
{
    fleck_row_source rows;

    *out = NULL;
    if (!is_rows(source))
        return open_file_or_memory(source, out, err);
    rows = source->given->rows;
    if (comes_once(source)) {
        rows.context = source;
        rows.read_row = read_aside;
    }
    return fleck_scan_open_rows(&rows, out, err);
}

bool fleck_sheet_source_is_unchanged(const fleck_sheet_source *source)
{
    char sha256[FLECK_SHA256_TEXT_BYTES];
    fleck_file_stamp stamp;

    return source->given != NULL ||
           (fleck_file_stamp_take(source->path, &stamp) &&
            (fleck_file_stamp_same(&stamp, &source->stamp) ||
             (fleck_sha256_file(source->path, sha256, NULL) == FLECK_OK &&
              strcmp(sha256, source->sha256) == 0)));
}

void fleck_sheet_source_clear(fleck_sheet_source *source)
{
    fleck_free(source->kept);
    source->kept = NULL;
    fleck_spool_free(source->spool);
    source->spool = NULL;
}
