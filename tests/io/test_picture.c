/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <png.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <tiffio.h>
#include <unistd.h>

#include "io/picture.h"

enum { WIDTH = 37, HEIGHT = 23 };

static char folder[] = "/tmp/fleck-picture-XXXXXX";
static char path_text[256];

static const char *at(const char *name)
{
    snprintf(path_text, sizeof path_text, "%s/%s", folder, name);
    return path_text;
}

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) == NULL;
}

static int remove_folder(void **state)
{
    (void)state;
    return rmdir(folder);
}

/* Every sample is random, so that a swapped byte, a shifted row or a lost channel shows. */
static void *random_samples(const fleck_picture *picture)
{
    const size_t bytes =
        picture->width_px * picture->height_px * picture->channels * (picture->bits / 8);
    unsigned char *samples = malloc(bytes);
    uint64_t seed = picture->channels * 100 + picture->bits;

    assert_non_null(samples);
    for (size_t i = 0; i < bytes; i++)
        samples[i] = (unsigned char)test_random(&seed);
    return samples;
}

static const struct shape {
    unsigned channels, bits;
} shapes[] = { { 1, 8 }, { 1, 16 }, { 3, 8 }, { 3, 16 } };

static void check_png(const char *path, const fleck_picture *picture, const void *expected)
{
    const size_t row_bytes = picture->width_px * picture->channels * (picture->bits / 8);
    FILE *file = fopen(path, "rb");
    png_structp png = png_create_read_struct(PNG_LIBPNG_VER_STRING, NULL, NULL, NULL);
    png_infop info = png_create_info_struct(png);
    png_uint_32 x_per_metre = 0, y_per_metre = 0;
    int unit = 0, intent = -1;
    unsigned char *row = malloc(row_bytes);

    assert_non_null(file);
    assert_non_null(row);
    png_init_io(png, file);
    png_read_info(png, info);
    assert_int_equal(png_get_image_width(png, info), picture->width_px);
    assert_int_equal(png_get_image_height(png, info), picture->height_px);
    assert_int_equal(png_get_bit_depth(png, info), picture->bits);
    assert_int_equal(png_get_channels(png, info), picture->channels);
    assert_int_equal(png_get_sRGB(png, info, &intent) != 0, picture->srgb);
    assert_int_equal(png_get_pHYs(png, info, &x_per_metre, &y_per_metre, &unit) != 0,
                     picture->ppi_x > 0);
    if (picture->ppi_x > 0) {
        assert_int_equal(unit, PNG_RESOLUTION_METER);
        check_near("whole pixels per metre", x_per_metre * 0.0254, picture->ppi_x, 0.0127);
        check_near("whole pixels per metre", y_per_metre * 0.0254, picture->ppi_y, 0.0127);
    }
    if (picture->bits == 16)
        png_set_swap(png);
    for (size_t y = 0; y < picture->height_px; y++) {
        png_read_row(png, row, NULL);
        assert_memory_equal(row, (const unsigned char *)expected + y * row_bytes, row_bytes);
    }
    png_read_end(png, NULL);
    png_destroy_read_struct(&png, &info, NULL);
    fclose(file);
    free(row);
}

static void a_png_reads_back_as_it_was_given(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof shapes / sizeof *shapes; i++) {
        const fleck_picture picture = {
            .format = FLECK_PICTURE_PNG,
            .width_px = WIDTH,
            .height_px = HEIGHT,
            .channels = shapes[i].channels,
            .bits = shapes[i].bits,
            .ppi_x = i == 0 ? 0 : 600,
            .ppi_y = i == 0 ? 0 : 1200,
            .srgb = i % 2 == 1,
        };
        void *samples = random_samples(&picture);

        assert_int_equal(fleck_picture_write_samples(at("a.png"), &picture, samples, NULL),
                         FLECK_OK);
        check_png(at("a.png"), &picture, samples);
        free(samples);
        unlink(at("a.png"));
    }
}

