/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>

#include "stats/gauge.h"
#include "stats/icc.h"
#include "stats/precision.h"
#include "stats/variance.h"
#include "variance_sets.h"

enum { SMLS_GROUPS = 9, SMLS_SIZE = 21, LARGEST = SMLS_GROUPS * SMLS_SIZE };

static double digits(double actual, double wanted)
{
    return actual == wanted ? 15 : fmin(15, -log10(fabs(actual - wanted) / fabs(wanted)));
}

/* The sets SmLs01, 04 and 07 of NIST StRD: alternating values around a mean that two kinds of groups have. */
static void fill_smls(double level, double *values)
{
    static const double tenths[SMLS_GROUPS] = { 4, 3, 5, 3, 5, 3, 5, 3, 5 };

    for (size_t g = 0; g < SMLS_GROUPS; g++) {
        for (size_t i = 0; i < SMLS_SIZE; i++) {
            const double tenth = tenths[g] + (i == 0 ? 0 : i % 2 == 1 ? -1 : 1);

            values[g * SMLS_SIZE + i] = (level * 10 + tenth) / 10;
        }
    }
}

/*
 * Certified values of NIST StRD, analysis of variance. Of SmLs07 the decimals lose all but 4 digits when
 * they become doubles: its row compares with exact arithmetic on these doubles.
 */
static const struct {
    const char *source;
    const double *values; /* NULL: SmLs at this level */
    double level;
    size_t groups, size;
    double f, ss_between, ss_within, r_squared, residual_sd, least_digits;
} certified[] = {
    { "NIST StRD SiRstv", sirstv, 0, 5, 5, 1.18046237440255, 5.11462616e-2, 2.1663656e-1,
      1.90999039051129e-1, 1.04076068334656e-1, 12 },
    { "NIST StRD AtmWtAg", atmwtag, 0, 2, 24, 1.59467335677930e1, 3.638341875e-9, 1.04951729166667e-8,
      2.57426544538321e-1, 1.51048314446410e-5, 9 },
    { "NIST StRD SmLs01", NULL, 1, SMLS_GROUPS, SMLS_SIZE, 21, 1.68, 1.8, 4.82758620689655e-1, 0.1, 13.5 },
    { "NIST StRD SmLs04", NULL, 1e6, SMLS_GROUPS, SMLS_SIZE, 21, 1.68, 1.8, 4.82758620689655e-1, 0.1, 9 },
    { "NIST StRD SmLs07, certified", NULL, 1e12, SMLS_GROUPS, SMLS_SIZE, 21, 1.68, 1.8,
      4.82758620689655e-1, 0.1, 3.5 },
    { "NIST StRD SmLs07, its doubles in exact arithmetic", NULL, 1e12, SMLS_GROUPS, SMLS_SIZE,
      21.00081188781877, 1.6801562694014696, 1.8000978373345875, 0.4827682743479894, 0.10000271766680997, 13 },
};

static double fewest_digits(const fleck_one_way *way, size_t i)
{
    double fewest = fmin(digits(way->f, certified[i].f),
                         digits(way->ss_between, certified[i].ss_between));

    fewest = fmin(fewest, digits(way->ss_within, certified[i].ss_within));
    fewest = fmin(fewest, digits(way->r_squared, certified[i].r_squared));
    return fmin(fewest, digits(way->residual_sd, certified[i].residual_sd));
}

static void certified_values_are_met_to_the_digits_that_doubles_hold(void **state)
{
    double smls[LARGEST];
    size_t group[LARGEST];

    (void)state;
    for (size_t i = 0; i < sizeof certified / sizeof *certified; i++) {
        const size_t n = certified[i].groups * certified[i].size;
        fleck_one_way way;
        double fewest;

        fill_smls(certified[i].level, smls);
        for (size_t k = 0; k < n; k++)
            group[k] = k / certified[i].size;
        assert_true(fleck_one_way_of(certified[i].values != NULL ? certified[i].values : smls, group, n,
                                     certified[i].groups, &way, NULL) == FLECK_OK);
        fewest = fewest_digits(&way, i);
        print_message("%s: %.1f digits\n", certified[i].source, fewest);
        assert_true(fewest >= certified[i].least_digits);
    }
}

