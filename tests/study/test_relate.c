/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/text.h"
#include "stats/nist_sets.h"
#include "study/relate_case.h"
#include "study/run_files.h"

/* Two measures at four pastes, twice each; what is expected of them comes from SciPy. */
static const char pastes[] = "id,paste_pct,dots.d50_mm,ink.coverage\n"
                             "a,2,0.41,0.20\nb,2,0.43,0.22\nc,2.5,0.40,0.24\nd,2.5,0.37,0.23\n"
                             "e,3,0.36,0.27\nf,3,0.35,0.28\ng,4,0.29,0.33\nh,4,0.31,0.34\n";
static const char scipy[] = "SciPy 1.10.1: linregress, nct, kendalltau, f; by its formulas";

static void longley_comes_through_as_certified(void **state)
{
    static const double certified[] = { -3482258.6345958184,   15.061872271373295,
                                        -0.035819179292591014, -2.020229803816825,
                                        -1.033226867173592,    -0.051104105653580714,
                                        1829.1514646135518 };
    fleck_text table = { 0 };
    fleck_relate result;
    const fleck_relate_measure *measure;

    (void)state;
    fleck_text_add(&table, "id,y,x1,x2,x3,x4,x5,x6\n");
    for (size_t i = 0; i < LONGLEY_ROWS; i++) {
        fleck_text_add_format(&table, "p%zu,", i);
        fleck_text_add_number(&table, longley_y[i]);
        for (size_t k = 0; k < LONGLEY_FACTORS; k++) {
            fleck_text_add(&table, ",");
            fleck_text_add_number(&table, longley_x[k * LONGLEY_ROWS + i]);
        }
        fleck_text_add(&table, "\n");
    }
    relate_fine(table.bytes, &(relate_case){ .factors = "x1,x2,x3,x4,x5,x6", .measures = "y" },
                &result);
    measure = relate_measure(&result, "y");
    assert_int_equal(measure->term_count, 7);
    for (size_t j = 0; j < 7; j++)
        check_ratio("NIST StRD Longley", measure->terms[j].coefficient, certified[j], 1e-12);
    check_ratio("NIST StRD Longley", measure->residual_sd, 304.8540735619648, 1e-12);
    check_ratio("NIST StRD Longley", measure->r2, 0.9954790045772957, 1e-13);
    fleck_relate_clear(&result);
    fleck_text_clear(&table);
}

static void one_factor_gives_line_ranks_and_what_could_have_been_shown(void **state)
{
    fleck_relate result;
    const fleck_relate_measure *measure;
    const fleck_relate_effect *effect;

    (void)state;
    relate_fine(pastes, &(relate_case){ .factors = "paste_pct", .expected = "paste_pct-" },
                &result);
    measure = relate_measure(&result, "dots.d50_mm");
    assert_int_equal(measure->n, 8);
    assert_string_equal(measure->terms[0].name, "intercept");
    assert_string_equal(measure->terms[1].name, "paste_pct");
    check_near(scipy, measure->terms[0].coefficient, 0.5358571428571428, 1e-14);
    check_near(scipy, measure->terms[0].se, 0.0178451388224311, 1e-14);
    check_near(scipy, measure->terms[1].coefficient, -0.05942857142857143, 1e-14);
    check_near(scipy, measure->terms[1].se, 0.006011327176403627, 1e-14);
    check_near(scipy, measure->terms[1].p, 6.182739735763662e-05, 1e-13);
    check_near(scipy, measure->residual_sd, 0.012573592887287164, 1e-14);
    check_near(scipy, measure->r2, 0.9421602787456445, 1e-14);
    check_near(scipy, measure->lack_f, 0.1079365079365074, 1e-12);
    check_near(scipy, measure->lack_p, 0.9002122949629847, 1e-12);
    check_near(scipy, measure->repeat_sd, 0.015, 1e-14);
    effect = &measure->effects[0];
    check_near(scipy, effect->slope, measure->terms[1].coefficient, 0);
    check_near(scipy, effect->spearman_rho, -0.9759000729485332, 1e-14);
    check_near(scipy, effect->spearman_p, 3.436402807612141e-05, 1e-13);
    check_near(scipy, effect->kendall_tau_b, -0.9258200997725515, 1e-14);
    check_near(scipy, effect->kendall_p, 0.002180170377404106, 1e-13);
    check_near("mpmath: noncentral t of 6 df at 3.366894897085014 has power 0.8",
               effect->detectable_slope, 3.366894897085014 * effect->slope_se, 1e-11);
    check_near("the slope over this change is what could be shown", effect->detectable_change,
               2 * effect->detectable_slope / 0.05942857142857143, 1e-12);
    check_near(scipy, effect->expected_p, 3.091369867881831e-05, 1e-13);
    assert_int_equal(effect->direction, FLECK_RELATE_FALLS);
    assert_string_equal(
        effect->sentence,
        "each 1 % more paste: dots 0.059 mm smaller (95 % interval 0.045 to 0.074; "
        "p < 0.001, 8 patches); this is the direction expected (one-sided p < 0.001)");
    fleck_relate_clear(&result);
}

