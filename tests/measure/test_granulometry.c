/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/granulometry.h"

#include <math.h>
#include <stdlib.h>

#include "measure/distance_map.h"
#include "measure/random_set_mask.h"
#include "support/check.h"

static void distances_agree_with_the_slow_twin(void **state)
{
    static const double coverages[] = { 0.0, 0.01, 0.2, 0.7, 1.0 };
    uint64_t random = 2;

    (void)state;
    for (size_t trial = 0; trial < 40; trial++) {
        const size_t w = 1 + test_random(&random) % 30, h = 1 + test_random(&random) % 30;
        const double px = 0.1 + test_uniform(&random), py = 0.1 + test_uniform(&random);
        struct mask mask = mask_random(w, h, coverages[trial % 5], &random);
        double room_a[32], room_b[32], *square = malloc(w * h * sizeof *square);
        uint32_t *steps = malloc(w * h * sizeof *steps);
        size_t room_c[32];
        fleck_distance_line line = { room_a, room_b, room_c };

        assert_non_null(square);
        assert_non_null(steps);
        fleck_distance_map(mask.ink, w, h, px, py, &line, steps, square);
        for (size_t i = 0; i < w * h; i++) {
            double nearest = INFINITY;

            for (size_t j = 0; j < w * h; j++) {
                const double dx = ((double)(i % w) - (double)(j % w)) * px;
                const double dy = ((double)(i / w) - (double)(j / w)) * py;

                if (mask.ink[j])
                    nearest = fmin(nearest, dx * dx + dy * dy);
            }
            if (isinf(nearest))
                assert_true(isinf(square[i]));
            else
                check_ratio("nearest marked pixel", square[i] + 1, nearest + 1, 1e-12);
        }
        free(square);
        free(steps);
        mask_free(&mask);
    }
}

/*
 * Opening from the definition: a pixel is kept when a disc of pixels, within reach of it, holds no
 * bare pixel; judged where all discs that could reach it lie in the picture.
 */
static double slow_removed(const struct mask *mask, double px, double py, double diameter_mm)
{
    const double r2 = diameter_mm * diameter_mm / 4;
    const long w = (long)mask->width_px, h = (long)mask->height_px;
    const long reach_x = (long)(diameter_mm / 2 / px) + 1,
               reach_y = (long)(diameter_mm / 2 / py) + 1;
    double judged = 0, kept = 0;
    uint8_t *fits = calloc((size_t)(w * h), 1);

    assert_non_null(fits);
    for (long y = 0; y < h; y++) {
        for (long x = 0; x < w; x++) {
            bool holds = true;

            for (long v = y - reach_y; v <= y + reach_y; v++)
                for (long u = x - reach_x; u <= x + reach_x; u++) {
                    const double dx = (double)(u - x) * px, dy = (double)(v - y) * py;

                    if (u >= 0 && v >= 0 && u < w && v < h && dx * dx + dy * dy <= r2)
                        holds = holds && mask->ink[v * w + u];
                }
            fits[y * w + x] = holds;
        }
    }
    for (long y = 0; y < h; y++) {
        for (long x = 0; x < w; x++) {
            const double near_x = (double)(x < w - 1 - x ? x + 1 : w - x) * px;
            const double near_y = (double)(y < h - 1 - y ? y + 1 : h - y) * py;
            bool keeps = false;

            if (!mask->ink[y * w + x] || fmin(near_x, near_y) <= diameter_mm)
                continue;
            for (long v = 0; v < h; v++)
                for (long u = 0; u < w; u++) {
                    const double dx = (double)(u - x) * px, dy = (double)(v - y) * py;

                    keeps = keeps || (fits[v * w + u] && dx * dx + dy * dy <= r2);
                }
            judged++;
            kept += keeps;
        }
    }
    free(fits);
    return 1 - kept / judged;
}

