/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/plan.h"
#include "io/csv.h"
#include "stats/power.h"
#include "study/run_files.h"

/* Two kinds, two patches from each batch. Means of batches: 0.20, 0.22, 0.24 and 0.40, 0.43. */
static const char pilot_table[] = "id,paste_pct,batch,region.area_mm2,ink.coverage,dots.d50_mm\n"
                                  "a1,2,m1,100,0.19,0.3\na2,2,m1,100,0.21,0.3\n"
                                  "a3,2,m2,100,0.22,0.3\na4,2,m2,100,0.22,0.3\n"
                                  "a5,2,m3,100,0.23,0.3\na6,2,m3,100,0.25,0.3\n"
                                  "b1,5,m4,100,0.40,0.3\nb2,5,m4,100,0.40,\n"
                                  "b3,5,m5,100,0.43,0.3\nb4,5,m5,100,0.43,0.3\n";

static fleck_study *pilot(const char *table)
{
    const char *const run = "pilot";
    fleck_study *study = NULL;
    fleck_error err = { 0 };

    run_put_all(run, table, NULL);
    if (fleck_study_read(&run, 1, &study, &err) != FLECK_OK)
        print_error("%s\n", err.message);
    assert_non_null(study);
    return study;
}

static fleck_plan planned(const fleck_study *study, const fleck_plan_options *options)
{
    fleck_plan plan;
    fleck_error err = { 0 };
    const fleck_status status = fleck_plan_numbers(study, options, &plan, &err);

    if (status != FLECK_OK)
        print_error("%s\n", err.message);
    assert_int_equal(status, FLECK_OK);
    return plan;
}

static void the_spread_is_that_between_batches_of_one_kind(void **state)
{
    const fleck_plan_value difference = { "ink.coverage", 0.05, false };
    fleck_plan_options options = fleck_plan_options_default();
    fleck_study *study = pilot(pilot_table);
    fleck_plan plan;

    (void)state;
    options.by = "paste_pct";
    options.differences = &difference;
    options.difference_count = 1;
    plan = planned(study, &options);
    assert_string_equal(plan.unit, "batch");
    assert_int_equal(plan.number_count, 1);
    assert_int_equal(plan.numbers[0].units, 5);
    check_near("mean of the batches' means", plan.numbers[0].mean, 1.49 / 5, 1e-15);
    /* (0.02^2 + 0 + 0.02^2 + 2 * 0.015^2) over 2 + 1 degrees of freedom */
    check_near("by hand", plan.numbers[0].sd, sqrt((0.0008 + 0.00045) / 3), 1e-15);
    check_near("by hand", plan.numbers[0].sd_df, 3, 0);
    /* chi-squared, 3 degrees of freedom, lower 20 %: 1.0051740 (Abramowitz & Stegun, table 26.8) */
    check_ratio("by hand", plan.numbers[0].sd_high, plan.numbers[0].sd * sqrt(3 / 1.0051740), 1e-6);
    check_near("its definition", plan.numbers[0].per_group,
               ceil(fleck_power_group_size(0.05 / plan.numbers[0].sd, 0.05, 0.8)), 0);
    assert_true(plan.numbers[0].per_group_cautious > plan.numbers[0].per_group);
    assert_true(plan.numbers[0].reached >= 0.8);
    assert_true(fleck_power_two_groups(plan.numbers[0].per_group - 1, 0.05 / plan.numbers[0].sd,
                                       0.05) < 0.8);
    assert_true(fleck_warnings_has(&plan.warnings, "few-units"));
    fleck_plan_clear(&plan);

    options.unit = "patch";
    plan = planned(study, &options);
    assert_string_equal(plan.unit, "patch");
    check_near("8 patches more than kinds", plan.numbers[0].sd_df, 8, 0);
    fleck_plan_clear(&plan);
    fleck_study_free(study);
}

/* R 4.2.2: power.t.test(power = 0.9, delta = 1, sd = 1)$n is 22.02, (power = 0.8, delta =
 * 0.5)$n 63.77 */