static void categories_squares_and_products_recover_what_was_put_in(void **state)
{
    static const struct {
        const char *name;
        double value;
    } truth[] = {
        { "intercept", 7 },    { "a", 2 },     { "b", -3 },     { "paper=rough", 1.5 },
        { "paper=wove", -4 },  { "a^2", 0.5 }, { "a*b", 0.25 }, { "a*paper=rough", -1 },
        { "a*paper=wove", 2 },
    };
    static const char *const papers[] = { "laid", "rough", "wove" };
    fleck_text table = { 0 };
    fleck_relate result;
    const fleck_relate_measure *measure;

    (void)state;
    fleck_text_add(&table, "id,paper,a,b,y\n");
    for (unsigned i = 0; i < 36; i++) {
        const double a = i % 4, b = i % 5;
        const unsigned paper = i % 3;
        const double y = 7 + 2 * a - 3 * b +
                         (paper == 1   ? 1.5 - a
                          : paper == 2 ? -4 + 2 * a
                                       : 0) +
                         0.5 * a * a + 0.25 * a * b;

        fleck_text_add_format(&table, "p%u,%s,%u,%u,", i, papers[paper], i % 4, i % 5);
        fleck_text_add_number(&table, y);
        fleck_text_add(&table, "\n");
    }
    relate_fine(
        table.bytes,
        &(relate_case){
            .factors = "a,b", .categories = "paper", .terms = "a^2,a*b,a*paper", .measures = "y" },
        &result);
    measure = relate_measure(&result, "y");
    assert_int_equal(measure->term_count, sizeof truth / sizeof *truth);
    for (size_t j = 0; j < measure->term_count; j++) {
        assert_string_equal(measure->terms[j].name, truth[j].name);
        check_near(truth[j].name, measure->terms[j].coefficient, truth[j].value, 1e-12);
    }
    fleck_relate_clear(&result);
    fleck_text_clear(&table);
}

static void the_order_of_rows_changes_no_byte(void **state)
{
    /* units whose patches lie between those of others, sums that rounding would tell */
    static const char straight[] = "id,cup,x,y\na,u2,1,0.1\nb,u1,1,0.7\nc,u2,1,0.3\nd,u1,1,0.2\n"
                                   "e,u3,3,0.9\nf,u4,3,1.1\ng,u3,3,1.3\nh,u5,4,1.7\n";
    static const char turned[] = "id,cup,x,y\nh,u5,4,1.7\ng,u3,3,1.3\nf,u4,3,1.1\ne,u3,3,0.9\n"
                                 "d,u1,1,0.2\nc,u2,1,0.3\nb,u1,1,0.7\na,u2,1,0.1\n";
    const relate_case what = { .factors = "x", .measures = "y", .unit = "cup", .targets = "y=0.8" };
    fleck_relate one, other;
    char *left, *right;

    (void)state;
    relate_fine(straight, &what, &one);
    relate_fine(turned, &what, &other);
    assert_int_equal(one.units, 5);
    check_near("means 0.45, 0.2, 1.1, 1.1, 1.7 at 1, 1, 3, 3, 4",
               relate_measure(&one, "y")->terms[1].coefficient, 3.13 / 7.2, 1e-14);
    left = fleck_relate_to_json(&one);
    right = fleck_relate_to_json(&other);
    assert_string_equal(left, right);
    free(left);
    free(right);
    fleck_relate_clear(&one);
    fleck_relate_clear(&other);
}

