/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>

#include "nist_sets.h"
#include "stats/least_squares.h"

enum { MOST_COLUMNS = 8, MOST_ROWS = 64 };

static void fit_all(const double *x, const double *y, size_t rows, size_t columns,
                    fleck_least_squares *fit)
{
    fleck_least_squares_fault fault;
    fleck_error err = { 0 };

    if (fleck_least_squares_fit(x, y, rows, columns, &fault, fit, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    assert_int_equal(fault.kind, FLECK_COLUMN_FINE);
}

static void norris_and_longley_give_the_certified_numbers(void **state)
{
    static const double norris[] = { -0.26232307377402947, 0.2328182343011525, 1.0021168180204545,
                                     0.0004297968481999369 };
    static const double longley[] = {
        -3482258.6345958184,   890420.3836073725,   15.061872271373295,    84.91492577476694,
        -0.035819179292591014, 0.03349100777224319, -2.020229803816825,    0.48839968165169945,
        -1.033226867173592,    0.21427416316167527, -0.051104105653580714, 0.22607320006937037,
        1829.1514646135518,    455.478499142212,
    };
    static const struct {
        const char *source;
        const double *x, *y, *certified; /* coefficient and standard error in turn */
        size_t rows, columns;
        double residual_sd, r2, tolerance;
    } cases[] = {
        { "NIST StRD Norris, certified values computed in exact arithmetic", norris_x, norris_y,
          norris, NORRIS_ROWS, 2, 0.8847963961443726, 0.9999937458837117, 5e-12 },
        { "NIST StRD Longley, certified values computed in exact arithmetic", longley_x, longley_y,
          longley, LONGLEY_ROWS, 7, 304.8540735619648, 0.9954790045772957, 5e-12 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_least_squares fit = { 0 };

        fit_all(cases[i].x, cases[i].y, cases[i].rows, cases[i].columns, &fit);
        for (size_t j = 0; j < cases[i].columns; j++) {
            check_ratio(cases[i].source, fit.coefficient[j], cases[i].certified[2 * j],
                        cases[i].tolerance);
            check_ratio(cases[i].source, fit.se[j], cases[i].certified[2 * j + 1],
                        cases[i].tolerance);
        }
        check_ratio(cases[i].source, fit.residual_sd, cases[i].residual_sd, cases[i].tolerance);
        check_ratio(cases[i].source, fit.r2, cases[i].r2, 1e-13);
        fleck_least_squares_clear(&fit);
    }
}

static void wampler_polynomials_give_the_certified_numbers(void **state)
{
    /* Wampler3: standard errors of b0 ... b5; those of Wampler4 and 5 are 100 and 10000 times that
     */
    static const double se[6] = { 2152.32624678170, 2363.55173469681, 779.343524331583,
                                  101.475507550350, 5.64566512170752, 0.112324854679312 };
    static const struct {
        const char *source;
        double step;  /* coefficient k is step^k */
        double noise; /* times that of Wampler3 */
        double residual_sd, r2, coefficient_tolerance, se_tolerance;
    } cases[] = {
        { "NIST StRD Wampler1", 1, 0, 0, 1, 1e-9, 1e-6 },
        { "NIST StRD Wampler2", 0.1, 0, 0, 1, 1e-12, 1e-12 },
        { "NIST StRD Wampler3", 1, 1, 2360.14502379268, 0.999995559025820, 1e-9, 1e-12 },
        { "NIST StRD Wampler4", 1, 100, 236014.502379268, 0.957478440825662, 1e-8, 1e-12 },
        { "NIST StRD Wampler5", 1, 10000, 23601450.2379268, 0.224668921574940e-02, 1e-6, 1e-12 },
    };
    double x[5 * WAMPLER_ROWS], y[WAMPLER_ROWS];

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_least_squares fit = { 0 };

        for (size_t row = 0; row < WAMPLER_ROWS; row++) {
            double power = 1, sum = cases[i].noise * wampler_noise[row];

            for (size_t k = 0; k <= 5; k++) {
                if (k > 0)
                    x[(k - 1) * WAMPLER_ROWS + row] = power;
                sum += power * pow(cases[i].step, (double)k);
                power *= (double)row;
            }
            y[row] = sum;
        }
        fit_all(x, y, WAMPLER_ROWS, 6, &fit);
        for (size_t k = 0; k <= 5; k++) {
            const double true_one = pow(cases[i].step, (double)k);
            check_near(cases[i].source, fit.coefficient[k], true_one,
                       cases[i].coefficient_tolerance);
            check_near(cases[i].source, fit.se[k], cases[i].noise * se[k],
                       cases[i].noise > 0 ? cases[i].noise * se[k] * cases[i].se_tolerance
                                          : cases[i].se_tolerance);
        }
        check_ratio(cases[i].source, fit.r2, cases[i].r2, 1e-12);
        if (cases[i].noise > 0)
            check_ratio(cases[i].source, fit.residual_sd, cases[i].residual_sd, 1e-13);
        fleck_least_squares_clear(&fit);
    }
}

static void leverage_and_cooks_distance_follow_a_case_worked_by_hand(void **state)
{
    /* mean 1.5, squares 5: leverage 1/4 + (x - 1.5)^2 / 5; the line is -0.1 + 0.9 x, rss 0.7 */
    static const double x[] = { 0, 1, 2, 3 }, y[] = { 0, 1, 1, 3 };
    static const double leverage[] = { 0.7, 0.3, 0.3, 0.7 }, residual[] = { 0.1, 0.2, -0.7, 0.4 };
    fleck_least_squares fit = { 0 };

    (void)state;
    fit_all(x, y, 4, 2, &fit);
    check_near("by hand: intercept", fit.coefficient[0], -0.1, 1e-15);
    check_near("by hand: slope", fit.coefficient[1], 0.9, 1e-15);
    check_near("by hand: residual sd", fit.residual_sd, sqrt(0.35), 1e-15);
    check_near("by hand: r2 adjusted", fit.r2_adjusted, 1 - 0.35 / (4.75 / 3), 1e-15);
    for (size_t i = 0; i < 4; i++) {
        const double e = residual[i], h = leverage[i];

        check_near("by hand: leverage", fit.leverage[i], h, 1e-15);
        check_near("by hand: residual", fit.residual[i], e, 1e-15);
        check_near("Cook 1977: e^2 h / (p s^2 (1 - h)^2)", fit.cook[i],
                   e * e * h / (2 * 0.35 * (1 - h) * (1 - h)), 1e-14);
    }
    fleck_least_squares_clear(&fit);
}

static void a_point_that_alone_decides_its_fit_has_leverage_1_and_no_cooks_distance(void **state)
{
    static const double x[] = { 1, 1, 1, 5 }, y[] = { 1, 2, 3, 9 };
    fleck_least_squares fit = { 0 };

    (void)state;
    fit_all(x, y, 4, 2, &fit);
    check_near("by hand", fit.leverage[3], 1, 1e-15);
    check_near("by hand", fit.cook[3], 0, 0);
    fleck_least_squares_clear(&fit);
}

static void a_column_that_cannot_be_fitted_is_named(void **state)
{
    static const struct {
        const char *what;
        double x[3 * 5];
        size_t columns;
        fleck_column_fault kind;
        size_t column, partner;
    } cases[] = {
        { "constant", { 1, 2, 3, 4, 5, 0.1, 0.1, 0.1, 0.1, 0.1 }, 3, FLECK_COLUMN_CONSTANT, 2, 0 },
        { "the same in other units",
          { 1, 2, 3, 4, 5, 9, 4, 1, 7, 3, 10.1, 10.2, 10.3, 10.4, 10.5 },
          4,
          FLECK_COLUMN_COLLINEAR,
          3,
          1 },
        { "a sum",
          { 1, 2, 3, 4, 5, 90, 40, 10, 70, 30, 91, 42, 13, 74, 35 },
          4,
          FLECK_COLUMN_COLLINEAR,
          3,
          2 },
        { "too few rows", { 1, 2, 3, 4, 5 }, 5, FLECK_COLUMN_FINE, 0, 0 },
    };
    static const double y[] = { 3, 1, 4, 1, 5 };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_least_squares fit = { 0 };
        fleck_least_squares_fault fault;
        fleck_error err = { 0 };

        if (fleck_least_squares_fit(cases[i].x, y, 5, cases[i].columns, &fault, &fit, &err) !=
                FLECK_BAD_INPUT ||
            fault.kind != cases[i].kind || fault.column != cases[i].column ||
            fault.partner != cases[i].partner || fit.coefficient != NULL)
            fail_msg("%s: kind %d, column %zu, partner %zu", cases[i].what, (int)fault.kind,
                     fault.column, fault.partner);
    }
}

static void a_constant_measure_gives_zero_slopes_and_no_r2(void **state)
{
    static const double x[] = { 1, 2, 3, 4 }, y[] = { 0.1, 0.1, 0.1, 0.1 };
    fleck_least_squares fit = { 0 };

    (void)state;
    fit_all(x, y, 4, 2, &fit);
    check_near("by hand", fit.coefficient[0], 0.1, 0);
    check_near("by hand", fit.coefficient[1], 0, 0);
    check_near("by hand", fit.residual_sd, 0, 0);
    check_near("no variance to explain", fit.r2, NAN, 0);
    fleck_least_squares_clear(&fit);
}

static void a_fit_of_the_mean_alone_is_the_mean(void **state)
{
    static const double y[] = { 1, 2, 6 };
    fleck_least_squares fit = { 0 };

    (void)state;
    fit_all(NULL, y, 3, 1, &fit);
    check_near("by hand", fit.coefficient[0], 3, 1e-15);
    check_near("by hand: sd 2.6458 over root 3", fit.se[0], sqrt(7.0 / 3), 1e-15);
    fleck_least_squares_clear(&fit);
}

static void forms_give_variance_of_the_fitted_line_and_of_contrasts(void **state)
{
    static const double x[] = { 0, 1, 2, 3 }, y[] = { 0, 1, 1, 3 };
    static const double at_2[] = { 1, 2 }, slope[] = { 0, 1 };
    fleck_least_squares fit = { 0 };
    double work[4];

    (void)state;
    fit_all(x, y, 4, 2, &fit);
    check_near("1/4 + (2 - 1.5)^2 / 5", fleck_least_squares_form(&fit, at_2, at_2, work), 0.3,
               1e-15);
    check_near("1/5", fleck_least_squares_form(&fit, slope, slope, work), 0.2, 1e-15);
    check_near("(2 - 1.5) / 5", fleck_least_squares_form(&fit, at_2, slope, work), 0.1, 1e-15);
    check_near("-0.1 + 0.9 * 2", fleck_least_squares_value(&fit, at_2), 1.7, 1e-15);
    fleck_least_squares_clear(&fit);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(norris_and_longley_give_the_certified_numbers),
        cmocka_unit_test(wampler_polynomials_give_the_certified_numbers),
        cmocka_unit_test(leverage_and_cooks_distance_follow_a_case_worked_by_hand),
        cmocka_unit_test(a_point_that_alone_decides_its_fit_has_leverage_1_and_no_cooks_distance),
        cmocka_unit_test(a_column_that_cannot_be_fitted_is_named),
        cmocka_unit_test(a_constant_measure_gives_zero_slopes_and_no_r2),
        cmocka_unit_test(a_fit_of_the_mean_alone_is_the_mean),
        cmocka_unit_test(forms_give_variance_of_the_fitted_line_and_of_contrasts),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
