/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ticks stand at round numbers and say so. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report/plot_number.h"
#include "report/plot_ticks.h"
#include "support/check.h"

/* The labels of all ticks that have one, with a blank between. */
static void join_labels(const plot_ticks *ticks, char *joined, size_t size)
{
    joined[0] = '\0';
    for (size_t i = 0; i < ticks->count; i++) {
        if (ticks->tick[i].label[0] == '\0')
            continue;
        assert_true(strlen(joined) + strlen(ticks->tick[i].label) + 2 < size);
        if (joined[0] != '\0')
            strcat(joined, " ");
        strcat(joined, ticks->tick[i].label);
    }
}

static void linear_ticks_are_1_2_or_5_apart(void **state)
{
    /* by hand: the smallest step of 1, 2, 5 x 10^n that gives no more ticks than asked for */
    static const struct {
        double least, greatest;
        size_t most;
        const char *labels;
    } cases[] = {
        { 0, 1, 6, "0 0.2 0.4 0.6 0.8 1.0" },
        { 0, 1, 5, "0 0.5 1.0" },
        { 0, 1, 11, "0 0.1 0.2 0.3 0.4 0.5 0.6 0.7 0.8 0.9 1.0" },
        { 105, 543, 5, "200 300 400 500" }, /* the example of Heckbert (1990) */
        { -0.013, 0.021, 5,
          "\xe2\x88\x92"
          "0.01 0 0.01 0.02" },
        { 0.3, 0.6, 4, "0.3 0.4 0.5 0.6" }, /* limits that are not exact in binary */
        { 2.85, 3.15, 7, "2.85 2.90 2.95 3.00 3.05 3.10 3.15" },
        { 0, 4e6, 5, "0 1000000 2000000 3000000 4000000" },
        { 0, 4e7, 5,
          "0 10\xe2\x81\xb7 2\xc3\x97"
          "10\xe2\x81\xb7 3\xc3\x97"
          "10\xe2\x81\xb7 4\xc3\x97"
          "10\xe2\x81\xb7" },
        { 1.1e-9, 2.2e-9, 3,
          "1.5\xc3\x97"
          "10\xe2\x81\xbb\xe2\x81\xb9 2\xc3\x97"
          "10\xe2\x81\xbb\xe2\x81\xb9" },
        { 1000000001, 1000000004, 3, "1000000002 1000000004" },
        { -1e300, 1e300, 3,
          "\xe2\x88\x92"
          "10\xc2\xb3\xe2\x81\xb0\xe2\x81\xb0 0 10\xc2\xb3\xe2\x81\xb0\xe2\x81\xb0" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        plot_ticks ticks;
        char joined[400];

        plot_ticks_linear(cases[i].least, cases[i].greatest, cases[i].most, &ticks);
        join_labels(&ticks, joined, sizeof joined);
        assert_string_equal(joined, cases[i].labels);
    }
}

static void linear_ticks_lie_inside_and_are_few_enough(void **state)
{
    uint64_t seed = 1;
    plot_ticks ticks;

    (void)state;
    for (int i = 0; i < 3000; i++) {
        const double scale = pow(10, 80 * test_uniform(&seed) - 40);
        const double least = scale * (test_uniform(&seed) - 0.5);
        const double range = scale * (1e-9 + test_uniform(&seed));
        const size_t most = 2 + (size_t)(8 * test_uniform(&seed));

        plot_ticks_linear(least, least + range, most, &ticks);
        assert_true(ticks.count <= most);
        for (size_t t = 0; t < ticks.count; t++) {
            assert_true(ticks.tick[t].value >= least - 1e-6 * range);
            assert_true(ticks.tick[t].value <= least + 1.000001 * range);
            assert_true(t == 0 || ticks.tick[t].value > ticks.tick[t - 1].value);
        }
        /* a step is at most 2.5 times what would just be enough */
        if (most > 3)
            assert_true(ticks.count >= 1);
    }
}

static void logarithmic_ticks_are_labelled_by_decades(void **state)
{
    static const struct {
        double least, greatest;
        size_t coarseness;
        const char *labels;
        size_t ticks;
    } cases[] = {
        { 0.1, 10, 0, "0.1 0.2 0.5 1 2 5 10", 19 },
        { 0.1, 10, 1, "0.1 1 10", 19 },
        { 0.09, 11, 1, "0.1 1 10", 20 },
        { 1e-5, 1, 1,
          "10\xe2\x81\xbb\xe2\x81\xb5 10\xe2\x81\xbb\xe2\x81\xb4 10\xe2\x81\xbb\xc2\xb3 "
          "10\xe2\x81\xbb\xc2\xb2 10\xe2\x81\xbb\xc2\xb9 10\xe2\x81\xb0",
          46 },
        { 1e-6, 1e6, 3,
          "10\xe2\x81\xbb\xe2\x81\xb6 10\xe2\x81\xbb\xc2\xb3 10\xe2\x81\xb0 10\xc2\xb3 "
          "10\xe2\x81\xb6",
          13 },
        { 1e-300, 1e300, 8,
          "10\xe2\x81\xbb\xc2\xb3\xe2\x81\xb0\xe2\x81\xb0 "
          "10\xe2\x81\xbb\xc2\xb2\xe2\x81\xb0\xe2\x81\xb0 "
          "10\xe2\x81\xbb\xc2\xb9\xe2\x81\xb0\xe2\x81\xb0 10\xe2\x81\xb0 "
          "10\xc2\xb9\xe2\x81\xb0\xe2\x81\xb0 10\xc2\xb2\xe2\x81\xb0\xe2\x81\xb0 "
          "10\xc2\xb3\xe2\x81\xb0\xe2\x81\xb0",
          7 },
        { 0.3, 0.45, 0, "0.30 0.35 0.40 0.45", 4 }, /* no two of 1-2-5: as a linear axis */
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        plot_ticks ticks;
        char joined[400];

        plot_ticks_log(cases[i].least, cases[i].greatest, cases[i].coarseness, &ticks);
        join_labels(&ticks, joined, sizeof joined);
        assert_string_equal(joined, cases[i].labels);
        assert_int_equal(ticks.count, cases[i].ticks);
    }
}

static void numbers_are_rounded_as_people_write_them(void **state)
{
    static const struct {
        double value;
        int digits;
        const char *text;
    } cases[] = {
        { 0.85, 3, "0.85" },
        { 0.84999, 3, "0.85" },
        { 0, 3, "0" },
        { 12345, 3, "12300" },
        { 999.9, 3, "1000" },
        { -0.5, 3,
          "\xe2\x88\x92"
          "0.5" },
        { 0.001, 3, "0.001" },
        { 1e6, 3, "10\xe2\x81\xb6" },
        { 0.000123456, 3,
          "1.23\xc3\x97"
          "10\xe2\x81\xbb\xe2\x81\xb4" },
        { 48211, 15, "48211" },
        { 0.1, 15, "0.1" },
        { 12.01, 4, "12.01" },
        { INFINITY, 3, "\xe2\x80\x93" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_text text = { 0 };

        plot_number_add(&text, cases[i].value, cases[i].digits);
        assert_string_equal(text.bytes, cases[i].text);
        fleck_text_clear(&text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(linear_ticks_are_1_2_or_5_apart),
        cmocka_unit_test(linear_ticks_lie_inside_and_are_few_enough),
        cmocka_unit_test(logarithmic_ticks_are_labelled_by_decades),
        cmocka_unit_test(numbers_are_rounded_as_people_write_them),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