static void patches_of_a_batch_count_once(void **state)
{
    fleck_relate result;
    const fleck_relate_measure *measure;

    (void)state;
    relate_fine("id,batch,x,y\na,p,1,1\nb,p,1,3\nc,q,2,4\nd,q,2,4\ne,r,3,9\n",
                &(relate_case){ .factors = "x", .measures = "y" }, &result);
    assert_string_equal(result.unit, "batch");
    assert_int_equal(result.units, 3);
    measure = relate_measure(&result, "y");
    assert_int_equal(measure->n, 3);
    check_near("means 2, 4, 9", measure->terms[1].coefficient, 3.5, 1e-14);
    assert_false(fleck_warnings_has(&result.warnings, "unit-split"));
    fleck_relate_clear(&result);

    relate_fine("id,batch,x,y\na,p,1,1\nb,p,2,3\nc,q,1,4\nd,q,3,4\n",
                &(relate_case){ .factors = "x", .measures = "y" }, &result);
    assert_int_equal(result.units, 4);
    assert_true(fleck_warnings_has(&result.warnings, "unit-split"));
    fleck_relate_clear(&result);
}

static void what_cannot_be_related_is_refused_by_name(void **state)
{
    static const struct {
        const char *what;
        relate_case options;
        fleck_status status;
        const char *names; /* what the message must hold */
    } cases[] = {
        { "no factor", { .measures = "y" }, FLECK_BAD_CALL, "--factors" },
        { "constant", { .factors = "x,same", .measures = "y" }, FLECK_BAD_CALL, "same" },
        { "collinear",
          { .factors = "x,twice", .measures = "y" },
          FLECK_BAD_CALL,
          "twice can be computed from x" },
        { "text", { .factors = "paper", .measures = "y" }, FLECK_BAD_CALL, "--category paper" },
        { "unknown", { .factors = "pasta", .measures = "y" }, FLECK_BAD_CALL, "pasta" },
        { "twice", { .factors = "x,x", .measures = "y" }, FLECK_BAD_CALL, "x is named twice" },
        { "one level",
          { .factors = "x", .categories = "ink", .measures = "y" },
          FLECK_BAD_CALL,
          "ink" },
        { "square of two values",
          { .factors = "x,two", .terms = "two^2", .measures = "y" },
          FLECK_BAD_CALL,
          "two^2 needs more than 2" },
        { "unknown term",
          { .factors = "x", .terms = "x*z", .measures = "y" },
          FLECK_BAD_CALL,
          "'z'" },
        { "power 9", { .factors = "x", .terms = "x^9", .measures = "y" }, FLECK_BAD_CALL, "^3" },
        { "no power", { .factors = "x", .terms = "x^", .measures = "y" }, FLECK_BAD_CALL, "^3" },
        { "term twice",
          { .factors = "x", .terms = "x^2,x*x", .measures = "y" },
          FLECK_BAD_CALL,
          "twice" },
        { "square of a text",
          { .factors = "x", .categories = "paper", .terms = "paper^2", .measures = "y" },
          FLECK_BAD_CALL,
          "paper^2" },
        { "measure is text", { .factors = "x", .measures = "paper" }, FLECK_BAD_CALL, "paper" },
        { "measure is factor", { .factors = "x", .measures = "x" }, FLECK_BAD_CALL, "both" },
        { "too many terms",
          { .factors = "x", .categories = "paper", .terms = "x^2,x^3,x*paper", .measures = "y" },
          FLECK_BAD_INPUT,
          "print more" },
        { "target unknown", { .factors = "x", .targets = "z=3" }, FLECK_BAD_CALL, "z" },
        { "two factors, one target",
          { .factors = "x,two", .targets = "y=3" },
          FLECK_BAD_CALL,
          "--solve" },
        { "held outside",
          { .factors = "x,two", .targets = "y=3", .held = "two=9" },
          FLECK_BAD_CALL,
          "outside what was tried, 0 to 1" },
        { "held is no factor",
          { .factors = "x", .targets = "y=3", .held = "two=1" },
          FLECK_BAD_CALL,
          "two" },
        { "level not held",
          { .factors = "x", .categories = "paper", .targets = "y=3" },
          FLECK_BAD_CALL,
          "--at paper=laid" },
        { "level unknown",
          { .factors = "x", .categories = "paper", .targets = "y=3", .held = "paper=silk" },
          FLECK_BAD_CALL,
          "silk" },
        { "all held",
          { .factors = "x", .targets = "y=3", .held = "x=2" },
          FLECK_BAD_CALL,
          "no factor is left" },
        { "solve and hold",
          { .factors = "x", .targets = "y=3", .held = "x=2", .solve = "x" },
          FLECK_BAD_CALL,
          "x" },
        { "expected of nothing",
          { .factors = "x", .measures = "y", .expected = "z-" },
          FLECK_BAD_CALL,
          "z" },
        { "paste there already",
          { .factors = "x", .measures = "y", .stock = "x", .water = "two", .g_per_ml = 0 },
          FLECK_BAD_CALL,
          "g per ml" },
        { "volume below 0",
          { .factors = "paste_pct",
            .measures = "y",
            .stock = "y",
            .water = "minus",
            .g_per_ml = 1 },
          FLECK_BAD_CALL,
          "minus" },
    };
    static const char table[] =
        "id,x,twice,same,two,paper,ink,minus,y\n"
        "a,1,2,7,0,laid,oil,1,3\nb,2,4,7,1,wove,oil,1,5\nc,3,6,7,0,laid,oil,-1,4\n"
        "d,4,8,7,1,wove,oil,1,8\ne,5,10,7,1,laid,oil,1,9\n";

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_relate result;
        fleck_error err = { 0 };
        const fleck_status status = relate_table(table, &cases[i].options, &result, &err);

        if (status != cases[i].status || strstr(err.message, cases[i].names) == NULL ||
            strstr(err.message, "; ") == NULL)
            fail_msg("%s: status %d, said '%s'", cases[i].what, (int)status, err.message);
        assert_null(result.measures);
    }
}

