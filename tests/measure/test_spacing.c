/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/texture.h"

enum { MAX_POINTS = 4000 };

struct pattern {
    size_t n;
    fleck_point_mm points[MAX_POINTS];
    double distance_mm[MAX_POINTS];
};

static struct pattern pattern; /* of the test at work */

/*
 * The published patterns, from tests/data/points (see its README.md). nn_mean and clark_evans:
 * numpy, agreeing with spatstat 3.0.3 (its R with Donnelly's correction). z and p: spatstat's are
 * those without the correction, so they come, as Hanisch's figures, from a twin written from the
 * definitions in 40-digit arithmetic (mpmath) with ties decided in whole numbers.
 */
static const struct {
    const char *name;
    size_t n;
    double lattice; /* units of the lattice in 1 */
    double left, top, width, height;
    double nn_mean, clark_evans, z, p;
    double hanisch_mean, hanisch_median, hanisch_cv;
} published[] = {
    { "cells", 42, 1000, 0, 0, 1, 1, 0.12897287460151638, 1.5604256061144604, 6.3747284932807922,
      1.832873637043249e-10, 0.12452894437839372, 0.125, 0.13478093783932819 },
    { "redwood", 62, 1000, 0, -1, 1, 1, 0.03928432427233816, 0.5849906265899433, -5.788830402626514,
      7.0878216768537118e-9, 0.034128133851240468, 0.028284271247461901, 0.47340097002125194 },
    { "japanesepines", 65, 1000, 0, 0, 1, 1, 0.06598660626788141, 1.0075072431958563,
      0.1073357998879292, 0.91452258438157868, 0.063208149340490687, 0.058309518948453005,
      0.48609102291304291 },
    { "swedishpines", 71, 10, 0, 0, 96, 100, 7.907540558274649, 1.2910690428149671,
      4.3580807391682154, 1.312079832148582e-5, 7.9411750977066022, 8.2462112512353211,
      0.34888021983830654 },
    { "bei", 3604, 10, 0, 0, 1000, 500, 4.329677021095409, 0.7298058002025095, -30.256314106111498,
      4.3091747117370437e-201, 4.3319646257202131, 3.1906112267087634, 1.0303095526391214 },
};

/* Reads a pattern, shifted to the window's corner; squared[i] is in whole lattice units. */
static void read_published(size_t which, double *squared)
{
    char path[1024], line[256];
    FILE *file;

    snprintf(path, sizeof path, "%s/points/%s_nn.csv", FLECK_TEST_DATA, published[which].name);
    file = fopen(path, "r");
    assert_non_null(file);
    assert_non_null(fgets(line, sizeof line, file));
    pattern.n = 0;
    while (fgets(line, sizeof line, file) != NULL) {
        fleck_point_mm *const point = &pattern.points[pattern.n];

        assert_true(pattern.n < MAX_POINTS);
        assert_int_equal(
            sscanf(line, "%lf,%lf,%*f,%lf", &point->x_mm, &point->y_mm, &squared[pattern.n]), 3);
        point->x_mm -= published[which].left;
        point->y_mm -= published[which].top;
        pattern.n++;
    }
    fclose(file);
    assert_int_equal(pattern.n, published[which].n);
}

static void find_neighbours(double width_mm, double height_mm)
{
    fleck_error err = { 0 };

    assert_int_equal(fleck_nearest_neighbours(pattern.points, pattern.n, width_mm, height_mm,
                                              pattern.distance_mm, &err),
                     FLECK_OK);
}

static fleck_spacing summarise(double width_mm, double height_mm)
{
    fleck_spacing spacing;
    fleck_error err = { 0 };

    find_neighbours(width_mm, height_mm);
    assert_int_equal(fleck_spacing_summarise(pattern.points, pattern.distance_mm, pattern.n,
                                             width_mm, height_mm, &spacing, &err),
                     FLECK_OK);
    return spacing;
}

static void published_points_have_their_nearest_neighbours(void **state)
{
    static double squared[MAX_POINTS];

    (void)state;
    for (size_t k = 0; k < sizeof published / sizeof *published; k++) {
        read_published(k, squared);
        find_neighbours(published[k].width, published[k].height);
        for (size_t i = 0; i < pattern.n; i++)
            check_ratio(published[k].name, pattern.distance_mm[i],
                        sqrt(squared[i]) / published[k].lattice, 1e-12);
    }
}

