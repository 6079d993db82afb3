/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "measure/clear_rows.h"
#include "support/check.h"

static void the_reach_is_an_eighth_of_a_millimetre_and_three_pixels_at_least(void **state)
{
    static const struct {
        double pixel_x_mm, pixel_y_mm;
        size_t reach_px;
    } cases[] = {
        { 25.4 / 300, 25.4 / 300, 3 },    { 25.4 / 600, 25.4 / 600, 3 },
        { 25.4 / 1200, 25.4 / 1200, 6 },  { 25.4 / 600, 25.4 / 1200, 6 },
        { 25.4 / 2400, 25.4 / 2400, 12 }, { 1e-9, 1e-9, 100 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_geometry geometry = { 10, 10, cases[i].pixel_x_mm, cases[i].pixel_y_mm };

        assert_int_equal(fleck_clear_reach_px(&geometry), cases[i].reach_px);
    }
}

/* A slow twin: a pixel is clear when all seven of its column in the band have its phase. */
static void stretches_are_those_with_one_phase_in_all_rows_of_the_band(void **state)
{
    enum { WIDTH = 70, HEIGHT = 7 * 40, BAND = 7 };
    static uint16_t q[HEIGHT][WIDTH];
    const fleck_geometry geometry = { WIDTH, HEIGHT, 25.4 / 600, 25.4 / 600 };
    fleck_clear_rows clear;
    fleck_run runs[WIDTH / 2 + 1];
    uint64_t random = 5;
    size_t bands = 0;

    (void)state;
    assert_true(fleck_clear_rows_begin(&clear, &geometry));
    for (size_t y = 0; y < HEIGHT; y++) {
        for (size_t x = 0; x < WIDTH; x++) {
            const bool flip = test_uniform(&random) < 0.03;

            /* much alike from row to row, so that something is clear; bands of one phase too */
            q[y][x] = y % BAND == 0 ? (uint16_t)((test_random(&random) & 1) * 60000)
                      : flip        ? (uint16_t)(60000 - q[y - 1][x])
                                    : q[y - 1][x];
            if (y / BAND == 3)
                q[y][x] = 60000;
            if (y / BAND == 4)
                q[y][x] = 0;
        }
    }
    for (size_t y = 0; y < HEIGHT; y++) {
        const size_t count = fleck_runs_from_row(q[y], WIDTH, 30000, FLECK_INK_DARK, runs);

        if (!fleck_clear_rows_add(&clear, q[y], runs, count)) {
            assert_int_not_equal(y % BAND, BAND - 1);
            continue;
        }
        assert_int_equal(y % BAND, BAND - 1);
        bands++;
        assert_memory_equal(clear.q, q[y - 3], sizeof q[y]);
        for (size_t phase = 0; phase < 2; phase++) {
            bool is_clear[WIDTH] = { false };

            for (size_t i = 0; i < clear.clear_count[phase]; i++) {
                const fleck_run stretch = clear.clear[phase][i];

                assert_true(stretch.start_px < stretch.end_px && stretch.end_px <= WIDTH);
                assert_true(i == 0 || clear.clear[phase][i - 1].end_px < stretch.start_px);
                memset(is_clear + stretch.start_px, true, stretch.end_px - stretch.start_px);
            }
            for (size_t x = 0; x < WIDTH; x++) {
                bool expected = true;

                for (size_t row = y - 6; row <= y; row++)
                    expected = expected && (q[row][x] <= 30000) == (phase == FLECK_PHASE_INK);
                assert_int_equal(is_clear[x], expected);
            }
        }
    }
    assert_int_equal(bands, HEIGHT / BAND);
    fleck_clear_rows_end(&clear);
}

static void of_a_large_region_one_band_in_two_is_looked_at(void **state)
{
    const fleck_geometry geometry = { 2000, 2000, 25.4 / 600, 25.4 / 600 };
    fleck_clear_rows clear;
    uint16_t *q = calloc(2000, sizeof *q);
    size_t bands = 0;

    (void)state;
    assert_true(fleck_clear_rows_begin(&clear, &geometry));
    for (size_t y = 0; y < 2000; y++)
        bands += fleck_clear_rows_add(&clear, q, NULL, 0);
    assert_int_equal(bands, 2000 / 14 + (2000 % 14 >= 7));
    fleck_clear_rows_end(&clear);
    free(q);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_reach_is_an_eighth_of_a_millimetre_and_three_pixels_at_least),
        cmocka_unit_test(stretches_are_those_with_one_phase_in_all_rows_of_the_band),
        cmocka_unit_test(of_a_large_region_one_band_in_two_is_looked_at),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
