/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>

#include "stats/moments.h"

/* Thousandths above 299 of the speed of light in air, in Mm/s: NIST StRD Michelso. */
static const int michelso[] = {
    850,  740, 900, 1070, 930, 850, 950, 980, 980, 880, 1000, 980, 930, 650, 760, 810, 1000,
    1000, 960, 960, 960,  940, 960, 940, 880, 800, 850, 880,  900, 840, 830, 790, 810, 880,
    880,  830, 800, 790,  760, 800, 880, 880, 880, 860, 720,  720, 620, 860, 970, 950, 880,
    910,  850, 870, 840,  840, 850, 840, 840, 840, 890, 810,  810, 820, 800, 770, 760, 740,
    750,  760, 910, 920,  890, 860, 880, 720, 840, 850, 850,  780, 890, 840, 780, 810, 760,
    810,  790, 810, 820,  850, 870, 870, 810, 740, 810, 940,  950, 800, 810, 870,
};

enum { LARGEST = 1001 };

/*
 * The sets of NIST StRD, univariate; certified mean and standard deviation. digits: what must be
 * reached; the others are lost when the decimals become doubles, before any arithmetic.
 */
static const struct {
    const char *source;
    size_t n;
    double first, even, odd; /* of the sets that alternate behind their first value */
    double mean, sd;
    double mean_digits, sd_digits;
} certified[] = {
    { "NIST StRD Michelso", 100, 0, 0, 0, 299.8524, 0.0790105478190518, 15, 13 },
    { "NIST StRD NumAcc1", 3, 10000001, 10000003, 10000002, 10000002, 1, 15, 15 },
    { "NIST StRD NumAcc2", 1001, 1.2, 1.1, 1.3, 1.2, 0.1, 15, 14.5 },
    { "NIST StRD NumAcc3", 1001, 1000000.2, 1000000.1, 1000000.3, 1000000.2, 0.1, 15, 9.4 },
    { "NIST StRD NumAcc4", 1001, 10000000.2, 10000000.1, 10000000.3, 10000000.2, 0.1, 15, 8.2 },
};

static void fill(size_t which, double *values)
{
    values[0] = certified[which].first;
    for (size_t i = 1; i < certified[which].n; i++)
        values[i] = i % 2 == 1 ? certified[which].even : certified[which].odd;
    for (size_t i = 0; which == 0 && i < certified[0].n; i++)
        values[i] = (299000.0 + michelso[i]) / 1000;
}

/* Digits that agree, at most 15: what a double can show. */
static double digits(double actual, double wanted)
{
    return actual == wanted ? 15 : fmin(15, -log10(fabs(actual - wanted) / fabs(wanted)));
}

static void certified_values_are_met_to_the_digits_that_doubles_hold(void **state)
{
    double values[LARGEST];

    (void)state;
    for (size_t which = 0; which < sizeof certified / sizeof *certified; which++) {
        fleck_moments moments;
        double mean_digits, sd_digits;

        fill(which, values);
        moments = fleck_moments_of(values, certified[which].n);
        mean_digits = digits(moments.mean, certified[which].mean);
        sd_digits = digits(moments.sd, certified[which].sd);
        print_message("%s: mean %.1f digits, sd %.1f\n", certified[which].source, mean_digits,
                      sd_digits);
        assert_true(moments.count == certified[which].n);
        assert_true(mean_digits >= certified[which].mean_digits);
        assert_true(sd_digits >= certified[which].sd_digits);
    }
}

/* Whole numbers far from 0 are doubles without rounding: here nothing may be lost. */
static void a_large_offset_costs_no_digit(void **state)
{
    static const double offsets[] = { 0, 1e6, 1e9, 1e12, 1e15 };

    (void)state;
    for (size_t k = 0; k < sizeof offsets / sizeof *offsets; k++) {
        double values[7];
        fleck_moments moments;

        for (size_t i = 0; i < 7; i++)
            values[i] = offsets[k] + (double)i * (double)i;
        moments = fleck_moments_of(values, 7);
        check_near("0 1 4 9 16 25 36: mean 13", moments.mean, offsets[k] + 13, 0);
        check_near("the same: sum of squared deviations 1092", moments.squares, 1092, 0);
        check_near("the same: variance 182", moments.sd, sqrt(182), 0);
    }
}

/* The mean 4e15 + 2/3 falls between doubles; the spread around it must not notice. */
static void a_mean_that_is_no_double_does_not_spoil_the_spread(void **state)
{
    const double values[] = { 4e15, 4e15 + 1, 4e15 + 1 };
    const fleck_moments moments = fleck_moments_of(values, 3);

    (void)state;
    check_near("by hand: 4/9 + 1/9 + 1/9", moments.squares, 2.0 / 3, 1e-15);
    check_near("by hand", moments.sd, sqrt(1.0 / 3), 1e-15);
}

static void missing_values_are_passed_over(void **state)
{
    const double values[] = { NAN, 4, NAN, 8, NAN };
    fleck_moments moments = fleck_moments_of(values, 5);

    (void)state;
    assert_true(moments.count == 2);
    check_near("4 and 8", moments.mean, 6, 0);
    check_near("4 and 8", moments.sd, sqrt(8), 0);
}

static void too_few_values_have_no_spread(void **state)
{
    const double values[] = { 3.5, NAN };
    fleck_moments moments = fleck_moments_of(values, 0);

    (void)state;
    assert_true(moments.count == 0);
    check_near("no value", moments.mean, NAN, 0);
    check_near("no value", moments.squares, NAN, 0);
    check_near("no value", moments.sd, NAN, 0);
    moments = fleck_moments_of(values, 2);
    assert_true(moments.count == 1);
    check_near("one value", moments.mean, 3.5, 0);
    check_near("one value", moments.squares, 0, 0);
    check_near("one value", moments.sd, NAN, 0);
}

static void equal_values_have_no_spread_at_all(void **state)
{
    double values[10];
    fleck_moments moments;

    (void)state;
    for (size_t i = 0; i < 10; i++)
        values[i] = 0.1; /* whose sum is rounded */
    moments = fleck_moments_of(values, 10);
    check_near("0.1 ten times", moments.mean, 0.1, 0);
    check_near("0.1 ten times", moments.sd, 0, 0);
}

static void a_sum_keeps_what_cancels(void **state)
{
    static const double values[] = { 1, 1e100, 1, -1e100 };
    fleck_sum sum = { 0, 0 };

    (void)state;
    for (size_t i = 0; i < 4; i++)
        fleck_sum_add(&sum, values[i]);
    check_near("Neumaier (1974): 1 + 1e100 + 1 - 1e100", fleck_sum_value(&sum), 2, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(certified_values_are_met_to_the_digits_that_doubles_hold),
        cmocka_unit_test(a_large_offset_costs_no_digit),
        cmocka_unit_test(a_mean_that_is_no_double_does_not_spoil_the_spread),
        cmocka_unit_test(missing_values_are_passed_over),
        cmocka_unit_test(too_few_values_have_no_spread),
        cmocka_unit_test(equal_values_have_no_spread_at_all),
        cmocka_unit_test(a_sum_keeps_what_cancels),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
