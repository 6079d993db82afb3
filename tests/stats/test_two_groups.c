/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Expected values are those of full enumeration in whole numbers or of 40-digit arithmetic, each
 * agreeing with R 4.2.2 (t.test, wilcox.test) where R has it; theirs is a - b, ours b - a.
 */
#include "support/check.h"

#include <math.h>

#include "core/random.h"
#include "group_sets.h"
#include "stats/effect_size.h"
#include "stats/permutation.h"
#include "stats/ranks.h"
#include "stats/t_tests.h"

static const struct {
    double se, t, df, p, lo, hi; /* Welch */
    double g, g_lo, g_hi;
    double wins_of_a, rank_p;
    double hits, deals; /* of the permutation test */
} expected[GROUP_SETS] = {
    { 0.594658725656994, -3.0050849721000517, 8.99862760354667, 0.014836067075857374,
      -3.13224277006969, -0.4417572299303101, -1.6317144035280793, -2.9159785894755594,
      -0.28723367908367214, 3, 0.030303030303030304, 11, 462 },
    { 0.9571902381070534, -2.5123134451491898, 10.687704557997934, 0.029425808388152147,
      -4.519058482350728, -0.2904653271730824, -1.300088731175133, -2.424655165166759,
      -0.12999654931753982, 6.5, 0.04284750549660052, 68, 1716 },
    { 0.8490910172387619, -1.860813467486853, 17.77647351617849, 0.07939414018735814,
      -3.365483230711711, 0.20548323071171098, -0.7969352391911207, -1.665171790678087,
      0.09140773280516676, 25.5, 0.06932757543362658, 15048, 184756 },
    { 0.16508415362407677, 2.0413830922100695, 12.970538443257544, 0.062101343781078455,
      -0.019724996335104068, 0.6937249963351041, 0.827798536122617, -0.24470041326822176,
      1.871568681137914, 35, 0.2544122544122544, 396, 3003 },
};

static fleck_moments of_a(size_t set)
{
    return fleck_moments_of(group_sets[set].a, group_sets[set].n_a);
}

static fleck_moments of_b(size_t set)
{
    return fleck_moments_of(group_sets[set].b, group_sets[set].n_b);
}

static fleck_t_test welch(size_t set)
{
    const fleck_moments a = of_a(set), b = of_b(set);

    return fleck_welch(&a, &b, 0.95);
}

/* The differences of the sleep set, whose two columns are the same ten patients. */
static size_t sleep_differences(double *differences)
{
    for (size_t i = 0; i < 10; i++)
        differences[i] = group_sets[SLEEP].b[i] - group_sets[SLEEP].a[i];
    return 10;
}

static void welch_meets_forty_digit_arithmetic(void **state)
{
    (void)state;
    for (size_t i = 0; i < GROUP_SETS; i++) {
        const fleck_t_test test = welch(i);
        const char *const name = group_sets[i].name;

        check_ratio(name, test.se, expected[i].se, 1e-12);
        check_ratio(name, test.t, -expected[i].t, 1e-12);
        check_ratio(name, test.df, expected[i].df, 1e-12);
        check_ratio(name, test.p, expected[i].p, 1e-11);
        check_near(name, test.ci_lo, -expected[i].hi, 1e-11);
        check_near(name, test.ci_hi, -expected[i].lo, 1e-11);
    }
}

static void hedges_g_and_its_limits_meet_forty_digit_arithmetic(void **state)
{
    (void)state;
    for (size_t i = 0; i < GROUP_SETS; i++) {
        const fleck_moments a = of_a(i), b = of_b(i);
        const fleck_effect_size effect = fleck_hedges_g(&a, &b, 0.95);

        check_near(group_sets[i].name, effect.g, -expected[i].g, 1e-12);
        check_near(group_sets[i].name, effect.lo, -expected[i].g_hi, 1e-8);
        check_near(group_sets[i].name, effect.hi, -expected[i].g_lo, 1e-8);
    }
}

