/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdlib.h>

#include "group_sets.h"
#include "stats/permutation.h"
#include "stats/size_curve.h"

/* Distances of two weighted sets, by way of their curves. */
static void distance(const double *a, const double *weight_a, size_t n_a, const double *b,
                     const double *weight_b, size_t n_b, size_t most, double *ks,
                     double *wasserstein)
{
    fleck_size_curve curves[2];
    double *grid, *share_a, *share_b;
    size_t points;

    assert_int_equal(fleck_size_curve_of(a, weight_a, n_a, &curves[0], NULL), FLECK_OK);
    assert_int_equal(fleck_size_curve_of(b, weight_b, n_b, &curves[1], NULL), FLECK_OK);
    assert_int_equal(fleck_size_grid(curves, 2, most, &grid, &points, NULL), FLECK_OK);
    share_a = calloc(points + 1, sizeof *share_a);
    share_b = calloc(points + 1, sizeof *share_b);
    assert_true(share_a != NULL && share_b != NULL);
    fleck_size_curve_add(&curves[0], grid, points, 1, share_a);
    fleck_size_curve_add(&curves[1], grid, points, 1, share_b);
    fleck_size_distance(share_a, share_b, grid, points, ks, wasserstein);
    free(share_a);
    free(share_b);
    free(grid);
    fleck_size_curve_clear(&curves[0]);
    fleck_size_curve_clear(&curves[1]);
}

/* Fractions; agreeing with R 4.2.2, ks.test, and scipy 1.10.1, wasserstein_distance. */
static const struct {
    double ks, wasserstein, ks_hits, deals;
} expected[GROUP_SETS] = {
    { 20.0 / 30, 1.787, 50, 462 },
    { 23.0 / 42, 2.4047619047619047, 191, 1716 },
    { 40.0 / 100, 1.58, 73316, 184756 },
    { 30.0 / 50, 0.349, 498, 3003 },
};

static void distances_of_plain_sets_are_the_published_ones(void **state)
{
    (void)state;
    for (size_t i = 0; i < GROUP_SETS; i++) {
        double ks, wasserstein;

        distance(group_sets[i].a, NULL, group_sets[i].n_a, group_sets[i].b, NULL, group_sets[i].n_b,
                 0, &ks, &wasserstein);
        check_near(group_sets[i].name, ks, expected[i].ks, 1e-14);
        check_near(group_sets[i].name, wasserstein, expected[i].wasserstein, 1e-13);
    }
}

static void weights_are_shares(void **state)
{
    const double a[] = { 0.5, 0.2, 0.1, 0.2 }, weight_a[] = { 4, 2, 1, 3 };
    const double b[] = { 0.15, 0.2, 0.6 }, weight_b[] = { 2, 1, 5 };
    double ks, wasserstein;

    (void)state;
    distance(a, weight_a, 4, b, weight_b, 3, 0, &ks, &wasserstein);
    check_near("scipy 1.10.1, wasserstein_distance with weights", wasserstein, 0.1425, 1e-15);
    check_near("by hand: 1 - 3/8 from 0.5 on", ks, 0.625, 1e-15);
}

static void a_shift_is_its_own_distance(void **state)
{
    double a[50], b[50], ks, wasserstein;
    uint64_t seed = 3;

    (void)state;
    for (int i = 0; i < 50; i++) {
        a[i] = test_uniform(&seed);
        b[i] = a[i] + 0.125;
    }
    distance(a, NULL, 50, b, NULL, 50, 0, &ks, &wasserstein);
    check_near("0.125", wasserstein, 0.125, 1e-14);
    distance(a, NULL, 50, a, NULL, 50, 0, &ks, &wasserstein);
    check_near("itself", wasserstein, 0, 0);
    check_near("itself", ks, 0, 0);
}

static void a_coarse_grid_comes_near_the_full_one(void **state)
{
    double a[4000], b[4000], ks, wasserstein, coarse_ks, coarse;
    uint64_t seed = 4;

    (void)state;
    for (int i = 0; i < 4000; i++) {
        a[i] = test_uniform(&seed) + test_uniform(&seed);
        b[i] = 0.1 + test_uniform(&seed) + test_uniform(&seed);
    }
    distance(a, NULL, 4000, b, NULL, 4000, 0, &ks, &wasserstein);
    distance(a, NULL, 4000, b, NULL, 4000, 500, &coarse_ks, &coarse);
    check_ratio("every sixteenth size", coarse, wasserstein, 0.01);
    check_near("every sixteenth size", coarse_ks, ks, 16.0 / 4000);
    assert_true(coarse_ks != ks); /* it is a coarse one */
}

static void sets_without_dots_have_an_empty_curve(void **state)
{
    fleck_size_curve curve;
    double *grid;
    size_t points;

    (void)state;
    assert_int_equal(fleck_size_curve_of(NULL, NULL, 0, &curve, NULL), FLECK_OK);
    assert_true(curve.count == 0);
    assert_int_equal(fleck_size_grid(&curve, 1, 0, &grid, &points, NULL), FLECK_OK);
    assert_true(points == 0);
    free(grid);
    fleck_size_curve_clear(&curve);
}

/*
 * Patches that hold one dot each are the plain two-sample test, whose exact p is known also with
 * equal values. Wasserstein: of two_small, 11 of the 462 splits, by enumeration in fractions.
 */
static void dealing_curves_out_anew_meets_enumeration(void **state)
{
    const fleck_permutation_options options = fleck_permutation_options_default();

    (void)state;
    for (size_t i = 0; i < GROUP_SETS; i++) {
        const size_t n_a = group_sets[i].n_a, n_b = group_sets[i].n_b, n = n_a + n_b;
        fleck_size_curve curves[20];
        fleck_permutation largest, area;
        double *grid, *shares, widths[20] = { 0 };
        size_t points;

        for (size_t k = 0; k < n; k++)
            assert_int_equal(
                fleck_size_curve_of(k < n_a ? &group_sets[i].a[k] : &group_sets[i].b[k - n_a], NULL,
                                    1, &curves[k], NULL),
                FLECK_OK);
        assert_int_equal(fleck_size_grid(curves, n, 0, &grid, &points, NULL), FLECK_OK);
        shares = calloc(n * points, sizeof *shares);
        assert_non_null(shares);
        for (size_t k = 0; k < n; k++)
            fleck_size_curve_add(&curves[k], grid, points, 1, shares + k * points);
        for (size_t k = 0; k + 1 < points; k++)
            widths[k] = grid[k + 1] - grid[k];
        assert_int_equal(
            fleck_permute_curves(shares, n_a, n_b, points, widths, &options, &largest, &area, NULL),
            FLECK_OK);
        check_ratio(group_sets[i].name, largest.p, expected[i].ks_hits / expected[i].deals, 1e-14);
        if (i == SMALL)
            check_ratio(group_sets[i].name, area.p, 11.0 / 462, 1e-14);
        for (size_t k = 0; k < n; k++)
            fleck_size_curve_clear(&curves[k]);
        free(grid);
        free(shares);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(distances_of_plain_sets_are_the_published_ones),
        cmocka_unit_test(weights_are_shares),
        cmocka_unit_test(a_shift_is_its_own_distance),
        cmocka_unit_test(a_coarse_grid_comes_near_the_full_one),
        cmocka_unit_test(sets_without_dots_have_an_empty_curve),
        cmocka_unit_test(dealing_curves_out_anew_meets_enumeration),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
