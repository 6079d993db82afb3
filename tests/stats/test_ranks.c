/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>

#include "stats/ranks.h"

static void equal_values_share_their_mean_rank(void **state)
{
    const double values[] = { 5, 2, 9, 5, 2, 2 };
    const double wanted[] = { 4.5, 2, 6, 4.5, 2, 2 };
    double ranks[6], ties;

    (void)state;
    assert_int_equal(fleck_ranks(values, 6, ranks, &ties, NULL), FLECK_OK);
    for (size_t i = 0; i < 6; i++)
        check_near("by hand", ranks[i], wanted[i], 0);
    check_near("3^3 - 3 and 2^3 - 2", ties, 30, 0);
    assert_int_equal(fleck_ranks(values, 0, ranks, &ties, NULL), FLECK_OK);
    check_near("nothing to rank", ties, 0, 0);
}

/* scipy 1.10.1, mannwhitneyu(method='exact'), for groups in which b wins `wins` pairs. */
static const struct {
    size_t n_a, n_b;
    size_t wins;
    double p;
} exact[] = {
    { 20, 20, 259, 0.11425448053585593 },
    { 3, 3, 8, 0.2 },
    { 20, 3, 34, 0.7634105025409372 },
    { 4, 7, 25, 0.04242424242424242 },
    { 3, 3, 9, 0.1 }, /* 2 of 20 orders */
    { 1, 1, 0, 1 },
};

/* a is 1, 2, 3 ...; b lies between its values so that it wins the pairs wanted. */
static void place(size_t n_a, size_t n_b, size_t wins, double *a, double *b)
{
    for (size_t i = 0; i < n_a; i++)
        a[i] = (double)(i + 1);
    for (size_t j = 0; j < n_b; j++) {
        const size_t beaten = wins < n_a ? wins : n_a;

        b[j] = (double)beaten + 0.5 + 0.01 * (double)j;
        wins -= beaten;
    }
}

static void mann_whitney_is_exact_up_to_twenty_and_twenty(void **state)
{
    double a[20], b[20], wins, p;

    (void)state;
    for (size_t i = 0; i < sizeof exact / sizeof *exact; i++) {
        place(exact[i].n_a, exact[i].n_b, exact[i].wins, a, b);
        assert_int_equal(fleck_mann_whitney(a, exact[i].n_a, b, exact[i].n_b, &wins, &p, NULL),
                         FLECK_OK);
        check_near("as placed", wins, (double)exact[i].wins, 0);
        check_ratio("scipy", p, exact[i].p, 1e-12);
        assert_int_equal(fleck_mann_whitney(b, exact[i].n_b, a, exact[i].n_a, &wins, &p, NULL),
                         FLECK_OK);
        check_ratio("the other way round", p, exact[i].p, 1e-12);
    }
}

static void groups_that_are_all_equal_or_empty_tell_nothing(void **state)
{
    const double same[] = { 4, 4, 4 };
    double p;

    (void)state;
    assert_int_equal(fleck_mann_whitney(same, 3, same, 3, NULL, &p, NULL), FLECK_OK);
    check_near("all equal", p, 1, 0);
    assert_int_equal(fleck_mann_whitney(same, 0, same, 3, NULL, &p, NULL), FLECK_OK);
    check_near("no a", p, NAN, 0);
}

/*
 * 40-digit arithmetic agreeing with R 4.2.2, kruskal.test. Hollander & Wolfe (1973), mucociliary
 * clearance; a made-up set with ties; NIST StRD SiRstv.
 */