static void given_spreads_need_no_pilot(void **state)
{
    static const struct {
        const char *source;
        double sd, difference, power;
        bool percent;
        double per_group;
    } cases[] = {
        { "R power.t.test: 22.02", 1, 1, 0.9, false, 23 },
        { "R power.t.test: 63.77", 0.02, 0.01, 0.8, false, 64 },
        { "the same in per cent", 8, 4, 0.8, true, 64 },
        { "far apart", 0.001, 1, 0.8, false, 2 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_plan_value sd = { "dots.d50_mm", cases[i].sd, cases[i].percent };
        const fleck_plan_value difference = { "dots.d50_mm", cases[i].difference,
                                              cases[i].percent };
        fleck_plan_options options = fleck_plan_options_default();
        fleck_plan plan;

        options.spreads = &sd;
        options.spread_count = 1;
        options.differences = &difference;
        options.difference_count = 1;
        options.power = cases[i].power;
        plan = planned(NULL, &options);
        check_near(cases[i].source, plan.numbers[0].per_group, cases[i].per_group, 0);
        check_near("no pilot", plan.numbers[0].sd_high, NAN, 0);
        assert_int_equal(plan.numbers[0].percent, cases[i].percent);
        fleck_plan_clear(&plan);
    }
}

static void per_cent_is_of_the_pilots_mean(void **state)
{
    const fleck_plan_value difference = { "ink.coverage", 10, true };
    fleck_plan_options options = fleck_plan_options_default();
    fleck_study *study = pilot(pilot_table);
    fleck_plan plan;

    (void)state;
    options.by = "paste_pct";
    options.differences = &difference;
    options.difference_count = 1;
    plan = planned(study, &options);
    check_ratio("sd over mean", plan.numbers[0].sd, 100 * sqrt(0.00125 / 3) / (1.49 / 5), 1e-12);
    check_near("mean", plan.numbers[0].mean, 100, 1e-12);
    check_near("what groups of 6 show", plan.numbers[0].shown[3],
               plan.numbers[0].sd * fleck_power_effect(6, 0.05, 0.8), 1e-12);
    fleck_plan_clear(&plan);
    fleck_study_free(study);
}

static void without_a_difference_the_usual_measures_are_shown(void **state)
{
    fleck_plan_options options = fleck_plan_options_default();
    fleck_study *study = pilot(pilot_table);
    fleck_plan plan;

    (void)state;
    plan = planned(study, &options);
    assert_int_equal(plan.number_count, 2);
    assert_string_equal(plan.numbers[1].measure, "dots.d50_mm");
    check_near("all the same: no spread", plan.numbers[1].sd, 0, 1e-15);
    check_near("nothing asked", plan.numbers[0].per_group, NAN, 0);
    assert_true(fleck_warnings_has(&plan.warnings, "measure-missing"));
    fleck_plan_clear(&plan);
    fleck_study_free(study);
}

static void one_patch_of_each_kind_has_no_spread(void **state)
{
    const fleck_plan_value difference = { "ink.coverage", 0.1, false };
    fleck_plan_options options = fleck_plan_options_default();
    fleck_study *study = pilot("id,kind,ink.coverage\na,1,0.2\nb,2,0.3\nc,,0.3\n");
    fleck_plan plan;

    (void)state;
    options.by = "kind";
    options.differences = &difference;
    options.difference_count = 1;
    plan = planned(study, &options);
    check_near("no spread", plan.numbers[0].sd, NAN, 0);
    check_near("no number", plan.numbers[0].per_group, NAN, 0);
    assert_true(fleck_warnings_has(&plan.warnings, "no-spread"));
    fleck_plan_clear(&plan);
    fleck_study_free(study);
}

static void vary(fleck_record *record, const char *id)
{
    if (strcmp(id, "b") == 0)
        record->settings.cutoff_mm = 0.3;
}

static void a_pilot_of_mixed_settings_is_doubted(void **state)
{
    static const char table[] = "id,ink.coverage\na,0.2\nb,0.3\n";
    const char *const run = "mixed";
    const fleck_plan_options options = fleck_plan_options_default();
    fleck_study *study = NULL;
    fleck_plan plan;

    (void)state;
    run_put_all(run, table, vary);
    assert_int_equal(fleck_study_read(&run, 1, &study, NULL), FLECK_OK);
    plan = planned(study, &options);
    assert_true(fleck_warnings_has(&plan.warnings, "settings-differ"));
    fleck_plan_clear(&plan);
    fleck_study_free(study);
    study = pilot(table);
    plan = planned(study, &options);
    assert_false(fleck_warnings_has(&plan.warnings, "settings-differ"));
    fleck_plan_clear(&plan);
    fleck_study_free(study);
}

static void calls_that_make_no_plan_are_refused(void **state)
{
    static const fleck_plan_value sd = { "ink.coverage", 0.02, false };
    static const fleck_plan_value sd_percent = { "ink.coverage", 5, true };
    static const fleck_plan_value zero = { "ink.coverage", 0, false };
    static const fleck_plan_value difference = { "ink.coverage", 0.1, false };
    static const fleck_plan_value percent = { "ink.coverage", 10, true };
    static const fleck_plan_value other = { "ink.covrage", 0.1, false };
    static const struct {
        const fleck_plan_value *sd, *difference;
        double power, alpha;
        const char *by, *said;
        bool with_pilot;
    } cases[] = {
        { NULL, NULL, 0.8, 0.05, NULL, "nothing to plan from", false },
        { NULL, &difference, 0.8, 0.05, NULL, "ink.coverage: its spread is not known", false },
        { &sd, &percent, 0.8, 0.05, NULL, "ink.coverage: per cent of a mean", false },
        { &sd_percent, &difference, 0.8, 0.05, NULL, "ink.coverage: a spread in per cent", false },
        { &sd, &zero, 0.8, 0.05, NULL, "ink.coverage: the difference must be above 0", false },
        { &zero, &difference, 0.8, 0.05, NULL, "ink.coverage: the spread must be above 0", false },
        { &sd, &difference, 1, 0.05, NULL, "power 1", false },
        { &sd, &difference, 0.01, 0.05, NULL, "power 0.01", false },
        { &sd, &difference, 0.8, 0, NULL, "alpha 0", false },
        { NULL, &other, 0.8, 0.05, NULL, "ink.covrage: no such measure", true },
        { NULL, &difference, 0.8, 0.05, "paste", "paste: no such column", true },
    };
    fleck_study *study = pilot(pilot_table);

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_plan_options options = fleck_plan_options_default();
        fleck_error err = { 0 };
        fleck_plan plan;

        options.spreads = cases[i].sd;
        options.spread_count = cases[i].sd != NULL;
        options.differences = cases[i].difference;
        options.difference_count = cases[i].difference != NULL;
        options.power = cases[i].power;
        options.alpha = cases[i].alpha;
        options.by = cases[i].by;
        assert_int_equal(
            fleck_plan_numbers(cases[i].with_pilot ? study : NULL, &options, &plan, &err),
            FLECK_BAD_CALL);
        if (strstr(err.message, cases[i].said) == NULL)
            print_error("%s\n", err.message);
        assert_non_null(strstr(err.message, cases[i].said));
        assert_non_null(strchr(err.message, ';'));
    }
    fleck_study_free(study);
}

