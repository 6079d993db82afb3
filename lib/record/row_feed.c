/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/row_feed.h"

#include "core/memory.h"
#include "io/scan_blocks.h"

/* Readers beyond this find no more to do than the patches' own threads. */
enum { MOST_READERS = 8 };

/*
 * Nobody has rows to take while the first batch is decoded: of one reader it is so small, and each further
 * one twice as large, until they are what was asked for.
 */
enum { FIRST_ROWS = 32 };

/* A batch may grow to so many times what is asked for, to hold a block for each reader. */
enum { MOST_BATCHES = 4 };

struct reader {
    fleck_scan *scan;
    size_t first_row, past_row; /* of its piece of the batch */
    fleck_error err;            /* status FLECK_OK as long as all is well */
};

struct fleck_row_feed {
    struct reader readers[MOST_READERS];
    size_t reader_count;
    size_t piece_rows, row_bytes;
    size_t growing_rows; /* of the next piece, up to piece_rows */
    size_t next_row, past_row; /* not yet handed out */
    unsigned char *decoded, *taken;
};

/* Rows of a piece so that each is whole blocks; 0 when one reader must do. */
static size_t choose_piece_rows(size_t block_rows, size_t batch_rows, unsigned readers)
{
    const size_t blocks = block_rows > 0 ? (batch_rows / readers + block_rows - 1) / block_rows : 0;

    /* rows that are not compressed cost nothing to decode */
    if (readers < 2 || block_rows < 2 || blocks * block_rows * readers > MOST_BATCHES * batch_rows)
        return 0;
    return (blocks > 0 ? blocks : 1) * block_rows;
}

/* Another reader for each thread; those that cannot be opened are done without. */
static void open_readers(fleck_row_feed *feed, fleck_sheet_source *source, unsigned wanted)
{
    while (feed->reader_count < wanted) {
        struct reader *const reader = &feed->readers[feed->reader_count];
        fleck_error err = { 0 };
        size_t rows;

        if (fleck_sheet_source_open(source, &reader->scan, &err) != FLECK_OK)
            return;
        if (fleck_scan_row_bytes(reader->scan) != feed->row_bytes ||
            fleck_scan_get_info(reader->scan)->height_px < feed->past_row ||
            fleck_scan_block_rows(reader->scan, &rows, &err) != FLECK_OK) {
            fleck_scan_close(reader->scan);
            reader->scan = NULL;
            return;
        }
        feed->reader_count++;
    }
}

/* What each reader is to decode next. */
static void share_out(fleck_row_feed *feed)
{
    const size_t rows = feed->growing_rows < feed->piece_rows ? feed->growing_rows : feed->piece_rows;
    size_t row = feed->next_row;

    for (size_t i = 0; i < feed->reader_count; i++) {
        struct reader *const reader = &feed->readers[i];

        reader->first_row = row;
        row = feed->past_row - row > rows ? row + rows : feed->past_row;
        reader->past_row = row;
    }
    feed->growing_rows = 2 * rows;
}

fleck_status fleck_row_feed_new(fleck_sheet_source *source, fleck_scan *scan, size_t first_row, size_t past_row,
                                size_t batch_rows, unsigned threads, fleck_row_feed **out, fleck_error *err)
{
    const unsigned readers = threads < MOST_READERS ? threads : MOST_READERS;
    fleck_row_feed *feed;
    size_t block_rows, bytes;
    fleck_status status = fleck_scan_block_rows(scan, &block_rows, err);

    *out = NULL;
    if (status != FLECK_OK)
        return status;
    feed = fleck_alloc_zeroed(1, sizeof *feed);
    if (feed == NULL)
        goto no_memory;
    feed->readers[0].scan = scan;
    feed->reader_count = 1;
    feed->row_bytes = fleck_scan_row_bytes(scan);
    feed->past_row = past_row;
    feed->next_row = block_rows > 0 ? first_row / block_rows * block_rows : 0;
    feed->piece_rows = choose_piece_rows(block_rows, batch_rows, readers);
    if (feed->piece_rows > 0)
        open_readers(feed, source, readers);
    else
        feed->piece_rows = batch_rows;
    feed->growing_rows = feed->reader_count > 1 ? feed->piece_rows : FIRST_ROWS;
    if (size_mul(feed->reader_count * feed->piece_rows, feed->row_bytes, &bytes)) {
        feed->decoded = fleck_alloc_array(bytes, 1);
        feed->taken = fleck_alloc_array(bytes, 1);
    }
    if (feed->decoded == NULL || feed->taken == NULL)
        goto no_memory;
    share_out(feed);
    *out = feed;
    return FLECK_OK;

no_memory:
    fleck_row_feed_free(feed);
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for some rows; free some memory");
}

size_t fleck_row_feed_pieces(const fleck_row_feed *feed)
{
    return feed->reader_count;
}

void fleck_row_feed_decode(fleck_row_feed *feed, size_t piece)
{
    struct reader *const reader = &feed->readers[piece];
    unsigned char *row = feed->decoded + piece * feed->piece_rows * feed->row_bytes;

    if (reader->first_row == reader->past_row)
        return;
    fleck_scan_go_on_at(reader->scan, reader->first_row);
    for (size_t y = reader->first_row; y < reader->past_row && reader->err.status == FLECK_OK; y++) {
        (void)fleck_scan_read_row(reader->scan, row, &reader->err);
        row += feed->row_bytes;
    }
}

fleck_status fleck_row_feed_turn(fleck_row_feed *feed, fleck_row_batch *batch, fleck_error *err)
{
    const size_t past_row = feed->readers[feed->reader_count - 1].past_row;
    unsigned char *const decoded = feed->decoded;

    for (size_t i = 0; i < feed->reader_count; i++) {
        const fleck_error *const failure = &feed->readers[i].err;

        if (failure->status != FLECK_OK)
            return fleck_fail(err, failure->status, "%s", failure->message);
    }
    *batch = (fleck_row_batch){ decoded, feed->next_row, past_row - feed->next_row };
    feed->decoded = feed->taken;
    feed->taken = decoded;
    feed->next_row = past_row;
    share_out(feed);
    return FLECK_OK;
}

void fleck_row_feed_free(fleck_row_feed *feed)
{
    if (feed == NULL)
        return;
    for (size_t i = 1; i < feed->reader_count; i++)
        fleck_scan_close(feed->readers[i].scan);
    fleck_free(feed->decoded);
    fleck_free(feed->taken);
    fleck_free(feed);
}
