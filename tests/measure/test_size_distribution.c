/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/size_distribution.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_cdf.h>

#include "fleck/texture.h"
#include "measure/preferred_numbers.h"
#include "support/check.h"

static const double pi = 3.14159265358979323846;

/* A component of so many pixels, one of a region large enough for its neighbours' order. */
static fleck_component dot(uint64_t area_px, size_t number)
{
    const uint32_t x = 1 + (uint32_t)(number % 1000), y = 1 + (uint32_t)(number / 1000);

    return (fleck_component){ .area_px = area_px,
                              .first_x_px = x,
                              .first_y_px = y,
                              .min_x_px = x,
                              .max_x_px = x,
                              .min_y_px = y,
                              .max_y_px = y };
}

/* n quantiles of a lognormal law cut at the cutoff, in pixels of an area. */
static size_t cut_lognormal(double median_mm, double gsd, double cutoff_mm, double pixel_mm,
                            size_t n, fleck_component *list)
{
    const double s = log(gsd), cut = log(cutoff_mm / median_mm) / s;
    const double below = cutoff_mm > 0 ? gsl_cdf_ugaussian_P(cut) : 0;

    for (size_t i = 0; i < n; i++) {
        const double p = below + (1 - below) * ((double)i + 0.5) / (double)n;
        const double d_px = median_mm * exp(s * gsl_cdf_ugaussian_Pinv(p)) / pixel_mm;

        list[i] = dot((uint64_t)(pi / 4 * d_px * d_px + 0.5), i);
    }
    return n;
}

static void fill(const fleck_component *list, size_t n, const fleck_geometry *geometry,
                 double cutoff_mm, size_t resamples, fleck_size_distribution *out)
{
    static uint64_t seed;
    const fleck_size_options options = { sizeof options, seed++, resamples };
    fleck_error err;

    if (fleck_size_distribution_fill(list, NULL, n, geometry, NULL, cutoff_mm, &options, out,
                                     &err) != FLECK_OK)
        fail_msg("%s", err.message);
}

static void test_classes_are_those_of_iso_3(void **state)
{
    /* preferred values of ISO 3; the theoretical ones lie within 1.27 % of them */
    static const double r10[] = {
        1.00, 1.25, 1.60, 2.00, 2.50, 3.15, 4.00, 5.00, 6.30, 8.00, 10.0
    };
    static const double r20[] = { 1.00, 1.12, 1.25, 1.40, 1.60, 1.80, 2.00, 2.24, 2.50, 2.80, 3.15,
                                  3.55, 4.00, 4.50, 5.00, 5.60, 6.30, 7.10, 8.00, 9.00, 10.0 };

    (void)state;
    for (int k = 0; k <= 10; k++)
        check_ratio("R10", fleck_preferred_number(k - 10, 10), r10[k] / 10, 0.0127);
    for (int k = 0; k <= 20; k++)
        check_ratio("R20", fleck_preferred_number(k + 20, 20), r20[k] * 10, 0.0127);
    for (int k = -60; k < 60; k++) {
        const double bound = fleck_preferred_number(k, 10);

        assert_int_equal(fleck_preferred_class(bound, 10), k);
        assert_int_equal(fleck_preferred_class(nextafter(bound, 0), 10), k - 1);
        assert_int_equal(fleck_preferred_class(1.1 * bound, 10), k);
    }
}