static const struct {
    const char *source;
    size_t count[5];
    double values[25];
    double h, p;
} kruskal[] = {
    { "Hollander & Wolfe 1973",
      { 5, 4, 5 },
      { 2.9, 3.0, 2.5, 2.6, 3.2, 3.8, 2.7, 4.0, 2.4, 2.8, 3.4, 3.7, 2.2, 2.0 },
      0.7714285714285715,
      0.6799647735788938 },
    { "with ties",
      { 4, 5, 4 },
      { 12, 15, 15, 18, 15, 19, 21, 18, 22, 9, 12, 11, 15 },
      7.844318181818182,
      0.019798302230169228 },
    { "NIST StRD SiRstv",
      { 5, 5, 5, 5, 5 },
      { 196.3052, 196.1240, 196.1890, 196.2569, 196.3403, 196.3042, 196.3825, 196.1669, 196.3257,
        196.0422, 196.1303, 196.2005, 196.2889, 196.0343, 196.1811, 196.2795, 196.1748, 196.1494,
        196.1485, 195.9885, 196.2119, 196.1051, 196.1850, 196.0052, 196.2090 },
      4.364307692307692,
      0.35894160333814573 },
};

static void kruskal_wallis_meets_forty_digit_arithmetic(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof kruskal / sizeof *kruskal; i++) {
        size_t group[25], n = 0;
        double h, p;

        for (size_t k = 0; k < 5; k++)
            for (size_t j = 0; j < kruskal[i].count[k]; j++)
                group[n++] = k;
        assert_int_equal(fleck_kruskal(kruskal[i].values, group, n, 5, &h, &p, NULL), FLECK_OK);
        check_ratio(kruskal[i].source, h, kruskal[i].h, 1e-12);
        check_ratio(kruskal[i].source, p, kruskal[i].p, 1e-12);
    }
}

static void kruskal_wallis_needs_two_groups_and_some_spread(void **state)
{
    const double values[] = { 1, 2, 3 }, same[] = { 4, 4, 4 };
    const size_t one[] = { 1, 1, 1 }, two[] = { 0, 1, 1 };
    double h, p;

    (void)state;
    assert_int_equal(fleck_kruskal(values, one, 3, 3, &h, &p, NULL), FLECK_OK);
    check_near("one group", p, NAN, 0);
    assert_int_equal(fleck_kruskal(same, two, 3, 2, &h, &p, NULL), FLECK_OK);
    check_near("all equal", p, NAN, 0);
    assert_int_equal(fleck_kruskal(values, two, 0, 2, &h, &p, NULL), FLECK_OK);
    check_near("no value", p, NAN, 0);
}

static void holm_meets_exact_arithmetic(void **state)
{
    /* the p-values of Benjamini & Hochberg (1995); adjusted in rational arithmetic and by R 4.2.2,
     * p.adjust */
    const double p[] = { 0.0004, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.324,
                         0.4262, 0.5719, 0.6528, 0.7590, 1.0,    0.0001, 0.0019 };
    const double wanted[] = { 0.0056, 0.114, 0.2211, 0.278, 0.278, 0.278,  0.3213, 1.0,
                              1.0,    1.0,   1.0,    1.0,   1.0,   0.0015, 0.0247 };
    double adjusted[15];

    (void)state;
    assert_int_equal(fleck_holm(p, 15, adjusted, NULL), FLECK_OK);
    for (size_t i = 0; i < 15; i++)
        check_near("Holm", adjusted[i], wanted[i], 1e-15);
}

static void a_missing_p_counts_for_nothing(void **state)
{
    const double p[] = { NAN, 0.03, NAN, 0.02 };
    double adjusted[4];

    (void)state;
    assert_int_equal(fleck_holm(p, 4, adjusted, NULL), FLECK_OK);
    check_near("missing", adjusted[0], NAN, 0);
    check_near("2 x 0.02 rules", adjusted[1], 0.04, 1e-15);
    check_near("missing", adjusted[2], NAN, 0);
    check_near("2 x 0.02", adjusted[3], 0.04, 1e-15);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(equal_values_share_their_mean_rank),
        cmocka_unit_test(mann_whitney_is_exact_up_to_twenty_and_twenty),
        cmocka_unit_test(groups_that_are_all_equal_or_empty_tell_nothing),
        cmocka_unit_test(kruskal_wallis_meets_forty_digit_arithmetic),
        cmocka_unit_test(kruskal_wallis_needs_two_groups_and_some_spread),
        cmocka_unit_test(holm_meets_exact_arithmetic),
        cmocka_unit_test(a_missing_p_counts_for_nothing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
