/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>

#include "stats/rank_correlation.h"

static void reference_cases_give_their_coefficients_and_p(void **state)
{
    static const struct {
        const char *source;
        size_t n;
        double x[12], y[12];
        double rho, rho_p, tau, tau_p;
        bool exact;
    } cases[] = {
        { "tuna, Hollander & Wolfe 1973; full enumeration and R 4.2.2 (35126 and 43342 of 362880)",
          9,
          { 44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1 },
          { 2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8 },
          0.6,
          0.09679783950617284,
          0.4444444444444444,
          0.11943893298059964,
          true },
        { "invented ties; rational arithmetic and R 4.2.2",
          12,
          { 1, 2, 2, 3, 4, 5, 5, 6, 7, 8, 9, 10 },
          { 2, 1, 4, 4, 3, 6, 7, 5, 8, 8, 10, 9 },
          0.9278169014084507,
          1.3659988969152859e-05,
          0.78125,
          0.000538510557008667,
          false },
        { "ties of three on both sides; SciPy 1.10.1",
          10,
          { 1, 1, 1, 2, 2, 2, 3, 3, 3, 4 },
          { 1, 2, 2, 2, 1, 3, 3, 3, 1, 4 },
          0.5294117647058822,
          0.11555535736696221,
          0.47222222222222227,
          0.0968709232116015,
          false },
        { "by hand: 4 in order, 2 of 24 orders are as far out",
          4,
          { 1, 2, 3, 4 },
          { 10, 20, 30, 41 },
          1,
          2.0 / 24,
          1,
          2.0 / 24,
          true },
        { "by hand: 10 turned round, one order of 10! at each end",
          10,
          { 1, 2, 3, 4, 5, 6, 7, 8, 9, 10 },
          { 9, 8, 7, 6, 5, 4, 3, 2, 1, 0 },
          -1,
          2.0 / 3628800,
          -1,
          2.0 / 3628800,
          false },
        { "by hand: the law of 3 is symmetric, the middle has p 1",
          3,
          { 1, 2, 3 },
          { 1, 3, 2 },
          0.5,
          1,
          1.0 / 3,
          1,
          true },
        { "constant", 4, { 1, 1, 1, 1 }, { 1, 2, 3, 4 }, NAN, NAN, NAN, NAN, false },
        { "two pairs", 2, { 1, 2 }, { 1, 2 }, NAN, NAN, NAN, NAN, false },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_rank_correlation got;
        fleck_error err = { 0 };

        assert_int_equal(fleck_rank_correlate(cases[i].x, cases[i].y, cases[i].n, &got, &err),
                         FLECK_OK);
        check_near(cases[i].source, got.rho, cases[i].rho, 1e-14);
        check_near(cases[i].source, got.rho_p, cases[i].rho_p, 1e-13);
        check_near(cases[i].source, got.tau, cases[i].tau, 1e-14);
        check_near(cases[i].source, got.tau_p, cases[i].tau_p, 1e-13);
        assert_int_equal(got.rho_exact, cases[i].exact);
    }
}

static void tau_is_exact_below_50_pairs_and_near_the_normal_law_there(void **state)
{
    double x[50], y[50];
    uint64_t seed = 7;
    fleck_rank_correlation exact, normal;
    fleck_error err = { 0 };

    (void)state;
    for (size_t i = 0; i < 50; i++) {
        x[i] = (double)i;
        y[i] = (double)i + 40 * test_uniform(&seed);
    }
    assert_int_equal(fleck_rank_correlate(x, y, 49, &exact, &err), FLECK_OK);
    assert_true(exact.tau_exact);
    y[49] = y[48]; /* a tie takes the normal law */
    x[49] = x[48];
    assert_int_equal(fleck_rank_correlate(x, y, 50, &normal, &err), FLECK_OK);
    assert_false(normal.tau_exact);
    assert_true(exact.tau_p > 0 && fabs(log(exact.tau_p / normal.tau_p)) < 1);
}

static void order_of_pairs_and_swapping_change_nothing(void **state)
{
    double x[20], y[20], turned_x[20], turned_y[20];
    uint64_t seed = 3;
    fleck_rank_correlation one, other;
    fleck_error err = { 0 };

    (void)state;
    for (size_t i = 0; i < 20; i++) {
        x[i] = floor(6 * test_uniform(&seed));
        y[i] = test_uniform(&seed) + 0.1 * x[i];
        turned_y[19 - i] = x[i];
        turned_x[19 - i] = y[i];
    }
    assert_int_equal(fleck_rank_correlate(x, y, 20, &one, &err), FLECK_OK);
    assert_int_equal(fleck_rank_correlate(turned_x, turned_y, 20, &other, &err), FLECK_OK);
    check_near("itself", other.rho, one.rho, 1e-15);
    check_near("itself", other.tau, one.tau, 1e-15);
    check_near("itself", other.tau_p, one.tau_p, 1e-15);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(reference_cases_give_their_coefficients_and_p),
        cmocka_unit_test(tau_is_exact_below_50_pairs_and_near_the_normal_law_there),
        cmocka_unit_test(order_of_pairs_and_swapping_change_nothing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