static void test_shares_and_means_are_those_worked_by_hand(void **state)
{
    /*
     * Region 20 x 10, pixels of 0.1 mm. Boxes 1 x 1, 2 x 2 and 8 x 6, areas 1, 4 and 30 px; weights
     * 1 / (18 8), 1 / (17 7), 1 / (11 3). Diameters 0.11284, 0.22568 and 0.61804 mm lie in classes
     * -10, -7 and -3 of R10.
     */
    static const struct {
        uint32_t x, y, width, height;
        uint64_t area_px;
    } boxes[] = { { 3, 3, 1, 1, 1 }, { 5, 5, 2, 2, 4 }, { 2, 2, 8, 6, 30 } };
    const double weights[3] = { 1 / 144.0, 1 / 119.0, 1 / 33.0 };
    const double sum = weights[0] + weights[1] + weights[2];
    const double area = weights[0] + 4 * weights[1] + 30 * weights[2];
    const double number_share[8] = { weights[0] / sum, 0, 0, weights[1] / sum, 0, 0, 0,
                                     weights[2] / sum };
    const double area_share[8] = { weights[0] / area,     0, 0, 4 * weights[1] / area, 0, 0, 0,
                                   30 * weights[2] / area };
    const double pixel_mm = 2 * sqrt(0.01 / pi);
    const double m1 = weights[0] + 2 * weights[1] + sqrt(30) * weights[2];
    const double m3 = weights[0] + 8 * weights[1] + 30 * sqrt(30) * weights[2];
    const fleck_geometry geometry = { 20, 10, 0.1, 0.1 };
    fleck_component list[4] = { { 0 } };
    fleck_size_distribution sizes;

    (void)state;
    for (size_t i = 0; i < 3; i++)
        list[2 - i] = (fleck_component){ .area_px = boxes[i].area_px,
                                         .first_x_px = boxes[i].x,
                                         .first_y_px = boxes[i].y,
                                         .min_x_px = boxes[i].x,
                                         .max_x_px = boxes[i].x + boxes[i].width - 1,
                                         .min_y_px = boxes[i].y,
                                         .max_y_px = boxes[i].y + boxes[i].height - 1 };
    list[3] = (fleck_component){ .area_px = 900, .at_edge = true }; /* cut: no weight */
    fill(list, 4, &geometry, 0.1, 99, &sizes);
    assert_int_equal(sizes.classes, 8);
    for (int k = 0; k < 8; k++) {
        check_ratio("10^(k/10)", sizes.from_mm[k], pow(10, -1 + k / 10.0), 1e-15);
        check_near("share by number", sizes.number_share[k], number_share[k], 1e-15);
        check_near("share by area", sizes.area_share[k], area_share[k], 1e-15);
    }
    check_ratio("end of the last class", sizes.from_mm[8], pow(10, -0.2), 1e-15);
    check_ratio("D[1,0]", sizes.mean_10_mm, pixel_mm * m1 / sum, 1e-14);
    check_ratio("D[2,0]", sizes.mean_20_mm, pixel_mm * sqrt(area / sum), 1e-14);
    check_ratio("D[2,1]", sizes.mean_21_mm, pixel_mm * area / m1, 1e-14);
    check_ratio("D[3,2]", sizes.mean_32_mm, pixel_mm * m3 / area, 1e-14);
    check_near("three dots tell no law", sizes.lognormal.median_mm, NAN, 0);
    check_near("nor an interval", sizes.intervals.d50_mm.lo, NAN, 0);
    assert_int_equal(sizes.intervals.tiles, 0);
    fleck_size_distribution_clear(&sizes);
}

static void test_a_lognormal_law_gives_its_means_back(void **state)
{
    /*
     * Hatch & Choate (1929): D[p,q] = median exp((p + q) s^2 / 2); values of a table made with
     * mpmath, 25 digits
     */
    static const struct {
        double median_mm, gsd, mean_10_mm, mean_20_mm, mean_21_mm, mean_32_mm;
    } cases[] = {
        { 0.10, 1.5, 0.10856739833470484, 0.1178687998116647, 0.12796708940386586,
          0.15083327243425665 },
        { 0.25, 1.3, 0.25875415993582995, 0.26781486113638825, 0.2771928376467083,
          0.2969454452894184 },
        { 0.05, 2.0, 0.06357685648570702, 0.08084033361208373, 0.1027914857662425,
          0.166193960036496 },
        { 0.12, 1.8, 0.1426277835420432, 0.16952237198429937, 0.2014883348075865,
          0.2846398370312394 },
    };
    const fleck_geometry geometry = { 100000, 100000, 1e-5, 1e-5 };
    enum { N = 200000 };
    fleck_component *const list = malloc(N * sizeof *list);

    (void)state;
    assert_non_null(list);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_size_distribution sizes;

        cut_lognormal(cases[i].median_mm, cases[i].gsd, 0, 1e-5, N, list);
        fill(list, N, &geometry, 0, 0, &sizes);
        /* the quantiles miss the outermost 1 / 400000 of the law, which the third moment feels */
        check_ratio("D[1,0]", sizes.mean_10_mm, cases[i].mean_10_mm, 2e-5);
        check_ratio("D[2,0]", sizes.mean_20_mm, cases[i].mean_20_mm, 1e-4);
        check_ratio("D[2,1]", sizes.mean_21_mm, cases[i].mean_21_mm, 2e-4);
        check_ratio("D[3,2]", sizes.mean_32_mm, cases[i].mean_32_mm, 3e-3);
        check_ratio("median", sizes.lognormal.median_mm, cases[i].median_mm, 2e-4);
        check_ratio("gsd", sizes.lognormal.gsd, cases[i].gsd, 2e-4);
        check_near("it is lognormal", sizes.lognormal.distance, 0, 2e-4);
        fleck_size_distribution_clear(&sizes);
    }
    free(list);
}

