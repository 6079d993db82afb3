/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>

#include "core/random.h"
#include "stats/box_search.h"
#include "stats/curve_inverse.h"
#include "stats/detectable.h"
#include "stats/fieller.h"
#include "stats/lack_of_fit.h"
#include "stats/least_squares.h"
#include "stats/noncentral_t.h"
#include "stats/real_roots.h"

static void fiellers_interval_has_its_three_kinds(void **state)
{
    static const struct {
        const char *source;
        double top, bottom, top_variance, covariance, bottom_variance, t;
        fleck_fieller_kind kind;
        double lo, hi;
    } cases[] = {
        { "no scatter: the ratio itself", 6, 2, 0, 0, 0, 2, FLECK_FIELLER_BOUNDED, 3, 3 },
        { "by hand: (4 - r)^2 <= 1: 3 to 5", 4, 1, 0.25, 0, 0, 2, FLECK_FIELLER_BOUNDED, 3, 5 },
        { "by hand: 3 r^2 - 4 r - 1 <= 0", 1, 2, 1, 0, 0.5, 1.4142135623730951,
          FLECK_FIELLER_BOUNDED, -0.21525043702153024, 1.5485837703548635 },
        { "by hand: 3 - r = 2 r or -2 r: all but what lies between -3 and 1", 3, 1, 0, 0, 1, 2,
          FLECK_FIELLER_EXCLUSIVE, -3, 1 },
        { "by hand: a flat bottom, 4 - 4 r <= 0: from 1 on", 2, 1, 0, 0, 0.25, 2,
          FLECK_FIELLER_EXCLUSIVE, -INFINITY, 1 },
        { "the same turned round", -2, 1, 0, 0, 0.25, 2, FLECK_FIELLER_EXCLUSIVE, -1, INFINITY },
        { "by hand: flat and on target: everything", 0, 0, 1, 0, 1, 2, FLECK_FIELLER_ALL, NAN,
          NAN },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_fieller got =
            fleck_fieller_interval(cases[i].top, cases[i].bottom, cases[i].top_variance,
                                   cases[i].covariance, cases[i].bottom_variance, cases[i].t);

        assert_int_equal(got.kind, cases[i].kind);
        if (got.lo != cases[i].lo) /* infinity has no distance from itself */
            check_near(cases[i].source, got.lo, cases[i].lo, 1e-14);
        if (got.hi != cases[i].hi)
            check_near(cases[i].source, got.hi, cases[i].hi, 1e-14);
    }
}

static void polynomials_show_all_their_crossings(void **state)
{
    static const struct {
        const char *source;
        double c[FLECK_ROOTS_DEGREE + 1];
        size_t degree;
        double lo, hi;
        size_t count;
        double roots[FLECK_ROOTS_DEGREE];
    } cases[] = {
        { "x - 2", { -2, 1 }, 1, -5, 5, 1, { 2 } },
        { "x - 2 outside", { -2, 1 }, 1, -1, 1, 0, { 0 } },
        { "constant", { 3, 0, 0 }, 2, -1, 1, 0, { 0 } },
        { "x^2 + 1", { 1, 0, 1 }, 2, -9, 9, 0, { 0 } },
        { "(x - 1)(x - 2)(x - 3)", { -6, 11, -6, 1 }, 3, 0, 10, 3, { 1, 2, 3 } },
        { "its ends count", { -6, 11, -6, 1 }, 3, 1, 3, 3, { 1, 2, 3 } },
        { "x (x^2 - 1)(x^2 - 4)(x^2 - 9)",
          { 0, -36, 0, 49, 0, -14, 0, 1 },
          7,
          -3.5,
          2.5,
          6,
          { -3, -2, -1, 0, 1, 2 } },
        { "a leading 0", { -1, 0, 1, 0, 0 }, 4, -2, 2, 2, { -1, 1 } },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        double roots[FLECK_ROOTS_DEGREE];
        const size_t count =
            fleck_real_roots(cases[i].c, cases[i].degree, cases[i].lo, cases[i].hi, roots);

        if (count != cases[i].count)
            fail_msg("%s: %zu roots", cases[i].source, count);
        for (size_t k = 0; k < count; k++)
            check_near(cases[i].source, roots[k], cases[i].roots[k], 1e-13);
    }
}