static void chance_and_components_are_those_of_the_formulas(void **state)
{
    size_t group[48];
    fleck_one_way way;

    (void)state;
    for (size_t i = 0; i < 25; i++)
        group[i] = i / 5;
    assert_true(fleck_one_way_of(sirstv, group, 25, 5, &way, NULL) == FLECK_OK);
    check_near("R 4.2.2 aov, SiRstv", way.p, 0.34944749340219367, 1e-10);
    check_near("(MSB - MSW) / n, SiRstv", way.var_between, 0.00039094748, 1e-12);
    check_near("ICC, SiRstv", way.icc, 0.03483518677680969, 1e-11);
    for (size_t i = 0; i < 48; i++)
        group[i] = i / 24;
    assert_true(fleck_one_way_of(atmwtag, group, 48, 2, &way, NULL) == FLECK_OK);
    check_ratio("R 4.2.2 aov, AtmWtAg", way.p, 0.00023268444833892809, 1e-8);
    check_ratio("(MSB - MSW) / n, AtmWtAg", way.var_between, 1.420910809178744e-10, 1e-8);
    check_near("ICC, AtmWtAg", way.icc, 0.3837737391192463, 1e-8);
}

static void what_too_few_values_cannot_give_is_missing(void **state)
{
    static const double values[] = { 1, 2, 4 }, same[] = { 3, 3, 3, 3 };
    static const size_t apart[] = { 0, 1, 2 }, one[] = { 1, 1, 1 }, two[] = { 0, 0, 1, 1 };
    fleck_one_way way;

    (void)state;
    assert_true(fleck_one_way_of(values, apart, 0, 3, &way, NULL) == FLECK_OK);
    check_near("no values", way.mean, NAN, 0);
    assert_true(fleck_one_way_of(values, apart, 3, 3, &way, NULL) == FLECK_OK);
    check_near("one value a group", way.ms_within, NAN, 0);
    check_near("one value a group", way.icc, NAN, 0);
    check_near("one value a group: by hand", way.ms_between, 7.0 / 3, 1e-15);
    assert_true(fleck_one_way_of(values, one, 3, 3, &way, NULL) == FLECK_OK);
    check_near("one group", way.ms_between, NAN, 0);
    check_near("one group: by hand", way.ms_within, 7.0 / 3, 1e-15);
    assert_true(fleck_one_way_of(same, two, 4, 2, &way, NULL) == FLECK_OK);
    check_near("no scatter at all", way.f, NAN, 0);
    check_near("no scatter at all", way.icc, NAN, 0);
}

static void the_six_coefficients_are_those_of_shrout_and_fleiss(void **state)
{
    static const double wanted[6][3] = {
        { 448.0 / 2703, -0.13293232487475098, 0.7225600623281211 },
        { 184.0 / 635, 0.01878651337471199, 0.7610843696489529 },
        { 920.0 / 1287, 0.3424647650339251, 0.9458582599553595 },
        { 1792.0 / 4047, -0.8844421552381202, 0.9124154203407755 },
        { 736.0 / 1187, 0.07113681530250326, 0.927232040167722 },
        { 3680.0 / 4047, 0.6756747138163045, 0.9858916781690623 },
    };
    fleck_icc_table table;

    (void)state;
    assert_true(fleck_icc_of_table(shrout_fleiss, 6, 4, 0.95, &table, NULL) == FLECK_OK);
    for (size_t i = 0; i < 6; i++) {
        const fleck_icc *const icc = i < 3 ? &table.single[i] : &table.average[i - 3];

        check_near("Shrout & Fleiss (1979), exact fractions", icc->value, wanted[i][0], 1e-14);
        check_near("their limits, computed by their formulas", icc->lo, wanted[i][1], 1e-8);
        check_near("their limits, computed by their formulas", icc->hi, wanted[i][2], 1e-8);
    }
    check_near("Shrout & Fleiss: BMS 11.24", table.ms_targets, 11.241666666666667, 1e-13);
    check_near("Shrout & Fleiss: JMS 32.49", table.ms_judges, 32.486111111111114, 1e-13);
    check_near("Shrout & Fleiss: WMS 6.26", table.ms_within, 6.263888888888889, 1e-13);
    check_near("Shrout & Fleiss: EMS 1.02", table.ms_error, 1.0194444444444444, 1e-13);
    check_near("R 4.2.2", table.p_1, 0.16476880834463972, 1e-10);
    check_near("R 4.2.2", table.p_3, 0.0001345665164843369, 1e-10);
    assert_true(fleck_icc_of_table(shrout_fleiss, 1, 4, 0.95, &table, NULL) == FLECK_BAD_CALL);
}

