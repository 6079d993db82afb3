/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/texture.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "support/check.h"

static const double pi = 3.14159265358979323846;

/* A whole component with its box, its first pixel at (x, y). */
static fleck_component whole(uint64_t area_px, uint32_t box_width_px, uint32_t box_height_px,
                             uint32_t x, uint32_t y)
{
    return (fleck_component){ .area_px = area_px,
                              .first_x_px = x,
                              .first_y_px = y,
                              .min_x_px = x,
                              .max_x_px = x + box_width_px - 1,
                              .min_y_px = y,
                              .max_y_px = y + box_height_px - 1 };
}

static fleck_component cut(uint64_t area_px)
{
    fleck_component component = whole(area_px, 2, 2, 0, 3);

    component.at_edge = true;
    return component;
}

/* All fields as one array, to compare or check them in a loop. */
enum { FIELDS = sizeof(fleck_sizes) / sizeof(double) };

static const char *const field_names[FIELDS] = {
    "counted",
    "below_cutoff",
    "at_edge",
    "per_cm2",
    "mean_area_mm2",
    "d10_mm",
    "d50_mm",
    "d90_mm",
    "span",
    "area_d50_mm",
    "mean_diameter_mm",
    "sd_diameter_mm",
    "lognormal_median_mm",
    "lognormal_gsd",
};

static void check_sizes(const char *source, const fleck_sizes *actual,
                        const double expected[FIELDS], double tolerance)
{
    const double *const fields = &actual->counted;

    for (size_t i = 0; i < FIELDS; i++) {
        char text[256];

        snprintf(text, sizeof text, "%s: %s", source, field_names[i]);
        check_ratio(text, fields[i], expected[i], tolerance);
    }
}

static void test_areas_and_diameters_follow_iso_9276_6(void **state)
{
    static const struct {
        const char *source;
        uint64_t area_px;
        double pixel_x_mm, pixel_y_mm, diameter_mm, tolerance;
    } cases[] = {
        { "d = 2 sqrt(A/pi): one pixel of 0.1 mm", 1, 0.1, 0.1, 0.112837917, 1e-9 },
        { "two pixels of 0.1 x 0.05 mm", 2, 0.1, 0.05, 0.112837917, 1e-9 },
        { "31417 pixels, the digital disc of radius 100", 31417, 1.0, 1.0, 200.0034169132, 1e-9 },
        { "317 pixels of 25.4/600 mm, the disc of radius 10", 317, 25.4 / 600, 25.4 / 600,
          20.0902199013 * 25.4 / 600, 1e-10 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_geometry geometry = { 10, 10, cases[i].pixel_x_mm, cases[i].pixel_y_mm };

        check_near(cases[i].source,
                   fleck_equivalent_diameter_mm(fleck_area_mm2(&geometry, cases[i].area_px)),
                   cases[i].diameter_mm, cases[i].tolerance);
    }
}

static void test_the_cutoff_is_the_first_area_whose_diameter_reaches_it(void **state)
{
    static const struct {
        const char *source;
        double pixel_x_mm, pixel_y_mm, cutoff_mm;
        uint64_t area_px;
    } cases[] = {
        { "pi 0.01 / 4 = 0.00785 mm2, one pixel has 0.01", 0.1, 0.1, 0.1, 1 },
        { "0.00785 mm2 over (25.4/600)^2 = 4.38", 25.4 / 600, 25.4 / 600, 0.1, 5 },
        { "0.00785 mm2 over (25.4/1200)^2 = 17.53", 25.4 / 1200, 25.4 / 1200, 0.1, 18 },
        { "0.00785 mm2 over 25.4/600 x 25.4/1200 = 8.77", 25.4 / 600, 25.4 / 1200, 0.1, 9 },
        { "no cutoff: a component has a pixel at least", 0.1, 0.1, 0.0, 1 },
        { "no cutoff: a component has a pixel at least", 0.1, 0.1, 1e-9, 1 },
        { "no region is that large", 1e-6, 1e-6, 1e6, UINT64_MAX },
    };
    uint64_t random = 2;

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_geometry geometry = { 10, 10, cases[i].pixel_x_mm, cases[i].pixel_y_mm };

        if (fleck_cutoff_area_px(&geometry, cases[i].cutoff_mm) != cases[i].area_px)
            fail_msg("%s", cases[i].source);
    }
    /* a cutoff that is the diameter of n pixels lets n pixels in, the next double does not */
    for (int trial = 0; trial < 20000; trial++) {
        const fleck_geometry geometry = { 10, 10, 0.001 + test_uniform(&random),
                                          0.001 + test_uniform(&random) };
        const uint64_t n = 1 + (test_random(&random) >> (13 + test_random(&random) % 49));
        const double d = 2.0 * sqrt((double)n * (geometry.pixel_x_mm * geometry.pixel_y_mm) / pi);
        const uint64_t above = fleck_cutoff_area_px(&geometry, nextafter(d, 10.0 * d));

        /* far up, neighbours may round to one diameter: then the first of them is the answer */
        if (n < 1000000) {
            assert_int_equal(fleck_cutoff_area_px(&geometry, d), n);
            assert_int_equal(above, n + 1);
        }
        assert_true(fleck_cutoff_area_px(&geometry, d) <= n);
        assert_true(above > n);
    }
}