static void missing_values_are_passed_over_and_said(void **state)
{
    fleck_relate result;

    (void)state;
    relate_fine("id,x,y,z,w\na,1,2,1,\nb,2,,2,\nc,3,6,,1\nd,4,8.5,5,\ne,,9,9,9\nf,5,10,4,2\n",
                &(relate_case){ .factors = "x", .measures = "y,z,w" }, &result);
    assert_int_equal(result.patches, 5);
    assert_true(fleck_warnings_has(&result.warnings, "factor-missing"));
    assert_true(fleck_warnings_has(&result.warnings, "measure-partly-missing"));
    assert_int_equal(relate_measure(&result, "y")->n, 4);
    assert_false(relate_measure(&result, "w")->fitted);
    assert_true(fleck_warnings_has(&result.warnings, "too-few-patches"));
    check_near("not fitted", relate_measure(&result, "w")->r2, NAN, 0);
    fleck_relate_clear(&result);
}

static void a_measure_without_scatter_is_no_harm(void **state)
{
    fleck_relate result;
    const fleck_relate_measure *flat;
    char *json;

    (void)state;
    relate_fine("id,x,flat,line\na,1,0.1,1\nb,2,0.1,2\nc,3,0.1,3\nd,4,0.1,4\n",
                &(relate_case){ .factors = "x", .measures = "flat,line", .targets = "line=2.5" },
                &result);
    flat = relate_measure(&result, "flat");
    check_near("no slope", flat->terms[1].coefficient, 0, 0);
    check_near("no p", flat->terms[1].p, NAN, 0);
    check_near("nothing to explain", flat->r2, NAN, 0);
    assert_true(fleck_warnings_has(&result.warnings, "measure-constant"));
    assert_int_equal(flat->effects[0].direction, FLECK_RELATE_CANNOT_TELL);
    assert_int_equal(result.recipe.verdict, FLECK_RELATE_ONE_SETTING);
    check_near("the line itself", result.recipe.answer[0].setting[0].value, 2.5, 1e-12);
    json = fleck_relate_to_json(&result);
    assert_non_null(json);
    assert_null(strstr(json, "nan"));
    free(json);
    fleck_relate_clear(&result);
}

static void change_cutoff(fleck_record *record, const char *id)
{
    record->settings.cutoff_mm = id[0] == 'a' ? 0.1 : 0.2;
}

