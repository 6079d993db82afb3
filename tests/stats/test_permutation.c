/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>

#include "group_sets.h"
#include "stats/permutation.h"

static fleck_permutation means(const double *a, size_t n_a, const double *b, size_t n_b,
                               const fleck_permutation_options *options)
{
    fleck_permutation test;

    assert_int_equal(fleck_permute_means(a, n_a, b, n_b, options, &test, NULL), FLECK_OK);
    return test;
}

static void deals_are_counted_and_never_overflow(void **state)
{
    (void)state;
    assert_true(fleck_permutation_deals(3, 3) == 20);
    assert_true(fleck_permutation_deals(10, 10) == 184756);
    assert_true(fleck_permutation_deals(200, 1) == 201);
    assert_true(fleck_permutation_deals(5000, 5000) == SIZE_MAX);
    assert_true(fleck_permutation_deals(10, 0) == 1024); /* signs */
    assert_true(fleck_permutation_deals(100000, 0) == SIZE_MAX);
}

static void three_against_three_cannot_go_below_a_tenth(void **state)
{
    const fleck_permutation_options options = fleck_permutation_options_default();
    const double a[] = { 1, 2, 3 }, b[] = { 1000, 2000, 3000 };
    fleck_permutation test = means(a, 3, b, 3, &options);

    (void)state;
    check_near("2 of 20 deals", test.p, 0.1, 0);
    check_near("and no fewer", test.least, 0.1, 0);
    test = means(a, 3, b, 2, &options);
    check_near("1 of 10 deals", test.p, 0.1, 0);
    check_near("and no fewer", test.least, 0.1, 0);
}

static void signs_of_pairs_meet_enumeration(void **state)
{
    const fleck_permutation_options options = fleck_permutation_options_default();
    fleck_permutation test;
    double differences[10];

    (void)state;
    for (size_t i = 0; i < 10; i++)
        differences[i] = group_sets[SLEEP].b[i] - group_sets[SLEEP].a[i];
    assert_int_equal(fleck_permute_signs(differences, 10, &options, &test, NULL), FLECK_OK);
    check_near("sleep: 4 of 1024, in fractions", test.p, 4.0 / 1024, 0);
    check_near("2 of 1024 at least", test.least, 2.0 / 1024, 0);
}

/* 0.1 + 0.2 is not 0.3 in doubles; deals that tie in decimals must tie. */
static void rounding_does_not_break_a_tie(void **state)
{
    const fleck_permutation_options options = fleck_permutation_options_default();
    const double a[] = { 0.1, 0.3, 0.5 }, b[] = { 0.2, 0.4, 0.9 };

    (void)state;
    /* in tenths 1 + 3 + 5 = 2 + 3 + 4 */
    for (int shift = 0; shift < 3; shift++) {
        const double offsets[] = { 0, 1000, 1e6 };
        double x[3], y[3];

        for (int i = 0; i < 3; i++) {
            x[i] = offsets[shift] + a[i];
            y[i] = offsets[shift] + b[i];
        }
        check_near("by hand: of 1 2 3 4 5 9 six sums of three are 9 or less, six 15 or more",
                   means(x, 3, y, 3, &options).p, 12.0 / 20, 0);
    }
}

static void equal_values_give_a_p_of_one(void **state)
{
    const fleck_permutation_options options = fleck_permutation_options_default();
    const double same[] = { 0.1, 0.1, 0.1, 0.1 };

    (void)state;
    check_near("every deal is the same", means(same, 4, same, 4, &options).p, 1, 0);
    check_near("no group a", means(same, 0, same, 4, &options).p, NAN, 0);
}

static void a_sample_of_deals_comes_near_all_of_them(void **state)
{
    fleck_permutation_options options = fleck_permutation_options_default();
    fleck_permutation test, again;

    (void)state;
    options.exact_limit = 0;
    for (size_t i = 0; i < GROUP_SETS; i++) {
        const double wanted[] = { 11.0 / 462, 68.0 / 1716, 15048.0 / 184756, 396.0 / 3003 };

        test =
            means(group_sets[i].a, group_sets[i].n_a, group_sets[i].b, group_sets[i].n_b, &options);
        assert_false(test.exact);
        check_near("four standard errors of 99 999 draws", test.p, wanted[i],
                   4 * sqrt(wanted[i] * (1 - wanted[i]) / 99999));
        again =
            means(group_sets[i].a, group_sets[i].n_a, group_sets[i].b, group_sets[i].n_b, &options);
        check_near("the same seed", again.p, test.p, 0);
        options.seed++;
        again =
            means(group_sets[i].a, group_sets[i].n_a, group_sets[i].b, group_sets[i].n_b, &options);
        assert_true(again.p != test.p);
    }
}

static void a_sample_is_never_sure(void **state)
{
    fleck_permutation_options options = fleck_permutation_options_default();
    double a[40], b[40];

    (void)state;
    options.shuffles = 999;
    for (int i = 0; i < 40; i++) {
        a[i] = i;
        b[i] = i + 1000;
    }
    check_near("1 of 1000", means(a, 40, b, 40, &options).p, 0.001, 0);
}

static void groups_of_unlike_size_may_come_in_either_order(void **state)
{
    const fleck_permutation_options options = fleck_permutation_options_default();
    const double *const a = group_sets[PERMEABILITY].a, *const b = group_sets[PERMEABILITY].b;

    (void)state;
    check_near("permeability", means(a, 10, b, 5, &options).p, 396.0 / 3003, 0);
    check_near("permeability", means(b, 5, a, 10, &options).p, 396.0 / 3003, 0);
}

/* The sign of a pair of curves is one for all its points, which two points of opposite sign show.
 */
static void curves_of_pairs_are_turned_as_a_whole(void **state)
{
    const fleck_permutation_options options = fleck_permutation_options_default();
    const double curves[] = { 1, -1, 2, -2, 3, -3, 4, -4 };
    const double widths[] = { 1, 1 };
    fleck_permutation largest, area;

    (void)state;
    assert_int_equal(fleck_permute_curves(curves, 4, 0, 2, widths, &options, &largest, &area, NULL),
                     FLECK_OK);
    check_near("2 of 16", largest.p, 2.0 / 16, 0);
    check_near("2 of 16", area.p, 2.0 / 16, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(deals_are_counted_and_never_overflow),
        cmocka_unit_test(three_against_three_cannot_go_below_a_tenth),
        cmocka_unit_test(signs_of_pairs_meet_enumeration),
        cmocka_unit_test(rounding_does_not_break_a_tie),
        cmocka_unit_test(equal_values_give_a_p_of_one),
        cmocka_unit_test(a_sample_of_deals_comes_near_all_of_them),
        cmocka_unit_test(a_sample_is_never_sure),
        cmocka_unit_test(groups_of_unlike_size_may_come_in_either_order),
        cmocka_unit_test(curves_of_pairs_are_turned_as_a_whole),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