static void test_the_edge_weight_is_the_inverse_number_of_places(void **state)
{
    const fleck_geometry geometry = { 20, 10, 0.1, 0.3 };
    fleck_component box = whole(5, 4, 3, 7, 5);

    (void)state;
    check_near("1 / ((20 - 4 - 1) (10 - 3 - 1))", fleck_edge_weight_per_px2(&geometry, &box),
               1.0 / 90.0, 1e-17);
    box = whole(9, 18, 8, 1, 1);
    check_near("it fits in one place only", fleck_edge_weight_per_px2(&geometry, &box), 1.0, 0.0);
    box.at_edge = true;
    check_near("cut by the border", fleck_edge_weight_per_px2(&geometry, &box), 0.0, 0.0);
    box = whole(9, 19, 2, 1, 1);
    check_near("it fits nowhere", fleck_edge_weight_per_px2(&geometry, &box), 0.0, 0.0);
    box = whole(9, 25, 15, 1, 1);
    check_near("it fits neither way", fleck_edge_weight_per_px2(&geometry, &box), 0.0, 0.0);
}

static void test_centroids_are_means_of_pixel_centres(void **state)
{
    const fleck_geometry geometry = { 20, 10, 0.1, 0.3 };
    /* pixels (2, 4), (3, 4), (3, 5), (3, 6) */
    const fleck_component component = { .area_px = 4, .sum_x_px = 11, .sum_y_px = 19 };
    const fleck_point_mm centre = fleck_component_centroid(&component, &geometry);

    (void)state;
    check_near("(11/4 + 1/2) 0.1", centre.x_mm, 0.325, 1e-15);
    check_near("(19/4 + 1/2) 0.3", centre.y_mm, 1.575, 1e-15);
}

static void test_sizes_are_those_worked_by_hand(void **state)
{
    /*
     * Weights 1/144, 1/119, 1/90 (and 1/33) per px2; shares by number 26.2 %, 31.8 %, 42.0 % (12.2,
     * 14.8, 19.6, 53.4 %), by area 4.0, 19.3, 76.7 % (0.6, 3.1, 12.3, 83.9 %). Moments: fractions
     * and math of Python.
     */
    const fleck_component components[] = {
        whole(12, 4, 3, 9, 2), cut(7),   whole(1, 1, 1, 3, 3),
        whole(4, 2, 2, 5, 5),  cut(900), whole(30, 8, 6, 2, 2),
    };
    static const double expected[2][FIELDS] = {
        { 5, 11, 2, 264.5891690009337, 0.06572121746801943, 0.11283791670955128,
          0.22567583341910255, 0.390882009522336, 1.2320508075688773, 0.390882009522336,
          0.2654366270706664, 0.11498804293390531, 0.23695017352676684, 1.649437961600467 },
        { 6, 0, 2, 1135.2389440624731, 0.09539684468287943, 0.07978845608028655, 0.4370193722368317,
          0.4370193722368317, 0.8174258141649449, 0.4370193722368317, 0.32079835592747613,
          0.13620370746579852, 0.27952456344790594, 1.7999498245229704 },
    };
    const fleck_geometry square = { 20, 10, 0.1, 0.1 }, oblong = { 20, 10, 0.1, 0.05 };
    fleck_sizes sizes;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_sizes_summarise(components, NULL, 5, 11, &square, &sizes, &err), FLECK_OK);
    check_sizes("square pixels", &sizes, expected[0], 1e-13);
    assert_int_equal(fleck_sizes_summarise(components, NULL, 6, 0, &oblong, &sizes, &err), FLECK_OK);
    check_sizes("oblong pixels", &sizes, expected[1], 1e-13);
}

