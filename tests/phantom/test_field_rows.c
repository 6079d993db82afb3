/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A Gaussian field is checked by simulation: each figure is averaged over several seeds, and must
 * lie within four standard errors, found from the same seeds, of its closed form. The standard
 * error itself must be small, so that a wrong form cannot hide in it.
 */
#include "support/check.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/phantom.h"
#include "phantom/closed_forms.h"
#include "phantom/field_rows.h"

static const double pi = 3.14159265358979323846;

enum { SEEDS = 12, SIDE = 500 };

struct sample {
    double sum, squares;
};

static void add(struct sample *sample, double value)
{
    sample->sum += value;
    sample->squares += value * value;
}

static void check_sample(const char *source, const struct sample *sample, double expected,
                         double largest_error)
{
    const double mean = sample->sum / SEEDS;
    const double variance = (sample->squares - SEEDS * mean * mean) / (SEEDS - 1);
    const double error = sqrt(variance / SEEDS);

    check_near(source, error, 0, largest_error);
    check_near(source, mean, expected, 4 * error);
}

static void draw(const fleck_field_frame *frame, size_t height_px, double *share)
{
    fleck_field_rows *rows = NULL;

    assert_int_equal(fleck_field_rows_new(frame, &rows, NULL), FLECK_OK);
    for (size_t y = 0; y < height_px; y++)
        fleck_field_rows_next(rows, share + y * frame->width_px);
    fleck_field_rows_free(rows);
}

/* Correlation length of 10 pixels: 500 pixels are 50 of them. */
static const double correlation_mm = 0.25, pixel_mm = 0.025;

/*
 * Share of ink, boundary by crossings along rows and columns (Cauchy-Crofton), Euler number from
 * the 2 x 2 neighbourhoods (Gray 1971), the mean of both connectivities.
 */
static void an_excursion_set_has_the_shape_that_theory_gives(void **state)
{
    static const double coverages[] = { 0.15865525393145707, 0.5, 0.8 };
    double *share = malloc((size_t)SIDE * SIDE * sizeof *share);

    (void)state;
    assert_non_null(share);
    for (size_t i = 0; i < sizeof coverages / sizeof *coverages; i++) {
        fleck_phantom_options options = fleck_phantom_options_default();
        struct sample coverage = { 0 }, boundary = { 0 }, euler = { 0 };
        const double area_mm2 = SIDE * SIDE * pixel_mm * pixel_mm;
        fleck_expected expected;

        options.kind = FLECK_PHANTOM_FIELD;
        options.correlation_mm = correlation_mm;
        options.coverage = coverages[i];
        expected = fleck_expect(&options);
        for (uint64_t seed = 1; seed <= SEEDS; seed++) {
            const fleck_field_frame frame = { .seed = seed,
                                              .correlation_mm = correlation_mm,
                                              .level = expected.level,
                                              .pixel_mm = pixel_mm,
                                              .width_px = SIDE };
            double ink = 0, changes = 0, corners = 0;

            draw(&frame, SIDE, share);
            for (size_t y = 0; y + 1 < SIDE; y++) {
                for (size_t x = 0; x + 1 < SIDE; x++) {
                    const double *at = share + y * SIDE + x;
                    const double four = at[0] + at[1] + at[SIDE] + at[SIDE + 1];

                    ink += at[0];
                    changes += (at[0] != at[1]) + (at[0] != at[SIDE]);
                    corners += four == 1 ? 0.25 : four == 3 ? -0.25 : 0;
                }
            }
            add(&coverage, ink / ((SIDE - 1.0) * (SIDE - 1.0)));
            add(&boundary, pi / 4 * changes * pixel_mm / area_mm2);
            add(&euler, corners / area_mm2 * 100);
        }
        check_sample("coverage: Phi(u)", &coverage, coverages[i], 0.01);
        check_sample("boundary: sqrt(l2)/2 exp(-u^2/2)", &boundary,
                     expected.perimeter_per_area_per_mm, 0.02 * sqrt(2) / correlation_mm / 2);
        check_sample("Euler number: -(2 pi)^(-3/2) l2 u exp(-u^2/2)", &euler,
                     expected.euler_per_cm2, 0.04 * 100 * 0.0635 * 2 / 0.0625);
    }
    free(share);
}