/* Two patches of 100 mm2: coverage 0.2 and 0.5, integral ranges 0.1 and 0.2 mm2. */
static const char area_table[] = "id,region.area_mm2,ink.coverage,sampling.integral_range_mm2,dots."
                                 "counted,dots.per_cm2,dots.d50_mm,"
                                 "dots.d50_lo_mm,dots.d50_hi_mm\n"
                                 "a,100,0.2,0.1,400,400,0.5,0.48,0.52\n"
                                 "b,100,0.5,0.2,100,100,0.5,0.47,0.53\n";

static void areas_follow_from_the_variation_within_patches(void **state)
{
    fleck_plan_area_options options = fleck_plan_area_options_default();
    fleck_study *study = pilot(area_table);
    fleck_plan_areas areas;
    double variation;

    (void)state;
    options.coverage_se = 0.01;
    assert_int_equal(fleck_plan_areas_study(study, &options, &areas, NULL), FLECK_OK);
    assert_int_equal(areas.area_count, 1);
    /* p (1 - p) A3: 0.016 and 0.05; their mean over 0.01^2 */
    check_ratio("by hand", areas.areas[0].area_mm2, 330, 1e-12);
    check_ratio("by hand", areas.areas[0].area_worst_mm2, 500, 1e-12);
    check_ratio("by hand", areas.areas[0].side_mm, sqrt(330), 1e-12);
    check_ratio("by hand", areas.areas[0].pilot_tolerance, sqrt(0.00033), 1e-12);
    fleck_plan_areas_clear(&areas);

    options.coverage_se = NAN;
    assert_int_equal(fleck_plan_areas_study(study, &options, &areas, NULL), FLECK_OK);
    assert_int_equal(areas.area_count, 3);
    check_ratio("1.96 standard errors are 0.02", areas.areas[0].area_mm2,
                0.033 * pow(1.959963984540054 / 0.02, 2), 1e-12);
    /* half intervals 4 % and 6 % at 100 mm2; 5 % wanted: mean square 26 over 25 */
    check_ratio("by hand", areas.areas[1].area_mm2, 104, 1e-12);
    assert_string_equal(areas.areas[1].basis, "intervals");
    /* counts of 400 and 100: relative variance 1/400 and 1/100 at 100 mm2; 10 % in 1.96 errors */
    variation = (1.0 / 400 + 1.0 / 100) / 2 * 100;
    check_ratio("by hand", areas.areas[2].area_mm2, variation * pow(1.959963984540054 / 0.1, 2),
                1e-12);
    assert_string_equal(areas.areas[2].basis, "counts");
    assert_true(fleck_warnings_has(&areas.warnings, "told-by-counts"));
    check_ratio("the largest", areas.side_mm, sqrt(areas.areas[0].area_mm2), 1e-12);
    fleck_plan_areas_clear(&areas);
    fleck_study_free(study);
}

