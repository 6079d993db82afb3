/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows that come in batches, from several readers, from the middle of a scan: those that come one by one. */
#include "io/scan_blocks.h"
#include "record/row_feed.h"
#include "../io/scan_files.h"

enum { MOST_BYTES = 1 << 20 };

/* All rows of a scan, one after the other. Returns what one row has. */
static size_t read_plainly(const char *path, size_t page, unsigned char *rows, size_t *height)
{
    fleck_scan *scan;
    fleck_error err = { 0 };
    size_t bytes;

    if (fleck_scan_open(path, page, &scan, &err) != FLECK_OK)
        fail_msg("%s: %s", path, err.message);
    bytes = fleck_scan_row_bytes(scan);
    *height = fleck_scan_get_info(scan)->height_px;
    assert_in_range(bytes * *height, 1, MOST_BYTES);
    for (size_t y = 0; y < *height; y++)
        assert_int_equal(fleck_scan_read_row(scan, rows + y * bytes, &err), FLECK_OK);
    fleck_scan_close(scan);
    return bytes;
}

/* Returns in how many pieces its batches came. */
static size_t check_feed(const char *path, size_t page, const unsigned char *rows, size_t bytes, size_t first,
                         size_t past, size_t batch_rows, unsigned threads)
{
    fleck_sheet_source source = { .path = path, .page = page };
    fleck_row_feed *feed;
    fleck_scan *scan;
    fleck_row_batch batch = { 0 };
    fleck_error err = { 0 };
    size_t next = 0, pieces;

    assert_int_equal(fleck_scan_open(path, page, &scan, &err), FLECK_OK);
    if (fleck_row_feed_new(&source, scan, first, past, batch_rows, threads, &feed, &err) != FLECK_OK)
        fail_msg("%s: %s", path, err.message);
    pieces = fleck_row_feed_pieces(feed);
    assert_in_range(pieces, 1, threads);
    do {
        /* in any order */
        for (size_t i = pieces; i-- > 0;)
            fleck_row_feed_decode(feed, i);
        if (fleck_row_feed_turn(feed, &batch, &err) != FLECK_OK)
            fail_msg("%s: %s", path, err.message);
        if (next == 0) {
            next = batch.first_row;
            assert_in_range(next, 0, first);
        }
        assert_int_equal(batch.first_row, next);
        if (memcmp(batch.rows, rows + next * bytes, batch.count * bytes) != 0)
            fail_msg("%s: other rows from %zu on, %zu of them, %u threads", path, next, batch.count, threads);
        next += batch.count;
    } while (batch.count > 0);
    assert_int_equal(next, past);
    fleck_row_feed_free(feed);
    fleck_scan_close(scan);
    return pieces;
}

static void rows_are_the_same_from_wherever_they_come(void **state)
{
    static scan_case cases[MAX_CASES];
    static unsigned char rows[MOST_BYTES];
    const size_t count = read_cases(cases);
    size_t side_by_side = 0;

    (void)state;
    for (size_t i = 0; i < count; i++) {
        char path[512];
        size_t height, bytes;

        snprintf(path, sizeof path, "%s/scan/%.63s", FLECK_TEST_DATA, cases[i].file);
        bytes = read_plainly(path, cases[i].page, rows, &height);
        for (unsigned threads = 1; threads <= 3; threads++) {
            const size_t batch = height / 4 + 1;

            side_by_side += check_feed(path, cases[i].page, rows, bytes, 0, height, batch, threads) > 1;
            (void)check_feed(path, cases[i].page, rows, bytes, height / 2, height, batch, threads);
            (void)check_feed(path, cases[i].page, rows, bytes, height / 3, height - height / 4, 5, threads);
        }
    }
    assert_in_range(side_by_side, 20, 2 * count); /* or nothing was shown */
}

static void blocks_are_those_of_the_file(void **state)
{
    static const struct {
        const char *file;
        bool blocks, single;
    } known[] = {
        { "grey8-white0-lzw-strip.tif", true, false }, { "rgb8-deflate-tile-planar.tif", true, false },
        { "grey1-black0-none-strip.tif", true, true }, { "turned-1.tif", true, true },
        { "turned-2.tif", true, true },                { "turned-3.tif", false, false },
        { "turned-8.tif", false, false },              { "grey8.png", false, false },
        { "grey.jpg", false, false },
    };

    (void)state;
    for (size_t i = 0; i < sizeof known / sizeof *known; i++) {
        char path[512];
        fleck_scan *scan;
        fleck_error err = { 0 };
        size_t rows;

        snprintf(path, sizeof path, "%s/scan/%s", FLECK_TEST_DATA, known[i].file);
        assert_int_equal(fleck_scan_open(path, 1, &scan, &err), FLECK_OK);
        assert_int_equal(fleck_scan_block_rows(scan, &rows, &err), FLECK_OK);
        if ((rows > 0) != known[i].blocks || (rows == 1) != known[i].single)
            fail_msg("%s: blocks of %zu rows", known[i].file, rows);
        fleck_scan_close(scan);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rows_are_the_same_from_wherever_they_come),
        cmocka_unit_test(blocks_are_those_of_the_file),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
