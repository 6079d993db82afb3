/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/random.h"
#include "stats/chart_constants.h"
#include "stats/course.h"
#include "stats/grubbs.h"
#include "stats/individuals_chart.h"
#include "stats/tolerance_limits.h"
#include "stats/trend.h"

enum { ROOM = 400 };

/* From the definition integrals (Gauss-Legendre in numpy); three-digit values as in the handbooks. */
static const struct {
    size_t n;
    double d2, d3, c4, range_hi, one_by_range, handbook_d2, handbook_d3;
} constants[] = {
    { 2, 1.1283791671, 0.852502466425, 0.797884560803, 3.26653191928, 2.65868077636, 1.128, 0.853 },
    { 3, 1.69256875064, 0.888368004042, 0.886226925453, 2.57459128979, 1.77245385091, 1.693, 0.888 },
    { 4, 2.05875074601, 0.879808202822, 0.921317731924, 2.28205156141, 1.45719437179, 2.059, 0.880 },
    { 5, 2.32592894728, 0.864081941097, 0.939985602987, 2.11449914509, 1.28980724175, 2.326, 0.864 },
    { 6, 2.53441272122, 0.848039686115, 0.951532861948, 2.00382981708, 1.18370617969, 2.534, 0.848 },
    { 7, 2.70435675121, 0.833205335619, 0.9593687887, 1.92429225757, 1.10932109776, 2.704, 0.833 },
    { 8, 2.84720061209, 0.819831489789, 0.965030456147, 1.86382900415, 1.05366653381, 2.847, 0.820 },
    { 9, 2.97002632442, 0.80783427455, 0.969310699714, 1.81598698427, 1.01009205721, 2.970, 0.808 },
    { 10, 3.07750546167, 0.797050673516, 0.972659274122, 1.77697734426, 0.974815491756, 3.078, 0.797 },
};

static void chart_constants_are_those_of_the_handbooks(void **state)
{
    fleck_chart_constants found;

    (void)state;
    for (size_t i = 0; i < sizeof constants / sizeof *constants; i++) {
        assert_true(fleck_chart_constants_of(constants[i].n, &found, NULL) == FLECK_OK);
        check_near("definition integral", found.d2, constants[i].d2, 1e-9);
        check_near("definition integral", found.d3, constants[i].d3, 1e-9);
        check_near("gamma functions", found.c4, constants[i].c4, 1e-11);
        check_near("D4", found.range_hi, constants[i].range_hi, 1e-9);
        check_near("E2", found.one_by_range, constants[i].one_by_range, 1e-9);
        check_near("ASTM E2587", found.d2, constants[i].handbook_d2, 5.1e-4);
        check_near("ASTM E2587", found.d3, constants[i].handbook_d3, 5.1e-4);
    }
    check_near("ASTM E2587: A2 of 10", found.mean_by_range, 0.308, 5e-4);
    check_near("ASTM E2587: A3 of 10", found.mean_by_sd, 0.975, 5e-4);
    check_near("ASTM E2587: B3 of 10", found.sd_lo, 0.284, 5e-4);
    check_near("ASTM E2587: B4 of 10", found.sd_hi, 1.716, 5e-4);
    check_near("ASTM E2587: D3 of 10", found.range_lo, 0.223, 5e-4);
    assert_true(fleck_chart_constants_of(25, &found, NULL) == FLECK_OK);
    check_near("ASTM E2587: d2 of 25", found.d2, 3.931, 5e-4);
    assert_true(fleck_chart_constants_of(1, &found, NULL) == FLECK_BAD_CALL);
    assert_true(fleck_chart_constants_of(26, &found, NULL) == FLECK_BAD_CALL);
}

static void limits_of_individuals_are_those_of_the_nist_handbook(void **state)
{
    static const double flow[] = { 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1 };
    const fleck_individuals chart = fleck_individuals_of(flow, 10);

    (void)state;
    check_near("NIST/SEMATECH e-Handbook 6.3.2.2: 50.81", chart.centre, 50.81, 1e-13);
    check_near("the same: 1.8778", chart.mean_range, 1.8777777777777778, 1e-13);
    check_near("the same: 55.8041", chart.ucl, 55.804089834515366, 1e-12);
    check_near("the same: 45.8159", chart.lcl, 45.81591016548463, 1e-12);
    check_near("3.267 times the mean range", chart.range_ucl, 6.1347, 1e-12);
    check_near("one value has no range", fleck_individuals_of(flow, 1).sigma, NAN, 0);
}