static void published_points_have_their_spacing(void **state)
{
    static double squared[MAX_POINTS];

    (void)state;
    for (size_t k = 0; k < sizeof published / sizeof *published; k++) {
        const char *const name = published[k].name;
        fleck_spacing spacing;

        read_published(k, squared);
        spacing = summarise(published[k].width, published[k].height);
        check_ratio(name, spacing.nn_mean_raw_mm, published[k].nn_mean, 1e-10);
        check_ratio(name, spacing.clark_evans, published[k].clark_evans, 1e-10);
        check_ratio(name, spacing.clark_evans_z, published[k].z, 1e-10);
        check_ratio(name, spacing.clark_evans_p, published[k].p, 1e-9);
        check_ratio(name, spacing.nn_mean_mm, published[k].hanisch_mean, 1e-10);
        check_ratio(name, spacing.nn_median_mm, published[k].hanisch_median, 1e-12);
        check_ratio(name, spacing.nn_cv, published[k].hanisch_cv, 1e-10);
    }
}

static double slow_nearest(size_t i)
{
    double best = INFINITY;

    for (size_t j = 0; j < pattern.n; j++) {
        const double x = pattern.points[j].x_mm - pattern.points[i].x_mm;
        const double y = pattern.points[j].y_mm - pattern.points[i].y_mm;

        if (j != i && x * x + y * y < best)
            best = x * x + y * y;
    }
    return sqrt(best);
}

/* Points in a region of 20 x 10 mm. */
static void scatter(size_t n, void (*place)(size_t i, uint64_t *seed, fleck_point_mm *point),
                    uint64_t seed)
{
    pattern.n = n;
    for (size_t i = 0; i < n; i++)
        place(i, &seed, &pattern.points[i]);
}

static void evenly(size_t i, uint64_t *seed, fleck_point_mm *point)
{
    (void)i;
    point->x_mm = 20 * test_uniform(seed);
    point->y_mm = 10 * test_uniform(seed);
}

static void in_clusters(size_t i, uint64_t *seed, fleck_point_mm *point)
{
    evenly(i, seed, point);
    if (i % 20 != 0) { /* all but a few in two knots, one of them very tight */
        const double width_mm = i % 2 == 0 ? 1e-9 : 0.01;

        point->x_mm = 7 * (double)(1 + i % 2) + width_mm * point->x_mm;
        point->y_mm = 3 + width_mm * point->y_mm;
    }
}

static void on_a_line(size_t i, uint64_t *seed, fleck_point_mm *point)
{
    evenly(i, seed, point);
    point->y_mm = 4.2;
}

static void on_a_slanting_line(size_t i, uint64_t *seed, fleck_point_mm *point)
{
    evenly(i, seed, point);
    point->y_mm = 0.5 * point->x_mm;
}

static void on_few_places(size_t i, uint64_t *seed, fleck_point_mm *point)
{
    (void)i;
    point->x_mm = (double)(test_random(seed) % 12);
    point->y_mm = (double)(test_random(seed) % 9);
}

static void on_one_place(size_t i, uint64_t *seed, fleck_point_mm *point)
{
    (void)i;
    (void)seed;
    point->x_mm = 20;
    point->y_mm = 5;
}

static void on_a_lattice(size_t i, uint64_t *seed, fleck_point_mm *point)
{
    (void)seed;
    point->x_mm = 0.3 * (double)(i % 53);
    point->y_mm = 0.3 * (double)(i / 53);
}

static void on_the_border(size_t i, uint64_t *seed, fleck_point_mm *point)
{
    evenly(i, seed, point);
    if (i % 4 < 2)
        point->x_mm = i % 4 == 0 ? 0 : 20;
    else
        point->y_mm = i % 4 == 2 ? 0 : 10;
}