static void check_tiff(const char *path, const fleck_picture *picture, const void *expected)
{
    const size_t row_bytes = picture->width_px * picture->channels * (picture->bits / 8);
    TIFF *tiff = TIFFOpen(path, "r");
    unsigned char *row = malloc(row_bytes);
    uint32_t width = 0, height = 0;
    uint16_t bits = 0, channels = 0, unit = 0, photometric = 9;
    float ppi_x = 0, ppi_y = 0;

    assert_non_null(tiff);
    assert_non_null(row);
    TIFFGetField(tiff, TIFFTAG_IMAGEWIDTH, &width);
    TIFFGetField(tiff, TIFFTAG_IMAGELENGTH, &height);
    TIFFGetField(tiff, TIFFTAG_BITSPERSAMPLE, &bits);
    TIFFGetField(tiff, TIFFTAG_SAMPLESPERPIXEL, &channels);
    TIFFGetField(tiff, TIFFTAG_PHOTOMETRIC, &photometric);
    assert_int_equal(width, picture->width_px);
    assert_int_equal(height, picture->height_px);
    assert_int_equal(bits, picture->bits);
    assert_int_equal(channels, picture->channels);
    assert_int_equal(photometric,
                     picture->channels == 1 ? PHOTOMETRIC_MINISBLACK : PHOTOMETRIC_RGB);
    assert_int_equal(TIFFGetField(tiff, TIFFTAG_XRESOLUTION, &ppi_x), picture->ppi_x > 0);
    if (picture->ppi_x > 0) {
        TIFFGetField(tiff, TIFFTAG_YRESOLUTION, &ppi_y);
        TIFFGetField(tiff, TIFFTAG_RESOLUTIONUNIT, &unit);
        assert_int_equal(unit, RESUNIT_INCH);
        check_ratio("a fraction holds single precision", ppi_x, picture->ppi_x, 1e-6);
        check_ratio("a fraction holds single precision", ppi_y, picture->ppi_y, 1e-6);
    }
    for (size_t y = 0; y < picture->height_px; y++) {
        assert_int_equal(TIFFReadScanline(tiff, row, (uint32_t)y, 0), 1);
        assert_memory_equal(row, (const unsigned char *)expected + y * row_bytes, row_bytes);
    }
    TIFFClose(tiff);
    free(row);
}

static void a_tiff_reads_back_as_it_was_given(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof shapes / sizeof *shapes; i++) {
        const fleck_picture picture = {
            .format = FLECK_PICTURE_TIFF,
            .width_px = WIDTH,
            .height_px = HEIGHT,
            .channels = shapes[i].channels,
            .bits = shapes[i].bits,
            .ppi_x = i == 0 ? 0 : 599.97,
            .ppi_y = i == 0 ? 0 : 2400,
        };
        void *samples = random_samples(&picture);

        assert_int_equal(fleck_picture_write_samples(at("a.tif"), &picture, samples, NULL),
                         FLECK_OK);
        check_tiff(at("a.tif"), &picture, samples);
        free(samples);
        unlink(at("a.tif"));
    }
}

static void the_format_follows_the_ending(void **state)
{
    static const struct {
        const char *path;
        int known;
        fleck_picture_format format;
    } cases[] = {
        { "a.png", 1, FLECK_PICTURE_PNG },    { "b/a.PNG", 1, FLECK_PICTURE_PNG },
        { "a.tif", 1, FLECK_PICTURE_TIFF },   { "a.b.Tiff", 1, FLECK_PICTURE_TIFF },
        { "a.jpg", 0, FLECK_PICTURE_PNG },    { ".png", 0, FLECK_PICTURE_PNG },
        { "png", 0, FLECK_PICTURE_PNG },      { "", 0, FLECK_PICTURE_PNG },
        { "a.png.gz", 0, FLECK_PICTURE_PNG },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_picture_format format = FLECK_PICTURE_PNG;

        assert_int_equal(fleck_picture_format_from_name(cases[i].path, &format), cases[i].known);
        assert_int_equal(format, cases[i].format);
    }
}

static fleck_status fail_half_way(void *context, size_t y, void *samples, fleck_error *err)
{
    (void)context;
    memset(samples, 0, WIDTH);
    return y < HEIGHT / 2 ? FLECK_OK : fleck_fail(err, FLECK_BAD_INPUT, "no more rows; give more");
}