/* Values in sigma; one letter a rule in the order of fleck_run_rules: what must be found, from - to. */
static const struct {
    const char *name;
    size_t n;
    double values[16];
    const char *rule;
    size_t first, last;
} runs[] = {
    { "beyond 3", 3, { 0.1, 3.1, -0.2 }, "nelson-1", 1, 1 },
    { "below -3", 3, { 0.1, 0.2, -3.1 }, "nelson-1", 2, 2 },
    { "nine above", 10, { -0.1, 0.2, 0.1, 0.2, 0.1, 0.2, 0.1, 0.2, 0.1, 0.2 }, "nelson-2", 1, 9 },
    { "eight above", 9, { -0.1, 0.2, 0.1, 0.2, 0.1, 0.2, 0.1, 0.2, 0.1 }, "western-electric-4", 1, 8 },
    { "six rising", 6, { -0.5, -0.3, -0.1, 0.1, 0.3, 0.5 }, "nelson-3", 0, 5 },
    { "seven falling", 7, { 0.6, 0.5, 0.3, 0.1, -0.1, -0.3, -0.5 }, "nelson-3", 0, 6 },
    { "alternating", 14, { 0.5, -0.5, 0.5, -0.5, 0.5, -0.5, 0.5, -0.5, 0.5, -0.5, 0.5, -0.5, 0.5, -0.5 },
      "nelson-4", 0, 13 },
    { "two of three", 3, { 2.1, 0.1, 2.2 }, "nelson-5", 0, 2 },
    { "four of five", 5, { -1.1, -1.2, 0.3, -1.1, -1.2 }, "nelson-6", 0, 4 },
    { "hugging", 15, { 0.5, 0.1, -0.5, -0.1, 0.5, 0.1, -0.5, -0.1, 0.5, 0.1, -0.5, -0.1, 0.5, 0.1, -0.5 },
      "nelson-7", 0, 14 },
    { "shunning", 8, { 1.5, 1.4, -1.5, -1.4, 1.5, 1.4, -1.5, -1.4 }, "nelson-8", 0, 7 },
};

static void each_rule_finds_the_run_it_is_made_for(void **state)
{
    size_t count;
    const fleck_run_rule *const rules = fleck_run_rules(&count);

    (void)state;
    for (size_t i = 0; i < sizeof runs / sizeof *runs; i++) {
        fleck_run_signals signals = { 0 };
        int found = 0;

        assert_true(fleck_run_signals_find(runs[i].values, runs[i].n, 0, 1, &signals, NULL) == FLECK_OK);
        for (size_t k = 0; k < signals.count; k++) {
            if (strcmp(rules[signals.items[k].rule].name, runs[i].rule) != 0)
                continue;
            found++;
            assert_int_equal(signals.items[k].first, runs[i].first);
            assert_int_equal(signals.items[k].last, runs[i].last);
        }
        if (found != 1)
            print_message("%s: %d signals\n", runs[i].name, found);
        assert_int_equal(found, 1);
        free(signals.items);
    }
}

/* One value short of each run above: no rule may find anything. */
static void a_run_that_is_too_short_is_no_signal(void **state)
{
    static const struct {
        size_t n;
        double values[16];
    } quiet[] = {
        { 8, { -0.1, 0.2, 0.1, 0.2, 0.1, 0.2, 0.1, 0.2 } },
        { 5, { -0.5, -0.3, 0.1, 0.3, 0.5 } },
        { 13, { 0.5, -0.5, 0.5, -0.5, 0.5, -0.5, 0.5, -0.5, 0.5, -0.5, 0.5, -0.5, 0.5 } },
        { 3, { 2.1, 0.1, -2.2 } },
        { 5, { -1.1, -1.2, 0.3, -1.1, 0.2 } },
        { 7, { 1.5, 1.4, -1.5, -1.4, 1.5, 1.4, -1.5 } },
        { 3, { 3, -3, 0 } },
    };

    (void)state;
    for (size_t i = 0; i < sizeof quiet / sizeof *quiet; i++) {
        fleck_run_signals signals = { 0 };

        assert_true(fleck_run_signals_find(quiet[i].values, quiet[i].n, 0, 1, &signals, NULL) ==
                    FLECK_OK);
        assert_int_equal(signals.count, 0);
        free(signals.items);
    }
}