static void test_without_whole_dots_there_are_no_sizes(void **state)
{
    static const double none[FIELDS] = { 0,   3,   0,   0,   NAN, NAN, NAN,
                                         NAN, NAN, NAN, NAN, NAN, NAN, NAN };
    static const double all_cut[FIELDS] = { 2,   0,   2,   NAN, NAN, NAN, NAN,
                                            NAN, NAN, NAN, NAN, NAN, NAN, NAN };
    const fleck_component components[2] = { cut(5), cut(50) };
    const fleck_geometry geometry = { 20, 10, 0.1, 0.1 };
    fleck_sizes sizes;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_sizes_summarise(NULL, NULL, 0, 3, &geometry, &sizes, &err), FLECK_OK);
    check_sizes("no dot at all: none per cm2, no sizes", &sizes, none, 0.0);
    assert_int_equal(fleck_sizes_summarise(components, NULL, 2, 0, &geometry, &sizes, &err), FLECK_OK);
    check_sizes("nothing whole was seen", &sizes, all_cut, 0.0);
}

static void test_one_dot_is_its_own_distribution(void **state)
{
    const double d = 0.1128379167095513;
    /* 1 / (18 8) per px2, 100 px to the mm2 */
    const double expected[FIELDS] = { 1, 0, 0, 1e4 / 144.0, 0.01, d, d, d, 0, d, d, 0, d, 1 };
    const fleck_component component = whole(1, 1, 1, 4, 4);
    const fleck_geometry geometry = { 20, 10, 0.1, 0.1 };
    fleck_sizes sizes;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_sizes_summarise(&component, NULL, 1, 0, &geometry, &sizes, &err), FLECK_OK);
    check_sizes("one dot", &sizes, expected, 1e-14);
}

static void test_equal_weights_reach_a_share_exactly(void **state)
{
    /* 10, 50 and 90 % of n equal weights are n/10, n/2 and 9n/10 of them, though sums are rounded
     */
    static const size_t counts[] = { 10, 30, 70, 100, 370, 1000, 99990 };
    const fleck_geometry geometry = { 4001, 3001, 0.01, 0.01 };

    (void)state;
    for (size_t i = 0; i < sizeof counts / sizeof *counts; i++) {
        const size_t n = counts[i];
        fleck_component *const list = malloc(n * sizeof *list);
        fleck_sizes sizes;
        fleck_error err;

        assert_non_null(list);
        for (size_t j = 0; j < n; j++)
            list[j] = whole(j + 1, 3, 7, 1, (uint32_t)j + 1);
        assert_int_equal(fleck_sizes_summarise(list, NULL, n, 0, &geometry, &sizes, &err), FLECK_OK);
        check_ratio("n/10 px", sizes.d10_mm, 0.02 * sqrt((double)(n / 10) / pi), 1e-15);
        check_ratio("n/2 px", sizes.d50_mm, 0.02 * sqrt((double)(n / 2) / pi), 1e-15);
        check_ratio("9n/10 px", sizes.d90_mm, 0.02 * sqrt((double)(n / 10 * 9) / pi), 1e-15);
        free(list);
    }
}

