/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Ready-made plots show the numbers they were given, and work out right what they add. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/plots.h"
#include "support/check.h"

/* The series of a kind, the first of them. */
static const fleck_plot_series *find(const fleck_plot *plot, fleck_plot_kind kind)
{
    for (size_t i = 0; i < plot->series_count; i++) {
        if (plot->series[i].kind == kind)
            return &plot->series[i];
    }
    fail_msg("there is no series of kind %d", (int)kind);
    return NULL;
}

static void classes_of_sizes_begin_at_the_cutoff(void **state)
{
    static const double diameter[] = { 0.1, 0.11, 0.12, 0.2, 0.5, 0.5 },
                        weight[] = { 1, 1, 1, 1, 2, 4 };
    /* two tenths of a decade: 0.1, 0.158, 0.251, 0.398, 0.631 */
    static const double share[] = { 30, 10, 0, 60 };
    fleck_plot plot = { 0 };
    const fleck_plot_series *bars, *rule;

    (void)state;
    fleck_plot_fill_sizes(&plot, &(fleck_plot_sizes){ .count = 6,
                                                      .diameter_mm = diameter,
                                                      .weight = weight,
                                                      .cutoff_mm = 0.1,
                                                      .lognormal_median_mm = NAN,
                                                      .lognormal_gsd = NAN });
    bars = find(&plot, FLECK_PLOT_BARS);
    rule = find(&plot, FLECK_PLOT_RULE_X);
    assert_int_equal(bars->count, 4);
    for (size_t i = 0; i < 4; i++) {
        check_near("by hand", bars->y[i], share[i], 1e-12);
        check_ratio("0.1 mm, 0.2 decades each", bars->lo[i], 0.1 * pow(10, 0.2 * (double)i), 1e-12);
        check_near("no gap", i < 3 ? bars->lo[i + 1] : bars->hi[3], bars->hi[i], 0);
    }
    check_near("cutoff", rule->at, 0.1, 0);
    assert_string_equal(rule->name, "cutoff\xc2\xa0"
                                    "0.1\xc2\xa0mm");
    assert_non_null(strstr(plot.caption, "6 dots, weighted"));
    assert_null(strstr(plot.caption, "lognormal"));
    fleck_plot_clear(&plot);
}

static void the_lognormal_curve_is_the_share_of_a_class(void **state)
{
    enum { N = 100 };
    double diameter[N];
    fleck_plot plot = { 0 };
    const fleck_plot_series *curve;

    (void)state;
    for (size_t i = 0; i < N; i++)
        diameter[i] = i < N / 2 ? 0.1 : 1;
    fleck_plot_fill_sizes(&plot, &(fleck_plot_sizes){ .count = N,
                                                      .diameter_mm = diameter,
                                                      .cutoff_mm = NAN,
                                                      .lognormal_median_mm = 0.3,
                                                      .lognormal_gsd = 1.5 });
    curve = find(&plot, FLECK_PLOT_LINE);
    /* at 0.3: 2 Phi(0.05 ln 10 / ln 1.5) - 1 */
    for (size_t i = 0; i < curve->count; i++)
        assert_true(curve->y[i] <= 100 * erf(0.05 * log(10) / log(1.5) / sqrt(2)) + 1e-9);
    {
        double sum = 0;

        for (size_t i = 1; i < curve->count; i++)
            sum += (curve->y[i] + curve->y[i - 1]) / 2 * log10(curve->x[i] / curve->x[i - 1]) / 0.1;
        check_near("classes side by side make up nearly all", sum, 100, 1);
    }
    fleck_plot_clear(&plot);
}