static void mann_whitney_meets_enumeration_and_the_corrected_normal(void **state)
{
    (void)state;
    for (size_t i = 0; i < GROUP_SETS; i++) {
        double wins, p;

        assert_int_equal(fleck_mann_whitney(group_sets[i].a, group_sets[i].n_a, group_sets[i].b,
                                            group_sets[i].n_b, &wins, &p, NULL),
                         FLECK_OK);
        check_near(group_sets[i].name, wins,
                   (double)(group_sets[i].n_a * group_sets[i].n_b) - expected[i].wins_of_a, 0);
        check_ratio(group_sets[i].name, p, expected[i].rank_p, 1e-12);
    }
}

static void the_permutation_test_meets_enumeration_in_whole_numbers(void **state)
{
    const fleck_permutation_options options = fleck_permutation_options_default();

    (void)state;
    for (size_t i = 0; i < GROUP_SETS; i++) {
        fleck_permutation test;

        assert_int_equal(fleck_permute_means(group_sets[i].a, group_sets[i].n_a, group_sets[i].b,
                                             group_sets[i].n_b, &options, &test, NULL),
                         FLECK_OK);
        assert_true(test.exact);
        check_near(group_sets[i].name, (double)test.deals, expected[i].deals, 0);
        check_ratio(group_sets[i].name, test.p, expected[i].hits / expected[i].deals, 1e-15);
    }
}

static void the_paired_t_test_meets_forty_digit_arithmetic(void **state)
{
    double differences[10];
    const fleck_moments moments = fleck_moments_of(differences, sleep_differences(differences));
    const fleck_t_test test = fleck_paired_t(&moments, 0.95);

    (void)state;
    check_ratio("sleep, paired", test.t, 4.062127683382036, 1e-12);
    check_ratio("sleep, paired", test.df, 9, 0);
    check_ratio("sleep, paired", test.p, 0.002832890197384273, 1e-11);
    check_near("sleep, paired: scipy 1.10.1, t.interval", test.ci_lo, 0.7001142367452712, 1e-9);
    check_near("the same, upper", test.ci_hi, 2.4598857632547286, 1e-9);
}

static void two_one_sided_tests_meet_forty_digit_arithmetic(void **state)
{
    const fleck_t_test test = welch(SMALL);

    (void)state;
    check_ratio("two_small, margin 1.5", fleck_equivalence_p(&test, 1.5), 0.6795587807616129,
                1e-11);
    check_ratio("two_small, margin 3", fleck_equivalence_p(&test, 3), 0.035895060081820335, 1e-11);
    check_near("no margin", fleck_equivalence_p(&test, 0), NAN, 0);
    check_near("no margin", fleck_equivalence_p(&test, NAN), NAN, 0);
}

/* At p = 0.05 the interval of 90 % just fits into the margin: that is what the test means. */
static void the_equivalence_margin_is_the_end_of_the_90_percent_interval(void **state)
{
    (void)state;
    for (size_t i = 0; i < GROUP_SETS; i++) {
        const fleck_moments a = of_a(i), b = of_b(i);
        const fleck_t_test test = fleck_welch(&a, &b, 0.90);
        const double margin = fmax(fabs(test.ci_lo), fabs(test.ci_hi));

        check_ratio(group_sets[i].name, fleck_equivalence_p(&test, margin), 0.05, 1e-10);
    }
}

static void values_without_spread_give_a_difference_and_no_more(void **state)
{
    const double same_a[] = { 0.1, 0.1, 0.1 }, same_b[] = { 0.1 + 0.2, 0.3, 0.3 };
    const fleck_moments a = fleck_moments_of(same_a, 3), b = fleck_moments_of(same_b, 3);
    const fleck_t_test test = fleck_welch(&a, &b, 0.95), paired = fleck_paired_t(&b, 0.95);
    const fleck_effect_size effect = fleck_hedges_g(&a, &b, 0.95);

    (void)state;
    check_near("0.3 - 0.1", test.difference, 0.2, 1e-15);
    check_near("t", test.t, NAN, 0);
    check_near("p", test.p, NAN, 0);
    check_near("interval", test.ci_lo, NAN, 0);
    check_near("equivalence", fleck_equivalence_p(&test, 1), NAN, 0);
    check_near("pairs", paired.p, NAN, 0);
    check_near("g", effect.g, NAN, 0);
}

