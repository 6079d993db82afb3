/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "phantom/disc_rows.h"
#include "phantom/size_law.h"

static const double pi = 3.14159265358979323846;

/* All rows of a picture, and their sum. */
static double drawn(fleck_disc_px *discs, size_t n, size_t width_px, size_t height_px,
                    bool antialias, double *share)
{
    fleck_disc_rows *rows = NULL;
    double *row = malloc(width_px * sizeof *row);
    double sum = 0;

    assert_non_null(row);
    assert_int_equal(fleck_disc_rows_new(discs, n, width_px, antialias, &rows, NULL), FLECK_OK);
    for (size_t y = 0; y < height_px; y++) {
        assert_int_equal(fleck_disc_rows_next(rows, row, NULL), FLECK_OK);
        for (size_t x = 0; x < width_px; x++) {
            assert_true(row[x] >= 0 && row[x] <= 1);
            sum += row[x];
            if (share != NULL)
                share[y * width_px + x] = row[x];
        }
    }
    fleck_disc_rows_free(rows);
    free(row);
    return sum;
}

static void a_single_disc_keeps_its_area_wherever_it_lies(void **state)
{
    static const double radii[] = { 0.2, 0.5, 1, 1.7, 3.5, 12.25, 60 };
    uint64_t seed = 1;

    (void)state;
    for (size_t i = 0; i < sizeof radii / sizeof *radii; i++) {
        for (int place = 0; place < 10; place++) {
            fleck_disc_px disc = { 64 + test_uniform(&seed), 64 + test_uniform(&seed), radii[i] };

            check_ratio("area pi r^2", drawn(&disc, 1, 129, 129, true, NULL),
                        pi * radii[i] * radii[i], 1e-9);
        }
    }
}

static void the_union_of_two_discs_lacks_one_lens(void **state)
{
    uint64_t seed = 2;

    (void)state;
    for (int i = 0; i < 60; i++) {
        const double radius = 2 + 10 * test_uniform(&seed);
        const double h = 2 * radius * test_uniform(&seed), angle = 2 * pi * test_uniform(&seed);
        fleck_disc_px discs[] = { { 40 + test_uniform(&seed), 40 + test_uniform(&seed), radius },
                                  { 0, 0, radius } };
        const double lens = 2 * radius * radius * acos(h / (2 * radius)) -
                            h / 2 * sqrt(4 * radius * radius - h * h);

        discs[1].x = discs[0].x + h * cos(angle);
        discs[1].y = discs[0].y + h * sin(angle);
        check_ratio("area 2 pi r^2 - lens", drawn(discs, 2, 80, 80, true, NULL),
                    2 * pi * radius * radius - lens, 1e-4);
        check_near("library's lens", fleck_disc_overlap(radius, h), lens, 1e-9);
    }
}

static void discs_inside_one_another_count_once(void **state)
{
    fleck_disc_px discs[] = {
        { 20.3, 20.7, 9 }, { 20.3, 20.7, 9 }, { 21, 19, 3 }, { 20, 22, 0.4 }
    };

    (void)state;
    check_ratio("the largest alone", drawn(discs, 4, 41, 41, true, NULL), pi * 81, 1e-9);
}

