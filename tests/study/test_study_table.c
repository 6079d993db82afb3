/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#include "core/memory.h"
#include "core/text.h"
#include "fleck/study.h"
#include "study/run_files.h"

static const char plain[] =
    "id,scan,paste_pct,batch,ink.coverage,dots.d50_mm,spacing.order,speckle,warnings\n"
    "a1,a1.png,2.5,m1,0.25,0.31,random,present,no-calibration\n"
    "a2,a2.png,2.5,m1,0.26,,regular,present,\n"
    "b/1,b1.png,5,m2,0.24,0.52,,present,\n"
    "b/2,b2.png,5,,0.23,0.5,random,present,\n";

static fleck_study *read_one(const char *run)
{
    fleck_study *study = NULL;
    fleck_error err = { 0 };
    const fleck_status status = fleck_study_read(&run, 1, &study, &err);

    if (status != FLECK_OK)
        print_error("%s\n", err.message);
    assert_int_equal(status, FLECK_OK);
    return study;
}

static double number(const fleck_study *study, size_t row, const char *column)
{
    double value = -1;

    assert_true(fleck_study_number(study, row, fleck_study_find_column(study, column), &value));
    return value;
}

static void a_run_gives_its_rows_factors_and_measures(void **state)
{
    fleck_study *study;
    size_t column;

    (void)state;
    run_put_all("plain", plain, NULL);
    study = read_one("plain");
    assert_int_equal(fleck_study_run_count(study), 1);
    assert_string_equal(fleck_study_run_path(study, 0), "plain");
    assert_int_equal(fleck_study_row_count(study), 4);
    assert_string_equal(fleck_study_id(study, 2), "b/1");
    assert_int_equal(fleck_study_run_of(study, 3), 0);
    column = fleck_study_find_column(study, "ink.coverage");
    assert_true(fleck_study_column_is_measure(study, column));
    assert_string_equal(fleck_study_column_name(study, column), "ink.coverage");
    column = fleck_study_find_column(study, "spacing.order"); /* a measure in words */
    assert_true(fleck_study_column_is_measure(study, column));
    assert_string_equal(fleck_study_text(study, 1, column), "regular");
    assert_false(fleck_study_column_is_measure(study, fleck_study_find_column(study, "paste_pct")));
    assert_false(fleck_study_column_is_measure(study, fleck_study_find_column(study, "speckle")));
    assert_int_equal(fleck_study_find_column(study, "nothing"), FLECK_STUDY_NONE);
    check_near("table", number(study, 1, "ink.coverage"), 0.26, 0);
    check_near("an empty cell", number(study, 1, "dots.d50_mm"), NAN, 0);
    check_near("table", number(study, 3, "paste_pct"), 5, 0);
    assert_string_equal(fleck_study_text(study, 0, fleck_study_find_column(study, "batch")), "m1");
    fleck_study_free(study);
}

static void a_text_is_no_number(void **state)
{
    fleck_study *study;
    double value = 7;

    (void)state;
    run_put_all("plain", plain, NULL);
    study = read_one("plain");
    assert_false(fleck_study_number(study, 0, fleck_study_find_column(study, "batch"), &value));
    check_near("untouched", value, 7, 0);
    fleck_study_free(study);
}