static void a_group_of_one_has_a_difference_and_no_more(void **state)
{
    const double one[] = { 5 }, two[] = { 6, 8 };
    const fleck_moments a = fleck_moments_of(one, 1), b = fleck_moments_of(two, 2);
    const fleck_moments nothing = fleck_moments_of(one, 0);

    (void)state;
    check_near("7 - 5", fleck_welch(&a, &b, 0.95).difference, 2, 0);
    check_near("7 - 5", fleck_welch(&a, &b, 0.95).p, NAN, 0);
    check_near("7 - 5", fleck_hedges_g(&a, &b, 0.95).g, NAN, 0);
    check_near("no value", fleck_welch(&nothing, &b, 0.95).difference, NAN, 0);
    check_near("one pair", fleck_paired_t(&a, 0.95).p, NAN, 0);
}

/*
 * 2000 draws of 6 + 6 normal values without a difference: of 0.05 the standard error is 0.0049.
 * More draws and other ways to draw: tests/bench/interval_rates.c.
 */
static void intervals_hold_the_truth_and_tests_cry_seldom(void **state)
{
    enum { RUNS = 2000 };
    const fleck_permutation_options options = fleck_permutation_options_default();
    uint64_t seed = 11;
    double welch = 0, deals = 0, ranks = 0, alike = 0, effects = 0;

    (void)state;
    for (int run = 0; run < RUNS; run++) {
        double values[12], p;
        fleck_moments a, b;
        fleck_t_test test;
        fleck_permutation permutation;

        for (int i = 0; i < 12; i += 2)
            fleck_random_normal_pair(&seed, values + i);
        a = fleck_moments_of(values, 6);
        b = fleck_moments_of(values + 6, 6);
        test = fleck_welch(&a, &b, 0.95);
        assert_int_equal(
            fleck_permute_means(values, 6, values + 6, 6, &options, &permutation, NULL), FLECK_OK);
        assert_int_equal(fleck_mann_whitney(values, 6, values + 6, 6, NULL, &p, NULL), FLECK_OK);
        welch += test.ci_lo <= 0 && test.ci_hi >= 0;
        deals += permutation.p <= 0.05;
        ranks += p <= 0.05;
        test.difference += 2; /* the truth at the margin of 2 */
        alike += fleck_equivalence_p(&test, 2) <= 0.05;
        if (run % 20 == 0) {
            const fleck_effect_size effect = fleck_hedges_g(&a, &b, 0.95);

            effects += effect.lo <= 0 && effect.hi >= 0;
        }
    }
    check_near("Welch's interval", welch / RUNS, 0.95, 0.015);
    check_near("permutation: 46 of 924 deals at most", deals / RUNS, 0.05, 0.015);
    check_near("ranks: 38 of 924 orders at most", ranks / RUNS, 0.0411, 0.014);
    check_near("equivalence at the margin", alike / RUNS, 0.05, 0.015);
    check_near("interval of g", effects * 20 / RUNS, 0.95, 0.06);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(welch_meets_forty_digit_arithmetic),
        cmocka_unit_test(hedges_g_and_its_limits_meet_forty_digit_arithmetic),
        cmocka_unit_test(mann_whitney_meets_enumeration_and_the_corrected_normal),
        cmocka_unit_test(the_permutation_test_meets_enumeration_in_whole_numbers),
        cmocka_unit_test(the_paired_t_test_meets_forty_digit_arithmetic),
        cmocka_unit_test(two_one_sided_tests_meet_forty_digit_arithmetic),
        cmocka_unit_test(the_equivalence_margin_is_the_end_of_the_90_percent_interval),
        cmocka_unit_test(values_without_spread_give_a_difference_and_no_more),
        cmocka_unit_test(intervals_hold_the_truth_and_tests_cry_seldom),
        cmocka_unit_test(a_group_of_one_has_a_difference_and_no_more),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