/* Eight beyond 1 sigma on one side break other rules, but not the one for both sides. */
static void a_run_on_one_side_is_not_taken_for_one_on_both(void **state)
{
    static const double values[] = { 1.5, 1.4, 1.5, 1.4, 1.5, 1.4, 1.5, 1.4 };
    fleck_run_signals signals = { 0 };
    size_t count;
    const fleck_run_rule *const all = fleck_run_rules(&count);

    (void)state;
    assert_true(fleck_run_signals_find(values, 8, 0, 1, &signals, NULL) == FLECK_OK);
    assert_true(signals.count > 0);
    for (size_t i = 0; i < signals.count; i++)
        assert_string_not_equal(all[signals.items[i].rule].name, "nelson-8");
    free(signals.items);
}

static void stretches_of_a_rule_are_one_only_where_they_overlap(void **state)
{
    static const double values[] = { 0, 3.5, 3.6, 0, -3.4 };
    static const double rising[] = { 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8 };
    fleck_run_signals signals = { 0 };

    (void)state;
    assert_true(fleck_run_signals_find(values, 5, 0, 1, &signals, NULL) == FLECK_OK);
    assert_int_equal(signals.items[0].last, 1);
    assert_int_equal(signals.items[1].first, 2);
    assert_int_equal(signals.items[2].first, 4);
    free(signals.items);
    signals = (fleck_run_signals){ 0 };
    assert_true(fleck_run_signals_find(rising, 8, 0.45, 1, &signals, NULL) == FLECK_OK);
    assert_int_equal(signals.count, 1);
    assert_int_equal(signals.items[0].first, 0);
    assert_int_equal(signals.items[0].last, 7);
    free(signals.items);
}

static void ties_are_allowed_for_in_mann_and_kendalls_test(void **state)
{
    static const double place[] = { 1, 2, 3, 4, 5, 6, 7, 8, 9 }, tied[] = { 1, 2, 2, 3, 3, 3 };
    static const double x[] = { 1, 2, 2, 3, 4, 5, 5, 6, 7, 8, 9, 10 };
    static const double y[] = { 2, 1, 4, 4, 3, 6, 7, 5, 8, 8, 10, 9 };
    static const double threes[] = { 1, 1, 1, 2, 2, 2, 3, 3 }, fours[] = { 1, 2, 2, 2, 3, 3, 3, 3 };
    static const double tuna[] = { 44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1 };
    static const double light[] = { 2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8 };
    fleck_trend trend;

    (void)state;
    assert_true(fleck_trend_of(place, tied, 6, &trend, NULL) == FLECK_OK);
    check_near("by hand: 15 pairs, 4 tied", trend.s, 11, 0);
    check_near("Kendall (1975), by hand: (510 - 18 - 66) / 18", trend.variance, 426.0 / 18, 1e-13);
    check_near("by hand: 11 / sqrt(15 11)", trend.tau, 11 / sqrt(165), 1e-14);
    check_near("normal tail of 10 / sqrt(23.667)", trend.p, 0.0398243553648, 1e-11);
    assert_false(trend.exact);
    assert_true(fleck_trend_of(x, y, 12, &trend, NULL) == FLECK_OK);
    check_near("R 4.2.2 cor.test, ties in both", trend.tau, 0.78125, 1e-14);
    check_near("the same: z 3.4608311 without correction", 50 / sqrt(trend.variance),
               3.460831101971939, 1e-12);
    assert_true(fleck_trend_of(threes, fours, 8, &trend, NULL) == FLECK_OK);
    check_near("scipy.stats.kendalltau, ties of three and more in both", trend.variance,
               47.035714285714285, 1e-9);
    assert_true(fleck_trend_of(tuna, light, 9, &trend, NULL) == FLECK_OK);
    check_near("Hollander & Wolfe (1973), R cor.test", trend.tau, 4.0 / 9, 1e-14);
    check_near("the same, exact", trend.p, 43342.0 / 362880, 1e-13);
    assert_true(fleck_trend_of(place, place, 9, &trend, NULL) == FLECK_OK);
    check_near("one order of 9! and its mirror", trend.p, 2.0 / 362880, 1e-16);
    check_near("a straight line", trend.slope, 1, 0);
}