static void neighbours_are_those_of_all_pairs(void **state)
{
    static void (*const places[])(size_t, uint64_t *, fleck_point_mm *) = {
        evenly,        in_clusters,  on_a_line,    on_a_slanting_line,
        on_few_places, on_one_place, on_a_lattice, on_the_border,
    };
    static const size_t counts[] = { 2, 3, 7, 8, 9, 16, 17, 33, 100, 257, 800 };

    (void)state;
    for (size_t k = 0; k < sizeof places / sizeof *places; k++) {
        for (size_t c = 0; c < sizeof counts / sizeof *counts; c++) {
            scatter(counts[c], places[k], 11 * k + c);
            find_neighbours(20, 10);
            for (size_t i = 0; i < pattern.n; i++)
                assert_true(pattern.distance_mm[i] == slow_nearest(i));
        }
    }
}

static void a_crowd_in_one_spot_takes_no_quadratic_time(void **state)
{
    const size_t n = 200000; /* all pairs of them would take minutes */
    fleck_point_mm *const points = malloc(n * sizeof *points);
    double *const distance_mm = malloc(n * sizeof *distance_mm);
    double nearest_mm = INFINITY;
    uint64_t seed = 5;
    fleck_error err = { 0 };

    (void)state;
    assert_non_null(points);
    assert_non_null(distance_mm);
    for (size_t i = 0; i < n; i++) {
        points[i].x_mm = i == 0 ? 0 : 9 + 1e-6 * test_uniform(&seed);
        points[i].y_mm = i == 0 ? 0 : 9 + 1e-6 * test_uniform(&seed);
    }
    assert_int_equal(fleck_nearest_neighbours(points, n, 10, 10, distance_mm, &err), FLECK_OK);
    for (size_t i = 1; i < n; i++)
        nearest_mm = fmin(nearest_mm, hypot(points[i].x_mm, points[i].y_mm));
    check_ratio("the lone point's neighbour", distance_mm[0], nearest_mm, 1e-15);
    free(points);
    free(distance_mm);
}

static void the_order_of_points_changes_no_digit(void **state)
{
    fleck_spacing spacing, again;
    uint64_t seed = 3;

    (void)state;
    scatter(1500, in_clusters, 8);
    spacing = summarise(20, 10);
    for (size_t i = pattern.n - 1; i > 0; i--) {
        const size_t j = test_random(&seed) % (i + 1);
        const fleck_point_mm point = pattern.points[i];

        pattern.points[i] = pattern.points[j];
        pattern.points[j] = point;
    }
    again = summarise(20, 10);
    assert_memory_equal(&spacing, &again, sizeof spacing);
}

static void a_hand_worked_case_comes_out(void **state)
{
    /*
     * Region 10 x 6. a (2, 3) and b (3, 3) are 1 apart, the border 2 and 3 away: weight 1/(8 x 4).
     * c (8, 3), 2 from the border, and d (5, 0.5), 0.5 from it, are farther from all: left out.
     */
    static const fleck_point_mm points[] = { { 2, 3 }, { 3, 3 }, { 8, 3 }, { 5, 0.5 } };
    fleck_spacing spacing;

    (void)state;
    memcpy(pattern.points, points, sizeof points);
    pattern.n = 4;
    spacing = summarise(10, 6);
    /* c is sqrt(9 + 6.25) = 3.905 from d, and d is sqrt(4 + 6.25) = 3.202 from b */
    check_near("plain mean", spacing.nn_mean_raw_mm, (1 + 1 + sqrt(15.25) + sqrt(10.25)) / 4,
               1e-14);
    check_near("a and b", spacing.nn_mean_mm, 1, 1e-14);
    check_near("a and b", spacing.nn_median_mm, 1, 0);
    check_near("a and b", spacing.nn_cv, 0, 1e-14);
    /* ½ sqrt(60 / 4) + (0.0514 + 0.0412 / 2) 32 / 4 = 1.936491673 + 0.576 */
    check_near("Donnelly", spacing.clark_evans, spacing.nn_mean_raw_mm / 2.5124916731037085, 1e-12);
    /* 0.0703 x 60 / 16 + 0.037 x 32 x sqrt(60 / 1024) = 0.263625 + 0.286600768 */
    check_near("Donnelly", spacing.clark_evans_z,
               (spacing.nn_mean_raw_mm - 2.5124916731037085) / sqrt(0.263625 + 0.28660076761934935),
               1e-12);
}