static void test_the_fit_reaches_below_the_cutoff(void **state)
{
    static const struct {
        const char *source;
        double median_mm, gsd, cutoff_mm, pixel_mm, tolerance;
    } cases[] = {
        { "1 % below the cutoff", 0.25, 1.5, 0.1, 0.01, 0.001 },
        { "half below", 0.1, 1.6, 0.1, 0.005, 0.002 },
        { "93 % below", 0.05, 1.6, 0.1, 0.002, 0.01 },
        { "600 ppi: the cutoff is 5 pixels", 0.2, 1.5, 0.1, 25.4 / 600, 0.01 },
        { "narrow, far above the cutoff", 0.4, 1.02, 0.1, 0.001, 0.001 },
    };
    enum { N = 50000 };
    fleck_component *const list = malloc(N * sizeof *list);

    (void)state;
    assert_non_null(list);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_geometry geometry = { 100000, 100000, cases[i].pixel_mm, cases[i].pixel_mm };
        const double cut_px = (double)fleck_cutoff_area_px(&geometry, cases[i].cutoff_mm) - 0.5;
        fleck_size_distribution sizes;

        cut_lognormal(cases[i].median_mm, cases[i].gsd, 2 * cases[i].pixel_mm * sqrt(cut_px / pi),
                      cases[i].pixel_mm, N, list);
        fill(list, N, &geometry, cases[i].cutoff_mm, 0, &sizes);
        check_ratio(cases[i].source, sizes.lognormal.median_mm, cases[i].median_mm,
                    cases[i].tolerance);
        check_ratio(cases[i].source, sizes.lognormal.gsd, cases[i].gsd, cases[i].tolerance);
        check_near(cases[i].source, sizes.lognormal.distance, 0, 0.003);
        check_near("p without resamples", sizes.lognormal.p, NAN, 0);
        fleck_size_distribution_clear(&sizes);
    }
    free(list);
}

static double normal(uint64_t *random)
{
    return gsl_cdf_ugaussian_Pinv((test_uniform(random) + 0x1p-54));
}

/* Share of 300 samples that the test rejects at 5 %; what falls below the cutoff is drawn anew. */
static double rejected(double (*diameter_mm)(uint64_t *random), size_t n)
{
    const fleck_geometry geometry = { 4000, 4000, 25.4 / 600, 25.4 / 600 };
    const uint64_t cutoff_px = fleck_cutoff_area_px(&geometry, 0.1);
    enum { SAMPLES = 300, MOST = 500 };
    uint64_t random = 5;
    int count = 0;

    for (int sample = 0; sample < SAMPLES; sample++) {
        fleck_component list[MOST];
        fleck_size_distribution sizes;

        for (size_t i = 0; i < n;) {
            const double d_px = diameter_mm(&random) / geometry.pixel_x_mm;
            const uint64_t area_px = (uint64_t)(pi / 4 * d_px * d_px + 0.5);

            if (area_px >= cutoff_px) {
                list[i] = dot(area_px, i);
                i++;
            }
        }
        fill(list, n, &geometry, 0.1, 199, &sizes);
        count += sizes.lognormal.p <= 0.05;
        fleck_size_distribution_clear(&sizes);
    }
    return count / (double)SAMPLES;
}

static double half_below_the_cutoff(uint64_t *random)
{
    return 0.1 * pow(1.8, normal(random));
}