/* P(both at or below the median) = 1/4 + asin(rho) / (2 pi), Sheppard (1899). */
static void two_points_are_correlated_as_asked_for(void **state)
{
    static const size_t lags[] = { 1, 3, 7, 10, 15, 30 };
    double *share = malloc((size_t)SIDE * SIDE * sizeof *share);
    struct sample across[6], down[6];

    (void)state;
    assert_non_null(share);
    memset(across, 0, sizeof across);
    memset(down, 0, sizeof down);
    for (uint64_t seed = 1; seed <= SEEDS; seed++) {
        const fleck_field_frame frame = {
            .seed = seed, .correlation_mm = correlation_mm, .pixel_mm = pixel_mm, .width_px = SIDE
        };

        draw(&frame, SIDE, share);
        for (size_t i = 0; i < 6; i++) {
            double apart_x = 0, apart_y = 0;

            for (size_t y = 0; y + lags[i] < SIDE; y++) {
                for (size_t x = 0; x + lags[i] < SIDE; x++) {
                    apart_x += share[y * SIDE + x] != share[y * SIDE + x + lags[i]];
                    apart_y += share[y * SIDE + x] != share[(y + lags[i]) * SIDE + x];
                }
            }
            add(&across[i], apart_x / (double)((SIDE - lags[i]) * (SIDE - lags[i])));
            add(&down[i], apart_y / (double)((SIDE - lags[i]) * (SIDE - lags[i])));
        }
    }
    for (size_t i = 0; i < 6; i++) {
        const double h = (double)lags[i] * pixel_mm / correlation_mm;
        const double apart = 0.5 - asin(exp(-h * h)) / pi;

        check_sample("across", &across[i], apart, 0.02 * apart);
        check_sample("down", &down[i], apart, 0.02 * apart);
    }
    free(share);
}

static void a_part_shows_what_the_whole_shows_there(void **state)
{
    enum { WIDE = 60, PART = 20 };
    const fleck_field_frame whole = { .seed = 5,
                                      .correlation_mm = 0.3,
                                      .pixel_mm = 0.05,
                                      .left_px = -10,
                                      .top_px = -7,
                                      .width_px = WIDE,
                                      .antialias = true };
    const fleck_field_frame part = { .seed = 5,
                                     .correlation_mm = 0.3,
                                     .pixel_mm = 0.05,
                                     .left_px = 3,
                                     .top_px = 11,
                                     .width_px = PART,
                                     .antialias = true };
    double all[WIDE * WIDE], some[PART * PART];

    (void)state;
    draw(&whole, WIDE, all);
    draw(&part, PART, some);
    for (size_t y = 0; y < PART; y++)
        assert_memory_equal(some + y * PART, all + (y + 18) * WIDE + 13, PART * sizeof *some);
}

static void a_soft_pixel_is_the_mean_of_finer_ones(void **state)
{
    enum { WIDE = 30 };
    fleck_field_frame frame = { .seed = 6,
                                .correlation_mm = 0.2,
                                .pixel_mm = 0.04,
                                .width_px = WIDE,
                                .antialias = true,
                                .level = 0.3 };
    double coarse[WIDE * WIDE], *fine = malloc((size_t)16 * WIDE * WIDE * sizeof *fine);

    (void)state;
    assert_non_null(fine);
    draw(&frame, WIDE, coarse);
    frame.pixel_mm /= 4;
    frame.width_px *= 4;
    frame.antialias = false;
    draw(&frame, 4 * WIDE, fine);
    for (size_t y = 0; y < WIDE; y++) {
        for (size_t x = 0; x < WIDE; x++) {
            double sum = 0;

            for (size_t i = 0; i < 16; i++)
                sum += fine[(4 * y + i / 4) * 4 * WIDE + 4 * x + i % 4];
            check_near("mean of 4 x 4", coarse[y * WIDE + x], sum / 16, 1e-12);
        }
    }
    free(fine);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_excursion_set_has_the_shape_that_theory_gives),
        cmocka_unit_test(two_points_are_correlated_as_asked_for),
        cmocka_unit_test(a_part_shows_what_the_whole_shows_there),
        cmocka_unit_test(a_soft_pixel_is_the_mean_of_finer_ones),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