static void the_weighted_median_is_the_first_to_reach_half(void **state)
{
    /*
     * Region 100 x 100, pairs 1 and 2 apart and far from each other: weights 1/98^2 (twice) and
     * 1/96^2 (twice), so half is reached among the wider pair. Pairs of equal width: at the first.
     */
    static const fleck_point_mm points[] = { { 30, 30 }, { 31, 30 }, { 60, 60 }, { 60, 62 } };
    fleck_spacing spacing;

    (void)state;
    memcpy(pattern.points, points, sizeof points);
    pattern.n = 4;
    spacing = summarise(100, 100);
    check_near("wider pair weighs more", spacing.nn_median_mm, 2, 0);
    check_near("weights 1/98^2, 1/96^2", spacing.nn_mean_mm,
               (1.0 / (98 * 98) + 2.0 / (96 * 96)) / (1.0 / (98 * 98) + 1.0 / (96 * 96)), 1e-14);
}

static void a_border_as_near_as_the_neighbour_leaves_a_point_out(void **state)
{
    /* both are 0.3 away from (0.7, 0.5), but 1 - 0.7 rounds up and 0.7 - 0.4 down */
    static const fleck_point_mm points[] = { { 0.7, 0.5 }, { 0.4, 0.5 }, { 0.4, 0.45 } };
    fleck_spacing spacing;

    (void)state;
    memcpy(pattern.points, points, sizeof points);
    pattern.n = 3;
    spacing = summarise(1, 1);
    check_near("the other two", spacing.nn_mean_mm, 0.05, 1e-15);
}

static void weights_make_random_points_unbiased(void **state)
{
    enum { TRIALS = 400 };
    double sum = 0, squares = 0, raw = 0, mean, error;
    uint64_t seed = 1;

    (void)state;
    for (int trial = 0; trial < TRIALS; trial++) {
        double spent = 0;
        fleck_spacing spacing;

        /* a Poisson number of mean 200: arrivals at rate 1 until the time is over */
        for (pattern.n = 0; (spent -= log(1 - test_uniform(&seed))) < 200;)
            evenly(0, &seed, &pattern.points[pattern.n++]);
        spacing = summarise(20, 10);
        sum += spacing.nn_mean_mm;
        squares += spacing.nn_mean_mm * spacing.nn_mean_mm;
        raw += spacing.nn_mean_raw_mm;
    }
    mean = sum / TRIALS;
    error = sqrt((squares / TRIALS - mean * mean) / TRIALS);
    check_near("1 / (2 sqrt lambda), 1 point per mm2", mean, 0.5, 3 * error);
    assert_true(raw / TRIALS > 0.5 + 3 * error); /* what the weights are for */
}

static void donnelly_makes_random_points_standard_normal(void **state)
{
    enum { TRIALS = 600 };
    double sum = 0, squares = 0;

    (void)state;
    for (uint64_t trial = 0; trial < TRIALS; trial++) {
        fleck_spacing spacing;

        scatter(100, evenly, 1000 + 7919 * trial);
        spacing = summarise(20, 10);
        sum += spacing.clark_evans_z;
        squares += spacing.clark_evans_z * spacing.clark_evans_z;
    }
    /* standard errors: 1 / sqrt(600) and sqrt(2 / 600) */
    check_near("mean of z", sum / TRIALS, 0, 4 * 0.041);
    check_near("mean square of z", squares / TRIALS, 1, 4 * 0.058);
}

static void too_few_points_give_no_numbers(void **state)
{
    fleck_spacing spacing;

    (void)state;
    for (size_t n = 0; n < 2; n++) {
        pattern.n = n;
        pattern.points[0] = (fleck_point_mm){ 1, 1 };
        pattern.distance_mm[0] = 3;
        spacing = summarise(20, 10);
        if (n == 1)
            check_near("one point", pattern.distance_mm[0], NAN, 0);
        check_near("n < 2", spacing.nn_mean_raw_mm, NAN, 0);
        check_near("n < 2", spacing.nn_mean_mm, NAN, 0);
        check_near("n < 2", spacing.nn_median_mm, NAN, 0);
        check_near("n < 2", spacing.nn_cv, NAN, 0);
        check_near("n < 2", spacing.clark_evans, NAN, 0);
        check_near("n < 2", spacing.clark_evans_z, NAN, 0);
        check_near("n < 2", spacing.clark_evans_p, NAN, 0);
    }
}

