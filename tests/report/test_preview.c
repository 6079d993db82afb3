/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The preview shows outlines where the layout says, in the colour that tells what is in doubt. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include "fleck/locate.h"
#include "fleck/scan.h"
#include "support/check.h"

/* Read a picture of 3 channels whole. */
static uint8_t *read_picture(const char *path, size_t *width_px, size_t *height_px)
{
    fleck_scan *scan = NULL;
    fleck_error err = { 0 };
    const fleck_scan_info *info;
    uint8_t *pixels;

    assert_int_equal(fleck_scan_open(path, 1, &scan, &err), FLECK_OK);
    info = fleck_scan_get_info(scan);
    assert_int_equal(info->channels, 3);
    *width_px = info->width_px;
    *height_px = info->height_px;
    pixels = malloc(3 * info->width_px * info->height_px);
    assert_non_null(pixels);
    for (size_t y = 0; y < info->height_px; y++)
        assert_int_equal(fleck_scan_read_row(scan, pixels + 3 * y * info->width_px, &err),
                         FLECK_OK);
    fleck_scan_close(scan);
    return pixels;
}

static void outlines_lie_where_the_layout_says(void **state)
{
    /* blue, vermilion, grey: see preview.c */
    static const struct {
        const char *words;
        double x_mm, y_mm;
        uint8_t rgb[3];
    } cases[] = {
        { "left side of the first", 10, 30, { 0, 114, 178 } },
        { "lower side of the first", 25, 50, { 0, 114, 178 } },
        /* 20 mm to the right of the centre (75, 30), turned by 10 degrees anticlockwise: up */
        { "right side of the doubtful one", 94.696, 26.527, { 213, 94, 0 } },
        { "paper", 5, 5, { 255, 255, 255 } },
        { "ink", 30, 35, { 0, 0, 0 } },
    };
    enum { COLUMNS = 440, ROWS = 240 };
    uint16_t *const reflectance = malloc(COLUMNS * ROWS * sizeof *reflectance);
    fleck_located patches[2] = {
        { .id = "1", .box = { 10, 10, 30, 40 } },
        { .id = "r12c3", .box = { 55, 10, 40, 40 }, .tilt_deg = 10, .doubts = FLECK_DOUBT_CUT },
    };
    fleck_located left_out = { .box = { 98, 5, 8, 50 }, .kind = FLECK_BLOCK_RULER };
    const fleck_layout layout = {
        .patches = patches,
        .count = 2,
        .left_out = &left_out,
        .left_out_count = 1,
        .width_mm = 110,
        .height_mm = 60,
        .map = { COLUMNS, ROWS, 1, 0.25, reflectance },
    };
    char path[64];
    size_t width_px, height_px;
    double per_mm;
    uint8_t *pixels;
    fleck_error err = { 0 };

    (void)state;
    assert_non_null(reflectance);
    for (size_t i = 0; i < COLUMNS * ROWS; i++) /* ink in the first box */
        reflectance[i] =
            i % COLUMNS >= 40 && i % COLUMNS < 160 && i / COLUMNS >= 40 && i / COLUMNS < 200
                ? 0
                : 65535;
    snprintf(path, sizeof path, "/tmp/fleck-preview-%ld.png", (long)getpid());
    assert_int_equal(fleck_layout_write_preview(&layout, path, &err), FLECK_OK);
    pixels = read_picture(path, &width_px, &height_px);
    (void)remove(path);
    per_mm = (double)width_px / 110;
    check_near("pixels per mm, along both sides", (double)height_px / 60, per_mm, 1e-9);
    assert_true(width_px >= 1200); /* small sheets are enlarged to be legible */
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const size_t x = (size_t)(cases[i].x_mm * per_mm), y = (size_t)(cases[i].y_mm * per_mm);

        for (size_t c = 0; c < 3; c++)
            check_near(cases[i].words, pixels[3 * (y * width_px + x) + c], cases[i].rgb[c], 3);
    }
    free(pixels);
    free(reflectance);
}

static void a_sheet_too_long_to_draw_is_refused(void **state)
{
    uint16_t cell = 0;
    const fleck_layout layout = { .map = { 40000, 1, 1, 0.25, &cell } };
    fleck_error err = { 0 };

    (void)state;
    assert_int_equal(fleck_layout_write_preview(&layout, "never.png", &err), FLECK_NO_RESOURCE);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(outlines_lie_where_the_layout_says),
        cmocka_unit_test(a_sheet_too_long_to_draw_is_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