static void decimal_commas_of_a_factor_are_read_where_no_point_contradicts_them(void **state)
{
    static const struct {
        const char *source;
        const char *table;
        double first, second; /* NAN: no number */
    } cases[] = {
        { "all with commas", "id,x\na,\"2,5\"\nb,\"3,25\"\n", 2.5, 3.25 },
        { "commas and whole numbers", "id,x\na,\"2,5\"\nb,3\n", 2.5, 3 },
        { "commas and a word", "id,x\na,\"2,5\"\nb,none\n", 2.5, NAN },
        { "a point beside: thousands perhaps", "id,x\na,\"2,500\"\nb,3.5\n", NAN, 3.5 },
        { "two commas", "id,x\na,\"1,234,567\"\nb,3\n", NAN, 3 },
        { "saved by a spreadsheet", "id;x\na;2,5\nb;3\n", 2.5, 3 },
        { "the same with points", "id;x\na;2.5\nb;3\n", 2.5, 3 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_study *study;
        double value;
        size_t column;

        run_put_all("comma", cases[i].table, NULL);
        study = read_one("comma");
        column = fleck_study_find_column(study, "x");
        value = NAN;
        assert_int_equal(fleck_study_number(study, 0, column, &value), !isnan(cases[i].first));
        check_near(cases[i].source, value, cases[i].first, 0);
        value = NAN;
        assert_int_equal(fleck_study_number(study, 1, column, &value), !isnan(cases[i].second));
        check_near(cases[i].source, value, cases[i].second, 0);
        fleck_study_free(study);
    }
}

static void columns_of_several_runs_are_united_by_name(void **state)
{
    const char *const runs[] = { "one", "two" };
    fleck_study *study = NULL;

    (void)state;
    run_put_all("one", "id,paste,ink.coverage\na,2,0.2\n", NULL);
    run_put_all("two", "id,ink.coverage,water\na,0.3,7\nb,0.4,\"8,5\"\n", NULL);
    assert_int_equal(fleck_study_read(runs, 2, &study, NULL), FLECK_OK);
    assert_int_equal(fleck_study_row_count(study), 3);
    assert_int_equal(fleck_study_column_count(study), 4);
    assert_int_equal(fleck_study_run_of(study, 1), 1);
    assert_string_equal(fleck_study_id(study, 0), fleck_study_id(study, 1));
    check_near("first run", number(study, 0, "ink.coverage"), 0.2, 0);
    check_near("second run", number(study, 2, "ink.coverage"), 0.4, 0);
    check_near("second run", number(study, 2, "water"), 8.5, 0);
    check_near("not in the first", number(study, 0, "water"), NAN, 0);
    check_near("not in the second", number(study, 1, "paste"), NAN, 0);
    fleck_study_free(study);
}

static void what_cannot_be_read_is_named(void **state)
{
    static const struct {
        const char *table;
        fleck_status status;
        const char *said; /* how the message begins */
    } cases[] = {
        { "id,x\na,1\na,2\n", FLECK_BAD_INPUT, "bad/patches.csv: holds the id \"a\" twice" },
        { "id,x\na,1\nb\n", FLECK_BAD_INPUT, "bad/patches.csv: line 3 has 1 cells" },
        { "id,x\na,1,2\n", FLECK_BAD_INPUT, "bad/patches.csv: line 2 has 3 cells" },
        { "id,x,x\na,1,2\n", FLECK_BAD_INPUT, "bad/patches.csv: has the column x twice" },
        { "id,ink.coverage\na,much\n", FLECK_BAD_INPUT, "bad/patches.csv: line 2 holds \"much\"" },
        { "name,x\na,1\n", FLECK_BAD_INPUT, "bad/patches.csv: has no column id" },
        { "id,x\n", FLECK_BAD_INPUT, "bad/patches.csv: holds no patch" },
        { "", FLECK_BAD_INPUT, "bad/patches.csv: " },
        { "id,x\n\"a,1\n", FLECK_BAD_INPUT, "bad/patches.csv: " },
        { "id,x\nnew,1\n", FLECK_BAD_INPUT, "bad/records/new.json: is not there" },
    };

    (void)state;
    run_put_all("bad", "id,x\na,1\nb,1\n", NULL);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const char *const run = "bad";
        fleck_study *study = NULL;
        fleck_error err = { 0 };

        run_put("bad/patches.csv", cases[i].table);
        assert_int_equal(fleck_study_read(&run, 1, &study, &err), cases[i].status);
        assert_null(study);
        if (strncmp(err.message, cases[i].said, strlen(cases[i].said)) != 0)
            print_error("%s\n", err.message);
        assert_memory_equal(err.message, cases[i].said, strlen(cases[i].said));
        assert_non_null(strchr(err.message, ':'));
    }
}