static void points_in_corners_have_a_plain_mean_only(void **state)
{
    fleck_spacing spacing;

    (void)state;
    pattern.n = 2;
    pattern.points[0] = (fleck_point_mm){ 0, 0 };
    pattern.points[1] = (fleck_point_mm){ 3, 4 };
    spacing = summarise(3, 4);
    check_near("3, 4, 5", spacing.nn_mean_raw_mm, 5, 0);
    check_near("none qualifies", spacing.nn_mean_mm, NAN, 0);
    check_near("none qualifies", spacing.nn_median_mm, NAN, 0);
    check_near("none qualifies", spacing.nn_cv, NAN, 0);
}

static void points_on_one_place_are_0_apart(void **state)
{
    fleck_spacing spacing;

    (void)state;
    pattern.n = 50;
    for (size_t i = 0; i < pattern.n; i++)
        pattern.points[i] = (fleck_point_mm){ 5, 5 };
    spacing = summarise(20, 10);
    check_near("coincident", spacing.nn_mean_raw_mm, 0, 0);
    check_near("coincident", spacing.nn_mean_mm, 0, 0);
    check_near("coincident", spacing.nn_median_mm, 0, 0);
    check_near("sd over a mean of 0", spacing.nn_cv, NAN, 0);
    check_near("coincident", spacing.clark_evans, 0, 0);
}

static void wrong_calls_are_refused(void **state)
{
    static const struct {
        double x_mm, y_mm, width_mm, height_mm;
    } bad[] = {
        { -1e-9, 1, 5, 5 }, { 1, -1e-9, 5, 5 }, { 5.001, 1, 5, 6 },    { 1, 5.001, 6, 5 },
        { NAN, 1, 5, 5 },   { 1, NAN, 5, 5 },   { INFINITY, 1, 5, 5 }, { 1, 1, 0, 5 },
        { 1, 1, 5, -1 },    { 1, 1, NAN, 5 },
    };
    const fleck_point_mm good[] = { { 1, 1 }, { 2, 2 } };
    double distance_mm[2] = { 7, 7 };
    fleck_spacing spacing;
    fleck_error err;

    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        const fleck_point_mm points[] = { { 0.5, 0.5 }, { bad[i].x_mm, bad[i].y_mm } };

        err.status = FLECK_OK;
        assert_int_equal(fleck_nearest_neighbours(points, 2, bad[i].width_mm, bad[i].height_mm,
                                                  distance_mm, &err),
                         FLECK_BAD_CALL);
        assert_int_equal(err.status, FLECK_BAD_CALL);
        assert_non_null(strchr(err.message, ';'));
    }
    assert_int_equal(fleck_spacing_summarise(good, distance_mm, 2, 0, 5, &spacing, &err),
                     FLECK_BAD_CALL);
    distance_mm[1] = -1;
    assert_int_equal(fleck_spacing_summarise(good, distance_mm, 2, 5, 5, &spacing, &err),
                     FLECK_BAD_CALL);
    distance_mm[1] = NAN;
    assert_int_equal(fleck_spacing_summarise(good, distance_mm, 2, 5, 5, &spacing, NULL),
                     FLECK_BAD_CALL);
    check_near("nothing is left behind", spacing.nn_mean_raw_mm, NAN, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(published_points_have_their_nearest_neighbours),
        cmocka_unit_test(published_points_have_their_spacing),
        cmocka_unit_test(neighbours_are_those_of_all_pairs),
        cmocka_unit_test(a_crowd_in_one_spot_takes_no_quadratic_time),
        cmocka_unit_test(the_order_of_points_changes_no_digit),
        cmocka_unit_test(a_hand_worked_case_comes_out),
        cmocka_unit_test(the_weighted_median_is_the_first_to_reach_half),
        cmocka_unit_test(a_border_as_near_as_the_neighbour_leaves_a_point_out),
        cmocka_unit_test(weights_make_random_points_unbiased),
        cmocka_unit_test(donnelly_makes_random_points_standard_normal),
        cmocka_unit_test(too_few_points_give_no_numbers),
        cmocka_unit_test(points_in_corners_have_a_plain_mean_only),
        cmocka_unit_test(points_on_one_place_are_0_apart),
        cmocka_unit_test(wrong_calls_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
