/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/pattern_envelope.h"

#include <math.h>
#include <string.h>

#include "support/check.h"

enum { MOST = 400, LENGTH = 4 };

static double curves[MOST * LENGTH], deviations[MOST], low[LENGTH], high[LENGTH];
static const bool all[LENGTH] = { true, true, true, true };

static double normal(uint64_t *state)
{
    double sum = -6;

    for (int i = 0; i < 12; i++)
        sum += test_uniform(state);
    return sum;
}

/* Places that hang together, as distances do. */
static void fill(size_t count, uint64_t *state)
{
    for (size_t i = 0; i < count; i++) {
        double at = 0;

        for (size_t k = 0; k < LENGTH; k++)
            curves[i * LENGTH + k] = at = at + normal(state);
    }
}

/* Three curves at one place, 0, 0 and 3: mean 1, sd sqrt 2. */
static void a_curve_is_ranked_as_by_hand(void **state)
{
    static const double last[] = { 3, 0, 0 }, middle[] = { 0, 3, 0 };
    fleck_envelope envelope;

    (void)state;
    assert_true(fleck_envelope_find(last, 3, 1, all, 0.34, deviations, low, high, &envelope));
    check_near("one of three", envelope.p, 1 / 3.0, 1e-12);
    assert_int_equal(envelope.side, 1);
    assert_int_equal(envelope.simulations, 2);
    /* one may leave, so that the next, one sd/sqrt 2 away, is the border */
    check_near("low", low[0], 0, 1e-12);
    check_near("high", high[0], 2, 1e-12);
    assert_true(fleck_envelope_find(middle, 3, 1, all, 0.34, deviations, low, high, &envelope));
    check_near("all three", envelope.p, 1, 1e-12);
    assert_int_equal(envelope.side, -1);
}

static void the_deciding_place_is_where_the_first_is_farthest(void **state)
{
    uint64_t random = 3;
    fleck_envelope envelope;
    bool used[LENGTH] = { true, true, false, true };

    (void)state;
    fill(100, &random);
    curves[0] = curves[1] = curves[3] = 0;
    curves[1] = -9;
    curves[2] = 100; /* not looked at */
    assert_true(
        fleck_envelope_find(curves, 100, LENGTH, used, 0.05, deviations, low, high, &envelope));
    assert_int_equal(envelope.at, 1);
    assert_int_equal(envelope.side, -1);
    check_near("alone", envelope.p, 0.01, 1e-12);
    check_near("not looked at", low[2], NAN, 0);
    check_near("not looked at", high[2], NAN, 0);
}

/* p takes each of its values as often; the band says the same as p, one curve being its border. */
static void of_curves_of_one_kind_five_per_cent_leave_the_band(void **state)
{
    enum { TRIALS = 2000, COUNT = 40 };
    uint64_t random = 8;
    double left = 0, p_sum = 0;

    (void)state;
    for (int trial = 0; trial < TRIALS; trial++) {
        fleck_envelope envelope;
        bool outside = false;

        fill(COUNT, &random);
        assert_true(fleck_envelope_find(curves, COUNT, LENGTH, all, 0.05, deviations, low, high,
                                        &envelope));
        for (size_t k = 0; k < LENGTH; k++)
            outside = outside || curves[k] < low[k] - 1e-9 || curves[k] > high[k] + 1e-9;
        assert_int_equal(outside, envelope.p <= 0.05);
        left += outside;
        p_sum += envelope.p;
    }
    check_near("share that leaves", left / TRIALS, 0.05, 3 * sqrt(0.05 * 0.95 / TRIALS));
    check_near("mean p", p_sum / TRIALS, (COUNT + 1) / 2.0 / COUNT, 3 * sqrt(1 / 12.0 / TRIALS));
}

static void curves_without_values_do_not_count(void **state)
{
    uint64_t random = 4;
    fleck_envelope with, without;
    double low_before[LENGTH];

    (void)state;
    fill(50, &random);
    assert_true(
        fleck_envelope_find(curves, 50, LENGTH, all, 0.05, deviations, low, high, &without));
    memcpy(low_before, low, sizeof low);
    for (size_t k = 0; k < LENGTH; k++)
        curves[50 * LENGTH + k] = NAN;
    assert_true(fleck_envelope_find(curves, 51, LENGTH, all, 0.05, deviations, low, high, &with));
    check_near("p", with.p, without.p, 0);
    assert_int_equal(with.simulations, 49);
    assert_memory_equal(low, low_before, sizeof low);
}

static void nothing_is_said_without_scatter(void **state)
{
    static const double same[] = { 1, 1, 1 }, missing[] = { NAN, 1, 2 };
    static const bool none[] = { false };
    fleck_envelope envelope;

    (void)state;
    assert_false(fleck_envelope_find(same, 3, 1, all, 0.05, deviations, low, high, &envelope));
    assert_false(fleck_envelope_find(missing, 3, 1, all, 0.05, deviations, low, high, &envelope));
    assert_false(fleck_envelope_find(same, 1, 1, all, 0.05, deviations, low, high, &envelope));
    assert_false(
        fleck_envelope_find(missing + 1, 2, 1, none, 0.05, deviations, low, high, &envelope));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_curve_is_ranked_as_by_hand),
        cmocka_unit_test(the_deciding_place_is_where_the_first_is_farthest),
        cmocka_unit_test(of_curves_of_one_kind_five_per_cent_leave_the_band),
        cmocka_unit_test(curves_without_values_do_not_count),
        cmocka_unit_test(nothing_is_said_without_scatter),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