static void different_settings_are_refused_unless_mixed(void **state)
{
    static const char *const run = "mixed";
    static const char *const factors[] = { "x" }, *const measures[] = { "y" };
    fleck_relate_options options = fleck_relate_options_default();
    fleck_study *study = NULL;
    fleck_relate result;
    fleck_error err = { 0 };

    (void)state;
    run_put_all(run, "id,x,y\na,1,1\nb,2,2\nc,3,4\n", change_cutoff);
    assert_int_equal(fleck_study_read(&run, 1, &study, &err), FLECK_OK);
    options.factors = factors;
    options.measures = measures;
    options.factor_count = options.measure_count = 1;
    assert_int_equal(fleck_relate_study(study, &options, &result, &err), FLECK_BAD_CALL);
    assert_non_null(strstr(err.message, "cutoff_mm"));
    assert_non_null(strstr(err.message, "--mixed"));
    options.mixed = true;
    assert_int_equal(fleck_relate_study(study, &options, &result, &err), FLECK_OK);
    assert_true(fleck_warnings_has(&result.warnings, "settings-differ"));
    fleck_relate_clear(&result);
    fleck_study_free(study);
}

static void paste_is_computed_from_what_was_mixed(void **state)
{
    fleck_relate result;

    (void)state;
    relate_fine(
        "id,stock,water,y\na,10,90,5\nb,20,180,5.1\nc,14,86,4\nd,20,80,3\ne,20,80,3.2\nf,,80,3\n",
        &(relate_case){ .factors = "paste_pct",
                        .measures = "y",
                        .stock = "stock",
                        .water = "water",
                        .g_per_ml = 0.25 },
        &result);
    check_near("100 * 10 * 0.25 / 100", result.factors[0].lo, 2.5, 1e-12);
    check_near("100 * 20 * 0.25 / 100", result.factors[0].hi, 5, 1e-12);
    assert_int_equal(result.mix_count, 4);
    check_near("100 * 14 * 0.25 / 100", result.mixes[1].paste_pct, 3.5, 1e-12);
    assert_string_equal(
        result.mixes[2].sentence,
        "20 ml of stock x 0.25 g/ml = 5 g in 20 + 80 = 100 ml: 5 g per 100 ml (2 patches)");
    assert_int_equal(relate_measure(&result, "y")->n, 5);
    assert_int_equal(relate_measure(&result, "y")->repeat_df,
                     2); /* both mixes of 2.5 % are one setting */
    fleck_relate_clear(&result);
}

static void patches_that_pull_the_fit_are_named(void **state)
{
    fleck_relate result;
    const fleck_relate_measure *measure;

    (void)state;
    relate_fine("id,x,y\na,1,1\nb,2,2.1\nc,3,2.9\nd,4,4.2\ne,5,5\nfar,20,3\n",
                &(relate_case){ .factors = "x", .measures = "y" }, &result);
    measure = relate_measure(&result, "y");
    assert_int_equal(measure->influence_count, 1);
    assert_string_equal(measure->influences[0].name, "far");
    assert_true(measure->influences[0].high_leverage && measure->influences[0].high_cook);
    fleck_relate_clear(&result);
}

static void a_curve_fitted_as_a_line_is_warned_about(void **state)
{
    fleck_relate result;

    (void)state;
    relate_fine("id,x,y\na,1,1\nb,1,1.1\nc,2,4\nd,2,4.1\ne,3,9\nf,3,9.1\n",
                &(relate_case){ .factors = "x", .measures = "y" }, &result);
    assert_true(fleck_warnings_has(&result.warnings, "lack-of-fit"));
    fleck_relate_clear(&result);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(longley_comes_through_as_certified),
        cmocka_unit_test(one_factor_gives_line_ranks_and_what_could_have_been_shown),
        cmocka_unit_test(categories_squares_and_products_recover_what_was_put_in),
        cmocka_unit_test(the_order_of_rows_changes_no_byte),
        cmocka_unit_test(patches_of_a_batch_count_once),
        cmocka_unit_test(what_cannot_be_related_is_refused_by_name),
        cmocka_unit_test(missing_values_are_passed_over_and_said),
        cmocka_unit_test(a_measure_without_scatter_is_no_harm),
        cmocka_unit_test(different_settings_are_refused_unless_mixed),
        cmocka_unit_test(paste_is_computed_from_what_was_mixed),
        cmocka_unit_test(patches_that_pull_the_fit_are_named),
        cmocka_unit_test(a_curve_fitted_as_a_line_is_warned_about),
    };

    return cmocka_run_group_tests(tests, runs_begin, runs_end);
}