static void a_crossed_gauge_study_gives_the_handbooks_components(void **state)
{
    fleck_gauge gauge;

    (void)state;
    assert_true(fleck_gauge_crossed(aiag, 10, 3, 3, &gauge, NULL) == FLECK_OK);
    assert_true(gauge.crossed && gauge.pooled);
    check_near("AIAG: EV 0.199933", sqrt(gauge.var_repeat), 0.19993317972081662, 1e-12);
    check_near("AIAG: AV 0.226838", sqrt(gauge.var_round), 0.22683752149632233, 1e-12);
    check_near("AIAG: GRR 0.302373", sqrt(gauge.var_gauge), 0.3023715223229047, 1e-12);
    check_near("AIAG: PV 1.042327", sqrt(gauge.var_part), 1.042327493838035, 1e-12);
    check_near("AIAG: TV 1.085", sqrt(gauge.var_total), 1.0852995632186302, 1e-12);
    check_near("by formula", sqrt(gauge.share_gauge), 0.27860650881142288, 1e-12);
    check_near("exact arithmetic: below 0", gauge.raw_interaction, -0.008679588477366254, 1e-14);
    check_near("exact arithmetic", gauge.raw_round, 0.052122921810699586, 1e-14);
    check_near("exact arithmetic", gauge.raw_part, 1.0886721399176955, 1e-13);
}

/* 2 parts x 2 rounds: 1 2 | 5 8. Mean 4; rows 1.5, 6.5; columns 3, 5; rest -+ 0.5. */
static void one_scan_a_round_is_split_as_by_hand(void **state)
{
    static const double values[] = { 1, 2, 5, 8 };
    fleck_gauge gauge;

    (void)state;
    assert_true(fleck_gauge_crossed(values, 2, 2, 1, &gauge, NULL) == FLECK_OK);
    check_near("by hand: MS rest 1", gauge.var_repeat, 1, 1e-14);
    check_near("by hand: (4 - 1) / 2", gauge.var_round, 1.5, 1e-14);
    check_near("by hand: (25 - 1) / 2", gauge.var_part, 12, 1e-14);
    check_near("by hand: 2.5 of 14.5", gauge.share_gauge, 2.5 / 14.5, 1e-14);
    assert_true(fleck_gauge_crossed(values, 1, 4, 1, &gauge, NULL) == FLECK_BAD_CALL);
}

static void parts_scanned_as_often_as_happened_are_split_as_by_hand(void **state)
{
    static const double values[] = { 1, 3, 6, 8, 10 };
    static const size_t part[] = { 0, 0, 1, 1, 1 }, apart[] = { 0, 1, 2, 3, 4 };
    fleck_gauge gauge;

    (void)state;
    /* means 2 and 8, within 2 + 8 over 3; between 2 (3.6)^2 + 3 (2.4)^2 = 43.2; n0 = 5 - 13/5 */
    assert_true(fleck_gauge_nested(values, part, 5, 2, &gauge, NULL) == FLECK_OK);
    check_near("by hand", gauge.var_repeat, 10.0 / 3, 1e-14);
    check_near("by hand", gauge.var_part, (43.2 - 10.0 / 3) / 2.4, 1e-13);
    check_near("by hand", gauge.f_part, 43.2 / (10.0 / 3), 1e-13);
    assert_true(fleck_gauge_nested(values, apart, 5, 5, &gauge, NULL) == FLECK_BAD_CALL);
}