static void the_border_cuts_discs_to_their_segments(void **state)
{
    static const struct {
        const char *source;
        double x, y, radius, share;
    } cases[] = {
        { "half a disc, left border", 0, 15.3, 8, 0.5 },
        { "half a disc, right border", 30, 15.3, 8, 0.5 },
        { "half a disc, upper border", 14.7, 0, 8, 0.5 },
        { "half a disc, lower border", 14.7, 30, 8, 0.5 },
        { "a quarter, in the corner", 30, 30, 8, 0.25 },
        { "beyond the border", -9, 10, 8, 0 },
        { "above the picture", 10, -9, 8, 0 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_disc_px disc = { cases[i].x, cases[i].y, cases[i].radius };

        check_near(cases[i].source, drawn(&disc, 1, 30, 30, true, NULL), cases[i].share * pi * 64,
                   1e-9);
    }
}

/* The slow twin: the share of 64 x 64 points of a pixel that lie in any disc. */
static void pixels_hold_the_share_that_many_points_give(void **state)
{
    enum { SIDE = 24, DISCS = 25, POINTS = 64 };
    fleck_disc_px discs[DISCS];
    double share[SIDE * SIDE];
    double worst = 0, squares = 0;
    uint64_t seed = 3;

    (void)state;
    for (size_t i = 0; i < DISCS; i++)
        discs[i] = (fleck_disc_px){ SIDE * test_uniform(&seed), SIDE * test_uniform(&seed),
                                    0.3 + 4 * test_uniform(&seed) * test_uniform(&seed) };
    drawn(discs, DISCS, SIDE, SIDE, true, share);
    for (size_t pixel = 0; pixel < SIDE * SIDE; pixel++) {
        size_t inside = 0;
        double error;

        for (size_t point = 0; point < POINTS * POINTS; point++) {
            const double x = (double)(pixel % SIDE) + ((double)(point % POINTS) + 0.5) / POINTS;
            const double y = (double)(pixel / SIDE) + ((double)(point / POINTS) + 0.5) / POINTS;
            size_t i = 0;

            while (i < DISCS && hypot(x - discs[i].x, y - discs[i].y) > discs[i].radius)
                i++;
            inside += i < DISCS;
        }
        error = share[pixel] - (double)inside / (POINTS * POINTS);
        worst = fmax(worst, fabs(error));
        squares += error * error;
    }
    check_near("largest difference of a pixel", worst, 0, 0.01);
    check_near("root mean square difference", sqrt(squares / (SIDE * SIDE)), 0, 0.001);
}

static void a_hard_disc_holds_the_centres_of_gauss_circle(void **state)
{
    static const struct {
        double radius;
        double pixels;
    } cases[] = { { 1, 5 },    { 2, 13 },    { 3, 29 },     { 5, 81 },
                  { 10, 317 }, { 20, 1257 }, { 100, 31417 } };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_disc_px disc = { 110.5, 110.5, cases[i].radius };

        check_near("Gauss circle problem, OEIS A000328", drawn(&disc, 1, 221, 221, false, NULL),
                   cases[i].pixels, 0);
    }
}

static void a_hard_pixel_is_ink_as_its_centre_is(void **state)
{
    enum { SIDE = 40, DISCS = 30 };
    fleck_disc_px discs[DISCS];
    double share[SIDE * SIDE];
    uint64_t seed = 4;

    (void)state;
    for (size_t i = 0; i < DISCS; i++)
        discs[i] = (fleck_disc_px){ SIDE * test_uniform(&seed), SIDE * test_uniform(&seed),
                                    4 * test_uniform(&seed) };
    drawn(discs, DISCS, SIDE, SIDE, false, share);
    for (size_t pixel = 0; pixel < SIDE * SIDE; pixel++) {
        size_t i = 0;

        while (i < DISCS && hypot((double)(pixel % SIDE) + 0.5 - discs[i].x,
                                  (double)(pixel / SIDE) + 0.5 - discs[i].y) > discs[i].radius)
            i++;
        assert_true(share[pixel] == (i < DISCS ? 1.0 : 0.0));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_single_disc_keeps_its_area_wherever_it_lies),
        cmocka_unit_test(the_union_of_two_discs_lacks_one_lens),
        cmocka_unit_test(discs_inside_one_another_count_once),
        cmocka_unit_test(the_border_cuts_discs_to_their_segments),
        cmocka_unit_test(pixels_hold_the_share_that_many_points_give),
        cmocka_unit_test(a_hard_disc_holds_the_centres_of_gauss_circle),
        cmocka_unit_test(a_hard_pixel_is_ink_as_its_centre_is),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