static void sens_slope_is_the_median_of_all_slopes(void **state)
{
    static const double place[] = { 1, 2, 4 }, values[] = { 1, 3, 10 }, tied[] = { 1, 1, 3 };
    double far[2 * 2001], rising[2 * 2001];
    fleck_trend trend;

    (void)state;
    assert_true(fleck_trend_of(place, values, 3, &trend, NULL) == FLECK_OK);
    check_near("by hand: 2, 3, 3.5", trend.slope, 3, 1e-15);
    assert_true(fleck_trend_of(tied, values, 3, &trend, NULL) == FLECK_OK);
    check_near("by hand: 4.5 and 3.5, the tie has none", trend.slope, 4, 1e-15);
    for (size_t i = 0; i < 4002; i++) {
        far[i] = (double)i;
        rising[i] = 0.25 * (double)i + (i % 2 == 1 ? 0.125 : -0.125);
    }
    assert_true(fleck_trend_of(far, rising, 4002, &trend, NULL) == FLECK_OK);
    check_near("4002 values on a line", trend.slope, 0.25, 1e-3);
}

static void a_trend_needs_three_values_that_differ(void **state)
{
    static const double place[] = { 1, 2, 3 }, flat[] = { 4, 4, 4 };
    fleck_trend trend;

    (void)state;
    assert_true(fleck_trend_of(place, flat, 3, &trend, NULL) == FLECK_OK);
    check_near("all the same", trend.tau, NAN, 0);
    check_near("all the same", trend.p, NAN, 0);
    assert_true(fleck_trend_of(place, place, 2, &trend, NULL) == FLECK_OK);
    check_near("two values", trend.p, NAN, 0);
    assert_true(fleck_trend_of(place, flat, 0, &trend, NULL) == FLECK_OK);
    check_near("no value", trend.p, NAN, 0);
}

static void pettitts_step_is_found_where_it_is(void **state)
{
    static const double values[] = { 1, 2, 3, 10, 11, 12 };
    fleck_step step;

    (void)state;
    assert_true(fleck_step_of(values, 6, &step, NULL) == FLECK_OK);
    assert_int_equal(step.first, 3);
    check_near("Pettitt (1979), by hand: 9 pairs", step.k, 9, 0);
    check_near("2 exp(-6 81 / 252)", step.p, 2 * exp(-6.0 * 81 / 252), 1e-14);
    assert_true(fleck_step_of(values, 1, &step, NULL) == FLECK_OK);
    check_near("one value", step.p, NAN, 0);
}

static void the_shape_of_a_change_is_told(void **state)
{
    double place[ROOM], values[ROOM];
    uint64_t random = 4;
    fleck_course course;

    (void)state;
    for (size_t i = 0; i < 19; i++)
        place[i] = (double)(i + 1);
    for (int shape = 0; shape < 3; shape++) {
        for (size_t i = 0; i < 19; i++) {
            double pair[2];

            fleck_random_normal_pair(&random, pair);
            values[i] = 20 + 0.1 * pair[0];
            if (shape == FLECK_COURSE_STEP)
                values[i] += i >= 13 ? 1 : 0;
            else if (shape == FLECK_COURSE_BEND)
                values[i] += i >= 13 ? 0.4 * (double)(i - 12) : 0;
            else
                values[i] += 0.2 * (double)i;
        }
        assert_true(fleck_course_of(place, values, 19, &course, NULL) == FLECK_OK);
        assert_int_equal(course.kind, shape);
        check_near("few of 10 000 orders are as good", course.p, 0, 1e-3);
        assert_int_equal(course.first, shape == FLECK_COURSE_DRIFT ? 0 : 13);
        check_near("level before", course.before, 20, 0.15);
        if (shape == FLECK_COURSE_STEP)
            check_near("level behind", course.after, 21, 0.15);
        else
            check_near("slope", course.slope, shape == FLECK_COURSE_BEND ? 0.4 : 0.2, 0.04);
    }
}

static void exact_shapes_come_back_exactly(void **state)
{
    static const double place[] = { 1, 2, 3, 5, 6, 9 }, step[] = { 2, 2, 2, 5, 5, 5 };
    double line[19];
    static const double bend[] = { 2, 2, 2, 4, 5, 8 }, flat[] = { 3, 3, 3, 3, 3, 3 };
    fleck_course course;

    (void)state;
    assert_true(fleck_course_of(place, step, 6, &course, NULL) == FLECK_OK);
    assert_int_equal(course.kind, FLECK_COURSE_STEP);
    assert_int_equal(course.first, 3);
    check_near("by hand", course.before, 2, 1e-12);
    check_near("by hand", course.after, 5, 1e-12);
    assert_true(fleck_course_of(place, bend, 6, &course, NULL) == FLECK_OK);
    assert_int_equal(course.kind, FLECK_COURSE_BEND);
    assert_int_equal(course.first, 3);
    check_near("by hand", course.before, 2, 1e-12);
    check_near("by hand", course.slope, 1, 1e-12);
    check_near("by hand", course.after, 8, 1e-12);
    assert_true(fleck_course_of(place, place, 6, &course, NULL) == FLECK_OK);
    assert_int_equal(course.kind, FLECK_COURSE_DRIFT);
    check_near("by hand", course.slope, 1, 1e-12);
    check_near("by hand", course.before, 1, 1e-12);
    check_near("by hand", course.after, 9, 1e-12);
    assert_true(fleck_course_of(place, flat, 6, &course, NULL) == FLECK_OK);
    check_near("no scatter", course.p, NAN, 0);
    for (size_t i = 0; i < 19; i++)
        line[i] = (double)i;
    assert_true(fleck_course_of(line, line, 19, &course, NULL) == FLECK_OK);
    check_near("none of 9999 orders is as straight, the own one counts", course.p, 1e-4, 1e-15);
}