static void openings_agree_with_the_slow_twin(void **state)
{
    static const double pixels[][2] = { { 0.04, 0.04 }, { 0.04, 0.07 }, { 0.06, 0.05 } };
    uint64_t random = 4;

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        struct mask mask = mask_speckle(64, 50, 4, 0.45, &random);
        fleck_random_set set = random_set_of(&mask, NULL, pixels[i][0], pixels[i][1]);
        const fleck_granulometry *const g = &set.granulometry;
        double before = 0;

        assert_true(g->count > 5);
        assert_true(g->diameter_mm[0] >= 2 * fmax(pixels[i][0], pixels[i][1]) - 1e-12);
        for (size_t j = 0; j < g->count; j++) {
            const double removed =
                fmax(before, slow_removed(&mask, pixels[i][0], pixels[i][1], g->diameter_mm[j]));

            check_near("opening", g->removed[j], removed, 1e-12);
            before = removed;
        }
        fleck_random_set_clear(&set);
        mask_free(&mask);
    }
}

static void equal_discs_go_at_their_own_size(void **state)
{
    /* discs of 20 px on a lattice of 32 px: gone at 0.398 mm, the number of the series beside 0.4;
       before that openings shave the corners of their pixels alone */
    struct mask mask = mask_new(320, 320);
    fleck_random_set set;

    (void)state;
    for (size_t y = 0; y < 320; y++)
        for (size_t x = 0; x < 320; x++)
            mask.ink[y * 320 + x] = hypot((double)(x % 32) - 15.5, (double)(y % 32) - 15.5) <= 10;
    set = random_set_of(&mask, NULL, 0.02, 0.02);
    for (size_t i = 0; i < set.granulometry.count; i++) {
        if (set.granulometry.diameter_mm[i] < 0.36)
            assert_true(set.granulometry.removed[i] < 0.15);
        if (set.granulometry.diameter_mm[i] > 0.39)
            check_near("gone", set.granulometry.removed[i], 1, 0);
    }
    check_ratio("median", set.granulometry.median_mm, 0.4, 0.08);
    check_ratio("mean", set.granulometry.mean_mm, 0.4, 0.1);
    fleck_random_set_clear(&set);
    mask_free(&mask);
}

static void a_large_region_is_judged_by_its_middle(void **state)
{
    /* discs in the middle, dust elsewhere: the window of a sixteenth sees the discs alone */
    fleck_random_set_options options = fleck_random_set_options_default();
    struct mask mask = mask_new(512, 256);
    fleck_random_set set;

    (void)state;
    options.window_px = 512 * 256 / 16;
    options.simulations = 0;
    for (size_t y = 0; y < 256; y++)
        for (size_t x = 0; x < 512; x++)
            mask.ink[y * 512 + x] = x >= 192 && x < 320 && y >= 96 && y < 160
                                        ? hypot((double)(x % 16) - 7.5, (double)(y % 16) - 7.5) <= 5
                                        : x % 3 == 0 && y % 3 == 0;
    set = random_set_with(&mask, NULL, 0.05, 0.05, &options, 0);
    assert_int_equal(set.granulometry.window_width_px, 128);
    assert_int_equal(set.granulometry.window_height_px, 64);
    check_ratio("median", set.granulometry.median_mm, 0.5, 0.1);
    fleck_random_set_clear(&set);
    mask_free(&mask);
}

static void without_ink_or_without_bare_paper_there_is_no_size(void **state)
{
    (void)state;
    for (int ink = 0; ink <= 1; ink++) {
        struct mask mask = mask_new(100, 100);
        fleck_random_set set;

        for (size_t i = 0; ink && i < 100 * 100; i++)
            mask.ink[i] = 1;
        set = random_set_of(&mask, NULL, 0.05, 0.05);
        check_near("mean", set.granulometry.mean_mm, NAN, 0);
        check_near("median", set.granulometry.median_mm, NAN, 0);
        for (size_t i = 0; i < set.granulometry.count; i++)
            check_near("all ink stays", set.granulometry.removed[i], 0, 0);
        fleck_random_set_clear(&set);
        mask_free(&mask);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(distances_agree_with_the_slow_twin),
        cmocka_unit_test(openings_agree_with_the_slow_twin),
        cmocka_unit_test(equal_discs_go_at_their_own_size),
        cmocka_unit_test(a_large_region_is_judged_by_its_middle),
        cmocka_unit_test(without_ink_or_without_bare_paper_there_is_no_size),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