static void spacing_is_shown_in_round_classes(void **state)
{
    /*
     * Even from 0 to 1: the quartiles are 0.25 and 0.75, so the width is 1 / cbrt(n) by Freedman &
     * Diaconis (1981), but at most a fifth of the largest, rounded down to 1, 2 or 5.
     */
    static const struct {
        size_t n;
        double width;
    } cases[] = { { 1100, 0.05 }, { 4630, 0.05 }, { 9000, 0.02 }, { 100, 0.1 } };
    static double distance[10000];

    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        fleck_plot plot = { 0 };
        const fleck_plot_series *bars;
        double sum = 0;

        for (size_t i = 0; i < cases[c].n; i++)
            distance[i] = ((double)i + 0.5) / (double)cases[c].n;
        distance[cases[c].n] = NAN;
        distance[cases[c].n + 1] = -1;
        fleck_plot_fill_spacing(&plot, &(fleck_plot_spacing){ .count = cases[c].n + 2,
                                                              .distance_mm = distance,
                                                              .mean_mm = 0.5 });
        bars = find(&plot, FLECK_PLOT_BARS);
        check_near("Freedman & Diaconis (1981)", bars->hi[0] - bars->lo[0], cases[c].width, 1e-12);
        for (size_t i = 0; i < bars->count; i++)
            sum += bars->y[i];
        check_near("all", sum, 100, 1e-9);
        check_near("mean", find(&plot, FLECK_PLOT_RULE_X)->at, 0.5, 0);
        fleck_plot_clear(&plot);
    }
}

static void a_value_on_a_border_is_in_the_upper_class(void **state)
{
    static const double distance[] = { 1, 1, 2, 3, 5, 10 };
    /* greatest / 5 = 2: classes from 0, the last one takes in its upper border */
    static const double share[] = { 100 * 2 / 6.0, 100 * 2 / 6.0, 100 / 6.0, 0, 0, 100 / 6.0 };
    fleck_plot plot = { 0 };
    const fleck_plot_series *bars;

    (void)state;
    fleck_plot_fill_spacing(
        &plot, &(fleck_plot_spacing){ .count = 6, .distance_mm = distance, .mean_mm = NAN });
    bars = find(&plot, FLECK_PLOT_BARS);
    assert_int_equal(bars->count, 6);
    for (size_t i = 0; i < bars->count; i++) {
        check_near("class", bars->lo[i], 2 * (double)i, 0);
        check_near("by hand", bars->y[i], share[i], 1e-12);
    }
    fleck_plot_clear(&plot);
}

static void the_spectrum_marks_its_spacing(void **state)
{
    static const double frequency[] = { 1, 2, 3 }, power[] = { 0.3, 0.2, 0.1 };
    static const double spacing[] = { 0.85, NAN };

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        fleck_plot plot = { 0 };

        fleck_plot_fill_spectrum(&plot,
                                 &(fleck_plot_spectrum){ .count = 3,
                                                         .frequency_per_mm = frequency,
                                                         .ink_power_mm2 = power,
                                                         .dominant_spacing_mm = spacing[i] });
        if (i == 0) {
            check_near("1 / spacing", find(&plot, FLECK_PLOT_RULE_X)->at, 1 / 0.85, 1e-15);
            assert_string_equal(find(&plot, FLECK_PLOT_RULE_X)->name, "spacing\xc2\xa0"
                                                                      "0.85\xc2\xa0mm");
        } else {
            assert_int_equal(plot.series_count, 1);
            assert_non_null(strstr(plot.caption, "no spacing stands out"));
        }
        fleck_plot_clear(&plot);
    }
}

static void groups_have_students_interval(void **state)
{
    static const double value[] = { 1, 2, 4, 7, NAN, 3, 3, 9 };
    static const size_t group[] = { 0, 0, 0, 1, 0, 3, 3, 17 };
    static const char *const names[] = { "a", "b", "c", "d" };
    fleck_plot plot = { 0 };
    const fleck_plot_series *mean;

    (void)state;
    fleck_plot_fill_groups(&plot, &(fleck_plot_groups){ .label = "x",
                                                        .count = 8,
                                                        .value = value,
                                                        .group = group,
                                                        .groups = 4,
                                                        .names = names });
    mean = find(&plot, FLECK_PLOT_INTERVALS);
    assert_int_equal(mean->count, 2); /* one value has no interval, none has no mean */
    check_near("scipy.stats.t.interval(0.95, 2, mean, sem) of 1, 2, 4", mean->y[0], 7.0 / 3, 1e-14);
    check_near("the same, below", mean->lo[0], -1.4612497004061313, 1e-8);
    check_near("the same, above", mean->hi[0], 6.127916367072798, 1e-8);
    check_near("no spread, no width", mean->hi[1] - mean->lo[1], 0, 0);
    assert_int_equal(find(&plot, FLECK_PLOT_POINTS)->count, 7); /* not the one of no group */
    assert_non_null(strstr(plot.caption, "6 patches in 4 groups of 3, 1, 0, 2."));
    fleck_plot_clear(&plot);
}