static void records_at_hand_give_the_same_areas(void **state)
{
    fleck_plan_area_options options = fleck_plan_area_options_default();
    fleck_plan_areas areas;
    fleck_record record;

    (void)state;
    fleck_record_init(&record);
    record.region.area_mm2 = 100;
    record.ink.coverage = 0.5;
    record.sampling.integral_range_mm2 = 0.2;
    assert_int_equal(fleck_plan_areas_records(&record, 1, &options, &areas, NULL), FLECK_OK);
    check_ratio("by hand", areas.areas[0].area_mm2, 0.05 * pow(1.959963984540054 / 0.02, 2), 1e-12);
    check_near("no intervals", areas.areas[1].area_mm2, NAN, 0);
    check_near("one is missing", areas.side_mm, NAN, 0);
    assert_true(fleck_warnings_has(&areas.warnings, "no-intervals"));
    fleck_plan_areas_clear(&areas);
    fleck_record_clear(&record);
}

static void areas_beyond_the_pilots_reach_are_doubted(void **state)
{
    static const struct {
        const char *coverage_exponent_evenness;
        double tolerance;
        bool far, slow, small;
    } cases[] = {
        { "0.5,-1,1", 0.02, false, false, false },  { "0.5,-1,1", 0.001, true, false, false },
        { "0.5,-1,1", 0.5, false, false, true },    { "0.5,-0.7,1", 0.02, false, true, false },
        { "0.5,-1,2.1", 0.02, false, true, false },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_plan_value tolerance = { "ink.coverage", cases[i].tolerance, false };
        fleck_plan_area_options options = fleck_plan_area_options_default();
        fleck_study *study;
        fleck_plan_areas areas;
        char table[300];

        snprintf(table, sizeof table,
                 "id,region.area_mm2,sampling.integral_range_mm2,ink.coverage,sampling.exponent,"
                 "sampling.evenness\na,100,0.2,%s\n",
                 cases[i].coverage_exponent_evenness);
        study = pilot(table);
        options.tolerance_count = 1;
        options.tolerances = &tolerance;
        assert_int_equal(fleck_plan_areas_study(study, &options, &areas, NULL), FLECK_OK);
        assert_int_equal(fleck_warnings_has(&areas.warnings, "far-from-pilot"), cases[i].far);
        assert_int_equal(fleck_warnings_has(&areas.warnings, "slow-variance"), cases[i].slow);
        assert_int_equal(fleck_warnings_has(&areas.warnings, "small-square"), cases[i].small);
        fleck_plan_areas_clear(&areas);
        fleck_study_free(study);
    }
}

static const char *const paste[] = { "2", "2,5", "3" };
static const char *const water[] = { "10", "20" };
static const fleck_plan_factor factors[] = { { "paste_pct", paste, 3 }, { "pad", water, 2 } };

