/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "disc_picture.h"
#include "measure/doubt_upsampled.h"
#include "support/check.h"

static fleck_doubt measure(disc_picture *picture)
{
    const fleck_geometry geometry = { picture->width_px, picture->height_px, 25.4 / 600,
                                      25.4 / 600 };
    fleck_clear_rows clear;
    fleck_doubt_upsampled_sums sums = { 0 };

    assert_true(fleck_clear_rows_begin(&clear, &geometry));
    for (size_t y = 0; y < picture->height_px; y++) {
        const size_t count = disc_picture_row(picture, y);

        if (fleck_clear_rows_add(&clear, picture->q + y * picture->width_px, picture->runs, count))
            fleck_doubt_upsampled_add(&sums, &clear);
    }
    fleck_clear_rows_end(&clear);
    return fleck_doubt_upsampled_finish(&sums);
}

static void white_noise_gives_one_whatever_its_size_and_the_edges_softness(void **state)
{
    static const struct {
        double softness_px, noise, levels, tolerance;
    } cases[] = {
        { 0, 0.02, 0, 0.04 },      { 0.5, 0.01, 255, 0.06 }, { 1.2, 0.01, 0, 0.06 },
        { 1.2, 0.005, 255, 0.12 }, { 0.5, 0.003, 0, 0.06 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        disc_picture picture =
            disc_picture_new(800, 800, cases[i].softness_px, cases[i].noise, 11 + i);
        fleck_doubt doubt;

        disc_picture_code(&picture, cases[i].levels);
        doubt = measure(&picture);
        check_near("filters of equal gain", doubt.statistic, 1, cases[i].tolerance);
        assert_false(doubt.exceeded);
        disc_picture_free(&picture);
    }
}

/* Twice as large by linear interpolation, pixel centres kept in place. */
static disc_picture enlarge(const disc_picture *small)
{
    const size_t w = small->width_px, h = small->height_px;
    disc_picture large = disc_picture_new(2 * w, 2 * h, 0, 0, 1);

    for (size_t y = 0; y < 2 * h; y++) {
        for (size_t x = 0; x < 2 * w; x++) {
            const size_t x0 = x / 2, y0 = y / 2;
            const size_t x1 = x % 2 == 1 ? (x0 + 1 < w ? x0 + 1 : x0) : (x0 > 0 ? x0 - 1 : 0);
            const size_t y1 = y % 2 == 1 ? (y0 + 1 < h ? y0 + 1 : y0) : (y0 > 0 ? y0 - 1 : 0);

            large.reflectance[y * 2 * w + x] = 0.75 * (0.75 * small->reflectance[y0 * w + x0] +
                                                       0.25 * small->reflectance[y0 * w + x1]) +
                                               0.25 * (0.75 * small->reflectance[y1 * w + x0] +
                                                       0.25 * small->reflectance[y1 * w + x1]);
        }
    }
    return large;
}

static void an_enlarged_scan_is_told_in_16_and_in_8_bits(void **state)
{
    (void)state;
    for (int eight = 0; eight < 2; eight++) {
        disc_picture small = disc_picture_new(400, 400, 0.5, 0.01, 21);
        disc_picture large = enlarge(&small);
        fleck_doubt doubt;

        disc_picture_code(&large, eight ? 255 : 0);
        doubt = measure(&large);
        assert_true(doubt.exceeded);
        disc_picture_free(&small);
        disc_picture_free(&large);
    }
}

static void without_noise_worth_the_name_nothing_is_told(void **state)
{
    static const struct {
        double softness_px, noise, levels;
    } cases[] = {
        { 0, 0, 0 }, { 0.5, 0, 0 }, { 1.2, 0, 255 }, { 1.2, 0, 0 }, { 3, 0, 0 }, { 0.5, 0.0005, 0 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        disc_picture picture = disc_picture_new(800, 800, cases[i].softness_px, cases[i].noise, 31);
        fleck_doubt doubt;

        disc_picture_code(&picture, cases[i].levels);
        doubt = measure(&picture);
        assert_true(isnan(doubt.statistic));
        assert_false(doubt.exceeded);
        disc_picture_free(&picture);
    }
}

/* Bent everywhere, sharply so at few places, and without noise: what is left of blurred edges. */
static void bends_that_are_not_alike_everywhere_are_no_noise(void **state)
{
    enum { WIDTH = 1000, PERIOD = 40 };
    const fleck_geometry geometry = { WIDTH, 7, 25.4 / 600, 25.4 / 600 };
    fleck_clear_rows clear;
    fleck_doubt_upsampled_sums sums = { 0 };
    uint16_t q[WIDTH];

    (void)state;
    for (size_t x = 0; x < WIDTH; x++) {
        const double from_middle = (double)(x % PERIOD) - PERIOD / 2.0;

        q[x] = (uint16_t)(60000 - 25 * from_middle * from_middle - 300 * fabs(from_middle));
    }
    assert_true(fleck_clear_rows_begin(&clear, &geometry));
    for (size_t y = 0; y < geometry.height_px; y++) {
        if (fleck_clear_rows_add(&clear, q, NULL, 0))
            fleck_doubt_upsampled_add(&sums, &clear);
    }
    fleck_clear_rows_end(&clear);
    assert_in_range(sums.count[FLECK_PHASE_BARE], 900, WIDTH);
    assert_true(isnan(fleck_doubt_upsampled_finish(&sums).statistic));
}

static void the_warning_comes_with_a_doubt_only(void **state)
{
    fleck_doubt doubt = { .statistic = 0.3, .critical = 0.55, .exceeded = false };
    fleck_warnings warnings = { 0 };

    (void)state;
    assert_int_equal(fleck_doubt_upsampled_warn(&doubt, &warnings, NULL), FLECK_OK);
    assert_int_equal(warnings.count, 0);
    doubt.exceeded = true;
    assert_int_equal(fleck_doubt_upsampled_warn(&doubt, &warnings, NULL), FLECK_OK);
    assert_true(fleck_warnings_has(&warnings, "upsampled"));
    fleck_warnings_clear(&warnings);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(white_noise_gives_one_whatever_its_size_and_the_edges_softness),
        cmocka_unit_test(an_enlarged_scan_is_told_in_16_and_in_8_bits),
        cmocka_unit_test(without_noise_worth_the_name_nothing_is_told),
        cmocka_unit_test(bends_that_are_not_alike_everywhere_are_no_noise),
        cmocka_unit_test(the_warning_comes_with_a_doubt_only),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