static void a_straight_line_is_inverted_as_by_fieller(void **state)
{
    const fleck_curve line = { 1, { 0.1, 0.8 }, { 0.002, 0.0004, 0.003 } };
    const fleck_fieller fieller =
        fleck_fieller_interval(0.3 - 0.1, 0.8, 0.002, -0.0002, 0.003, 2.1);
    const fleck_curve_inverse got = fleck_curve_invert(&line, 0.3, 2.1);

    (void)state;
    assert_int_equal(got.root_count, 1);
    check_near("(0.3 - 0.1) / 0.8", got.root[0], 0.25, 1e-15);
    assert_int_equal(got.piece_count, 1);
    check_near("Fieller", got.piece[0].lo, fieller.lo, 1e-14);
    check_near("Fieller", got.piece[0].hi, fieller.hi, 1e-14);
}

static void curves_have_one_answer_two_none_or_a_stretch(void **state)
{
    static const struct {
        const char *source;
        fleck_curve curve;
        double wanted, t;
        size_t roots, pieces;
        double root[2], piece[2][2];
    } cases[] = {
        { "u^2 = 0.25 within 0.01",
          { 2, { 0, 0, 1 }, { 1e-4 } },
          0.25,
          1,
          2,
          2,
          { -0.5, 0.5 },
          { { -0.50990195135927849, -0.48989794855663561 },
            { 0.48989794855663561, 0.50990195135927849 } } },
        { "u^2 = 0.0025 within 0.01: both answers run into one",
          { 2, { 0, 0, 1 }, { 1e-4 } },
          0.0025,
          1,
          2,
          1,
          { -0.05, 0.05 },
          { { -0.1118033988749895, 0.1118033988749895 } } },
        { "u^2 = -0.005 within 0.01: not reached, near enough",
          { 2, { 0, 0, 1 }, { 1e-4 } },
          -0.005,
          1,
          0,
          1,
          { 0 },
          { { -0.070710678118654752, 0.070710678118654752 } } },
        { "u^2 = -1: out of reach", { 2, { 0, 0, 1 }, { 1e-4 } }, -1, 1, 0, 0, { 0 }, { { 0 } } },
        { "flat: everything", { 1, { 0.2, 0 }, { 1 } }, 0.5, 2, 0, 1, { 0 }, { { -1, 1 } } },
        { "exclusive: both ends, not the middle",
          { 1, { 0, 1 }, { 0, 0, 4 } },
          0.6,
          1,
          1,
          2,
          { 0.6 },
          { { -1, -0.6 }, { 0.2, 1 } } },
        { "no scatter: the root alone",
          { 2, { 0, 0, 1 }, { 0 } },
          0.25,
          2,
          2,
          2,
          { -0.5, 0.5 },
          { { -0.5, -0.5 }, { 0.5, 0.5 } } },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_curve_inverse got =
            fleck_curve_invert(&cases[i].curve, cases[i].wanted, cases[i].t);

        if (got.root_count != cases[i].roots || got.piece_count != cases[i].pieces)
            fail_msg("%s: %zu roots, %zu pieces", cases[i].source, got.root_count, got.piece_count);
        for (size_t k = 0; k < got.root_count; k++)
            check_near(cases[i].source, got.root[k], cases[i].root[k], 1e-14);
        for (size_t k = 0; k < got.piece_count; k++) {
            check_near(cases[i].source, got.piece[k].lo, cases[i].piece[k][0], 1e-13);
            check_near(cases[i].source, got.piece[k].hi, cases[i].piece[k][1], 1e-13);
        }
    }
}