static void each_block_holds_each_combination_once(void **state)
{
    fleck_plan_order order;
    size_t moved = 0;

    (void)state;
    assert_int_equal(fleck_plan_order_make(factors, 2, 5, 7, &order, NULL), FLECK_OK);
    assert_int_equal(order.print_count, 30);
    for (size_t block = 0; block < 5; block++) {
        unsigned seen = 0;

        for (size_t i = 0; i < 6; i++) {
            const fleck_plan_print *const print = &order.prints[block * 6 + i];
            const size_t combination = print->level[0] * 2 + print->level[1];

            assert_int_equal(print->block, block);
            seen |= 1u << combination;
            moved += combination != i;
        }
        assert_int_equal(seen, 63);
    }
    assert_true(moved > 10);
    fleck_plan_order_clear(&order);
}

static void the_seed_alone_decides_the_order(void **state)
{
    fleck_plan_order a, b;
    char *left, *right;

    (void)state;
    assert_int_equal(fleck_plan_order_make(factors, 2, 4, 7, &a, NULL), FLECK_OK);
    assert_int_equal(fleck_plan_order_make(factors, 2, 4, 7, &b, NULL), FLECK_OK);
    left = fleck_plan_order_to_csv(&a);
    right = fleck_plan_order_to_csv(&b);
    assert_string_equal(left, right);
    free(right);
    fleck_plan_order_clear(&b);
    assert_int_equal(fleck_plan_order_make(factors, 2, 4, 8, &b, NULL), FLECK_OK);
    right = fleck_plan_order_to_csv(&b);
    assert_string_not_equal(left, right);
    free(right);
    fleck_plan_order_clear(&b);
    assert_int_equal(fleck_plan_order_make(factors, 2, 6, 7, &b, NULL), FLECK_OK);
    for (size_t i = 0; i < a.print_count; i++)
        assert_int_equal(a.prints[i].level[0], b.prints[i].level[0]);
    free(left);
    fleck_plan_order_clear(&a);
    fleck_plan_order_clear(&b);
}

static void every_combination_comes_first_as_often(void **state)
{
    size_t first[6] = { 0 };

    (void)state;
    for (uint64_t seed = 0; seed < 6000; seed++) {
        fleck_plan_order order;

        assert_int_equal(fleck_plan_order_make(factors, 2, 1, seed, &order, NULL), FLECK_OK);
        first[order.prints[0].level[0] * 2 + order.prints[0].level[1]]++;
        fleck_plan_order_clear(&order);
    }
    for (size_t i = 0; i < 6; i++) /* sd 28.9 */
        check_near("binomial, 4 standard deviations", (double)first[i], 1000, 116);
}

static void the_order_is_a_manifest_whose_factors_stand_once(void **state)
{
    fleck_plan_order order;
    fleck_csv *table = NULL;
    char *csv;
    size_t column, columns = 0;
    double value;

    (void)state;
    assert_int_equal(fleck_plan_order_make(factors, 2, 2, 7, &order, NULL), FLECK_OK);
    csv = fleck_plan_order_to_csv(&order);
    assert_int_equal(fleck_csv_read_memory(csv, strlen(csv), &table, NULL), FLECK_OK);
    assert_int_equal(fleck_csv_row_count(table), 13);
    for (size_t i = 0; i < fleck_csv_cell_count(table, 0); i++)
        columns += strcmp(fleck_csv_cell(table, 0, i), "paste_pct") == 0;
    assert_int_equal(columns, 1);
    assert_true(fleck_csv_find_column(table, "water_ml", &column));
    assert_string_equal(fleck_csv_cell(table, 3, column), "");
    assert_true(fleck_csv_find_column(table, "scan", &column));
    assert_string_equal(fleck_csv_cell(table, 3, column), "");
    assert_true(fleck_csv_find_column(table, "patch", &column));
    assert_string_equal(fleck_csv_cell(table, 3, column), "p03");
    assert_true(fleck_csv_find_column(table, "order", &column));
    assert_true(fleck_csv_number(table, fleck_csv_cell(table, 12, column), &value));
    check_near("the last", value, 12, 0);
    assert_true(fleck_csv_find_column(table, "pad", &column));
    fleck_csv_free(table);
    free(csv);
    fleck_plan_order_clear(&order);
}