static void a_failing_row_leaves_the_old_file_as_it_was(void **state)
{
    static const char *const names[] = { "old.png", "old.tif" };

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        const fleck_picture picture = {
            .format = i == 0 ? FLECK_PICTURE_PNG : FLECK_PICTURE_TIFF,
            .width_px = WIDTH,
            .height_px = HEIGHT,
            .channels = 1,
            .bits = 8,
        };
        fleck_error err = { FLECK_OK, "" };
        FILE *old = fopen(at(names[i]), "wb");
        char text[16] = "";

        assert_non_null(old);
        fputs("as it was", old);
        fclose(old);
        assert_int_equal(fleck_picture_write(at(names[i]), &picture, fail_half_way, NULL, &err),
                         FLECK_BAD_INPUT);
        assert_string_equal(err.message, "no more rows; give more");
        old = fopen(at(names[i]), "rb");
        assert_non_null(old);
        assert_non_null(fgets(text, sizeof text, old));
        fclose(old);
        assert_string_equal(text, "as it was");
        unlink(at(names[i])); /* remove_folder fails when a temporary file stays behind */
    }
}

static void a_missing_folder_is_told(void **state)
{
    const fleck_picture picture = { .format = FLECK_PICTURE_PNG,
                                    .width_px = WIDTH,
                                    .height_px = HEIGHT,
                                    .channels = 1,
                                    .bits = 8 };
    const unsigned char samples[WIDTH * HEIGHT] = { 0 };
    fleck_error err = { FLECK_OK, "" };

    (void)state;
    assert_int_equal(fleck_picture_write_samples(at("missing/a.png"), &picture, samples, &err),
                     FLECK_NO_RESOURCE);
    assert_non_null(strstr(err.message, "; "));
}

/* A limit on the size of files stands for a disk that fills up while rows are being written. */
static void a_disk_that_fills_up_leaves_no_file(void **state)
{
    static const char *const names[] = { "full.png", "full.tif" };
    struct rlimit before, tight;

    (void)state;
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    tight = before;
    tight.rlim_cur = 50000;
    signal(SIGXFSZ, SIG_IGN);
    for (size_t i = 0; i < 2; i++) {
        const fleck_picture picture = {
            .format = i == 0 ? FLECK_PICTURE_PNG : FLECK_PICTURE_TIFF,
            .width_px = 400,
            .height_px = 400,
            .channels = 1,
            .bits = 8,
        };
        fleck_error err = { FLECK_OK, "" };
        void *samples = random_samples(&picture);
        fleck_status status;

        assert_int_equal(setrlimit(RLIMIT_FSIZE, &tight), 0);
        status = fleck_picture_write_samples(at(names[i]), &picture, samples, &err);
        assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
        assert_int_equal(status, FLECK_NO_RESOURCE);
        assert_non_null(strstr(err.message, "make room"));
        assert_int_not_equal(access(at(names[i]), F_OK), 0);
        free(samples);
    }
}

static void a_shape_that_cannot_be_is_refused(void **state)
{
    static const fleck_picture cases[] = {
        { .width_px = 0, .height_px = 1, .channels = 1, .bits = 8 },
        { .width_px = 1, .height_px = 1000001, .channels = 1, .bits = 8 },
        { .width_px = SIZE_MAX, .height_px = SIZE_MAX, .channels = 3, .bits = 16 },
        { .width_px = 1, .height_px = 1, .channels = 2, .bits = 8 },
        { .width_px = 1, .height_px = 1, .channels = 1, .bits = 12 },
        { .width_px = 1, .height_px = 1, .channels = 1, .bits = 8, .ppi_x = 600 },
        { .width_px = 1, .height_px = 1, .channels = 1, .bits = 8, .ppi_x = -1, .ppi_y = -1 },
        { .width_px = 1, .height_px = 1, .channels = 1, .bits = 8, .ppi_x = 1e9, .ppi_y = 1e9 },
    };
    const unsigned char samples[1] = { 0 };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        assert_int_equal(fleck_picture_write_samples(at("no.png"), &cases[i], samples, NULL),
                         FLECK_BAD_CALL);
    assert_int_not_equal(access(at("no.png"), F_OK), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_png_reads_back_as_it_was_given),
        cmocka_unit_test(a_tiff_reads_back_as_it_was_given),
        cmocka_unit_test(the_format_follows_the_ending),
        cmocka_unit_test(a_failing_row_leaves_the_old_file_as_it_was),
        cmocka_unit_test(a_missing_folder_is_told),
        cmocka_unit_test(a_disk_that_fills_up_leaves_no_file),
        cmocka_unit_test(a_shape_that_cannot_be_is_refused),
    };

    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
