/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/print_noise.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "support/check.h"

static const double mm_at_600 = 25.4 / 600;

typedef uint16_t (*picture)(size_t x, size_t y);

static fleck_print_noise measure(const fleck_geometry *geometry, const fleck_mask *mask, picture at)
{
    uint16_t *const q = malloc(geometry->width_px * sizeof *q);
    fleck_print_noise_maker *maker;
    fleck_print_noise noise;

    assert_non_null(q);
    assert_int_equal(fleck_print_noise_maker_new(geometry, mask, &maker, NULL), FLECK_OK);
    for (size_t y = 0; y < geometry->height_px; y++) {
        for (size_t x = 0; x < geometry->width_px; x++)
            q[x] = at(x, y);
        assert_int_equal(fleck_print_noise_maker_row(maker, q, NULL), FLECK_OK);
    }
    assert_int_equal(fleck_print_noise_maker_finish(maker, &noise, NULL), FLECK_OK);
    fleck_print_noise_maker_free(maker);
    free(q);
    return noise;
}

static uint16_t grey(size_t x, size_t y)
{
    (void)x;
    (void)y;
    return 12345;
}

static uint16_t black(size_t x, size_t y)
{
    (void)x;
    (void)y;
    return 0;
}

/* Reflectance 1 and 0.1 in turn: densities 0 and 1. */
static uint16_t checker(size_t x, size_t y)
{
    return (x + y) % 2 == 0 ? 65535 : 6554;
}

static uint16_t checker_of_twos(size_t x, size_t y)
{
    return checker(x / 2, y / 2);
}

/* Tiles of 30 pixels, even within. */
static uint16_t checker_of_tiles(size_t x, size_t y)
{
    return checker(x / 30, y / 30);
}

static uint16_t noisy(size_t x, size_t y)
{
    uint64_t state = 1000003 * y + x;

    return (uint16_t)(65535 * pow(test_uniform(&state), 3));
}