/* Places at which several values stand cannot be parted by a break. */
static void no_break_parts_values_at_one_place(void **state)
{
    static const double place[] = { 1, 1, 2, 2, 2, 2, 3, 3 }, values[] = { 1, 1, 1, 9, 9, 9, 9, 9 };
    fleck_course course;

    (void)state;
    assert_true(fleck_course_of(place, values, 8, &course, NULL) == FLECK_OK);
    if (course.kind != FLECK_COURSE_DRIFT)
        assert_true(course.first == 2 || course.first == 6);
}

/* A test at 5 % must find something in some 5 % of series without any change. */
static void an_order_without_meaning_is_rarely_found_to_change(void **state)
{
    enum { SERIES = 120, LENGTH = 10 };
    double place[LENGTH], values[LENGTH];
    uint64_t random = 77;
    int found = 0;

    (void)state;
    for (int i = 0; i < SERIES; i++) {
        fleck_course course;

        for (size_t k = 0; k < LENGTH; k++) {
            double pair[2];

            fleck_random_normal_pair(&random, pair);
            place[k] = (double)k;
            values[k] = pair[0];
        }
        assert_true(fleck_course_of(place, values, LENGTH, &course, NULL) == FLECK_OK);
        found += course.p <= 0.05;
    }
    assert_in_range(found, 1, 14); /* 6 expected; beyond 14 in one of 1000 */
}