/* u^2 + v = 0.5 and v = 0.25 u: crossings at u = 0.5931 and -0.8431 */
static void two_offsets(void *context, const double *u, double *off, double *by)
{
    (void)context;
    off[0] = u[0] * u[0] + u[1] - 0.5;
    off[1] = u[1] - 0.25 * u[0];
    by[0] = 2 * u[0];
    by[1] = 1;
    by[2] = -0.25;
    by[3] = 1;
}

/* u = 1.5 and u = 1.6: out of the box of one side */
static void far_offsets(void *context, const double *u, double *off, double *by)
{
    (void)context;
    off[0] = u[0] - 1.5;
    off[1] = 2 * (u[0] - 1.6);
    by[0] = 1;
    by[1] = 2;
}

static void the_box_is_searched_for_all_its_answers(void **state)
{
    fleck_box_answer answers[FLECK_BOX_ANSWERS];
    const double root = sqrt(0.0625 + 2) / 2;
    size_t count = fleck_box_search(two_offsets, NULL, 2, 2, answers);
    const size_t left = answers[0].u[0] < answers[1].u[0] ? 0 : 1;

    (void)state;
    assert_int_equal(count, 2);
    check_near("by hand: u^2 + u/4 = 1/2", answers[left].u[0], -0.125 - root, 1e-8);
    check_near("by hand", answers[1 - left].u[0], -0.125 + root, 1e-8);
    check_near("by hand", answers[left].u[1], (-0.125 - root) / 4, 1e-8);
    check_near("reached", answers[1].misfit, 0, 1e-14);
    assert_false(answers[0].at_edge[0] || answers[0].at_edge[1]);

    count = fleck_box_search(far_offsets, NULL, 1, 2, answers);
    assert_int_equal(count, 1);
    check_near("the box holds it", answers[0].u[0], 1, 0);
    assert_true(answers[0].at_edge[0]);
    check_near("0.5^2 + 1.2^2", answers[0].misfit, 0.25 + 1.44, 1e-14);
}

static void lack_of_fit_follows_a_case_worked_by_hand(void **state)
{
    /* means 1, 5, 3 on the line 2, 3, 4: lack 12 with 1 df, repeats 6 with 3 df, F 6 */
    static const double x[] = { 0, 0, 1, 1, 2, 2 }, y[] = { 0, 2, 4, 6, 2, 4 };
    static const double two[] = { 0, 0, 1, 1, 1, 1 };
    static const size_t setting[] = { 0, 0, 1, 1, 2, 2 }, alone[] = { 0, 1, 2, 3, 4, 5 };
    fleck_least_squares fit = { 0 };
    fleck_least_squares_fault fault;
    fleck_lack_of_fit got;
    fleck_error err = { 0 };

    (void)state;
    assert_int_equal(fleck_least_squares_fit(x, y, 6, 2, &fault, &fit, &err), FLECK_OK);
    assert_int_equal(fleck_lack_of_fit_test(&fit, y, setting, 3, &got, &err), FLECK_OK);
    assert_int_equal(got.df_lack, 1);
    assert_int_equal(got.df_pure, 3);
    check_near("by hand", got.pure_sd, sqrt(2), 1e-15);
    check_near("by hand", got.f, 6, 1e-14);
    check_near("F(1, 3) by the closed form of Student's t with 3 df", got.p,
               1 - 2 / acos(-1) * (sqrt(2) / 3 + atan(sqrt(2))), 1e-14);
    assert_int_equal(fleck_lack_of_fit_test(&fit, y, alone, 6, &got, &err), FLECK_OK);
    check_near("no repeats", got.p, NAN, 0);
    fleck_least_squares_clear(&fit);
    assert_int_equal(fleck_least_squares_fit(two, y, 6, 2, &fault, &fit, &err), FLECK_OK);
    assert_int_equal(
        fleck_lack_of_fit_test(&fit, y, (const size_t[]){ 0, 0, 1, 1, 1, 1 }, 2, &got, &err),
        FLECK_OK);
    check_near("two settings carry any line", got.p, NAN, 0);
    fleck_least_squares_clear(&fit);
}