static void test_patterns_give_their_closed_forms(void **state)
{
    /* half of n values 0 and half 1: sample sd sqrt(n / (n - 1)) / 2; 6554 / 65535 is 0.1 to 8e-6
     */
    const double of_900 = 0.5 * sqrt(900.0 / 899.0), of_100 = 0.5 * sqrt(100.0 / 99.0);
    const struct {
        const char *source;
        double ppi;
        size_t width_px, height_px;
        picture at;
        double graininess, mottle, tiles;
    } cases[] = {
        { "even grey", 600, 300, 300, grey, 0, 0, 100 },
        { "black: no logarithm of 0", 600, 300, 300, black, 0, 0, 100 },
        { "checker of readings", 600, 300, 300, checker, of_900, 0, 100 },
        { "one row and column of readings to the next tile are left out", 600, 329, 329, checker,
          of_900, 0, 100 },
        { "checker of tiles", 600, 300, 300, checker_of_tiles, 0, of_100, 100 },
        { "blocks of 2 x 2 pixels of 1200 ppi are readings", 1200, 600, 600, checker_of_twos,
          of_900, 0, 100 },
        { "a checker of pixels does not show in blocks of 2 x 2", 1200, 600, 600, checker, 0, 0,
          100 },
        { "one tile has no mottle", 600, 30, 30, checker, of_900, NAN, 1 },
        { "less than a tile", 600, 29, 300, checker, NAN, NAN, 0 },
        { "less than a tile", 600, 300, 29, checker, NAN, NAN, 0 },
        { "one pixel of 300 ppi is 85 um", 300, 300, 300, checker, NAN, NAN, 0 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_geometry geometry = { cases[i].width_px, cases[i].height_px,
                                          25.4 / cases[i].ppi, 25.4 / cases[i].ppi };
        const fleck_print_noise noise = measure(&geometry, NULL, cases[i].at);
        /* even tiles are so to the last digit */
        const double tolerance = cases[i].graininess > 0 || cases[i].mottle > 0 ? 2e-5 : 0;

        check_near(cases[i].source, noise.graininess, cases[i].graininess, tolerance);
        check_near(cases[i].source, noise.mottle, cases[i].mottle, tolerance);
        check_near(cases[i].source, noise.tiles, cases[i].tiles, 0);
        check_near(cases[i].source, noise.reading_x_mm, cases[i].tiles > 0 ? 0.127 / 3 : NAN,
                   1e-15);
    }
}

static void test_readings_come_nearest_to_the_standard(void **state)
{
    static const struct {
        double ppi_x, ppi_y, x_mm, y_mm, tiles; /* in 600 x 1200 pixels */
    } cases[] = {
        { 600, 1200, 25.4 / 600, 25.4 / 600, 20 * 20 },
        { 720, 720, 25.4 / 720, 25.4 / 720, 16 * 33 },  /* 36 readings a tile */
        { 800, 800, 25.4 / 800, 25.4 / 800, 15 * 30 },  /* 40 of 31.75 um */
        { 450, 450, 25.4 / 450, 25.4 / 450, 26 * 52 },  /* 23 of 56 um, a third too large */
        { 900, 900, 50.8 / 900, 50.8 / 900, 13 * 26 },  /* 23 of two pixels */
        { 2400, 2400, 25.4 / 600, 25.4 / 600, 5 * 10 }, /* 30 of four */
        { 440, 600, NAN, NAN, 0 },
        { 600, 440, NAN, NAN, 0 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_geometry geometry = { 600, 1200, 25.4 / cases[i].ppi_x, 25.4 / cases[i].ppi_y };
        const fleck_print_noise noise = measure(&geometry, NULL, grey);

        check_near("x", noise.reading_x_mm, cases[i].x_mm, 1e-15);
        check_near("y", noise.reading_y_mm, cases[i].y_mm, 1e-15);
        check_near("tiles", noise.tiles, cases[i].tiles, 0);
    }
}

/* All densities of all tiles first, then means and sums of squares about them. */
static fleck_print_noise twin(const fleck_geometry *geometry, const fleck_mask *mask, picture at,
                              size_t block_x, size_t block_y, size_t readings)
{
    double means[400], variances = 0, mean_of_means = 0, squares = 0;
    size_t tiles = 0;

    for (size_t top = 0; top + block_y * readings <= geometry->height_px;
         top += block_y * readings) {
        for (size_t left = 0; left + block_x * readings <= geometry->width_px;
             left += block_x * readings) {
            double density[900], mean = 0, sum = 0;
            size_t outside = 0;

            for (size_t r = 0; r < readings * readings; r++) {
                double reflectance = 0;

                for (size_t p = 0; p < block_x * block_y; p++) {
                    const size_t x = left + r % readings * block_x + p % block_x;
                    const size_t y = top + r / readings * block_y + p / block_x;

                    reflectance += at(x, y) / 65535.0 / (double)(block_x * block_y);
                    outside += mask != NULL && !fleck_mask_has(mask, x, y);
                }
                density[r] = -log(fmax(reflectance, 0.5 / 65535)) / log(10);
                mean += density[r] / (double)(readings * readings);
            }
            if (outside > 0)
                continue;
            for (size_t r = 0; r < readings * readings; r++)
                sum += (density[r] - mean) * (density[r] - mean);
            variances += sum / (double)(readings * readings - 1);
            means[tiles++] = mean;
        }
    }
    for (size_t i = 0; i < tiles; i++)
        mean_of_means += means[i] / (double)tiles;
    for (size_t i = 0; i < tiles; i++)
        squares += (means[i] - mean_of_means) * (means[i] - mean_of_means);
    return (fleck_print_noise){ sqrt(variances / (double)tiles),
                                sqrt(squares / (double)(tiles - 1)), (double)tiles,
                                (double)block_x * geometry->pixel_x_mm,
                                (double)block_y * geometry->pixel_y_mm };
}

static void test_noise_is_that_of_the_definition(void **state)
{
    static const struct {
        double ppi_x, ppi_y;
        size_t block_x, block_y;
    } cases[] = {
        { 600, 600, 1, 1 }, { 600, 1200, 1, 2 }, { 1200, 600, 2, 1 }, { 1800, 1800, 3, 3 }
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_geometry geometry = { 431, 397, 25.4 / cases[i].ppi_x, 25.4 / cases[i].ppi_y };
        fleck_mask *mask;

        assert_int_equal(fleck_mask_new(431, 397, &mask, NULL), FLECK_OK);
        /* a disc that takes the corners away */
        for (size_t y = 0; y < 397; y++) {
            const double half =
                sqrt(fmax(0, 240.0 * 240.0 - (200.0 - (double)y) * (200.0 - (double)y)));

            fleck_mask_add_run(mask, y, (size_t)fmax(0, 215 - half), (size_t)fmin(431, 215 + half));
        }
        for (int masked = 0; masked < 2; masked++) {
            const fleck_mask *const inside = masked ? mask : NULL;
            const fleck_print_noise noise = measure(&geometry, inside, noisy);
            const fleck_print_noise expected =
                twin(&geometry, inside, noisy, cases[i].block_x, cases[i].block_y, 30);

            check_ratio("graininess", noise.graininess, expected.graininess, 1e-12);
            check_ratio("mottle", noise.mottle, expected.mottle, 1e-11);
            check_near("tiles", noise.tiles, expected.tiles, 0);
        }
        fleck_mask_free(mask);
    }
}

static void test_only_tiles_wholly_inside_a_mask_count(void **state)
{
    const fleck_geometry geometry = { 90, 90, 25.4 / 600, 25.4 / 600 };
    fleck_mask *mask;
    fleck_print_noise noise;

    (void)state;
    assert_int_equal(fleck_mask_new(90, 90, &mask, NULL), FLECK_OK);
    for (size_t y = 15; y < 75; y++)
        fleck_mask_add_run(mask, y, 31, 90);
    noise = measure(&geometry, mask, checker);
    check_near("the tile at (60, 30) alone", noise.tiles, 1, 0);
    fleck_mask_free(mask);
    assert_int_equal(fleck_mask_new(90, 90, &mask, NULL), FLECK_OK);
    for (size_t y = 1; y < 60; y++)
        fleck_mask_add_run(mask, y, 1, 60);
    fleck_mask_add_run(mask, 45, 0, 90);
    noise = measure(&geometry, mask, checker);
    check_near("(30, 30) alone", noise.tiles, 1, 0);
    check_near("no mottle", noise.mottle, NAN, 0);
    fleck_mask_free(mask);
    assert_int_equal(fleck_mask_new(90, 90, &mask, NULL), FLECK_OK);
    noise = measure(&geometry, mask, checker);
    check_near("none", noise.tiles, 0, 0);
    check_near("no graininess", noise.graininess, NAN, 0);
    fleck_mask_free(mask);
}

static void test_wrong_calls_are_told(void **state)
{
    const fleck_geometry geometry = { 60, 2, mm_at_600, mm_at_600 }, none = { 60, 2, 0, mm_at_600 };
    fleck_print_noise_maker *maker;
    fleck_print_noise noise;
    fleck_mask *mask;
    const uint16_t q[60] = { 0 };

    (void)state;
    assert_int_equal(fleck_print_noise_maker_new(&none, NULL, &maker, NULL), FLECK_BAD_CALL);
    assert_null(maker);
    assert_int_equal(fleck_mask_new(60, 3, &mask, NULL), FLECK_OK);
    assert_int_equal(fleck_print_noise_maker_new(&geometry, mask, &maker, NULL), FLECK_BAD_CALL);
    fleck_mask_free(mask);
    assert_int_equal(fleck_print_noise_maker_new(&geometry, NULL, &maker, NULL), FLECK_OK);
    assert_int_equal(fleck_print_noise_maker_row(maker, q, NULL), FLECK_OK);
    assert_int_equal(fleck_print_noise_maker_finish(maker, &noise, NULL), FLECK_BAD_CALL);
    check_near("no figures", noise.graininess, NAN, 0);
    assert_int_equal(fleck_print_noise_maker_row(maker, q, NULL), FLECK_OK);
    assert_int_equal(fleck_print_noise_maker_row(maker, q, NULL), FLECK_BAD_CALL);
    assert_int_equal(fleck_print_noise_maker_finish(maker, &noise, NULL), FLECK_OK);
    fleck_print_noise_maker_free(maker);
    fleck_print_noise_maker_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_patterns_give_their_closed_forms),
        cmocka_unit_test(test_readings_come_nearest_to_the_standard),
        cmocka_unit_test(test_noise_is_that_of_the_definition),
        cmocka_unit_test(test_only_tiles_wholly_inside_a_mask_count),
        cmocka_unit_test(test_wrong_calls_are_told),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