/* Seven values -3 to 3 and one at d: G^2 = (7 d / 8)^2 / (4 + d^2 / 8). */
static void grubbs_chance_is_that_of_his_table(void **state)
{
    static const struct {
        const char *source;
        double g, p;
    } rows[] = {
        { "Grubbs (1969), n = 8: 2.032 at 5 % on one side", 2.032, 0.10 },
        { "Grubbs (1969), n = 8: 2.126 at 2.5 % on one side", 2.126, 0.05 },
        { "Grubbs (1969), n = 8: 2.221 at 1 % on one side", 2.221, 0.02 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        const double g = rows[i].g, d = sqrt(4 * g * g / (49.0 / 64 - g * g / 8));
        const double values[] = { -3, -2, -1, d, 0, 1, 2, 3 };
        const fleck_grubbs test = fleck_grubbs_of(values, 8);

        assert_int_equal(test.index, 3);
        check_near(rows[i].source, test.g, g, 1e-12);
        check_ratio(rows[i].source, test.p, rows[i].p, 0.01);
    }
}

static void outliers_are_taken_one_after_the_other(void **state)
{
    static const double uranium[] = { 199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57 };
    static const double two[] = { 1.0, 1.1, 0.9, 1.0, 1.2, 0.8, 5.0, 1.1, 0.9, 1.0, -9.0 };
    static const double same[] = { 1, 1, 1 };
    size_t found, out[11];
    double p;

    (void)state;
    check_near("NIST/SEMATECH e-Handbook 1.3.5.17.1, uranium: 2.4687", fleck_grubbs_of(uranium, 8).g,
               2.4687644, 1e-6);
    assert_true(fleck_grubbs_repeated(uranium, 8, 0.05, out, &found, &p, NULL) == FLECK_OK);
    assert_int_equal(found, 1);
    assert_int_equal(out[0], 7);
    assert_true(p < 1e-6);
    assert_true(fleck_grubbs_repeated(two, 11, 0.05, out, &found, &p, NULL) == FLECK_OK);
    assert_int_equal(found, 2);
    assert_int_equal(out[0], 10);
    assert_int_equal(out[1], 6);
    assert_true(fleck_grubbs_repeated(same, 3, 0.05, out, &found, &p, NULL) == FLECK_OK);
    assert_int_equal(found, 0);
    check_near("no scatter", p, NAN, 0);
}

static void tolerance_factors_are_those_of_iso_16269_6(void **state)
{
    static const struct {
        const char *source;
        size_t n;
        double share, confidence, k, tolerance;
    } rows[] = {
        { "ISO 16269-6, exact two-sided: 36.5193", 2, 0.95, 0.95, 36.519214612, 1e-6 },
        { "ISO 16269-6, exact two-sided: 5.0769", 5, 0.95, 0.95, 5.0768745321, 1e-8 },
        { "quadrature in SciPy", 10, 0.90, 0.95, 2.8563108486, 1e-8 },
        { "ISO 16269-6, exact two-sided: 3.3935", 10, 0.95, 0.95, 3.3934294787, 1e-8 },
        { "quadrature in SciPy", 43, 0.90, 0.99, 2.2228251738, 1e-8 },
        { "quadrature in SciPy", 100, 0.99, 0.95, 2.9355492411, 1e-8 },
        { "of very many, the normal quantile", 100000000, 0.95, 0.5, 1.959963985, 1e-4 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        check_near(rows[i].source,
                   fleck_tolerance_factor(rows[i].n, rows[i].share, rows[i].confidence), rows[i].k,
                   rows[i].tolerance);
    check_near("one value", fleck_tolerance_factor(1, 0.9, 0.95), NAN, 0);
    check_near("no share", fleck_tolerance_factor(10, 1, 0.95), NAN, 0);
}

/* Chance that a sample of n from a lot with so many bad pieces holds none, factor by factor. */
static double passes(size_t lot, size_t bad, size_t n)
{
    double chance = 1;

    for (size_t i = 0; i < n; i++)
        chance *= lot - i > bad ? (double)(lot - i - bad) / (double)(lot - i) : 0;
    return chance;
}

static void samples_that_must_all_pass_are_as_large_as_they_need_be(void **state)
{
    (void)state;
    assert_int_equal(fleck_all_pass_sample(0, 0.90, 0.95), 29); /* ISO 16269-6: 29 */
    assert_int_equal(fleck_all_pass_sample(0, 0.95, 0.95), 59); /* ISO 16269-6: 59 */
    assert_int_equal(fleck_all_pass_sample(0, 0.90, 0.90), 22);
    assert_int_equal(fleck_all_pass_sample(0, 0.5, 0.75), 2); /* exactly 2: not 3 by rounding */
    assert_int_equal(fleck_all_pass_sample(0, 1, 0.95), 0);
    /* 3 prints: one bad one would be above 10 %, and must be looked at to be sure */
    assert_int_equal(fleck_all_pass_sample(3, 0.90, 0.95), 3);
    for (size_t lot = 10; lot <= 5000; lot += 499) {
        const size_t bad = lot / 10 + 1, n = fleck_all_pass_sample(lot, 0.90, 0.95);

        assert_true(passes(lot, bad, n) <= 0.05 + 1e-12);
        assert_true(passes(lot, bad, n - 1) > 0.05);
        assert_true(n <= 29);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(chart_constants_are_those_of_the_handbooks),
        cmocka_unit_test(limits_of_individuals_are_those_of_the_nist_handbook),
        cmocka_unit_test(each_rule_finds_the_run_it_is_made_for),
        cmocka_unit_test(a_run_that_is_too_short_is_no_signal),
        cmocka_unit_test(a_run_on_one_side_is_not_taken_for_one_on_both),
        cmocka_unit_test(stretches_of_a_rule_are_one_only_where_they_overlap),
        cmocka_unit_test(ties_are_allowed_for_in_mann_and_kendalls_test),
        cmocka_unit_test(sens_slope_is_the_median_of_all_slopes),
        cmocka_unit_test(a_trend_needs_three_values_that_differ),
        cmocka_unit_test(pettitts_step_is_found_where_it_is),
        cmocka_unit_test(the_shape_of_a_change_is_told),
        cmocka_unit_test(exact_shapes_come_back_exactly),
        cmocka_unit_test(no_break_parts_values_at_one_place),
        cmocka_unit_test(an_order_without_meaning_is_rarely_found_to_change),
        cmocka_unit_test(grubbs_chance_is_that_of_his_table),
        cmocka_unit_test(outliers_are_taken_one_after_the_other),
        cmocka_unit_test(tolerance_factors_are_those_of_iso_16269_6),
        cmocka_unit_test(samples_that_must_all_pass_are_as_large_as_they_need_be),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