static void test_the_order_of_the_list_changes_no_bit(void **state)
{
    const fleck_geometry geometry = { 400, 300, 0.0423, 0.0417 };
    enum { N = 3000 };
    static fleck_component list[N];
    fleck_sizes first, again;
    fleck_error err;
    uint64_t random = 4;

    (void)state;
    for (uint32_t i = 0; i < N; i++) {
        /* few areas, first pixels in one row or one column: both are needed to tell dots apart */
        list[i] = whole(1 + test_random(&random) % 3, 1 + (uint32_t)(test_random(&random) % 90),
                        1 + (uint32_t)(test_random(&random) % 90), i % 2 == 0 ? 1 + i : 1,
                        i % 2 == 0 ? 1 : 1 + i);
        list[i].at_edge = i % 9 == 0;
    }
    assert_int_equal(fleck_sizes_summarise(list, NULL, N, 1, &geometry, &first, &err), FLECK_OK);
    for (int trial = 0; trial < 50; trial++) {
        for (size_t i = N - 1; i > 0; i--) {
            const size_t j = (size_t)(test_random(&random) % (i + 1));
            const fleck_component swapped = list[i];

            list[i] = list[j];
            list[j] = swapped;
        }
        assert_int_equal(fleck_sizes_summarise(list, NULL, N, 1, &geometry, &again, &err), FLECK_OK);
        assert_memory_equal(&first, &again, sizeof first);
    }
}

static double normal(uint64_t *random)
{
    return sqrt(-2.0 * log(1.0 - test_uniform(random))) * cos(2.0 * pi * test_uniform(random));
}

static void test_a_lognormal_sample_gives_its_percentiles_back(void **state)
{
    /* diameters of 1000 to some 10000 pixels: the whole pixels of an area are no matter */
    static const struct {
        double median_mm, gsd, d10_mm, d90_mm, mean_mm, area_d50_mm;
    } cases[] = {
        /* Hatch & Choate: number median times gsd^(-+1.2816), exp(s^2 / 2), exp(2 s^2) */
        { 0.10, 1.5, 0.0594743865619, 0.168139607284, 0.108567398335, 0.13893053969 },
        { 0.25, 1.3, 0.178614094873, 0.349916394025, 0.258754159936, 0.286899199382 },
    };
    const fleck_geometry geometry = { 30000, 30000, 1e-4, 1e-4 };
    enum { N = 100000 };
    fleck_component *const list = malloc(N * sizeof *list);
    uint64_t random = 6;

    (void)state;
    assert_non_null(list);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const double s = log(cases[i].gsd);
        /* three standard errors of the median, 1.2533 s / sqrt(n), and of a decile, 1.7094 s /
         * sqrt(n) */
        const double of_median = 3.0 * 1.2533 * s / sqrt(N), of_decile = 3.0 * 1.7094 * s / sqrt(N);
        fleck_sizes sizes;
        fleck_error err;

        for (uint32_t j = 0; j < N; j++) {
            const double d_px = cases[i].median_mm * exp(s * normal(&random)) / 1e-4;

            list[j] =
                whole((uint64_t)(pi / 4.0 * d_px * d_px + 0.5), 1, 1, 1 + j % 1000, 1 + j / 1000);
        }
        assert_int_equal(fleck_sizes_summarise(list, NULL, N, 0, &geometry, &sizes, &err), FLECK_OK);
        check_ratio("10 %", sizes.d10_mm, cases[i].d10_mm, of_decile);
        check_ratio("50 %", sizes.d50_mm, cases[i].median_mm, of_median);
        check_ratio("90 %", sizes.d90_mm, cases[i].d90_mm, of_decile);
        check_ratio("mean", sizes.mean_diameter_mm, cases[i].mean_mm, 3.0 * s / sqrt(N));
        check_ratio("sd: mean sqrt(exp(s^2) - 1)", sizes.sd_diameter_mm,
                    cases[i].mean_mm * sqrt(exp(s * s) - 1.0), 0.01);
        check_ratio("half of the area; its error grows by the spread of the areas, exp(2 s^2)",
                    sizes.area_d50_mm, cases[i].area_d50_mm, of_median * exp(2.0 * s * s));
        check_ratio("median of the fit", sizes.lognormal_median_mm, cases[i].median_mm,
                    3.0 * s / sqrt(N));
        check_ratio("gsd of the fit", sizes.lognormal_gsd, cases[i].gsd, 3.0 * s / sqrt(2.0 * N));
        check_ratio("mean area: pi/4 median^2 exp(2 s^2)", sizes.mean_area_mm2,
                    pi / 4.0 * cases[i].median_mm * cases[i].median_mm * exp(2.0 * s * s), 0.015);
    }
    free(list);
}

/* A disc on the pixel grid as the part of it that a window of w x h shows; false when it shows
 * none. */
