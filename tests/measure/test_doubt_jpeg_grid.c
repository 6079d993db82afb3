/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include <jpeglib.h>

#include "disc_picture.h"
#include "measure/doubt_jpeg_grid.h"
#include "support/check.h"

static fleck_doubt_jpeg_grid measure(const uint16_t *q, size_t width_px, size_t height_px)
{
    fleck_doubt_jpeg_grid_sums sums;
    fleck_doubt_jpeg_grid grid;

    assert_true(fleck_doubt_jpeg_grid_begin(&sums, width_px, 0.7));
    for (size_t y = 0; y < height_px; y++)
        fleck_doubt_jpeg_grid_add_row(&sums, q + y * width_px);
    grid = fleck_doubt_jpeg_grid_finish(&sums);
    fleck_doubt_jpeg_grid_end(&sums);
    return grid;
}

/* Noise, and each block of side_px that begins at (left, top) modulo it a little lighter or darker.
 */
static void fill_blocks(uint16_t *q, size_t n, size_t side_px, size_t left, size_t top, double jump)
{
    static double block[300][300];
    uint64_t random = 9;

    for (size_t i = 0; i < 300 * 300; i++)
        block[i / 300][i % 300] = jump * test_normal(&random);
    for (size_t y = 0; y < n; y++) {
        for (size_t x = 0; x < n; x++) {
            const size_t i = (y + side_px - top) / side_px, j = (x + side_px - left) / side_px;

            q[y * n + x] =
                (uint16_t)(40000 + 400 * test_normal(&random) + (jump > 0 ? block[i][j] : 0));
        }
    }
}

static void blocks_of_8_stand_out_and_their_place_is_told(void **state)
{
    static uint16_t q[300 * 300];
    static const size_t places[][2] = { { 0, 0 }, { 3, 5 }, { 7, 1 }, { 2, 2 } };

    (void)state;
    for (size_t i = 0; i < sizeof places / sizeof *places; i++) {
        fleck_doubt_jpeg_grid grid;

        fill_blocks(q, 300, 8, places[i][0], places[i][1], 300);
        grid = measure(q, 300, 300);
        assert_true(grid.doubt.exceeded);
        assert_int_equal(grid.phase_x_px, places[i][0]);
        assert_int_equal(grid.phase_y_px, places[i][1]);
    }
}

static void noise_and_blocks_of_other_sizes_do_not_stand_out(void **state)
{
    static uint16_t q[300 * 300];
    static const size_t sides[] = { 2, 3, 4, 5, 6, 7, 9, 10, 12 };

    (void)state;
    fill_blocks(q, 300, 8, 0, 0, 0);
    assert_false(measure(q, 300, 300).doubt.exceeded);
    for (size_t i = 0; i < sizeof sides / sizeof *sides; i++) {
        fill_blocks(q, 300, sides[i], 1, 1, 300);
        assert_false(measure(q, 300, 300).doubt.exceeded);
    }
}

/* Stripes of 8 pixels, as a ruled paper may have, are no blocks. */
static void a_jump_in_one_direction_alone_is_no_grid(void **state)
{
    static uint16_t q[300 * 300], turned[300 * 300];
    uint64_t random = 4;

    (void)state;
    for (size_t y = 0; y < 300; y++) {
        for (size_t x = 0; x < 300; x++) {
            q[y * 300 + x] =
                (uint16_t)(40000 + 400 * test_normal(&random) + (y % 16 < 8 ? 900 : 0));
            turned[x * 300 + y] = q[y * 300 + x];
        }
    }
    assert_false(measure(q, 300, 300).doubt.exceeded);
    assert_false(measure(turned, 300, 300).doubt.exceeded);
}

static void through_jpeg(disc_picture *picture, int quality)
{
    const size_t w = picture->width_px, h = picture->height_px;
    struct jpeg_compress_struct in;
    struct jpeg_decompress_struct out;
    struct jpeg_error_mgr errors;
    unsigned char *bytes = NULL;
    unsigned long size = 0;
    JSAMPLE *row = malloc(w);

    in.err = out.err = jpeg_std_error(&errors);
    jpeg_create_compress(&in);
    jpeg_mem_dest(&in, &bytes, &size);
    in.image_width = (JDIMENSION)w;
    in.image_height = (JDIMENSION)h;
    in.input_components = 1;
    in.in_color_space = JCS_GRAYSCALE;
    jpeg_set_defaults(&in);
    jpeg_set_quality(&in, quality, TRUE);
    jpeg_start_compress(&in, TRUE);
    for (size_t y = 0; y < h; y++) {
        for (size_t x = 0; x < w; x++)
            row[x] = (JSAMPLE)(255 * sqrt(picture->q[y * w + x] / 65535.0) + 0.5);
        jpeg_write_scanlines(&in, &row, 1);
    }
    jpeg_finish_compress(&in);
    jpeg_destroy_compress(&in);
    jpeg_create_decompress(&out);
    jpeg_mem_src(&out, bytes, size);
    jpeg_read_header(&out, TRUE);
    jpeg_start_decompress(&out);
    for (size_t y = 0; y < h; y++) {
        jpeg_read_scanlines(&out, &row, 1);
        for (size_t x = 0; x < w; x++)
            picture->q[y * w + x] = (uint16_t)(65535 * (row[x] / 255.0) * (row[x] / 255.0));
    }
    jpeg_finish_decompress(&out);
    jpeg_destroy_decompress(&out);
    free(bytes);
    free(row);
}

static void a_former_jpeg_is_told_and_the_scan_before_it_is_not(void **state)
{
    static const int qualities[] = { 50, 75, 90 };
    static const double noises[] = { 0, 0.01 };

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        for (size_t j = 0; j < 2; j++) {
            disc_picture picture = disc_picture_new(500, 500, 0.5, noises[j], 41);
            fleck_doubt_jpeg_grid grid;

            disc_picture_code(&picture, 255);
            assert_false(measure(picture.q, 500, 500).doubt.exceeded);
            through_jpeg(&picture, qualities[i]);
            grid = measure(picture.q, 500, 500);
            assert_true(grid.doubt.exceeded);
            assert_int_equal(grid.phase_x_px, 0);
            assert_int_equal(grid.phase_y_px, 0);
            /* a cut of it begins elsewhere */
            grid = measure(picture.q + 500 * 3, 500, 497);
            assert_true(grid.doubt.exceeded);
            assert_int_equal(grid.phase_y_px, 5);
            disc_picture_free(&picture);
        }
    }
}

static void small_and_plain_pictures_tell_nothing(void **state)
{
    static uint16_t q[300 * 300];

    (void)state;
    fill_blocks(q, 300, 8, 0, 0, 300);
    assert_true(isnan(measure(q, 63, 300).doubt.statistic));
    assert_true(isnan(measure(q, 300, 63).doubt.statistic));
    assert_true(isfinite(measure(q, 64, 64).doubt.statistic));
    assert_true(isnan(measure(q, 1, 1).doubt.statistic));
    for (size_t i = 0; i < 300 * 300; i++)
        q[i] = 50000;
    assert_true(isnan(measure(q, 300, 300).doubt.statistic));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(blocks_of_8_stand_out_and_their_place_is_told),
        cmocka_unit_test(noise_and_blocks_of_other_sizes_do_not_stand_out),
        cmocka_unit_test(a_jump_in_one_direction_alone_is_no_grid),
        cmocka_unit_test(a_former_jpeg_is_told_and_the_scan_before_it_is_not),
        cmocka_unit_test(small_and_plain_pictures_tell_nothing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
