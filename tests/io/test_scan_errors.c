/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "io/scan_files.h"

#include <sys/stat.h>
#include <unistd.h>

static const struct {
    const char *file;
    bool at_open; /* or when its rows are read */
    const char *says;
} cases[] = {
    { "bad/empty.png", true, "is empty" },
    { "bad/text.tif", true, "is not a PNG, TIFF or JPEG image" },
    { "bad/gif.png", true, "is not a PNG, TIFF or JPEG image" },
    { "bad", true, "is a folder" },
    { "bad/no-such-file.png", true, "does not exist" },
    /* PNG */
    { "bad/width0.png", true, "has no pixels, its size is 0 x 5" },
    { "bad/over.png", true, "claims 2147483648 x 5 pixels" },
    { "bad/huge.png", true, "claims 2147483647 x 2147483647 pixels, which its" },
    { "bad/large-adam7.png", true, "claims 20000 x 20000 pixels" },
    { "bad/icc-large.png", true, "larger than 64 MiB" },
    { "bad/crc-phys.png", true, "pHYs: CRC error" },
    { "bad/crc.png", false, "damaged PNG" },
    { "bad/no-end.png", false, "the file ends too early" },
    { "bad/palette.png", false, "not in the palette" },
    { "bad/palette-adam7.png", false, "not in the palette" },
    /* TIFF */
    { "bad/header.tif", true, "ends within its header" },
    { "bad/no-directory.tif", true, "ends before its first directory" },
    { "bad/width0.tif", true, "has no pixels, its size is 0 x 4" },
    { "bad/height0.tif", true, "has no pixels, its size is 6 x 0" },
    { "bad/huge.tif", true, "damaged TIFF" },
    { "bad/float.tif", true, "holds floating-point numbers" },
    { "bad/signed.tif", true, "holds signed or complex numbers" },
    { "bad/bits12.tif", true, "has 12 bits per sample" },
    { "bad/bits32.tif", true, "has 32 bits per sample" },
    { "bad/bits-mixed.tif", true, "BitsPerSample" },
    { "bad/codec.tif", true, "JPEG 2000 (code 34712)" },
    { "bad/codec-ojpeg.tif", true, "old-style JPEG (code 6)" },
    { "bad/codec-unknown.tif", true, "an unknown method (code 12345)" },
    { "bad/lab.tif", true, "stores CIE Lab colours" },
    { "bad/ycc.tif", true, "stores YCbCr without JPEG compression" },
    { "bad/cfa.tif", true, "(photometric 32803)" },
    { "bad/meaning.tif", true, "no photometric tag" },
    { "bad/palette.tif", true, "has lost its palette" },
    { "bad/inks.tif", true, "inks other than CMYK" },
    { "bad/too-few.tif", true, "has 1 samples per pixel, too few" },
    { "bad/icc.tif", true, "has a damaged colour profile" },
    { "bad/strip-short.tif", false, "Not enough data" },
    { "bad/strip-missing.tif", false, "damaged TIFF" },
    { "bad/premature.tif", false, "Corrupt JPEG data: premature end of data segment" },
    { "bad/fax.tif", false, "damaged TIFF" },
    { "bad/tile-huge.tif", false, "has tiles too large" },
    { "../../fuzz/seeds/scan/tile-row.tif", false, "too large to be held in memory" },
    /* JPEG */
    { "bad/height0.jpg", true, "has no pixels" },
    { "bad/huge.jpg", true, "more than 65500 pixels" },
    { "bad/bits12.jpg", true, "is a JPEG of 12 bits per sample" },
    { "bad/lossless.jpg", true, "process 0xc3" },
    { "bad/components.jpg", true, "is a JPEG of 2 components" },
    { "bad/large-progressive.jpg", false, "progressive JPEG too large" },
    { "bad/scans.jpg", false, "more than 500 passes" },
    { "bad/half.jpg", false, "Premature end" },
    { "bad/no-end.jpg", false, "Premature end" },
    { "bad/premature.jpg", false, "Corrupt JPEG data: premature end of data segment" },
    { "bad/left-over.jpg", false, "extraneous bytes before marker" },
};

/* "what is wrong; what to do", on one line and without the path */
static void check_message(const char *file, const fleck_error *err, const char *says)
{
    if (strstr(err->message, says) == NULL)
        fail_msg("%s: \"%s\" does not say \"%s\"", file, err->message, says);
    if (strstr(err->message, "; ") == NULL || strchr(err->message, '\n') != NULL ||
        strstr(err->message, FLECK_TEST_DATA) != NULL)
        fail_msg("%s: \"%s\" is not in the form of a message", file, err->message);
}

static void what_cannot_be_read_is_refused_with_a_reason(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof cases[0]; i++) {
        fleck_error err = { 0 };
        fleck_scan *scan;
        char path[512];
        uint64_t hash;
        fleck_status status = fleck_scan_open(scan_path(cases[i].file, path), 1, &scan, &err);

        check_near(cases[i].file, status != FLECK_OK, cases[i].at_open, 0);
        check_near(cases[i].file, scan == NULL, cases[i].at_open, 0);
        if (status == FLECK_OK)
            status = hash_rows(scan, &hash, &err);
        check_near(cases[i].file, status, FLECK_BAD_INPUT, 0);
        check_message(cases[i].file, &err, cases[i].says);
        if (scan != NULL) {
            /* asked again, it says the same */
            fleck_error again = { 0 };
            uint8_t *row = malloc(fleck_scan_row_bytes(scan));

            assert_non_null(row);
            assert_int_equal(fleck_scan_read_row(scan, row, &again), FLECK_BAD_INPUT);
            assert_string_equal(again.message, err.message);
            free(row);
        }
        fleck_scan_close(scan);
    }
}

