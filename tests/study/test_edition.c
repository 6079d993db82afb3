/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cjson/cJSON.h>

#include "core/memory.h"
#include "core/text.h"
#include "fleck/edition.h"
#include "study/run_files.h"

static fleck_error err;

static fleck_edition_options plain_options(void)
{
    fleck_edition_options options = fleck_edition_options_default();

    options.order = "no";
    options.pattern = false; /* the scans of these runs were never there */
    return options;
}

static fleck_study *read_runs(const char *first, const char *second)
{
    const char *const runs[] = { first, second };
    fleck_study *study = NULL;

    if (fleck_study_read(runs, second != NULL ? 2 : 1, &study, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    return study;
}

/* Judge a run that must be judged. */
static fleck_edition judge(const char *run, const fleck_edition_options *options)
{
    fleck_study *const study = read_runs(run, NULL);
    fleck_edition edition;

    if (fleck_edition_judge(study, options, &edition, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    fleck_study_free(study);
    return edition;
}

static void check_fails(const char *run, const fleck_edition_options *options, fleck_status status,
                        const char *said)
{
    fleck_study *const study = read_runs(run, NULL);
    fleck_edition edition;

    err = (fleck_error){ 0 };
    assert_int_equal(fleck_edition_judge(study, options, &edition, &err), status);
    if (strstr(err.message, said) == NULL || strstr(err.message, "; ") == NULL)
        fail_msg("\"%s\" does not say \"%s\" and what to do", err.message, said);
    fleck_edition_clear(&edition);
    fleck_study_free(study);
}

static void check_says(const char *sentence, const char *said)
{
    if (sentence == NULL || strstr(sentence, said) == NULL)
        fail_msg("\"%s\" does not say \"%s\"", sentence != NULL ? sentence : "nothing", said);
}

/* A run of one patch a print, numbered from 1, with the values as coverage. */
static void put_values(const char *run, const double *values, size_t n)
{
    fleck_text text = { 0 };

    fleck_text_add(&text, "id,no,ink.coverage\n");
    for (size_t i = 0; i < n; i++) {
        fleck_text_add_format(&text, "p%zu,%zu,", i + 1, i + 1);
        if (!isnan(values[i]))
            fleck_text_add_number(&text, values[i]);
        fleck_text_add(&text, "\n");
    }
    run_put_all(run, text.bytes, NULL);
    fleck_text_clear(&text);
}

static fleck_edition judge_values(const double *values, size_t n)
{
    const fleck_edition_options options = plain_options();

    put_values("values", values, n);
    return judge("values", &options);
}

static void the_chart_is_that_of_the_nist_handbook(void **state)
{
    static const double flow[] = { 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1 };
    fleck_edition edition = judge_values(flow, 10);
    const fleck_edition_measure *const measure = &edition.measures[0];

    (void)state;
    assert_int_equal(edition.measure_count, 1);
    assert_string_equal(measure->measure, "ink.coverage");
    assert_int_equal(measure->n, 10);
    check_near("NIST/SEMATECH e-Handbook 6.3.2.2", measure->mean, 50.81, 1e-12);
    check_near("NIST/SEMATECH e-Handbook 6.3.2.2", measure->centre, 50.81, 1e-12);
    check_near("NIST/SEMATECH e-Handbook 6.3.2.2", measure->ucl, 55.804089834515366, 1e-10);
    check_near("NIST/SEMATECH e-Handbook 6.3.2.2", measure->lcl, 45.81591016548463, 1e-10);
    check_near("statistics.stdev of Python", measure->sd, 2.033852392764912, 1e-12);
    check_near("sd over mean", measure->cv, 2.033852392764912 / 50.81, 1e-14);
    check_near("ISO 5725-6: 2.8 sd", measure->repeatability_limit, 2.8 * 2.033852392764912, 1e-12);
    check_near("scipy.stats.kendalltau", measure->trend_tau, 0.6, 1e-12);
    check_near("scipy.stats.kendalltau, exact", measure->trend_p, 0.016666115520282188, 1e-12);
    assert_int_equal(measure->out_of_limits.count, 0);
    fleck_edition_clear(&edition);
}

static void outliers_are_named_by_their_place(void **state)
{
    static const double uranium[] = { 199.31, 199.53, 200.19, 245.57, 200.82, 201.92, 201.95, 202.18 };
    fleck_edition edition = judge_values(uranium, 8);
    const fleck_edition_measure *const measure = &edition.measures[0];

    (void)state;
    assert_int_equal(measure->outliers.count, 1);
    assert_int_equal(measure->outliers.items[0], 3);
    assert_string_equal(measure->change, "outlier");
    assert_int_equal(measure->verdict, FLECK_EDITION_NOT_REPRODUCIBLE);
    check_says(measure->sentence, "print 4 stands apart from the others in coverage");
    check_says(edition.sentence, "not reproducible in coverage");
    fleck_edition_clear(&edition);
}

static void among_few_prints_one_apart_decides_nothing(void **state)
{
    static const double values[] = { 0.41, 0.41, 0.41, 0.44, 0.41 };
    fleck_edition edition = judge_values(values, 5);

    (void)state;
    assert_int_equal(edition.measures[0].outliers.count, 1);
    assert_int_equal(edition.measures[0].verdict, FLECK_EDITION_UNDECIDED);
    fleck_edition_clear(&edition);
}

/* Level 0.25 with some scatter; from print 14 on it rises by 0.01 a print. */
static void a_drift_is_told_with_its_start_and_rate(void **state)
{
    double values[19];
    uint64_t random = 5;
    fleck_edition edition;

    (void)state;
    for (size_t i = 0; i < 19; i++)
        values[i] = 0.25 + 0.002 * (test_uniform(&random) - 0.5) +
                    (i >= 13 ? 0.01 * (double)(i - 12) : 0);
    edition = judge_values(values, 19);
    assert_string_equal(edition.measures[0].change, "bend");
    assert_int_equal(edition.measures[0].verdict, FLECK_EDITION_NOT_REPRODUCIBLE);
    check_says(edition.measures[0].sentence,
               "prints 14 to 19 have drifted: from 14 on coverage rises by 4.0 % (0.010) a print");
    fleck_edition_clear(&edition);
    for (size_t i = 0; i < 19; i++)
        values[i] = 0.25 + 0.002 * (test_uniform(&random) - 0.5) - (i >= 10 ? 0.025 : 0);
    edition = judge_values(values, 19);
    check_says(edition.measures[0].sentence,
               "prints 11 to 19 have shifted: coverage is 10 % (0.025) lower than before");
    fleck_edition_clear(&edition);
}

static void without_a_tolerance_nothing_is_reproducible(void **state)
{
    static const double same[] = { 0.2, 0.2, 0.2, 0.2, 0.2 };
    static const double calm[] = { 0.2, 0.21, 0.19, 0.205, 0.195, 0.2 };
    fleck_edition edition = judge_values(same, 5);

    (void)state;
    assert_int_equal(edition.verdict, FLECK_EDITION_UNDECIDED);
    check_says(edition.measures[0].sentence, "no tolerance was set beforehand");
    check_near("no scatter", edition.measures[0].sd, 0, 0);
    fleck_edition_clear(&edition);
    edition = judge_values(calm, 6);
    assert_int_equal(edition.verdict, FLECK_EDITION_UNDECIDED);
    check_says(edition.measures[0].sentence, "no shift below about");
    check_says(edition.sentence, "Cannot tell whether");
    fleck_edition_clear(&edition);
}

/* SiRstv of NIST StRD, an instrument's five values as the patches of one print, the last print first. */
static void patches_of_a_print_give_the_scatter_within_it(void **state)
{
    static const double sirstv[5][5] = {
        { 196.3052, 196.1240, 196.1890, 196.2569, 196.3403 },
        { 196.3042, 196.3825, 196.1669, 196.3257, 196.0422 },
        { 196.1303, 196.2005, 196.2889, 196.0343, 196.1811 },
        { 196.2795, 196.1748, 196.1494, 196.1485, 195.9885 },
        { 196.2119, 196.1051, 196.1850, 196.0052, 196.2090 },
    };
    const fleck_edition_options options = plain_options();
    fleck_text text = { 0 };
    fleck_edition edition;

    (void)state;
    fleck_text_add(&text, "id,no,ink.coverage\n");
    for (size_t print = 5; print-- > 0;) {
        for (size_t patch = 0; patch < 5; patch++)
            fleck_text_add_format(&text, "%zu-%zu,%zu,%.4f\n", print, patch, print + 1,
                                  sirstv[print][patch]);
    }
    run_put_all("sirstv", text.bytes, NULL);
    fleck_text_clear(&text);
    edition = judge("sirstv", &options);
    assert_int_equal(edition.print_count, 5);
    assert_int_equal(edition.prints[0].patches, 5);
    assert_string_equal(edition.prints[0].id, "0-0");
    check_near("ICC of SiRstv", edition.measures[0].icc, 0.03483518677680969, 1e-9);
    check_near("NIST StRD SiRstv", edition.measures[0].within_sd, 0.104076068334656, 1e-10);
    check_near("(MSB - MSW) / n", edition.measures[0].between_sd, sqrt(0.00039094748), 1e-9);
    check_near("of the prints: MSB / 5", edition.measures[0].sd, sqrt(0.0127865654 / 5), 1e-10);
    assert_false(fleck_warnings_has(&edition.warnings, "within-unknown"));
    fleck_edition_clear(&edition);
}

static void the_tiles_of_a_print_tell_how_far_its_coverage_may_be_off(void **state)
{
    const fleck_edition_options options = plain_options();
    fleck_edition edition;

    (void)state;
    run_put_all("tiles",
                "id,no,ink.coverage,ink.coverage_se,dots.d50_mm\n"
                "a,1,0.20,0.003,0.3\nb,2,0.22,0.004,0.4\nc,3,0.21,0.005,0.5\n",
                NULL);
    edition = judge("tiles", &options);
    check_near("root mean square of 3, 4 and 5", edition.measures[0].within_sd, sqrt(50.0 / 3) / 1000,
               1e-15);
    check_near("by hand", edition.measures[0].between_sd, sqrt(1e-4 - 50e-6 / 3), 1e-15);
    check_near("one patch a print", edition.measures[0].icc, NAN, 0);
    check_near("one patch a print", edition.measures[1].within_sd, NAN, 0);
    assert_true(fleck_warnings_has(&edition.warnings, "within-unknown"));
    fleck_edition_clear(&edition);
}

/* The table of Shrout & Fleiss: targets are prints, judges rounds of scanning. 1 - share is their ICC(2,1). */
static void scanning_is_told_from_printing(void **state)
{
    static const double table[6][4] = { { 9, 2, 5, 8 }, { 6, 1, 3, 2 },  { 8, 4, 6, 8 },
                                        { 7, 1, 2, 6 }, { 10, 5, 6, 9 }, { 6, 2, 4, 7 } };
    fleck_edition_options options = plain_options();
    fleck_text text = { 0 };
    fleck_edition edition;

    (void)state;
    options.rescan = "day";
    for (int rounds = 4; rounds >= 3; rounds--) { /* the last print lacks its last scan at first */
        fleck_text_clear(&text);
        fleck_text_add(&text, "id,no,day,ink.coverage\n");
        for (size_t print = 0; print < 6; print++) {
            for (size_t day = 0; day < (print < 5 ? 4u : (size_t)rounds); day++)
                fleck_text_add_format(&text, "%zu%zu,%zu,d%zu,%g\n", print, day, print + 1, day,
                                      table[print][day]);
        }
        run_put_all(rounds == 4 ? "crossed" : "nested", text.bytes, NULL);
        edition = judge(rounds == 4 ? "crossed" : "nested", &options);
        assert_int_equal(edition.measures[0].scan_crossed, rounds == 4);
        if (rounds == 4) {
            check_near("Shrout & Fleiss: ICC(2,1)", 1 - edition.measures[0].scan_share, 184.0 / 635,
                       1e-12);
            check_near("(BMS - EMS) / 4", edition.measures[0].print_sd,
                       sqrt((11.241666666666667 - 1.0194444444444444) / 4), 1e-12);
            check_near("Shrout & Fleiss: F 11.03", edition.measures[0].scan_p, 0.0001345665164843369,
                       1e-12);
            check_near("repeats are scans, not patches", edition.measures[0].icc, NAN, 0);
        } else {
            assert_true(edition.measures[0].scan_share > 0.5);
        }
        check_says(edition.measures[0].sentence, "scanning alone makes");
        fleck_edition_clear(&edition);
    }
    fleck_text_clear(&text);
    put_values("once", &table[0][0], 4);
    options.rescan = "id";
    edition = judge("once", &options);
    assert_true(fleck_warnings_has(&edition.warnings, "no-rescans"));
    fleck_edition_clear(&edition);
}

/* Group a of the reference data is the run of approved prints, b the edition. */
static void prints_are_held_against_approved_ones(void **state)
{
    static const double a[] = { 10.12, 11.35, 9.87, 12.04, 10.66 };
    static const double b[] = { 12.91, 11.72, 13.48, 12.25, 14.03, 11.18 };
    fleck_edition_tolerance tolerance = { "ink.coverage", 3, false };
    fleck_edition_options options = plain_options();
    fleck_edition edition;
    fleck_study *study;

    (void)state;
    put_values("approved", a, 5);
    put_values("edition", b, 6);
    study = read_runs("edition", "approved");
    options.reference_run = 1;
    options.tolerances = &tolerance;
    options.tolerance_count = 1;
    assert_int_equal(fleck_edition_judge(study, &options, &edition, &err), FLECK_OK);
    check_near("mean of the approved", edition.measures[0].reference, 10.808, 1e-12);
    check_near("R 4.2.2: Welch TOST, margin 3", edition.measures[0].equivalence_p, 0.035895060081820335,
               1e-10);
    check_near("R 4.2.2: 90 % interval", edition.measures[0].difference_lo, 0.696904471385606, 1e-9);
    check_near("R 4.2.2: 90 % interval", edition.measures[0].difference_hi, 2.877095528614394, 1e-9);
    assert_int_equal(edition.print_count, 6);
    assert_string_equal(edition.reference, "approved");
    fleck_edition_clear(&edition);
    fleck_study_free(study);
}

/* Means near 0.25 against a proof of 0.25 in the same run. */
static void a_verdict_by_tolerance_has_three_values(void **state)
{
    static const char table[] = "id,no,ink.coverage\nproof,,0.25\n"
                                "a,1,0.251\nb,2,0.249\nc,3,0.252\nd,4,0.250\ne,5,0.248\nf,6,0.2505\n";
    fleck_edition_tolerance tolerance = { "ink.coverage", 4, true };
    fleck_edition_options options = plain_options();
    fleck_edition edition;

    (void)state;
    run_put_all("tolerance", table, NULL);
    options.reference_id = "proof";
    options.tolerances = &tolerance;
    options.tolerance_count = 1;
    edition = judge("tolerance", &options);
    assert_int_equal(edition.print_count, 6);
    assert_int_equal(edition.verdict, FLECK_EDITION_REPRODUCIBLE);
    check_near("4 % of 0.25", edition.measures[0].tolerance, 0.01, 1e-15);
    check_near("one-sided t of (0.01 - 0.0000833) / 0.000583, 5 df", edition.measures[0].equivalence_p,
               6.442608188153978e-06, 1e-12);
    check_says(edition.measures[0].sentence, "within the tolerance of 0.01");
    assert_true(fleck_warnings_has(&edition.warnings, "reference-single"));
    fleck_edition_clear(&edition);

    tolerance = (fleck_edition_tolerance){ "ink.coverage", 0.0005, false };
    edition = judge("tolerance", &options);
    assert_int_equal(edition.verdict, FLECK_EDITION_NOT_REPRODUCIBLE); /* prints scatter out of it */
    assert_int_equal(edition.measures[0].outside.count, 4);
    check_says(edition.measures[0].sentence, "prints 1 to 3 and 5 lie outside the tolerance of 0.0005");
    fleck_edition_clear(&edition);

    run_put_all("wide", "id,no,ink.coverage\nproof,,0.25\na,1,0.26\nb,2,0.245\nc,3,0.2575\n", NULL);
    tolerance.amount = 0.0105;
    edition = judge("wide", &options);
    assert_int_equal(edition.verdict, FLECK_EDITION_UNDECIDED);
    check_says(edition.measures[0].sentence, "is not shown to be within");
    fleck_edition_clear(&edition);
}

/*
 * Prints that alternate by `swing` about a level of 0.25, two of them moved, and from one print on a step;
 * against a proof of 0.25 with a tolerance of 0.01. se: what a print's tiles say of its own scatter.
 */
static const struct {
    size_t n;
    double level, swing, moved_4, moved_5, se;
    size_t step_at;
    double step;
    fleck_edition_verdict verdict;
    const char *said;
} rules[] = {
    { 20, 0.25, 0.004, 0.0105, 0.0103, 0, 20, 0, FLECK_EDITION_REPRODUCIBLE,
      "prints 5 and 6 lie outside it by the scatter all prints have" },
    { 20, 0.25, 0.001, 0.02, 0.001, 0, 20, 0, FLECK_EDITION_NOT_REPRODUCIBLE,
      "print 5 stands apart from the others in coverage; print 5 lies outside" },
    { 40, 0.25, 0.003, 0.003, 0.003, 0, 37, 0.0115, FLECK_EDITION_NOT_REPRODUCIBLE,
      "prints 38 to 40 have shifted" },
    { 20, 0.25, 0.012, 0.012, -0.012, 0.02, 20, 0, FLECK_EDITION_UNDECIDED,
      "one print's own scatter reaches as far" },
    { 20, 0.25, 0.012, 0.012, -0.012, 0, 20, 0, FLECK_EDITION_NOT_REPRODUCIBLE,
      "prints 1 to 20 lie outside" },
    { 6, 0.27, 0.001, 0.001, -0.001, 0.02, 20, 0, FLECK_EDITION_NOT_REPRODUCIBLE,
      "on average 0.0200 above the reference" },
};

static void each_rule_of_the_verdict_decides(void **state)
{
    fleck_edition_tolerance tolerance = { "ink.coverage", 0.01, false };
    fleck_edition_options options = plain_options();

    (void)state;
    options.reference_id = "proof";
    options.tolerances = &tolerance;
    options.tolerance_count = 1;
    for (size_t r = 0; r < sizeof rules / sizeof *rules; r++) {
        fleck_text text = { 0 };
        fleck_edition edition;

        fleck_text_add(&text, "id,no,ink.coverage,ink.coverage_se\nproof,,0.25,\n");
        for (size_t i = 0; i < rules[r].n; i++) {
            double value = i % 2 == 0 ? rules[r].swing : -rules[r].swing;

            value = i == 4 ? rules[r].moved_4 : i == 5 ? rules[r].moved_5 : value;
            fleck_text_add_format(&text, "p%zu,%zu,%.6f,", i + 1, i + 1,
                                  rules[r].level + (i >= rules[r].step_at ? rules[r].step + value / 30 : value));
            if (rules[r].se > 0)
                fleck_text_add_number(&text, rules[r].se);
            fleck_text_add(&text, "\n");
        }
        run_put_all("rules", text.bytes, NULL);
        fleck_text_clear(&text);
        edition = judge("rules", &options);
        if (edition.verdict != rules[r].verdict)
            fail_msg("case %zu is %s: %s", r, fleck_edition_verdict_name(edition.verdict),
                     edition.sentence);
        check_says(edition.measures[0].sentence, rules[r].said);
        fleck_edition_clear(&edition);
    }
}

/* A straight line over 19 prints: p is 1 in 10 000 of the shape, twice that for two looks, Holm over measures. */
static void many_measures_raise_the_bar(void **state)
{
    const fleck_edition_options options = plain_options();
    fleck_text one = { 0 }, two = { 0 };
    fleck_edition edition;

    (void)state;
    fleck_text_add(&one, "id,no,ink.coverage\n");
    fleck_text_add(&two, "id,no,ink.coverage,dots.d50_mm\n");
    for (int i = 1; i < 20; i++) {
        fleck_text_add_format(&one, "%d,%d,0.%d\n", i, i, 100 + i);
        fleck_text_add_format(&two, "%d,%d,0.%d,0.%d\n", i, i, 100 + i, 200 + i);
    }
    run_put_all("one", one.bytes, NULL);
    run_put_all("two-measures", two.bytes, NULL);
    fleck_text_clear(&one);
    fleck_text_clear(&two);
    edition = judge("one", &options);
    check_near("twice 1 in 10 000", edition.measures[0].change_p, 2e-4, 1e-15);
    check_says(edition.sentence, "the whole edition drifts: coverage rises by 1.0 % (0.0010) a print, in all by 18 % (0.018)");
    fleck_edition_clear(&edition);
    edition = judge("two-measures", &options);
    check_near("and twice for two measures", edition.measures[0].change_p, 4e-4, 1e-15);
    fleck_edition_clear(&edition);
}

static void a_print_without_a_name_is_one_of_its_own(void **state)
{
    fleck_edition_options options = plain_options();
    fleck_edition edition;

    (void)state;
    run_put_all("nameless", "id,no,name,ink.coverage\na,1,x,0.2\nb,1,x,0.3\nc,2,,0.2\nd,2,,0.3\n", NULL);
    options.print = "name";
    edition = judge("nameless", &options);
    assert_int_equal(edition.print_count, 3);
    assert_string_equal(edition.prints[1].name, "c");
    fleck_edition_clear(&edition);
}

static void missing_prints_and_reprints_are_noticed(void **state)
{
    static const char table[] = "id,no,name,ink.coverage\n"
                                "a,10,x,0.20\nb,20,y,0.21\nc,20,z,0.22\nd,50,u,0.23\ne,,v,0.9\n";
    fleck_edition_options options = plain_options();
    fleck_edition edition;

    (void)state;
    run_put_all("gaps", table, NULL);
    edition = judge("gaps", &options);
    assert_int_equal(edition.print_count, 3); /* b and c are one print */
    check_near("mean of 0.21 and 0.22 first", edition.measures[0].mean, (0.20 + 0.215 + 0.23) / 3, 1e-15);
    assert_true(fleck_warnings_has(&edition.warnings, "order-ties"));
    assert_true(fleck_warnings_has(&edition.warnings, "order-missing"));
    assert_true(fleck_warnings_has(&edition.warnings, "prints-missing"));
    assert_int_equal(edition.missing_count, 2);
    check_near("every tenth", edition.missing[0], 30, 0);
    check_near("every tenth", edition.missing[1], 40, 0);
    fleck_edition_clear(&edition);
    options.print = "name";
    edition = judge("gaps", &options);
    assert_int_equal(edition.print_count, 4);
    assert_string_equal(edition.prints[1].name, "y");
    assert_false(fleck_warnings_has(&edition.warnings, "order-ties"));
    check_near("ties in the order: 5 pairs of 6", edition.measures[0].trend_tau, 5 / sqrt(30), 1e-14);
    fleck_edition_clear(&edition);
}

static void the_order_of_rows_does_not_matter(void **state)
{
    static const char *const tables[] = {
        "id,no,ink.coverage\na,1,0.21\nb,2,0.22\nc,3,0.20\nd,3,0.23\ne,4,0.24\n",
        "id,no,ink.coverage\ne,4,0.24\nd,3,0.23\nb,2,0.22\na,1,0.21\nc,3,0.20\n",
    };
    const fleck_edition_options options = plain_options();
    char *text[2];

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        fleck_edition edition;

        run_put_all(i == 0 ? "sorted" : "mixed-up", tables[i], NULL);
        edition = judge(i == 0 ? "sorted" : "mixed-up", &options);
        text[i] = fleck_edition_to_json(&edition);
        assert_non_null(text[i]);
        fleck_edition_clear(&edition);
    }
    assert_string_equal(text[0], text[1]);
    free(text[0]);
    free(text[1]);
}

static void what_is_missing_is_null_and_said(void **state)
{
    static const double sparse[] = { 0.2, NAN, NAN, 0.3 };
    fleck_edition edition = judge_values(sparse, 4);
    char *const json = fleck_edition_to_json(&edition);
    char *const csv = fleck_edition_to_csv(&edition);
    cJSON *const document = cJSON_Parse(json);
    const cJSON *const measure =
        cJSON_GetArrayItem(cJSON_GetObjectItem(document, "measures"), 0);

    (void)state;
    assert_true(fleck_warnings_has(&edition.warnings, "measure-partial"));
    check_says(edition.measures[0].sentence, "2 of 4 prints have a value of it; 3 are needed");
    assert_true(cJSON_IsNull(cJSON_GetObjectItem(measure, "trend_p")));
    assert_true(cJSON_IsNull(cJSON_GetObjectItem(measure, "fixed_pattern")));
    assert_true(cJSON_IsArray(cJSON_GetObjectItem(measure, "outliers")));
    assert_string_equal(cJSON_GetObjectItem(measure, "verdict")->valuestring, "undecided");
    assert_null(strstr(csv, "nan"));
    cJSON_Delete(document);
    free(json);
    free(csv);
    fleck_edition_clear(&edition);
}

static void change_cutoff(fleck_record *record, const char *id)
{
    if (strcmp(id, "b") == 0)
        record->settings.cutoff_mm = 0.2;
}

static void wrong_calls_say_what_to_do(void **state)
{
    static const double values[] = { 0.2, 0.21, 0.22 };
    fleck_edition_tolerance tolerances[] = { { "ink.coverage", 5, true }, { "ink.coverage", 6, true } };
    static const char *const no_measure[] = { "ink.covrage" };
    static const char *const text_measure[] = { "word" };
    fleck_edition_options options = plain_options();
    fleck_edition edition;

    (void)state;
    put_values("three", values, 3);
    put_values("two", values, 2);
    run_put_all("words", "id,no,word,ink.coverage\na,1,x,0.2\nb,two,y,0.2\nc,3,z,0.2\n", NULL);
    run_put_all("zero", "id,no,word,ink.coverage\na,1,x,0\nb,2,x,0.2\nc,3,z,0.2\nd,4,z,\ne,5,u,0.1\n", NULL);
    run_put_all("unlike", "id,no,ink.coverage\na,1,0.2\nb,2,0.2\nc,3,0.2\n", change_cutoff);
    check_fails("two", &options, FLECK_BAD_INPUT, "the edition has 2 prints");
    check_fails("words", &options, FLECK_BAD_CALL, "holds \"two\" for the patch b");
    check_fails("unlike", &options, FLECK_BAD_CALL, "different settings (cutoff_mm");
    options.mixed = true;
    edition = judge("unlike", &options);
    assert_true(fleck_warnings_has(&edition.warnings, "settings-differ"));
    fleck_edition_clear(&edition);
    options.order = "number";
    check_fails("three", &options, FLECK_BAD_CALL, "no such column");
    options.order = NULL;
    check_fails("three", &options, FLECK_BAD_CALL, "--order");
    options = plain_options();
    options.print = "word";
    check_fails("zero", &options, FLECK_BAD_CALL, "stands at 1 and at 2");
    options = plain_options();
    options.measures = no_measure;
    options.measure_count = 1;
    check_fails("three", &options, FLECK_BAD_CALL, "did you mean ink.coverage");
    options.measures = text_measure;
    check_fails("zero", &options, FLECK_BAD_CALL, "holds \"x\" for the patch a");
    options = plain_options();
    options.tolerances = tolerances;
    options.tolerance_count = 1;
    check_fails("three", &options, FLECK_BAD_CALL, "--reference");
    options.reference_id = "gone";
    check_fails("three", &options, FLECK_BAD_CALL, "gone: no such patch");
    options.reference_id = "a";
    check_fails("zero", &options, FLECK_BAD_CALL, "is 0, of which no percentage");
    options.reference_id = "d";
    check_fails("zero", &options, FLECK_BAD_CALL, "the reference has no value of it");
    options.tolerance_count = 2;
    check_fails("three", &options, FLECK_BAD_CALL, "two tolerances");
    options = plain_options();
    options.edition_size = 2;
    check_fails("three", &options, FLECK_BAD_CALL, "an edition of 2, of which 3");
    options.edition_size = 0;
    options.confidence = 1;
    check_fails("three", &options, FLECK_BAD_CALL, "a confidence of 1");
}

static void an_edition_of_five_thousand_is_judged(void **state)
{
    enum { PRINTS = 5000 };
    double *const values = fleck_alloc_array(PRINTS, sizeof *values);
    uint64_t random = 3;
    fleck_edition edition;

    (void)state;
    assert_non_null(values);
    for (size_t i = 0; i < PRINTS; i++)
        values[i] = 0.2 + 0.02 * test_uniform(&random) + (i >= 4000 ? 0.005 : 0);
    edition = judge_values(values, PRINTS);
    assert_int_equal(edition.print_count, PRINTS);
    assert_string_equal(edition.measures[0].change, "step");
    check_near("where it was put", (double)edition.measures[0].change_first, 4000, 60);
    fleck_edition_clear(&edition);
    free(values);
}

static void the_plan_says_how_many_to_look_at(void **state)
{
    static const double values[] = { 0.2, 0.21, 0.22 };
    fleck_edition_options options = plain_options();
    fleck_edition edition;

    (void)state;
    put_values("plan", values, 3);
    options.edition_size = 50;
    edition = judge("plan", &options);
    /* hypergeometric: C(44, n) / C(50, n) <= 0.05 from n = 19 on, C(47, n) / C(50, n) from n = 31 on */
    assert_int_equal(edition.plans[0].sample, 19);
    assert_int_equal(edition.plans[0].sample_endless, 29);
    assert_int_equal(edition.plans[1].sample, 31);
    assert_int_equal(edition.plans[1].sample_endless, 59);
    check_near("k of 3 values at 90 %, 95 %", (edition.measures[0].hold_hi - 0.21) / 0.01, 8.306, 5e-3);
    fleck_edition_clear(&edition);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_chart_is_that_of_the_nist_handbook),
        cmocka_unit_test(outliers_are_named_by_their_place),
        cmocka_unit_test(among_few_prints_one_apart_decides_nothing),
        cmocka_unit_test(a_drift_is_told_with_its_start_and_rate),
        cmocka_unit_test(without_a_tolerance_nothing_is_reproducible),
        cmocka_unit_test(patches_of_a_print_give_the_scatter_within_it),
        cmocka_unit_test(the_tiles_of_a_print_tell_how_far_its_coverage_may_be_off),
        cmocka_unit_test(scanning_is_told_from_printing),
        cmocka_unit_test(prints_are_held_against_approved_ones),
        cmocka_unit_test(a_verdict_by_tolerance_has_three_values),
        cmocka_unit_test(each_rule_of_the_verdict_decides),
        cmocka_unit_test(many_measures_raise_the_bar),
        cmocka_unit_test(a_print_without_a_name_is_one_of_its_own),
        cmocka_unit_test(missing_prints_and_reprints_are_noticed),
        cmocka_unit_test(the_order_of_rows_does_not_matter),
        cmocka_unit_test(what_is_missing_is_null_and_said),
        cmocka_unit_test(wrong_calls_say_what_to_do),
        cmocka_unit_test(an_edition_of_five_thousand_is_judged),
        cmocka_unit_test(the_plan_says_how_many_to_look_at),
    };

    return cmocka_run_group_tests(tests, runs_begin, runs_end);
}
