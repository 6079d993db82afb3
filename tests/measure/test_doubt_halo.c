/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "disc_picture.h"
#include "measure/doubt_halo.h"
#include "support/check.h"

static const double mm_600 = 25.4 / 600;

/* Bars of ink 10 pixels wide in paper 30 wide; tone of a pixel by its distance from the nearest
 * bar. */
static fleck_doubt_halo measure_bars(const double paper[15], double ink, bool light_ink)
{
    enum { BARS = 10, PERIOD = 40, WIDTH = BARS * PERIOD };
    const fleck_geometry geometry = { WIDTH, 70, mm_600, mm_600 };
    fleck_clear_rows clear;
    fleck_doubt_halo_sums sums = { 0 };
    fleck_run runs[BARS];
    uint16_t q[WIDTH];

    for (size_t x = 0; x < WIDTH; x++) {
        const size_t at = x % PERIOD; /* 0 to 14 and 25 to 39 paper, 15 to 24 ink */
        double value = at < 15 ? paper[14 - at] : at < 25 ? ink : paper[at - 25];

        if (light_ink)
            value = 1 - value;
        q[x] = (uint16_t)(65535 * value + 0.5);
    }
    for (uint32_t i = 0; i < BARS; i++)
        runs[i] = (fleck_run){ i * PERIOD + 15, i * PERIOD + 25 };
    assert_true(fleck_clear_rows_begin(&clear, &geometry));
    for (size_t y = 0; y < geometry.height_px; y++) {
        if (fleck_clear_rows_add(&clear, q, runs, BARS))
            fleck_doubt_halo_add(&sums, &clear);
    }
    fleck_clear_rows_end(&clear);
    return light_ink ? fleck_doubt_halo_finish(&sums, 1 - ink, 1 - 0.8)
                     : fleck_doubt_halo_finish(&sums, ink, 0.8);
}

/* 0.84 over 0.8 beside a contrast of 0.8 - 0.1 */
static const double overshooting[15] = { 0.5, 0.84, 0.82, 0.8, 0.8, 0.8, 0.8, 0.8,
                                         0.8, 0.8,  0.8,  0.8, 0.8, 0.8, 0.8 };
static const double soft[15] = { 0.5, 0.7, 0.77, 0.79, 0.799, 0.8, 0.8, 0.8,
                                 0.8, 0.8, 0.8,  0.8,  0.8,   0.8, 0.8 };

static void the_statistic_is_the_overshoot_over_the_contrast(void **state)
{
    const fleck_doubt_halo halo = measure_bars(overshooting, 0.1, false);

    (void)state;
    check_near("by hand: 0.04 / 0.7", halo.doubt.statistic, 0.04 / 0.7, 1e-4);
    assert_true(halo.doubt.exceeded);
}

static void light_ink_on_dark_paper_overshoots_downward(void **state)
{
    const fleck_doubt_halo halo = measure_bars(overshooting, 0.1, true);

    (void)state;
    check_near("by hand: 0.04 / 0.7", halo.doubt.statistic, 0.04 / 0.7, 1e-4);
    assert_true(halo.doubt.exceeded);
}

static void a_soft_edge_is_no_halo(void **state)
{
    const fleck_doubt_halo halo = measure_bars(soft, 0.1, false);

    (void)state;
    check_near("monotone towards the paper", halo.doubt.statistic, 0, 0);
    assert_false(halo.doubt.exceeded);
}

static void measure_discs(disc_picture *picture, fleck_doubt_halo *halo)
{
    const fleck_geometry geometry = { picture->width_px, picture->height_px, mm_600, mm_600 };
    fleck_clear_rows clear;
    fleck_doubt_halo_sums sums = { 0 };

    assert_true(fleck_clear_rows_begin(&clear, &geometry));
    for (size_t y = 0; y < picture->height_px; y++) {
        const size_t count = disc_picture_row(picture, y);

        if (fleck_clear_rows_add(&clear, picture->q + y * picture->width_px, picture->runs, count))
            fleck_doubt_halo_add(&sums, &clear);
    }
    fleck_clear_rows_end(&clear);
    *halo = fleck_doubt_halo_finish(&sums, 0.1, 0.8);
}

/* 50 % of the difference from the mean of 3 x 3, as simple sharpening does. */
static void sharpen(disc_picture *picture)
{
    const size_t w = picture->width_px;
    double *sharp = calloc(w * picture->height_px, sizeof *sharp);

    for (size_t y = 0; y < picture->height_px; y++) {
        for (size_t x = 0; x < w; x++) {
            double sum = 0, n = 0;

            for (size_t v = y > 0 ? y - 1 : 0; v <= y + 1 && v < picture->height_px; v++) {
                for (size_t u = x > 0 ? x - 1 : 0; u <= x + 1 && u < w; u++) {
                    sum += picture->reflectance[v * w + u];
                    n++;
                }
            }
            sharp[y * w + x] = 1.5 * picture->reflectance[y * w + x] - 0.5 * sum / n;
        }
    }
    free(picture->reflectance);
    picture->reflectance = sharp;
    disc_picture_code(picture, 255);
}

static void sharpened_discs_have_a_halo_and_clean_ones_none(void **state)
{
    static const struct {
        double softness_px, noise;
    } cases[] = { { 0, 0 }, { 0.5, 0 }, { 0.5, 0.02 } };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        disc_picture picture =
            disc_picture_new(800, 800, cases[i].softness_px, cases[i].noise, 3 + i);
        fleck_doubt_halo halo;

        measure_discs(&picture, &halo);
        assert_true(isfinite(halo.doubt.statistic));
        assert_false(halo.doubt.exceeded);
        sharpen(&picture);
        measure_discs(&picture, &halo);
        assert_true(halo.doubt.exceeded);
        disc_picture_free(&picture);
    }
}

static void without_room_beside_edges_nothing_is_told(void **state)
{
    disc_picture picture = disc_picture_new(80, 40, 0.5, 0, 1);
    fleck_doubt_halo halo;

    (void)state;
    measure_discs(&picture, &halo);
    assert_true(isnan(halo.doubt.statistic));
    assert_false(halo.doubt.exceeded);
    disc_picture_free(&picture);
}

static void the_warning_names_sharpening_and_comes_with_a_doubt_only(void **state)
{
    fleck_warnings warnings = { 0 };
    fleck_doubt_halo halo = measure_bars(soft, 0.1, false);

    (void)state;
    assert_int_equal(fleck_doubt_halo_warn(&halo, &warnings, NULL), FLECK_OK);
    assert_int_equal(warnings.count, 0);
    halo = measure_bars(overshooting, 0.1, false);
    assert_int_equal(fleck_doubt_halo_warn(&halo, &warnings, NULL), FLECK_OK);
    assert_true(fleck_warnings_has(&warnings, "sharpening-halo"));
    fleck_warnings_clear(&warnings);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_statistic_is_the_overshoot_over_the_contrast),
        cmocka_unit_test(light_ink_on_dark_paper_overshoots_downward),
        cmocka_unit_test(a_soft_edge_is_no_halo),
        cmocka_unit_test(sharpened_discs_have_a_halo_and_clean_ones_none),
        cmocka_unit_test(without_room_beside_edges_nothing_is_told),
        cmocka_unit_test(the_warning_names_sharpening_and_comes_with_a_doubt_only),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