static void a_page_that_is_not_there_is_refused(void **state)
{
    static const struct {
        const char *file;
        size_t page;
        fleck_status status;
        const char *says;
    } pages[] = {
        { "pages.tif", 0, FLECK_BAD_CALL, "count from 1" },
        { "pages.tif", 4, FLECK_BAD_INPUT, "has 3 pages; there is no page 4" },
        { "pages-loop.tif", 4, FLECK_BAD_INPUT, "has 3 pages" },
        { "big8.tif", 2, FLECK_BAD_INPUT, "has 1 page; there is no page 2" },
        { "grey8.png", 2, FLECK_BAD_INPUT, "has one page only" },
        { "grey.jpg", 2, FLECK_BAD_INPUT, "has one page only" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof pages / sizeof pages[0]; i++) {
        fleck_error err = { 0 };
        fleck_scan *scan;
        char path[512];

        assert_int_equal(
            fleck_scan_open(scan_path(pages[i].file, path), pages[i].page, &scan, &err),
            pages[i].status);
        assert_null(scan);
        check_message(pages[i].file, &err, pages[i].says);
    }
}

static void a_million_pages_end_quickly(void **state)
{
    enum { PAGES = 1000000, BYTES = 8 + PAGES * 6 };
    uint8_t *bytes = calloc(BYTES, 1);
    fleck_error err = { 0 };
    fleck_scan *scan;

    (void)state;
    assert_non_null(bytes);
    memcpy(bytes, "II*\0\x08\0\0\0", 8);
    for (uint32_t i = 0, at = 8; i < PAGES; i++, at += 6) {
        const uint32_t next = at + 6;

        for (unsigned k = 0; k < 4; k++)
            bytes[at + 2 + k] = (uint8_t)(next >> 8 * k);
    }
    assert_int_equal(fleck_scan_open_memory(bytes, BYTES, 1, &scan, &err), FLECK_BAD_INPUT);
    assert_string_equal(err.message, "has more than 10000 pages; split it");
    free(bytes);
}

static void an_image_too_large_to_be_turned_is_refused(void **state)
{
    /* a file long enough to be believed: zeros stand for its pixels */
    enum { BYTES = 16 << 20 };
    uint8_t *bytes = calloc(BYTES, 1);
    fleck_error err = { 0 };
    fleck_scan *scan;
    size_t size;
    uint8_t *head = read_file("bad/large-held.png", &size);

    (void)state;
    assert_non_null(bytes);
    memcpy(bytes, head, size);
    assert_int_equal(fleck_scan_open_memory(bytes, BYTES, 1, &scan, &err), FLECK_BAD_INPUT);
    check_message("large-held.png", &err, "is interlaced and would need 4673 MiB of memory");
    free(head);
    free(bytes);
}

static void a_file_that_may_not_be_read_is_refused(void **state)
{
    char path[] = "/tmp/fleck-test-XXXXXX";
    fleck_error err = { 0 };
    fleck_scan *scan;
    const int descriptor = mkstemp(path);

    (void)state;
    assert_true(descriptor >= 0);
    close(descriptor);
    assert_int_equal(chmod(path, 0), 0);
    assert_int_equal(fleck_scan_open(path, 1, &scan, &err), FLECK_BAD_INPUT);
    if (geteuid() == 0) /* who may read anything finds it empty */
        check_message(path, &err, "is empty");
    else
        check_message(path, &err, "may not be read");
    unlink(path);
    /* a pipe without a writer would be waited for */
    assert_int_equal(mkfifo(path, 0600), 0);
    assert_int_equal(fleck_scan_open(path, 1, &scan, &err), FLECK_BAD_INPUT);
    check_message(path, &err, "is not a plain file");
    unlink(path);
}

static void a_file_that_shrinks_while_it_is_read_is_an_error(void **state)
{
    char path[] = "/tmp/fleck-test-XXXXXX";
    fleck_error err = { 0 };
    fleck_scan *scan;
    uint64_t hash;
    size_t size;
    uint8_t *bytes = read_file("front-lzw.tif", &size);
    const int descriptor = mkstemp(path);

    (void)state;
    assert_true(descriptor >= 0);
    assert_int_equal(write(descriptor, bytes, size), (ssize_t)size);
    assert_int_equal(fleck_scan_open(path, 1, &scan, &err), FLECK_OK);
    assert_int_equal(ftruncate(descriptor, 20), 0);
    assert_int_equal(hash_rows(scan, &hash, &err), FLECK_BAD_INPUT);
    check_message(path, &err, "damaged TIFF");
    fleck_scan_close(scan);
    close(descriptor);
    unlink(path);
    free(bytes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_cannot_be_read_is_refused_with_a_reason),
        cmocka_unit_test(a_page_that_is_not_there_is_refused),
        cmocka_unit_test(a_million_pages_end_quickly),
        cmocka_unit_test(an_image_too_large_to_be_turned_is_refused),
        cmocka_unit_test(a_file_that_may_not_be_read_is_refused),
        cmocka_unit_test(a_file_that_shrinks_while_it_is_read_is_an_error),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
