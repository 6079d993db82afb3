/* SPDX-License-Identifier: GPL-3.0-or-later */
/* libspng shares no code with libpng. */
#include "io/scan_files.h"

#include <spng.h>

/* Any sample as 16 bits of four channels, which is how libspng gives every kind of PNG alike. */
static uint16_t sample_16(const fleck_scan_info *info, const uint8_t *row, size_t x, size_t k)
{
    const size_t samples = info->channels + (info->has_alpha ? 1 : 0);
    size_t at;
    uint16_t value;

    if (k == 3 && !info->has_alpha)
        return 65535;
    at = x * samples + (k == 3 ? info->channels : info->channels == 1 ? 0 : k);
    if (info->sample_bytes == 1)
        return (uint16_t)(row[at] * 257);
    memcpy(&value, row + 2 * at, 2);
    return value;
}

static uint16_t *read_with_spng(const char *file, size_t *bytes)
{
    size_t size;
    uint8_t *data = read_file(file, &size);
    spng_ctx *context = spng_ctx_new(0);
    uint16_t *pixels;

    assert_non_null(context);
    assert_int_equal(spng_set_png_buffer(context, data, size), 0);
    assert_int_equal(spng_decoded_image_size(context, SPNG_FMT_RGBA16, bytes), 0);
    pixels = malloc(*bytes);
    assert_non_null(pixels);
    assert_int_equal(spng_decode_image(context, pixels, *bytes, SPNG_FMT_RGBA16, SPNG_DECODE_TRNS),
                     0);
    spng_ctx_free(context);
    free(data);
    return pixels;
}

static void a_png_has_the_pixels_that_libspng_reads(void **state)
{
    static scan_case cases[MAX_CASES];
    const size_t count = read_cases(cases);
    size_t compared = 0;

    (void)state;
    for (size_t i = 0; i < count; i++) {
        const fleck_scan_info *info;
        uint16_t *expected;
        fleck_scan *scan;
        uint8_t *row;
        char path[512];
        size_t bytes;

        /* libspng does not turn images */
        if (strstr(cases[i].file, ".png") == NULL || strncmp(cases[i].file, "exif-", 5) == 0)
            continue;
        expected = read_with_spng(cases[i].file, &bytes);
        assert_int_equal(fleck_scan_open(scan_path(cases[i].file, path), 1, &scan, NULL), FLECK_OK);
        info = fleck_scan_get_info(scan);
        assert_int_equal(bytes, info->width_px * info->height_px * 8);
        row = malloc(fleck_scan_row_bytes(scan));
        assert_non_null(row);
        for (size_t y = 0; y < info->height_px; y++) {
            assert_int_equal(fleck_scan_read_row(scan, row, NULL), FLECK_OK);
            for (size_t n = 0; n < info->width_px * 4; n++) {
                const uint16_t is = sample_16(info, row, n / 4, n % 4);

                if (is != expected[y * info->width_px * 4 + n])
                    fail_msg("%s: sample %zu of row %zu is %u", cases[i].file, n, y, is);
            }
        }
        free(row);
        fleck_scan_close(scan);
        free(expected);
        compared++;
    }
    assert_true(compared >= 45);
}

int main(void)
{
    const struct CMUnitTest tests[] = { cmocka_unit_test(a_png_has_the_pixels_that_libspng_reads) };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