static void expect_failure(const char *const *runs, size_t count, fleck_status status,
                           const char *said)
{
    fleck_study *study = NULL;
    fleck_error err = { 0 };

    assert_int_equal(fleck_study_read(runs, count, &study, &err), status);
    assert_null(study);
    if (strstr(err.message, said) == NULL)
        print_error("%s\n", err.message);
    assert_non_null(strstr(err.message, said));
    assert_non_null(strchr(err.message, ';'));
}

static void folders_that_are_no_run_are_refused(void **state)
{
    const char *const twice[] = { "plain", "./plain/../plain" };
    const char *const missing = "missing", *const file = "plain/patches.csv",
                      *const empty = "empty";
    const char *const unfinished = "unfinished";

    (void)state;
    run_put_all("plain", plain, NULL);
    run_put("empty/other.txt", "");
    run_put("unfinished/run.json", "{}");
    expect_failure(twice, 2, FLECK_BAD_CALL, "./plain/../plain: is given twice");
    expect_failure(&missing, 1, FLECK_BAD_INPUT, "missing: is not there");
    expect_failure(&file, 1, FLECK_BAD_INPUT, "is no folder");
    expect_failure(&empty, 1, FLECK_BAD_INPUT, "holds no patches.csv");
    expect_failure(&unfinished, 1, FLECK_BAD_INPUT, "not finished");
    expect_failure(NULL, 0, FLECK_BAD_CALL, "no run is named");
}

static void damaged_records_are_refused(void **state)
{
    const char *const run = "broken";

    (void)state;
    run_put_all("broken", "id,x\na,1\nb,2\n", NULL);
    run_put("broken/records/b.json", "{\"schema\": \"fleck-record\", \"version\": 2}");
    expect_failure(&run, 1, FLECK_BAD_INPUT,
                   "broken/records/b.json: is a record of a newer version");
    run_put("broken/records/b.json", "{\"schema\": \"fleck-record\", \"vers");
    expect_failure(&run, 1, FLECK_BAD_INPUT, "broken/records/b.json: ");
    run_put("broken/records/b.json",
            "{\"schema\": \"fleck-record\", \"version\": 1, \"id\": \"a\"}");
    expect_failure(&run, 1, FLECK_BAD_INPUT,
                   "broken/records/b.json: is the record of another patch");
}

static void a_column_that_is_missing_is_answered_by_those_there_are(void **state)
{
    static const struct {
        const char *name, *kind, *said;
    } cases[] = {
        { "paste_pc", "factor", "paste_pc: no such factor; did you mean paste_pct?" },
        { "ink.covrage", "measure", "ink.covrage: no such measure; did you mean ink.coverage?" },
        { "hello world", "measure", "fleck describe lists them" },
        { "hello world", "column", "there are scan, paste_pct, batch" },
        { "grain.fit_p", "measure",
          "grain.fit_p: this run does not have the measure; measure again" },
    };
    fleck_study *study;
    size_t column;

    (void)state;
    run_put_all("plain", plain, NULL);
    study = read_one("plain");
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_error err = { 0 };

        assert_int_equal(
            fleck_study_need_column(study, cases[i].name, cases[i].kind, &column, &err),
            FLECK_BAD_CALL);
        if (strstr(err.message, cases[i].said) == NULL)
            print_error("%s\n", err.message);
        assert_non_null(strstr(err.message, cases[i].said));
    }
    assert_int_equal(fleck_study_need_column(study, "batch", "factor", &column, NULL), FLECK_OK);
    assert_string_equal(fleck_study_column_name(study, column), "batch");
    fleck_study_free(study);
}