/* Balanced and unbalanced tables with the results of ISO 5725-2's formulas in exact arithmetic. */
static const struct {
    const char *source;
    size_t groups, sizes[8];
    double values[25];
    fleck_precision wanted;
    double h[8], k[8];
} tables[] = {
    { "ISO 5725-2 by formula, balanced", 6, { 3, 3, 3, 3, 3, 3 },
      { 5.21, 5.17, 5.24, 5.30, 5.35, 5.28, 5.11, 5.08, 5.15, 5.26, 5.19, 5.22, 5.33, 5.41, 5.37, 5.18,
        5.23, 5.16 },
      { 5.235555555555556, 3, 0.0362859017617954, 0.08879230864255121, 0.09592049176657061,
        0.10160052493302713, 0.2685773769463977, 0.20253164556962025 },
      { -0.31665901572765043, 0.81600592514433, -1.3397112203862134, -0.13397112203862133,
        1.4736823424248346, -0.49934690941667953 },
      { 0.9678372077779887, 0.9936507294577399, 0.9678372077779887, 0.9678372077779887,
        1.1023565092191008, 0.9936507294577399 } },
    { "ISO 5725-2 by formula, unbalanced", 8, { 4, 3, 3, 3, 3, 3, 3, 3 },
      { 0.71, 0.71, 0.70, 0.71, 0.69, 0.67, 0.68, 0.66, 0.65, 0.69, 0.67, 0.65, 0.66,
        0.70, 0.69, 0.66, 0.73, 0.74, 0.73, 0.71, 0.71, 0.69, 0.70, 0.65, 0.68 },
      { 0.6896, 3.12, 0.014967284584824906, 0.022564041350723023, 0.02707684564199227,
        0.041908396837509736, 0.07581516779757835, 0.33480176211453744 },
      { 0.737608633367942, -0.3955889877280583, -0.9450181373503614, -1.2197327121615131,
        -0.2582317003224825, 1.8021276107611544, 0.5659120241109723, -0.5329462751336341 },
      { 0.3340619316525471, 0.6681238633050942, 1.390810729674173, 0.6681238633050942,
        1.390810729674173, 0.3857414923312089, 0.7714829846624178, 1.6814081834023094 } },
};

static void precision_is_that_of_iso_5725_2(void **state)
{
    (void)state;
    for (size_t t = 0; t < sizeof tables / sizeof *tables; t++) {
        const char *const source = tables[t].source;
        const fleck_precision *const wanted = &tables[t].wanted;
        double h[8], k[8];
        size_t group[25], n = 0;
        fleck_precision precision;

        for (size_t g = 0; g < tables[t].groups; g++) {
            for (size_t i = 0; i < tables[t].sizes[g]; i++)
                group[n++] = g;
        }
        assert_true(fleck_precision_of(tables[t].values, group, n, tables[t].groups, &precision, h, k,
                                       NULL) == FLECK_OK);
        check_near(source, precision.mean, wanted->mean, 1e-13);
        check_near(source, precision.group_size, wanted->group_size, 1e-13);
        check_near(source, precision.s_r, wanted->s_r, 1e-13);
        check_near(source, precision.s_l, wanted->s_l, 1e-13);
        check_near(source, precision.s_r_total, wanted->s_r_total, 1e-13);
        check_near(source, precision.repeatability_limit, wanted->repeatability_limit, 1e-13);
        check_near(source, precision.reproducibility_limit, wanted->reproducibility_limit, 1e-13);
        check_near(source, precision.cochran, wanted->cochran, 1e-12);
        for (size_t g = 0; g < tables[t].groups; g++) {
            check_near(source, h[g], tables[t].h[g], 1e-11);
            check_near(source, k[g], tables[t].k[g], 1e-11);
        }
    }
}

static void precision_needs_groups_with_repeats(void **state)
{
    static const double values[] = { 1, 2, 4 };
    static const size_t apart[] = { 0, 1, 2 }, gap[] = { 0, 0, 2 };
    fleck_precision precision;

    (void)state;
    assert_true(fleck_precision_of(values, apart, 3, 3, &precision, NULL, NULL, NULL) == FLECK_BAD_CALL);
    assert_true(fleck_precision_of(values, gap, 3, 3, &precision, NULL, NULL, NULL) == FLECK_BAD_CALL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(certified_values_are_met_to_the_digits_that_doubles_hold),
        cmocka_unit_test(chance_and_components_are_those_of_the_formulas),
        cmocka_unit_test(what_too_few_values_cannot_give_is_missing),
        cmocka_unit_test(the_six_coefficients_are_those_of_shrout_and_fleiss),
        cmocka_unit_test(a_crossed_gauge_study_gives_the_handbooks_components),
        cmocka_unit_test(one_scan_a_round_is_split_as_by_hand),
        cmocka_unit_test(parts_scanned_as_often_as_happened_are_split_as_by_hand),
        cmocka_unit_test(precision_is_that_of_iso_5725_2),
        cmocka_unit_test(precision_needs_groups_with_repeats),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