static void fiellers_interval_holds_the_true_setting_19_times_in_20(void **state)
{
    /* 12 patches at three settings, slope 4 standard errors from 0; the short form of recipe_rates
     */
    enum { RUNS = 2000 };
    static const double x[12] = { -1, -1, -1, -1, 0, 0, 0, 0, 1, 1, 1, 1 };
    static const double at_0[] = { 1, 0 }, slope[] = { 0, 1 };
    const double t = fleck_t_two_sided_quantile(0.05, 10);
    uint64_t seed = 20;
    int held = 0;

    (void)state;
    for (int run = 0; run < RUNS; run++) {
        fleck_least_squares fit = { 0 };
        fleck_least_squares_fault fault;
        fleck_fieller interval;
        double y[12], pair[2], work[4], variance;

        for (size_t i = 0; i < 12; i += 2) {
            fleck_random_normal_pair(&seed, pair);
            y[i] = 2 + x[i] + 0.7 * pair[0];
            y[i + 1] = 2 + x[i + 1] + 0.7 * pair[1];
        }
        assert_int_equal(fleck_least_squares_fit(x, y, 12, 2, &fault, &fit, NULL), FLECK_OK);
        variance = fit.residual_sd * fit.residual_sd;
        interval = fleck_fieller_interval(
            2.6 - fit.coefficient[0], fit.coefficient[1],
            variance * fleck_least_squares_form(&fit, at_0, at_0, work),
            -variance * fleck_least_squares_form(&fit, at_0, slope, work),
            variance * fleck_least_squares_form(&fit, slope, slope, work), t);
        if (interval.kind == FLECK_FIELLER_BOUNDED)
            held += interval.lo <= 0.6 && interval.hi >= 0.6;
        else
            held += interval.kind == FLECK_FIELLER_ALL || interval.lo >= 0.6 || interval.hi <= 0.6;
        fleck_least_squares_clear(&fit);
    }
    /* 1900 with a standard deviation of 9.7 */
    if (held < 1860 || held > 1940)
        fail_msg("held %d times of %d", held, RUNS);
}

static void detectable_effects_agree_with_power_of_the_t_test(void **state)
{
    /* the reference gives a difference of two groups of n: sd sqrt(2 / n) standard errors */
    static const struct {
        const char *source;
        double n, alpha, power, difference;
    } cases[] = {
        { "R 4.2.2 power.t.test(strict) and SciPy, n 10, 80 %", 10, 0.05, 0.8, 1.324947392579195 },
        { "the same, n 5, 90 %, sd 0.3", 5, 0.05, 0.9, 0.704385337861315 / 0.3 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        check_near(cases[i].source,
                   fleck_detectable_effect(2 * cases[i].n - 2, cases[i].alpha, cases[i].power) *
                       sqrt(2 / cases[i].n),
                   cases[i].difference, 1e-9);
    check_near("no freedom", fleck_detectable_effect(0, 0.05, 0.8), NAN, 0);
    check_near("no power asked", fleck_detectable_effect(5, 0.05, 0.05), NAN, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(fiellers_interval_has_its_three_kinds),
        cmocka_unit_test(polynomials_show_all_their_crossings),
        cmocka_unit_test(a_straight_line_is_inverted_as_by_fieller),
        cmocka_unit_test(curves_have_one_answer_two_none_or_a_stretch),
        cmocka_unit_test(the_box_is_searched_for_all_its_answers),
        cmocka_unit_test(lack_of_fit_follows_a_case_worked_by_hand),
        cmocka_unit_test(detectable_effects_agree_with_power_of_the_t_test),
        cmocka_unit_test(fiellers_interval_holds_the_true_setting_19_times_in_20),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