static void vary(fleck_record *record, const char *id)
{
    if (strcmp(id, "c") == 0 || strcmp(id, "d") == 0)
        record->settings.cutoff_mm = 0.2;
    if (strcmp(id, "c") == 0) { /* lists stand between the settings and the end */
        record->spectrum.rings = 3;
        record->spectrum.frequency_per_mm = fleck_alloc_zeroed(3, sizeof(double));
        record->granulometry.removed.values = fleck_alloc_zeroed(1, sizeof(double));
        record->granulometry.removed.count = 1;
        record->source.path = fleck_copy_text("odd\"[1, 2.png");
    }
    if (strcmp(id, "b") == 0)
        record->source.ppi_x = record->source.ppi_y = 599.9976; /* the same as 600 */
    if (strcmp(id, "d") == 0) {
        record->source.ppi_x = record->source.ppi_y = 1200;
        record->settings.calibration = fleck_copy_text("day2.json");
        record->settings.calibration_sha256 = fleck_copy_text("0123456789abcdef");
    }
}

static void settings_that_differ_are_listed_with_their_patches(void **state)
{
    static const struct {
        size_t count;
        size_t rows[4];
        const char *lines;
    } cases[] = {
        { 0, { 0 }, "" },
        { 2, { 0, 1 }, "" },
        { 3, { 0, 1, 2 }, "cutoff_mm: 0.1 (a and 1 more), 0.2 (c)" },
        { 4,
          { 3, 2, 1, 0 },
          "cutoff_mm: 0.2 (d and 1 more), 0.1 (b and 1 more)\nppi: 1200 (d), 600 (c and 2 more)\n"
          "calibration: day2.json (SHA-256 01234567...) (d), none (c and 2 more)" },
    };
    fleck_study *study;

    (void)state;
    run_put_all("mixed", "id,x\na,1\nb,1\nc,1\nd,1\n", vary);
    study = read_one("mixed");
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char *lines = NULL;

        assert_int_equal(
            fleck_study_differences(study, cases[i].rows, cases[i].count, &lines, NULL), FLECK_OK);
        assert_string_equal(lines, cases[i].lines);
        free(lines);
    }
    fleck_study_free(study);
}

static void dots_without_a_weight_are_left_out(void **state)
{
    fleck_study *study;
    fleck_study_dots dots;
    fleck_error err = { 0 };

    (void)state;
    run_put_all("plain", plain, NULL);
    run_put("plain/dots/b%2F1.csv",
            "dot,diameter_mm,weight_per_mm2\n1,0.2,0.01\n2,0.5,0\n3,0.4,0.02\n");
    run_put("plain/dots/a1.csv", "dot,diameter_mm,weight_per_mm2\n1,0.2,0.01\n2,big,0\n");
    study = read_one("plain");
    assert_int_equal(fleck_study_read_dots(study, 2, &dots, &err), FLECK_OK);
    assert_int_equal(dots.count, 2);
    check_near("third line", dots.diameter_mm[1], 0.4, 0);
    check_near("third line", dots.weight[1], 0.02, 0);
    fleck_study_dots_clear(&dots);
    assert_int_equal(fleck_study_read_dots(study, 0, &dots, &err), FLECK_BAD_INPUT);
    assert_non_null(strstr(err.message, "plain/dots/a1.csv: line 3 is damaged"));
    fleck_study_dots_clear(&dots);
    assert_int_equal(fleck_study_read_dots(study, 1, &dots, &err), FLECK_BAD_INPUT);
    assert_non_null(strstr(err.message, "plain/dots/a2.csv: "));
    fleck_study_dots_clear(&dots);
    fleck_study_free(study);
}

