/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "fleck/compare.h"
#include "stats/group_sets.h"
#include "study/run_files.h"

static fleck_study *read_runs(const char *first, const char *second)
{
    const char *const runs[] = { first, second };
    fleck_study *study = NULL;
    fleck_error err = { 0 };

    if (fleck_study_read(runs, second == NULL ? 1 : 2, &study, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    return study;
}

/* Compare a run by a column, or refuse with the error wanted. */
static fleck_compare compare(const char *run, const fleck_compare_options *options,
                             const char *wanted_error)
{
    fleck_study *study = read_runs(run, NULL);
    fleck_compare result;
    fleck_error err = { 0 };
    const fleck_status status = fleck_compare_study(study, options, &result, &err);

    if (wanted_error == NULL && status != FLECK_OK)
        fail_msg("%s", err.message);
    if (wanted_error != NULL) {
        assert_int_equal(status, FLECK_BAD_CALL);
        if (strstr(err.message, wanted_error) == NULL || strstr(err.message, "; ") == NULL)
            fail_msg("'%s' does not say '%s'", err.message, wanted_error);
        assert_true(result.comparisons == NULL && result.groups == NULL); /* cleared */
    }
    fleck_study_free(study);
    return result;
}

static bool warned(const fleck_compare *result, const char *code)
{
    return fleck_warnings_has(&result->warnings, code) != 0;
}

static fleck_compare_options by_paste(void)
{
    static const char *const measures[] = { "ink.coverage", "dots.d50_mm" };
    fleck_compare_options options = fleck_compare_options_default();

    options.by = "paste_pct";
    options.measures = measures;
    options.measure_count = 2;
    return options;
}

/* A run whose coverage is that of one published set and whose d50 that of another of the same
 * sizes. */
static void put_sets(const char *run, size_t set)
{
    fleck_text table = { 0 };

    fleck_text_add(&table, "id,paste_pct,sheet,ink.coverage,dots.d50_mm\n");
    for (size_t i = 0; i < group_sets[set].n_a + group_sets[set].n_b; i++) {
        const bool is_b = i >= group_sets[set].n_a;
        const size_t at = is_b ? i - group_sets[set].n_a : i;
        const double value = is_b ? group_sets[set].b[at] : group_sets[set].a[at];

        fleck_text_add_format(&table, "%c%zu,%s,s%zu,", is_b ? 'b' : 'a', at, is_b ? "5" : "2.5",
                              at);
        fleck_text_add_number(&table, value);
        fleck_text_add(&table, ",");
        fleck_text_add_number(&table, -value); /* as sure, and turned round */
        fleck_text_add(&table, "\n");
    }
    run_put_all(run, table.bytes, NULL);
    fleck_text_clear(&table);
}

/* The sources of these values stand in tests/stats/test_two_groups.c. */
static void the_numbers_are_those_of_the_published_tests(void **state)
{
    const fleck_compare_options options = by_paste();
    fleck_compare result;
    const fleck_comparison *one;

    (void)state;
    put_sets("small", SMALL);
    result = compare("small", &options, NULL);
    assert_int_equal(result.group_count, 2);
    assert_int_equal(result.comparison_count, 2);
    one = &result.comparisons[0];
    assert_string_equal(result.measures[one->measure].measure, "ink.coverage");
    assert_string_equal(result.groups[one->group_a].name, "2.5");
    assert_true(one->n_a == 5 && one->n_b == 6);
    check_near("two_small", one->mean_a, 10.808, 1e-12);
    check_near("two_small", one->mean_b, 12.595, 1e-12);
    check_near("two_small", one->sd_a, 0.8925637232153232, 1e-12);
    check_near("two_small", one->sd_b, 1.0796805082986356, 1e-12);
    check_near("b - a", one->difference, 1.787, 1e-12);
    check_near("two_small", one->ci_lo, 0.4417572299303101, 1e-9);
    check_near("two_small", one->ci_hi, 3.13224277006969, 1e-9);
    check_near("two_small", one->p_welch, 0.014836067075857374, 1e-9);
    check_near("two_small", one->p_permutation, 11.0 / 462, 1e-12);
    check_near("two_small", one->p_rank, 0.030303030303030304, 1e-12);
    check_near("two_small", one->hedges_g, 1.6317144035280793, 1e-9);
    check_near("two_small", one->g_lo, 0.28723367908367214, 1e-8);
    check_near("two_small", one->g_hi, 2.9159785894755594, 1e-8);
    check_near("Holm of two equal p", one->p_holm, 22.0 / 462, 1e-12);
    assert_int_equal(one->verdict, FLECK_VERDICT_NOT_THE_SAME);
    check_near("no tolerance", one->p_equivalence, NAN, 0);
    check_near("no pairs", one->p_paired, NAN, 0);
    check_near("one group only", result.measures[0].kruskal_p, NAN, 0);
    check_near("turned round", result.comparisons[1].difference, -1.787, 1e-12);
    /* scipy 1.10.1: the noncentral t of 9 degrees, pooled sd 1.0008457535, at 0.8 and 0.05 */
    check_near("detectable", one->detectable, 1.9088104435751063, 1e-8);
    fleck_compare_clear(&result);
}

static void a_tolerance_makes_room_for_the_same(void **state)
{
    fleck_compare_options options = by_paste();
    fleck_compare_tolerance tolerances[] = { { "ink.coverage", 3, false },
                                             { "dots.d50_mm", 1.5, false } };
    fleck_compare result;

    (void)state;
    put_sets("small", SMALL);
    options.tolerances = tolerances;
    options.tolerance_count = 2;
    result = compare("small", &options, NULL);
    check_near("two_small, margin 3", result.comparisons[0].p_equivalence, 0.035895060081820335,
               1e-9);
    check_near("two_small, margin 1.5", result.comparisons[1].p_equivalence, 0.6795587807616129,
               1e-9);
    assert_int_equal(result.comparisons[0].verdict, FLECK_VERDICT_SAME);
    assert_int_equal(result.comparisons[1].verdict, FLECK_VERDICT_NOT_THE_SAME);
    assert_non_null(strstr(result.comparisons[0].sentence, "same within 3"));
    fleck_compare_clear(&result);
    tolerances[0] = (fleck_compare_tolerance){ "ink.coverage", 3 / 10.808 * 100, true };
    result = compare("small", &options, NULL);
    check_near("3 as a share of the first mean", result.comparisons[0].tolerance, 3, 1e-12);
    fleck_compare_clear(&result);
    tolerances[0].measure = "dots.per_cm2";
    compare("small", &options, "is not compared");
    tolerances[0] = (fleck_compare_tolerance){ "ink.coverage", 0, false };
    compare("small", &options, "not above 0");
    tolerances[0] = tolerances[1];
    compare("small", &options, "two tolerances");
}

static void pairs_are_judged_by_their_differences(void **state)
{
    fleck_compare_options options = by_paste();
    fleck_compare result;
    const fleck_comparison *one;

    (void)state;
    put_sets("sleep", SLEEP);
    options.paired = "sheet";
    result = compare("sleep", &options, NULL);
    one = &result.comparisons[0];
    assert_true(one->n_a == 10 && one->n_b == 10);
    check_near("sleep, paired", one->p_paired, 0.002832890197384273, 1e-9);
    check_near("sleep, paired", one->ci_lo, 0.7001142367452712, 1e-9);
    check_near("sleep, signs", one->p_permutation, 4.0 / 1024, 1e-12);
    check_near("not paired", one->p_welch, NAN, 0);
    assert_string_equal(one->interval, "paired");
    assert_int_equal(one->verdict, FLECK_VERDICT_NOT_THE_SAME);
    assert_non_null(strstr(one->sentence, "10 pairs"));
    fleck_compare_clear(&result);
    options.paired = NULL;
    result = compare("sleep", &options, NULL);
    assert_int_equal(result.comparisons[0].verdict, FLECK_VERDICT_CANNOT_TELL);
    assert_non_null(strstr(result.comparisons[0].sentence, "8 times in 10"));
    fleck_compare_clear(&result);
}

static void what_has_no_partner_is_left_out_and_told(void **state)
{
    fleck_compare_options options = by_paste();
    fleck_compare result;

    (void)state;
    run_put_all("partners",
                "id,paste_pct,sheet,ink.coverage,dots.d50_mm\n"
                "a1,2.5,s1,1,1\na2,2.5,s2,2,\na3,2.5,s3,4,4\na4,2.5,s4,9,9\n"
                "b1,5,s1,2,2\nb2,5,s2,4,4\nb3,5,s3,5,5\nb5,5,,7,7\n",
                NULL);
    options.paired = "sheet";
    result = compare("partners", &options, NULL);
    assert_true(result.comparisons[0].n_a == 3 && result.comparisons[1].n_a == 2);
    check_near("1 2 1", result.comparisons[0].difference, 4.0 / 3, 1e-12);
    check_near("1 1", result.comparisons[1].difference, 1, 1e-12);
    assert_true(warned(&result, "unpaired"));
    fleck_compare_clear(&result);
}

static const char batches[] = "id,paste_pct,batch,ink.coverage,dots.d50_mm\n"
                              "p1,2.5,m1,1,1\np2,2.5,m1,3,\np3,2.5,m2,10,5\n"
                              "p4,5,m1,4,4\np5,5,m3,6,6\np6,5,m3,,\n";

static void a_batch_is_one_replicate(void **state)
{
    fleck_compare_options options = by_paste();
    fleck_compare result;

    (void)state;
    run_put_all("batches", batches, NULL);
    result = compare("batches", &options, NULL);
    assert_string_equal(result.unit, "batch");
    assert_true(result.groups[0].patches == 3 && result.groups[0].units == 2);
    assert_true(result.comparisons[0].n_a == 2 && result.comparisons[0].n_b == 2);
    check_near("(2 + 10) / 2", result.comparisons[0].mean_a, 6, 1e-12);
    check_near("(4 + 6) / 2", result.comparisons[0].mean_b, 5, 1e-12);
    check_near("(1 + 5) / 2", result.comparisons[1].mean_a, 3, 1e-12);
    assert_true(warned(&result, "missing-values"));
    fleck_compare_clear(&result);
    options.unit = "patch";
    result = compare("batches", &options, NULL);
    assert_null(result.unit);
    assert_true(result.comparisons[0].n_a == 3 && result.comparisons[0].n_b == 2);
    fleck_compare_clear(&result);
}

static void one_batch_is_no_replication(void **state)
{
    fleck_compare_options options = by_paste();
    fleck_compare result;

    (void)state;
    run_put_all("one",
                "id,paste_pct,batch,ink.coverage,dots.d50_mm\n"
                "p1,2.5,m1,1,1\np2,2.5,m1,3,3\np3,2.5,m1,2,2\n"
                "p4,5,m2,14,14\np5,5,m2,16,16\np6,5,m2,15,15\n",
                NULL);
    result = compare("one", &options, NULL);
    assert_true(warned(&result, "one-batch") && warned(&result, "no-replicates"));
    assert_true(result.comparisons[0].n_a == 1);
    check_near("15 - 2", result.comparisons[0].difference, 13, 1e-12);
    check_near("no p", result.comparisons[0].p_permutation, NAN, 0);
    check_near("no p", result.comparisons[0].p_welch, NAN, 0);
    assert_int_equal(result.comparisons[0].verdict, FLECK_VERDICT_CANNOT_TELL);
    fleck_compare_clear(&result);
    options.unit = "patch"; /* compares the prints, and still says that each side is one batch */
    result = compare("one", &options, NULL);
    assert_true(warned(&result, "one-batch") && !warned(&result, "no-replicates"));
    check_near("3 + 3: 2 of 20", result.comparisons[0].p_permutation, 0.1, 1e-12);
    assert_true(warned(&result, "too-few-patches"));
    assert_int_equal(result.comparisons[0].verdict, FLECK_VERDICT_CANNOT_TELL);
    assert_non_null(strstr(result.comparisons[0].sentence, "cannot be below 0.10"));
    fleck_compare_clear(&result);
}

static void one_patch_a_group_has_the_interval_of_its_own_record(void **state)
{
    fleck_compare_options options = by_paste();
    fleck_compare result;

    (void)state;
    run_put_all("single",
                "id,paste_pct,ink.coverage,ink.coverage_se,dots.d50_mm\n"
                "a,2.5,0.2,0.03,0.3\nb,5,0.5,0.04,0.4\n",
                NULL);
    result = compare("single", &options, NULL);
    check_near("0.5 - 0.2", result.comparisons[0].difference, 0.3, 1e-12);
    check_near("less 1.96 x 0.05", result.comparisons[0].ci_lo, 0.3 - 1.959963984540054 * 0.05,
               1e-12);
    check_near("and more", result.comparisons[0].ci_hi, 0.3 + 1.959963984540054 * 0.05, 1e-12);
    assert_string_equal(result.comparisons[0].interval, "within-patch");
    check_near("none known", result.comparisons[1].ci_lo, NAN, 0);
    check_near("no p", result.comparisons[0].p_holm, NAN, 0);
    assert_true(warned(&result, "no-replicates"));
    fleck_compare_clear(&result);
}

static void groups_of_numbers_are_sorted_as_numbers(void **state)
{
    fleck_compare_options options = by_paste();
    static const char *const chosen[] = { "10", "2.5" };
    fleck_compare result;

    (void)state;
    run_put_all("order",
                "id,paste_pct,ink.coverage,dots.d50_mm\n"
                "a,10,1,1\nb,2.5,2,2\nc,2.50,3,3\nd,10,4,4\ne,9,5,5\nf,9,8,8\ng,,9,9\n",
                NULL);
    result = compare("order", &options, NULL);
    assert_int_equal(result.group_count, 3);
    assert_string_equal(result.groups[0].name, "2.5");
    assert_string_equal(result.groups[1].name, "9");
    assert_string_equal(result.groups[2].name, "10");
    assert_int_equal(result.groups[0].patches, 2);
    assert_int_equal(result.comparison_count, 6); /* three pairs, two measures */
    assert_true(warned(&result, "no-group"));
    /* ranks 2.5 3.5 | 5.5 ... of 1 4 | 2 3 | 5 8: H = 24/7, chi-squared of 2: exp(-12/7) */
    check_near("Kruskal-Wallis by hand", result.measures[0].kruskal_p, exp(-12.0 / 7), 1e-12);
    fleck_compare_clear(&result);
    options.groups = chosen;
    options.group_count = 2;
    result = compare("order", &options, NULL);
    assert_string_equal(result.groups[0].name, "10");
    check_near("2.5 less 2.5", result.comparisons[0].difference, 0, 1e-12);
    fleck_compare_clear(&result);
}

static void two_runs_are_two_groups(void **state)
{
    fleck_compare_options options = by_paste();
    fleck_study *study;
    fleck_compare result;
    fleck_error err = { 0 };

    (void)state;
    run_put_all("runs/monday", "id,ink.coverage,dots.d50_mm\na,1,1\nb,2,2\n", NULL);
    run_put_all("runs/tuesday", "id,ink.coverage,dots.d50_mm\na,3,1\nb,4,2\n", NULL);
    study = read_runs("runs/monday", "runs/tuesday");
    options.by = NULL;
    assert_int_equal(fleck_compare_study(study, &options, &result, &err), FLECK_OK);
    assert_string_equal(result.groups[0].name, "monday");
    assert_string_equal(result.groups[1].name, "tuesday");
    check_near("2", result.comparisons[0].difference, 2, 1e-12);
    assert_non_null(strstr(result.comparisons[0].sentence, "tuesday against monday"));
    fleck_compare_clear(&result);
    fleck_study_free(study);
    compare("runs/monday", &options, "give --by COLUMN or a second run");
}

static void rescans_are_one_print_and_show_what_scanning_does(void **state)
{
    fleck_compare_options options = by_paste();
    fleck_compare result;

    (void)state;
    /* scans of a print differ by 2: sd sqrt(2); each group two prints of two scans */
    run_put_all("rescans",
                "id,paste_pct,print,scan_no,ink.coverage,dots.d50_mm\n"
                "a,2.5,1,1,10,1\nb,2.5,1,2,12,1\nc,2.5,2,1,11,1\nd,2.5,2,2,13,1\n"
                "e,5,3,1,11,21\nf,5,3,2,13,21\ng,5,4,1,12,22\nh,5,4,2,14,22\n",
                NULL);
    options.rescan = "scan_no";
    result = compare("rescans", &options, NULL);
    assert_true(result.comparisons[0].n_a == 2 && result.comparisons[0].n_b == 2);
    check_near("by hand", result.measures[0].rescan_sd, sqrt(2), 1e-12);
    check_near("mean of four scans each: sd sqrt(2) sqrt(1/4 + 1/4)",
               result.comparisons[0].rescan_limit, 1.959963984540054, 1e-12);
    check_near("11 and 12 against 12 and 13", result.comparisons[0].difference, 1, 1e-12);
    assert_true(warned(&result, "within-rescan"));
    assert_non_null(strstr(result.comparisons[0].sentence, "scanning alone"));
    assert_null(strstr(result.comparisons[1].sentence, "scanning alone"));
    fleck_compare_clear(&result);
    options.print = "paste_pct";
    compare("rescans", &options, "cannot tell replicates apart");
    options.print = NULL;
    put_sets("small", SMALL);
    options.rescan = "sheet";
    compare("small", &options, "--print COLUMN");
}

static void change_cutoff(fleck_record *record, const char *id)
{
    if (id[0] == 'b')
        record->settings.cutoff_mm = 0.2;
}

static void groups_measured_differently_are_refused_unless_mixed(void **state)
{
    fleck_compare_options options = by_paste();
    fleck_compare result;
    char *text;

    (void)state;
    run_put_all("cutoffs",
                "id,paste_pct,ink.coverage,dots.d50_mm\n"
                "a1,2.5,1,1\na2,2.5,2,2\nb1,5,3,3\nb2,5,4,4\n",
                change_cutoff);
    compare("cutoffs", &options, "cutoff_mm");
    options.mixed = true;
    result = compare("cutoffs", &options, NULL);
    assert_true(warned(&result, "settings-differ"));
    text = fleck_compare_to_json(&result);
    assert_non_null(strstr(text, "settings-differ"));
    free(text);
    text = fleck_compare_to_csv(&result);
    assert_non_null(strstr(text, "settings-differ"));
    free(text);
    fleck_compare_clear(&result);
}

static void thresholds_apart_are_told(void **state)
{
    static const char *const tables[] = {
        "id,paste_pct,threshold.threshold_reflectance,ink.coverage,dots.d50_mm\n"
        "a1,2.5,0.40,1,1\na2,2.5,0.42,2,2\nb1,5,0.50,3,3\nb2,5,0.52,4,4\n",
        "id,paste_pct,threshold.threshold_reflectance,ink.coverage,dots.d50_mm\n"
        "a1,2.5,0.40,1,1\na2,2.5,0.52,2,2\nb1,5,0.50,3,3\nb2,5,0.48,4,4\n",
    };
    const fleck_compare_options options = by_paste();

    (void)state;
    for (int i = 0; i < 2; i++) {
        fleck_compare result;

        run_put_all("thresholds", tables[i], NULL);
        result = compare("thresholds", &options, NULL);
        assert_int_equal(warned(&result, "thresholds-differ"), i == 0);
        fleck_compare_clear(&result);
    }
}

static void a_small_group_that_scatters_is_told(void **state)
{
    static const char *const tables[] = {
        "id,paste_pct,ink.coverage,dots.d50_mm\n"
        "a1,2.5,1,1\na2,2.5,9,2\nb1,5,3,1\nb2,5,4,2\nb3,5,5,3\n",
        "id,paste_pct,ink.coverage,dots.d50_mm\n"
        "a1,2.5,1,1\na2,2.5,9,2\nb1,5,3,1\nb2,5,4,2\n",
    };
    const fleck_compare_options options = by_paste();

    (void)state;
    for (int i = 0; i < 2; i++) {
        fleck_compare result;

        run_put_all("spread", tables[i], NULL);
        result = compare("spread", &options, NULL);
        assert_int_equal(warned(&result, "unequal-spread"), i == 0);
        fleck_compare_clear(&result);
    }
}

/* What cannot be judged is null and told, never a p of 0 or 1 from nothing. */
static void values_without_spread_or_none_at_all_have_no_p(void **state)
{
    fleck_compare_options options = by_paste();
    fleck_compare result;

    (void)state;
    run_put_all("flat",
                "id,paste_pct,ink.coverage,dots.d50_mm\n"
                "a1,2.5,0.1,\na2,2.5,0.1,\na3,2.5,0.1,\nb1,5,0.3,\nb2,5,0.3,\nb3,5,0.3,\n",
                NULL);
    result = compare("flat", &options, NULL);
    check_near("0.3 - 0.1", result.comparisons[0].difference, 0.2, 1e-15);
    check_near("no spread", result.comparisons[0].p_welch, NAN, 0);
    check_near("no spread", result.comparisons[0].ci_lo, NAN, 0);
    check_near("deals can be counted all the same", result.comparisons[0].p_permutation, 0.1,
               1e-12);
    assert_true(warned(&result, "no-spread"));
    assert_true(result.comparisons[1].n_a == 0);
    check_near("no value", result.comparisons[1].difference, NAN, 0);
    check_near("no value", result.comparisons[1].p_holm, NAN, 0);
    check_near("it does not count for Holm", result.comparisons[0].p_holm, 0.1, 1e-12);
    assert_true(warned(&result, "no-values"));
    assert_int_equal(result.comparisons[1].verdict, FLECK_VERDICT_CANNOT_TELL);
    fleck_compare_clear(&result);
}

static void bad_calls_say_what_is_wrong(void **state)
{
    static const char *const text[] = { "sheet" }, *const missing[] = { "ink.coverag" };
    static const char *const seven[] = { "2.5", "7" }, *const twice[] = { "5", "5.0" };
    fleck_compare_options options = by_paste();

    (void)state;
    put_sets("small", SMALL);
    options.measures = text;
    options.measure_count = 1;
    compare("small", &options, "is no number");
    options.measures = missing;
    compare("small", &options, "did you mean ink.coverage");
    options = by_paste();
    options.by = "paste";
    compare("small", &options, "no such column");
    options = by_paste();
    options.groups = seven;
    options.group_count = 2;
    compare("small", &options, "there are 2.5, 5");
    options.groups = twice;
    compare("small", &options, "named twice");
    options.group_count = 1;
    compare("small", &options, "only the group 5");
    options = by_paste();
    options.unit = "paste_pct";
    compare("small", &options, "cannot tell replicates apart");
}

/* The same patches in another order give the same document. */
static void the_order_of_the_table_does_not_matter(void **state)
{
    static const char head[] = "id,paste_pct,sheet,ink.coverage,dots.d50_mm\n";
    fleck_compare_options options = by_paste();
    char *lines[60], *documents[2], line[128];
    uint64_t seed = 7;

    (void)state;
    for (int i = 0; i < 60; i++) {
        snprintf(line, sizeof line, "p%02d,%d,s%d,%.6f,%.6f\n", i, i % 2, i / 4,
                 test_uniform(&seed), test_uniform(&seed));
        lines[i] = fleck_copy_text(line);
        assert_non_null(lines[i]);
    }
    for (int paired = 0; paired < 2; paired++) {
        options.paired = paired ? "sheet" : NULL;
        for (int turn = 0; turn < 2; turn++) {
            fleck_text table = { 0 };
            fleck_compare result;

            fleck_text_add(&table, head);
            for (int i = 0; i < 60; i++)
                fleck_text_add(&table, lines[turn == 0 ? i : (i * 37 + 11) % 60]);
            run_put_all("turned", table.bytes, NULL);
            fleck_text_clear(&table);
            result = compare("turned", &options, NULL);
            documents[turn] = fleck_compare_to_json(&result);
            fleck_compare_clear(&result);
        }
        assert_string_equal(documents[0], documents[1]);
        free(documents[0]);
        free(documents[1]);
    }
    for (int i = 0; i < 60; i++)
        free(lines[i]);
}

static void put_dots(const char *run, const char *id, const double *sizes, const double *weights,
                     size_t count)
{
    fleck_text table = { 0 };
    char path[256];

    fleck_text_add(&table, "dot,diameter_mm,weight_per_mm2\n");
    for (size_t i = 0; i < count; i++) {
        fleck_text_add_format(&table, "%zu,", i);
        fleck_text_add_number(&table, sizes[i]);
        fleck_text_add(&table, ",");
        fleck_text_add_number(&table, weights[i]);
        fleck_text_add(&table, "\n");
    }
    snprintf(path, sizeof path, "%s/dots/%s.csv", run, id);
    run_put(path, table.bytes);
    fleck_text_clear(&table);
}

static void size_distributions_weigh_each_patch_alike(void **state)
{
    /* the many dots of a2 and a3, one batch, count no more than the one of a1: a is half 0.1, half
     * 0.2 */
    const double a1[] = { 0.1 }, a2[] = { 0.2, 0.2, 0.2, 0.3 }, b1[] = { 0.4 }, b2[] = { 0.2, 0.4 };
    const double ones[] = { 1, 1, 1, 0 }, unequal[] = { 1, 3 };
    const fleck_compare_options options = by_paste();
    fleck_compare result;

    (void)state;
    run_put_all("dots",
                "id,paste_pct,batch,ink.coverage,dots.d50_mm\n"
                "a1,2.5,k,1,1\na2,2.5,l,2,2\na3,2.5,l,2,2\nb1,5,m,3,3\nb2,5,n,4,4\n",
                NULL);
    result = compare("dots", &options, NULL);
    assert_true(warned(&result, "sizes-missing"));
    check_near("no dots", result.sizes[0].ks_d, NAN, 0);
    fleck_compare_clear(&result);
    put_dots("dots", "a1", a1, ones, 1);
    put_dots("dots", "a2", a2, ones, 4); /* the last has no weight */
    put_dots("dots", "a3", a2, ones, 1);
    put_dots("dots", "b1", b1, ones, 1);
    put_dots("dots", "b2", b2, unequal, 2);
    result = compare("dots", &options, NULL);
    assert_false(warned(&result, "sizes-missing"));
    /* shares of b: 1/8 at 0.2, 7/8 at 0.4 */
    check_near("1 - 1/8", result.sizes[0].ks_d, 0.875, 1e-12);
    check_near("0.1 x 0.5 + 0.2 x 0.875", result.sizes[0].wasserstein_mm, 0.225, 1e-12);
    check_near("2 of 6 deals", result.sizes[0].p_permutation, 1.0 / 3, 1e-12);
    check_near("2 of 6 deals", result.sizes[0].p_ks, 1.0 / 3, 1e-12);
    fleck_compare_clear(&result);
}

static void the_table_has_a_row_for_each_comparison(void **state)
{
    const fleck_compare_options options = by_paste();
    fleck_compare result;
    char *csv, *json;
    size_t lines = 0;

    (void)state;
    put_sets("small", SMALL);
    result = compare("small", &options, NULL);
    csv = fleck_compare_to_csv(&result);
    json = fleck_compare_to_json(&result);
    for (const char *c = csv; *c != '\0'; c++)
        lines += *c == '\n';
    assert_int_equal(lines, 4); /* a header, two measures, the sizes */
    assert_int_equal(strncmp(csv, "measure,group_a,group_b,n_a,n_b,mean_a,", 39), 0);
    assert_non_null(strstr(json, "\"schema\""));
    assert_non_null(strstr(json, "\"p_equivalence\":\tnull"));
    assert_null(strstr(json, "nan"));
    free(csv);
    free(json);
    fleck_compare_clear(&result);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_numbers_are_those_of_the_published_tests),
        cmocka_unit_test(a_tolerance_makes_room_for_the_same),
        cmocka_unit_test(pairs_are_judged_by_their_differences),
        cmocka_unit_test(what_has_no_partner_is_left_out_and_told),
        cmocka_unit_test(a_batch_is_one_replicate),
        cmocka_unit_test(one_batch_is_no_replication),
        cmocka_unit_test(one_patch_a_group_has_the_interval_of_its_own_record),
        cmocka_unit_test(groups_of_numbers_are_sorted_as_numbers),
        cmocka_unit_test(two_runs_are_two_groups),
        cmocka_unit_test(rescans_are_one_print_and_show_what_scanning_does),
        cmocka_unit_test(groups_measured_differently_are_refused_unless_mixed),
        cmocka_unit_test(thresholds_apart_are_told),
        cmocka_unit_test(a_small_group_that_scatters_is_told),
        cmocka_unit_test(values_without_spread_or_none_at_all_have_no_p),
        cmocka_unit_test(bad_calls_say_what_is_wrong),
        cmocka_unit_test(the_order_of_the_table_does_not_matter),
        cmocka_unit_test(size_distributions_weigh_each_patch_alike),
        cmocka_unit_test(the_table_has_a_row_for_each_comparison),
    };

    return cmocka_run_group_tests(tests, runs_begin, runs_end);
}