static double all_above_the_cutoff(uint64_t *random)
{
    return 0.3 * pow(1.4, normal(random));
}

static double two_kinds(uint64_t *random)
{
    return (test_uniform(random) < 0.5 ? 0.18 : 0.45) * pow(1.2, normal(random));
}

static double all_alike(uint64_t *random)
{
    return 0.2 + 0.4 * test_uniform(random);
}

static void test_a_lognormal_sample_is_rejected_as_often_as_said(void **state)
{
    (void)state;
    /* 5 % of 300, give or take 3 standard errors */
    check_near("half of the law is cut off", rejected(half_below_the_cutoff, 300), 0.05, 0.038);
    check_near("none of it is", rejected(all_above_the_cutoff, 300), 0.05, 0.038);
    check_near("few dots", rejected(all_above_the_cutoff, 30), 0.05, 0.038);
}

static void test_the_seed_decides_on_p(void **state)
{
    const fleck_geometry geometry = { 4000, 4000, 0.01, 0.01 };
    enum { N = 200 };
    fleck_component list[N];
    uint64_t random = 4;
    double p[3];

    (void)state;
    for (size_t i = 0; i < N; i++)
        list[i] = dot((uint64_t)(2800 * pow(1.3, normal(&random))), i);
    for (size_t i = 0; i < 3; i++) {
        const fleck_size_options options = { sizeof options, 5 + i / 2, 999 };
        fleck_size_distribution sizes;

        assert_int_equal(fleck_size_distribution_fill(list, NULL, N, &geometry, NULL, 0.1, &options,
                                                      &sizes, NULL),
                         FLECK_OK);
        p[i] = sizes.lognormal.p;
        fleck_size_distribution_clear(&sizes);
    }
    check_near("neither end", p[0], 0.5, 0.45);
    check_near("the same seed", p[1], p[0], 0);
    check_near("another one", p[2], p[0], 0.08);
    assert_true(p[2] != p[0]);
}

static void test_other_laws_are_rejected(void **state)
{
    (void)state;
    assert_true(rejected(two_kinds, 300) > 0.95);
    assert_true(rejected(all_alike, 500) > 0.9);
}

static void test_what_no_lognormal_law_can_be_is_left_open(void **state)
{
    const fleck_geometry geometry = { 20000, 20000, 0.01, 0.01 };
    enum { N = 2000 };
    static fleck_component list[N];
    fleck_size_distribution sizes;

    (void)state;
    /* quantiles of a power law: ln d falls off as an exponential does */
    for (size_t i = 0; i < N; i++)
        list[i] = dot((uint64_t)(79 * pow(((double)i + 0.5) / N, -0.8) + 0.5), i);
    fill(list, N, &geometry, 0.1, 99, &sizes);
    check_near("median", sizes.lognormal.median_mm, NAN, 0);
    check_near("p", sizes.lognormal.p, NAN, 0);
    assert_true(sizes.mean_10_mm > 0);
    fleck_size_distribution_clear(&sizes);
    for (size_t i = 0; i < N; i++)
        list[i] = dot(100, i);
    fill(list, N, &geometry, 0.1, 99, &sizes);
    check_near("all dots alike", sizes.lognormal.p, NAN, 0);
    check_near("their mean is given", sizes.mean_32_mm, 0.02 * sqrt(100 / pi), 1e-15);
    fleck_size_distribution_clear(&sizes);
}

static void test_without_dots_there_is_no_distribution(void **state)
{
    const fleck_geometry geometry = { 20, 10, 0.1, 0.1 };
    const fleck_component cut = { .area_px = 900, .at_edge = true };
    fleck_size_distribution sizes;

    (void)state;
    for (size_t n = 0; n < 2; n++) {
        fill(&cut, n, &geometry, 0.1, 99, &sizes);
        assert_int_equal(sizes.classes, 0);
        check_near("mean", sizes.mean_10_mm, NAN, 0);
        check_near("median", sizes.lognormal.median_mm, NAN, 0);
        check_near("interval", sizes.intervals.per_cm2.hi, NAN, 0);
        fleck_size_distribution_clear(&sizes);
    }
}

