/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "io/scan_files.h"

static void check_case(const scan_case *one, fleck_scan *scan)
{
    const fleck_scan_info *info = fleck_scan_get_info(scan);
    fleck_error err = { 0 };
    uint64_t hash;
    char row[64];

    check_near(one->file, (double)info->width_px, (double)one->width_px, 0);
    check_near(one->file, (double)info->height_px, (double)one->height_px, 0);
    check_near(one->file, info->bits, one->bits, 0);
    check_near(one->file, info->sample_bytes, one->sample_bytes, 0);
    check_near(one->file, info->channels, one->channels, 0);
    check_near(one->file, info->has_alpha, one->alpha, 0);
    check_near(one->file, info->ppi_x, one->ppi_x, 1e-9);
    check_near(one->file, info->ppi_y, one->ppi_y, 1e-9);
    check_near(one->file, (double)info->page, (double)one->page, 0);
    check_near(one->file, (double)info->pages, (double)one->pages, 0);
    assert_int_equal(fleck_scan_row_bytes(scan),
                     one->width_px * (one->channels + one->alpha) * one->sample_bytes);
    if (hash_rows(scan, &hash, &err) != FLECK_OK)
        fail_msg("%s: %s", one->file, err.message);
    if (hash != one->hash)
        fail_msg("%s, page %zu: pixels differ", one->file, one->page);
    assert_int_equal(fleck_scan_read_row(scan, row, &err), FLECK_BAD_CALL);
}

static void a_scan_from_a_file_has_the_pixels_that_were_put_into_it(void **state)
{
    static scan_case cases[MAX_CASES];
    const size_t count = read_cases(cases);

    (void)state;
    for (size_t i = 0; i < count; i++) {
        fleck_error err = { 0 };
        fleck_scan *scan;
        char path[512];

        if (fleck_scan_open(scan_path(cases[i].file, path), cases[i].page, &scan, &err) != FLECK_OK)
            fail_msg("%s: %s", cases[i].file, err.message);
        check_case(&cases[i], scan);
        fleck_scan_close(scan);
    }
}

static void a_scan_from_memory_is_the_same(void **state)
{
    static scan_case cases[MAX_CASES];
    const size_t count = read_cases(cases);

    (void)state;
    for (size_t i = 0; i < count; i++) {
        fleck_error err = { 0 };
        fleck_scan *scan;
        size_t size;
        uint8_t *bytes = read_file(cases[i].file, &size);

        if (fleck_scan_open_memory(bytes, size, cases[i].page, &scan, &err) != FLECK_OK)
            fail_msg("%s: %s", cases[i].file, err.message);
        check_case(&cases[i], scan);
        fleck_scan_close(scan);
        free(bytes);
    }
}

static const struct {
    const char *file;
    fleck_scan_format format;
    size_t icc_bytes; /* 1: some */
    bool srgb;
    double gamma;
    unsigned quality;
} heads[] = {
    { "iccp.png", FLECK_SCAN_PNG, 1, false, 0, 0 },
    { "srgb.png", FLECK_SCAN_PNG, 0, true, 0.45455, 0 }, /* the chunk implies the value */
    { "gama.png", FLECK_SCAN_PNG, 0, false, 0.45455, 0 },
    { "iccp-of-rgb.png", FLECK_SCAN_PNG, 0, false, 0, 0 }, /* of no use for grey pixels */
    { "grey8.png", FLECK_SCAN_PNG, 0, false, 0, 0 },
    { "deflate-old.tif", FLECK_SCAN_TIFF, 1, false, 0, 0 },
    { "big8.tif", FLECK_SCAN_TIFF, 0, false, 0, 0 },
    { "icc.jpg", FLECK_SCAN_JPEG, 1, false, 0, 75 },
    { "420.jpg", FLECK_SCAN_JPEG, 0, false, 0, 75 }, /* 75 is PIL's default */
    { "444.jpg", FLECK_SCAN_JPEG, 0, false, 0, 90 },
    { "q30.jpg", FLECK_SCAN_JPEG, 0, false, 0, 30 },
    { "q100.jpg", FLECK_SCAN_JPEG, 0, false, 0, 100 },
};

static void what_stands_before_the_pixels_is_told(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof heads / sizeof heads[0]; i++) {
        const fleck_scan_info *info;
        fleck_scan *scan;
        char path[512];

        assert_int_equal(fleck_scan_open(scan_path(heads[i].file, path), 1, &scan, NULL), FLECK_OK);
        info = fleck_scan_get_info(scan);
        check_near(heads[i].file, info->format, heads[i].format, 0);
        check_near(heads[i].file, info->icc != NULL, (double)heads[i].icc_bytes, 0);
        if (info->icc != NULL) /* every profile has this mark. Source: ICC.1:2022, 7.2 */
            assert_memory_equal((const char *)info->icc + 36, "acsp", 4);
        check_near(heads[i].file, info->icc_bytes > 100, (double)heads[i].icc_bytes, 0);
        if (info->icc == NULL) {
            check_near(heads[i].file, info->srgb, heads[i].srgb, 0);
            check_near(heads[i].file, info->gamma, heads[i].gamma, 1e-12);
        }
        check_near(heads[i].file, info->jpeg_quality, heads[i].quality, 0);
        fleck_scan_close(scan);
    }
}

static void a_format_has_a_name(void **state)
{
    (void)state;
    assert_string_equal(fleck_scan_format_name(FLECK_SCAN_PNG), "png");
    assert_string_equal(fleck_scan_format_name(FLECK_SCAN_TIFF), "tiff");
    assert_string_equal(fleck_scan_format_name(FLECK_SCAN_JPEG), "jpeg");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_scan_from_a_file_has_the_pixels_that_were_put_into_it),
        cmocka_unit_test(a_scan_from_memory_is_the_same),
        cmocka_unit_test(what_stands_before_the_pixels_is_told),
        cmocka_unit_test(a_format_has_a_name),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