static void factors_that_make_no_order_are_refused(void **state)
{
    static const char *const twice[] = { "2", "2" };
    static const fleck_plan_factor wrong[] = {
        { "paste_pct", paste, 1 },   { "paste_pct", twice, 2 }, { "scan", paste, 3 },
        { "dots.d50_mm", paste, 3 }, { "", paste, 3 },
    };
    static const char *const said[] = { "paste_pct: has one level",
                                        "paste_pct: has the level 2 twice",
                                        "scan: is a column of its own", "dots.d50_mm: is a column",
                                        "no name" };
    const fleck_plan_factor same[] = { factors[0], factors[0] };
    fleck_plan_order order;
    fleck_error err = { 0 };

    (void)state;
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++) {
        assert_int_equal(fleck_plan_order_make(&wrong[i], 1, 2, 1, &order, &err), FLECK_BAD_CALL);
        assert_non_null(strstr(err.message, said[i]));
    }
    assert_int_equal(fleck_plan_order_make(same, 2, 2, 1, &order, &err), FLECK_BAD_CALL);
    assert_non_null(strstr(err.message, "given twice"));
    assert_int_equal(fleck_plan_order_make(factors, 0, 2, 1, &order, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_plan_order_make(factors, 2, 0, 1, &order, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_plan_order_make(factors, 2, 16667, 1, &order, &err), FLECK_BAD_CALL);
    assert_non_null(strstr(err.message, "more than 100000"));
}

static void the_document_holds_the_parts_there_are_and_no_nan(void **state)
{
    fleck_plan_options options = fleck_plan_options_default();
    fleck_plan_area_options area_options = fleck_plan_area_options_default();
    fleck_study *study = pilot(area_table);
    fleck_plan plan = planned(study, &options);
    fleck_plan_areas areas;
    fleck_plan_order order;
    char *json, *csv;

    (void)state;
    assert_int_equal(fleck_plan_areas_study(study, &area_options, &areas, NULL), FLECK_OK);
    assert_int_equal(fleck_plan_order_make(factors, 2, 1, 1, &order, NULL), FLECK_OK);
    json = fleck_plan_to_json(&plan, &areas, &order);
    assert_non_null(strstr(json, "\"patches\":\t{"));
    assert_non_null(strstr(json, "\"area\":\t{"));
    assert_non_null(strstr(json, "\"order\":\t{"));
    assert_non_null(strstr(json, "\"per_group\":\tnull"));
    assert_null(strstr(json, "\tnan"));
    free(json);
    json = fleck_plan_to_json(NULL, NULL, &order);
    assert_null(strstr(json, "\"patches\""));
    free(json);
    csv = fleck_plan_to_csv(&plan);
    assert_non_null(strstr(csv, "\nink.coverage,measure,patch,0.35,"));
    free(csv);
    csv = fleck_plan_areas_to_csv(&areas);
    assert_non_null(
        strstr(csv, "\ndots.per_cm2,per cent of the mean,10,half of a 95 % interval,counts,2,250"));
    free(csv);
    fleck_plan_order_clear(&order);
    fleck_plan_areas_clear(&areas);
    fleck_plan_clear(&plan);
    fleck_study_free(study);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_spread_is_that_between_batches_of_one_kind),
        cmocka_unit_test(given_spreads_need_no_pilot),
        cmocka_unit_test(per_cent_is_of_the_pilots_mean),
        cmocka_unit_test(without_a_difference_the_usual_measures_are_shown),
        cmocka_unit_test(one_patch_of_each_kind_has_no_spread),
        cmocka_unit_test(a_pilot_of_mixed_settings_is_doubted),
        cmocka_unit_test(calls_that_make_no_plan_are_refused),
        cmocka_unit_test(areas_follow_from_the_variation_within_patches),
        cmocka_unit_test(records_at_hand_give_the_same_areas),
        cmocka_unit_test(areas_beyond_the_pilots_reach_are_doubted),
        cmocka_unit_test(each_block_holds_each_combination_once),
        cmocka_unit_test(the_seed_alone_decides_the_order),
        cmocka_unit_test(every_combination_comes_first_as_often),
        cmocka_unit_test(the_order_is_a_manifest_whose_factors_stand_once),
        cmocka_unit_test(factors_that_make_no_order_are_refused),
        cmocka_unit_test(the_document_holds_the_parts_there_are_and_no_nan),
    };

    return cmocka_run_group_tests(tests, runs_begin, runs_end);
}