static void test_wrong_calls_are_told(void **state)
{
    const fleck_geometry geometry = { 20, 10, 0.1, 0.1 }, none = { 20, 0, 0.1, 0.1 };
    fleck_component small = dot(1, 2), left = small, above = small, right = small, below = small;
    const double weight = 0.01;
    const struct {
        const char *message;
        const fleck_geometry *geometry;
        const fleck_component *dot;
        double cutoff_mm;
        size_t resamples;
    } calls[] = {
        { "has no size", &none, &small, 0.1, 99 },
        { "is no size; give 0 or more", &geometry, &small, -1, 99 },
        { "is no size; give 0 or more", &geometry, &small, NAN, 99 },
        { "98 resamples tell no", &geometry, &small, 0.1, 98 },
        { "1000001 resamples tell no", &geometry, &small, 0.1, 1000001 },
        { "lies below the cutoff of 0.2 mm", &geometry, &small, 0.2, 99 },
        { "is not clear of the border", &geometry, &left, 0.1, 99 },
        { "is not clear of the border", &geometry, &above, 0.1, 99 },
        { "is not clear of the border", &geometry, &right, 0.1, 99 },
        { "is not clear of the border", &geometry, &below, 0.1, 99 },
    };

    (void)state;
    left.min_x_px = 0;
    above.min_y_px = 0;
    right.max_x_px = 19;
    below.max_y_px = 9;
    for (size_t i = 0; i < sizeof calls / sizeof *calls; i++) {
        const fleck_size_options options = { sizeof options, 1, calls[i].resamples };
        fleck_size_distribution sizes;
        fleck_error err;

        assert_int_equal(fleck_size_distribution_fill(calls[i].dot, &weight, 1, calls[i].geometry,
                                                      NULL, calls[i].cutoff_mm, &options, &sizes,
                                                      &err),
                         FLECK_BAD_CALL);
        if (strstr(err.message, calls[i].message) == NULL)
            fail_msg("\"%s\" should say \"%s\"", err.message, calls[i].message);
        assert_null(sizes.from_mm);
    }
}

static void test_the_number_of_dots_is_that_of_masuda_and_iinoya(void **state)
{
    static const struct {
        const char *source;
        double gsd, alpha, beta, error, confidence, dots, tolerance;
    } cases[] = {
        { "ISO 13322-1: gsd 1.6, 5 %, 95 %, alpha 3", 1.6, 3, 0, 0.05, 0.95, 6092, 1.0 },
        { "the same, alpha 6", 1.6, 6, 0, 0.05, 0.95, 60808, 5.0 },
        /* (1.959964 / 0.05)^2 ln(1.6)^2: that of a mean of ln d */
        { "the median", 1.6, 1, -0.5, 0.05, 0.95, 339.4365, 0.001 },
        { "equal dots", 1, 3, 0, 0.05, 0.95, 0, 0 },
        { "gsd below 1", 0.9, 3, 0, 0.05, 0.95, NAN, 0 },
        { "error 0", 1.6, 3, 0, 0, 0.95, NAN, 0 },
        { "certainty", 1.6, 3, 0, 0.05, 1, NAN, 0 },
        { "no number", NAN, 3, 0, 0.05, 0.95, NAN, 0 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        check_near(cases[i].source,
                   fleck_dots_needed(cases[i].gsd, cases[i].alpha, cases[i].beta, cases[i].error,
                                     cases[i].confidence),
                   cases[i].dots, cases[i].tolerance);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_classes_are_those_of_iso_3),
        cmocka_unit_test(test_shares_and_means_are_those_worked_by_hand),
        cmocka_unit_test(test_a_lognormal_law_gives_its_means_back),
        cmocka_unit_test(test_the_fit_reaches_below_the_cutoff),
        cmocka_unit_test(test_a_lognormal_sample_is_rejected_as_often_as_said),
        cmocka_unit_test(test_the_seed_decides_on_p),
        cmocka_unit_test(test_other_laws_are_rejected),
        cmocka_unit_test(test_what_no_lognormal_law_can_be_is_left_open),
        cmocka_unit_test(test_without_dots_there_is_no_distribution),
        cmocka_unit_test(test_wrong_calls_are_told),
        cmocka_unit_test(test_the_number_of_dots_is_that_of_masuda_and_iinoya),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