static void rows_of_one_text_are_one_unit_within_their_group(void **state)
{
    const size_t groups[] = { 0, 0, 1, FLECK_STUDY_NONE, 1, 0 };
    fleck_study *study;
    fleck_study_units units;
    size_t column;

    (void)state;
    run_put_all("units", "id,batch\np,m2\nq,m1\nr,m1\ns,m1\nt,\nu,m1\n", NULL);
    study = read_one("units");
    column = fleck_study_find_column(study, "batch");

    assert_int_equal(fleck_study_group_units(study, FLECK_STUDY_NONE, NULL, &units, NULL),
                     FLECK_OK);
    assert_int_equal(units.count, 6);
    assert_int_equal(units.unit_of_row[5], 5);
    assert_string_equal(units.name[5], "u");
    fleck_study_units_clear(&units);

    assert_int_equal(fleck_study_group_units(study, column, NULL, &units, NULL), FLECK_OK);
    assert_int_equal(units.count, 3);
    assert_int_equal(units.unit_of_row[0], 0);
    assert_int_equal(units.unit_of_row[1], 1);
    assert_int_equal(units.unit_of_row[3], 1);
    assert_int_equal(units.unit_of_row[4], 2);
    assert_string_equal(units.name[1], "m1");
    assert_string_equal(units.name[2], "t"); /* without a batch: its own unit */
    fleck_study_units_clear(&units);

    assert_int_equal(fleck_study_group_units(study, column, groups, &units, NULL), FLECK_OK);
    assert_int_equal(units.count, 4);
    assert_int_equal(units.unit_of_row[1], 1);
    assert_int_equal(units.unit_of_row[5], 1);
    assert_int_equal(units.unit_of_row[2], 2);
    assert_int_equal(units.unit_of_row[3], FLECK_STUDY_NONE);
    assert_int_equal(units.unit_of_row[4], 3);
    assert_string_equal(units.name[0], "m2");
    assert_string_equal(units.name[1], "m1 (group 1)");
    assert_string_equal(units.name[2], "m1 (group 2)");
    assert_string_equal(units.name[3], "t");
    fleck_study_units_clear(&units);
    fleck_study_free(study);
}

static void ten_thousand_patches_are_read_at_once(void **state)
{
    enum { ROWS = 10000 };
    fleck_text table = { 0 };
    fleck_study *study;
    fleck_study_units units;
    clock_t before, taken;

    (void)state;
    fleck_text_add(&table, "id,batch,ink.coverage\n");
    for (int i = 0; i < ROWS; i++)
        fleck_text_add_format(&table, "p%d,b%d,0.%d\n", i, i % 500, 1000 + i);
    run_put_all("large", table.bytes, NULL);
    before = clock();
    study = read_one("large");
    assert_int_equal(fleck_study_row_count(study), ROWS);
    assert_int_equal(
        fleck_study_group_units(study, fleck_study_find_column(study, "batch"), NULL, &units, NULL),
        FLECK_OK);
    taken = clock() - before;
    assert_int_equal(units.count, 500);
    check_near("last row", number(study, ROWS - 1, "ink.coverage"), 0.10999, 1e-15);
    assert_true(taken < 10 * CLOCKS_PER_SEC); /* squared work in the rows would take minutes */
    fleck_study_units_clear(&units);
    fleck_study_free(study);
    fleck_text_clear(&table);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_run_gives_its_rows_factors_and_measures),
        cmocka_unit_test(a_text_is_no_number),
        cmocka_unit_test(decimal_commas_of_a_factor_are_read_where_no_point_contradicts_them),
        cmocka_unit_test(columns_of_several_runs_are_united_by_name),
        cmocka_unit_test(what_cannot_be_read_is_named),
        cmocka_unit_test(folders_that_are_no_run_are_refused),
        cmocka_unit_test(damaged_records_are_refused),
        cmocka_unit_test(a_column_that_is_missing_is_answered_by_those_there_are),
        cmocka_unit_test(settings_that_differ_are_listed_with_their_patches),
        cmocka_unit_test(dots_without_a_weight_are_left_out),
        cmocka_unit_test(rows_of_one_text_are_one_unit_within_their_group),
        cmocka_unit_test(ten_thousand_patches_are_read_at_once),
    };

    return cmocka_run_group_tests(tests, runs_begin, runs_end);
}