static bool disc_in_window(double cx, double cy, double radius, long w, long h,
                           fleck_component *component)
{
    *component = (fleck_component){ .min_x_px = UINT32_MAX, .min_y_px = UINT32_MAX };
    for (long y = (long)floor(cy - radius); y <= (long)ceil(cy + radius); y++) {
        for (long x = (long)floor(cx - radius); x <= (long)ceil(cx + radius); x++) {
            if (x < 0 || y < 0 || x >= w || y >= h ||
                hypot((double)x + 0.5 - cx, (double)y + 0.5 - cy) > radius)
                continue;
            component->area_px++;
            component->min_x_px = x < component->min_x_px ? (uint32_t)x : component->min_x_px;
            component->max_x_px = x > component->max_x_px ? (uint32_t)x : component->max_x_px;
            component->min_y_px = y < component->min_y_px ? (uint32_t)y : component->min_y_px;
            component->max_y_px = y > component->max_y_px ? (uint32_t)y : component->max_y_px;
        }
    }
    component->at_edge = component->min_x_px == 0 || component->min_y_px == 0 ||
                         component->max_x_px == w - 1 || component->max_y_px == h - 1;
    return component->area_px > 0;
}

static void test_edge_weights_make_the_number_density_unbiased(void **state)
{
    /* discs that do not see each other, as a Poisson process does not, in a window of 2.5 large
     * ones */
    enum { W = 45, H = 30, ROUNDS = 4000, CENTRES = 12 };
    static const double radii[2] = { 2.3, 7.6 };
    const double margin = 12.0;
    const double truth_per_cm2 = CENTRES / ((W + 2 * margin) * (H + 2 * margin)) * 1e4;
    const fleck_geometry geometry = { W, H, 0.1, 0.1 };
    double plain[2] = { 0.0, 0.0 };
    uint64_t random = 8;

    (void)state;
    for (int kind = 0; kind < 2; kind++) {
        double sum = 0.0, squares = 0.0, mean, error;

        for (int round = 0; round < ROUNDS; round++) {
            fleck_component list[CENTRES];
            size_t n = 0;
            fleck_sizes sizes;
            double per_cm2;
            fleck_error err;

            for (int i = 0; i < CENTRES; i++) {
                const double cx = test_uniform(&random) * (W + 2 * margin) - margin;
                const double cy = test_uniform(&random) * (H + 2 * margin) - margin;

                n += disc_in_window(cx, cy, radii[kind], W, H, &list[n]);
            }
            assert_int_equal(fleck_sizes_summarise(list, NULL, n, 0, &geometry, &sizes, &err), FLECK_OK);
            per_cm2 = isnan(sizes.per_cm2) ? 0.0 : sizes.per_cm2; /* none whole: no weight */
            sum += per_cm2;
            squares += per_cm2 * per_cm2;
            plain[kind] += (sizes.counted - sizes.at_edge) * 1e4 / (W * H) / ROUNDS;
        }
        mean = sum / ROUNDS;
        error = sqrt((squares / ROUNDS - mean * mean) / ROUNDS);
        check_near("centres over the area they were drawn in", mean, truth_per_cm2, 3.0 * error);
        assert_true(error < 0.03 * truth_per_cm2);
    }
    /* the same without weights would not do */
    assert_true(plain[0] < 0.75 * truth_per_cm2);
    assert_true(plain[1] < 0.35 * truth_per_cm2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_areas_and_diameters_follow_iso_9276_6),
        cmocka_unit_test(test_the_cutoff_is_the_first_area_whose_diameter_reaches_it),
        cmocka_unit_test(test_the_edge_weight_is_the_inverse_number_of_places),
        cmocka_unit_test(test_centroids_are_means_of_pixel_centres),
        cmocka_unit_test(test_sizes_are_those_worked_by_hand),
        cmocka_unit_test(test_without_whole_dots_there_are_no_sizes),
        cmocka_unit_test(test_one_dot_is_its_own_distribution),
        cmocka_unit_test(test_equal_weights_reach_a_share_exactly),
        cmocka_unit_test(test_the_order_of_the_list_changes_no_bit),
        cmocka_unit_test(test_a_lognormal_sample_gives_its_percentiles_back),
        cmocka_unit_test(test_edge_weights_make_the_number_density_unbiased),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
