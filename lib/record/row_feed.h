/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The rows of a scan, some at a time: while one batch is taken the next is decoded, by several readers side
 * by side where the blocks of the file can be decoded alone.
 */
#ifndef FLECK_RECORD_ROW_FEED_H
#define FLECK_RECORD_ROW_FEED_H

#include "record/sheet_source.h"

typedef struct fleck_row_feed fleck_row_feed;

typedef struct fleck_row_batch {
    const unsigned char *rows;
    size_t first_row, count;
} fleck_row_batch;

/*
 * source      opened again for each further reader
 * scan        open and at its first row; borrowed until fleck_row_feed_free
 * first_row, past_row    what is wanted of it; rows before are passed over where that is possible
 * batch_rows  about so many at a time
 * threads     that can decode at the same time, at least 1; never changes a row
 *
 * Errors: those of reading a row; FLECK_NO_RESOURCE.
 */
fleck_status fleck_row_feed_new(fleck_sheet_source *source, fleck_scan *scan, size_t first_row, size_t past_row,
                                size_t batch_rows, unsigned threads, fleck_row_feed **out, fleck_error *err);

/* Pieces in which a batch is decoded, each by fleck_row_feed_decode from a thread of its own. */
size_t fleck_row_feed_pieces(const fleck_row_feed *feed);
void fleck_row_feed_decode(fleck_row_feed *feed, size_t piece);

/*
 * The batch that was decoded, valid until the next call; count is 0 behind the last one. Not before all
 * pieces are done. Errors: those of the first row that could not be read.
 */
fleck_status fleck_row_feed_turn(fleck_row_feed *feed, fleck_row_batch *batch, fleck_error *err);

void fleck_row_feed_free(fleck_row_feed *feed);

#endif