static void the_line_of_least_squares_has_the_band_of_its_mean(void **state)
{
    static const double x[] = { 1, 2, 3, 4, 5, NAN }, y[] = { 2.1, 3.9, 6.2, 7.8, 10.1, 3 };
    static const struct {
        size_t at; /* of the 101 points */
        double fit, lo, hi;
    } cases[] = {
        { 0, 2.04, 1.5744482413, 2.5055517586700495 },
        { 50, 6.02, 5.7512135668101445, 6.288786433189856 },
    };
    fleck_plot plot = { 0 };
    const fleck_plot_series *band, *line;

    (void)state;
    fleck_plot_fill_factor(&plot, &(fleck_plot_factor){ .count = 6, .x = x, .y = y });
    band = find(&plot, FLECK_PLOT_BAND);
    line = find(&plot, FLECK_PLOT_LINE);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        check_near("scipy.stats.linregress", line->y[cases[i].at], cases[i].fit, 1e-10);
        check_near("fit - t(0.975, 3) s sqrt(1/n + (x - mean)^2/Sxx)", band->lo[cases[i].at],
                   cases[i].lo, 1e-10);
        check_near("the same, above", band->hi[cases[i].at], cases[i].hi, 1e-10);
    }
    assert_non_null(strstr(plot.caption, "5 patches"));
    fleck_plot_clear(&plot);
}

static void too_few_points_have_no_line_or_no_band(void **state)
{
    static const double x[] = { 1, 2, 2 }, y[] = { 3, 4, 5 };
    static const struct {
        size_t from, count, series;
    } cases[] = { { 0, 0, 1 }, { 0, 1, 1 }, { 0, 2, 2 }, { 0, 3, 3 }, { 1, 2, 1 } };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_plot plot = { 0 };

        fleck_plot_fill_factor(&plot, &(fleck_plot_factor){ .count = cases[i].count,
                                                            .x = x + cases[i].from,
                                                            .y = y + cases[i].from });
        assert_int_equal(plot.series_count, cases[i].series);
        fleck_plot_clear(&plot);
    }
}

static void individuals_beyond_the_limits_are_marked_and_named(void **state)
{
    static const double value[] = { 1, 5, 1.2, NAN, -3 };
    static const char *const ids[] = { "p", "q", NULL, "s", NULL };
    fleck_plot plot = { 0 };
    const fleck_plot_series *notes;

    (void)state;
    fleck_plot_fill_chart(
        &plot, &(fleck_plot_chart){
                   .count = 5, .value = value, .ids = ids, .centre = 1, .lcl = 0, .ucl = 2 });
    notes = find(&plot, FLECK_PLOT_NOTES);
    assert_int_equal(notes->count, 2);
    assert_string_equal(notes->texts[0], "q");
    assert_string_equal(notes->texts[1], "5");
    check_near("place in the order", notes->x[1], 5, 0);
    assert_int_equal(find(&plot, FLECK_PLOT_POINTS)->count, 3);
    assert_non_null(strstr(plot.caption, "2 beyond"));
    fleck_plot_clear(&plot);

    fleck_plot_fill_chart(
        &plot,
        &(fleck_plot_chart){ .count = 5, .value = value, .centre = NAN, .lcl = NAN, .ucl = NAN });
    assert_int_equal(find(&plot, FLECK_PLOT_POINTS)->count, 5);
    assert_non_null(strstr(plot.caption, "0 beyond"));
    fleck_plot_clear(&plot);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(classes_of_sizes_begin_at_the_cutoff),
        cmocka_unit_test(the_lognormal_curve_is_the_share_of_a_class),
        cmocka_unit_test(spacing_is_shown_in_round_classes),
        cmocka_unit_test(a_value_on_a_border_is_in_the_upper_class),
        cmocka_unit_test(the_spectrum_marks_its_spacing),
        cmocka_unit_test(groups_have_students_interval),
        cmocka_unit_test(the_line_of_least_squares_has_the_band_of_its_mean),
        cmocka_unit_test(too_few_points_have_no_line_or_no_band),
        cmocka_unit_test(individuals_beyond_the_limits_are_marked_and_named),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
