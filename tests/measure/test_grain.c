/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/random_set.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/phantom.h"
#include "measure/random_set_mask.h"
#include "support/check.h"

static const double pi = 3.14159265358979323846;

/* Discs, ink 0 on paper 1, pixel centres deciding. */
static fleck_phantom_options hard_options(fleck_phantom_kind kind)
{
    fleck_phantom_options options = fleck_phantom_options_default();

    options.kind = kind;
    options.ppi = 600;
    options.sizes = FLECK_PHANTOM_FIXED;
    options.diameter_mm = 0.3;
    options.antialias = false;
    options.softness_mm = options.noise = 0;
    options.ink_reflectance = 0;
    options.paper_reflectance = 1;
    return options;
}

static struct mask mask_of(const fleck_phantom_options *options)
{
    fleck_phantom *phantom = NULL;
    fleck_error err = { FLECK_OK, "" };
    size_t width_px, height_px;
    const float *value;
    struct mask mask;

    if (fleck_phantom_new(options, &phantom, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    value = fleck_phantom_reflectance(phantom, &width_px, &height_px);
    mask = mask_new(width_px, height_px);
    for (size_t i = 0; i < width_px * height_px; i++)
        mask.ink[i] = value[i] < 0.5f;
    fleck_phantom_free(phantom);
    return mask;
}

static fleck_random_set measured(const fleck_phantom_options *options, size_t simulations,
                                 double blur_sd_mm)
{
    fleck_random_set_options how = fleck_random_set_options_default();
    struct mask mask = mask_of(options);
    fleck_random_set set;

    how.simulations = simulations;
    how.longest_lag_mm = 1.2;
    if (simulations == 0)
        how.window_px = 64 * 64; /* openings are not looked at here */
    set = random_set_with(&mask, NULL, 25.4 / options->ppi, 25.4 / options->ppi, &how, blur_sd_mm);
    mask_free(&mask);
    return set;
}

/* Mean and its standard error over some phantoms. */
struct sample {
    double n, sum, squares;
};

static void add(struct sample *sample, double value)
{
    sample->n++;
    sample->sum += value;
    sample->squares += value * value;
}

static void check_within_three_errors(const char *source, const struct sample *sample,
                                      double expected)
{
    const double mean = sample->sum / sample->n;
    const double variance = sample->squares / sample->n - mean * mean;

    check_near(source, mean, expected, 3 * sqrt(variance / (sample->n - 1)));
}

/*
 * Covariance, chords and boundary of Boolean discs. What a grid of pixels sees follows from C at
 * one pixel without any approximation: chords have the mean p px / (p - C(px)), bare ones (1 - p)
 * px / (p - C(px)), and lines of pixels meet 2 (p - C(step)) changes a step. Both tend to the
 * pixel-free closed forms 1 / (2 n E[R]) and (1 - p) n 2 pi E[R], which are checked as well.
 */
static void boolean_discs_have_the_covariance_chords_and_boundary_of_the_model(void **state)
{
    enum { SEEDS = 24, LAGS = 5 };
    static const size_t lags[LAGS] = { 1, 4, 8, 12, 20 };
    static const double coverages[] = { 0.1, 0.5, 0.9 };

    (void)state;
    for (size_t c = 0; c < 3; c++) {
        fleck_phantom_options options = hard_options(FLECK_PHANTOM_DISCS);
        /* bare chords reach 0.9 mm in the mean: hardly any is longer than the picture's 8 mm */
        const double p = coverages[c], px = 25.4 / 1200, diameter_mm = 0.12;
        const fleck_disc_model model = { -log(1 - p) / (pi / 4 * diameter_mm * diameter_mm),
                                         diameter_mm, 1 };
        struct sample along_x[LAGS] = { { 0, 0, 0 } }, along_y[LAGS] = { { 0, 0, 0 } };
        struct sample radial = { 0, 0, 0 }, ink = { 0, 0, 0 }, bare = { 0, 0, 0 };
        struct sample perimeter = { 0, 0, 0 };
        double changes, diagonal_changes, seen = 1;

        options.ppi = 1200;
        options.diameter_mm = diameter_mm;
        options.width_mm = options.height_mm = 8;
        options.coverage = p;
        for (options.seed = 1; options.seed <= SEEDS; options.seed++) {
            fleck_random_set set = measured(&options, 0, 0);

            for (size_t i = 0; i < LAGS; i++) {
                check_near("lag", set.along_x.lag_mm[lags[i]], (double)lags[i] * px, 1e-12);
                add(&along_x[i], set.along_x.probability[lags[i]]);
                add(&along_y[i], set.along_y.probability[lags[i]]);
            }
            add(&radial, set.radial.probability[5] -
                             fleck_disc_model_two_point(&model, set.radial.lag_mm[5]));
            add(&ink, set.ink_chords.mean_mm);
            add(&bare, set.bare_chords.mean_mm);
            add(&perimeter, set.perimeter_per_area_per_mm);
            seen = 1 - px / 8; /* pairs of neighbours over pixels */
            fleck_random_set_clear(&set);
        }
        for (size_t i = 0; i < LAGS; i++) {
            const double expected = fleck_disc_model_two_point(&model, (double)lags[i] * px);

            check_within_three_errors("C along x", &along_x[i], expected);
            check_within_three_errors("C along y", &along_y[i], expected);
        }
        check_within_three_errors("C by rings", &radial, 0);
        changes = p - fleck_disc_model_two_point(&model, px);
        diagonal_changes = p - fleck_disc_model_two_point(&model, px * sqrt(2));
        check_within_three_errors("ink chords", &ink, p * px / changes);
        check_within_three_errors("bare chords", &bare, (1 - p) * px / changes);
        check_within_three_errors(
            "boundary", &perimeter,
            pi / 8 / px * (seen * 4 * changes + seen * seen * 4 * diagonal_changes / sqrt(2)));
        /* an exponential length cut into pixels is half a pixel longer in the mean */
        check_ratio("bare chords, pixel-free", bare.sum / SEEDS - px / 2,
                    1 / (model.per_mm2 * diameter_mm), 0.05);
        if (p < 0.9) /* beyond, half of the gaps are no wider than a pixel */
            check_ratio("boundary, pixel-free", perimeter.sum / SEEDS,
                        fleck_disc_model_perimeter_per_mm(&model), 0.1);
    }
}

static void a_gaussian_field_has_the_boundary_of_its_closed_form(void **state)
{
    enum { SEEDS = 8 };
    /* Rice: length per area sqrt(l2) / 2 exp(-u^2 / 2), l2 = 2 / correlation^2; at coverage 0.2 the
       level u is -0.8416212335729142. Pixels of an eighth of the correlation lose 0.5 %. */
    static const double coverages[] = { 0.5, 0.2 }, levels[] = { 0, 0.8416212335729142 };

    (void)state;
    for (size_t c = 0; c < 2; c++) {
        fleck_phantom_options options = hard_options(FLECK_PHANTOM_FIELD);
        struct sample perimeter = { 0, 0, 0 };
        double mean, expected;

        options.width_mm = options.height_mm = 12;
        options.ppi = 508;
        options.correlation_mm = 0.4;
        options.coverage = coverages[c];
        expected = sqrt(2) / 0.4 / 2 * exp(-levels[c] * levels[c] / 2);
        for (options.seed = 1; options.seed <= SEEDS; options.seed++) {
            fleck_random_set set = measured(&options, 0, 0);

            add(&perimeter, set.perimeter_per_area_per_mm);
            fleck_random_set_clear(&set);
        }
        mean = perimeter.sum / SEEDS;
        check_near("Rice", mean, expected,
                   0.01 * expected +
                       3 * sqrt((perimeter.squares / SEEDS - mean * mean) / (SEEDS - 1)));
    }
}

static void separate_dots_are_counted_by_the_euler_number(void **state)
{
    fleck_phantom_options options = hard_options(FLECK_PHANTOM_SEPARATE);
    const char *at;
    char *csv;
    fleck_phantom *phantom = NULL;
    struct mask mask, framed;
    fleck_random_set set;
    long dots = -1; /* the header */

    (void)state;
    options.width_mm = options.height_mm = 15;
    options.coverage = 0.2;
    options.gap_mm = 0.1;
    options.keep_inside = true;
    assert_int_equal(fleck_phantom_new(&options, &phantom, NULL), FLECK_OK);
    csv = fleck_phantom_dots_csv(phantom);
    assert_non_null(csv);
    for (at = csv; (at = strchr(at, '\n')) != NULL; at++)
        dots++;
    /* in a frame, because dots on the right and on the lower border do not count */
    mask = mask_of(&options);
    framed = mask_framed(&mask);
    set = random_set_of(&framed, NULL, 1, 1);
    assert_int_equal(set.euler, dots);
    mask_free(&mask);
    mask_free(&framed);
    free(csv);
    fleck_phantom_free(phantom);
    fleck_random_set_clear(&set);
}

static void grains_come_out_at_their_size_at_any_coverage(void **state)
{
    static const struct {
        double coverage, diameter_mm, gsd, softness_mm, tolerance;
    } cases[] = {
        { 0.05, 0.3, 1, 0, 0.03 },    { 0.2, 0.3, 1, 0, 0.03 },       { 0.6, 0.3, 1, 0, 0.03 },
        { 0.05, 0.3, 1, 0.02, 0.03 }, { 0.3, 0.3, 1, 0.02, 0.03 },    { 0.6, 0.3, 1, 0.02, 0.03 },
        { 0.3, 0.2, 1.5, 0, 0.05 },   { 0.6, 0.2, 1.5, 0.015, 0.05 }, { 0.2, 0.15, 1, 0.01, 0.03 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_phantom_options options = hard_options(FLECK_PHANTOM_DISCS);
        const double s = log(cases[i].gsd), px = 25.4 / options.ppi;
        const double true_mm = cases[i].diameter_mm * exp(s * s / 2);
        const bool soft = cases[i].softness_mm > 0;
        fleck_random_set set;

        options.width_mm = options.height_mm = 20;
        options.seed = 3;
        options.coverage = cases[i].coverage;
        options.diameter_mm = cases[i].diameter_mm;
        options.sizes = cases[i].gsd > 1 ? FLECK_PHANTOM_LOGNORMAL : FLECK_PHANTOM_FIXED;
        options.gsd = cases[i].gsd;
        options.softness_mm = cases[i].softness_mm;
        options.antialias = soft;
        /* the blur of a pixel's own square has the variance px^2 / 12 */
        set = measured(&options, soft ? 19 : 0,
                       soft ? sqrt(cases[i].softness_mm * cases[i].softness_mm + px * px / 12) : 0);
        check_ratio("mean diameter", set.grain.mean_diameter_mm, true_mm, cases[i].tolerance);
        check_ratio("number", set.grain.per_cm2,
                    -100 * log(1 - cases[i].coverage) /
                        (pi / 4 * cases[i].diameter_mm * cases[i].diameter_mm * exp(2 * s * s)),
                    0.15);
        check_near("spread", set.grain.model.gsd, cases[i].gsd, 0.1);
        if (soft)
            check_near("is it such a model", set.grain.fit_p < 0.05, 0, 0);
        fleck_random_set_clear(&set);
    }
}

static void other_patterns_do_not_fit(void **state)
{
    static const fleck_phantom_kind kinds[] = { FLECK_PHANTOM_SEPARATE, FLECK_PHANTOM_SQUARE,
                                                FLECK_PHANTOM_HEXAGONAL, FLECK_PHANTOM_FIELD };

    (void)state;
    for (size_t i = 0; i < 4; i++) {
        fleck_phantom_options options = hard_options(kinds[i]);
        fleck_random_set set;

        options.width_mm = options.height_mm = 20;
        options.coverage = 0.2;
        options.gap_mm = 0.05;
        options.correlation_mm = 0.25;
        set = measured(&options, 39, 0);
        check_near(fleck_phantom_kind_name(kinds[i]), set.grain.fit_p <= 0.05, 1, 0);
        fleck_random_set_clear(&set);
    }
}

/* Pixels told to be oblong stretch discs to ellipses; parents with children around them cluster. */
static void elongated_and_clustered_dots_do_not_fit(void **state)
{
    fleck_random_set_options how = fleck_random_set_options_default();
    fleck_phantom_options options = hard_options(FLECK_PHANTOM_DISCS);
    struct mask mask, clustered = mask_new(472, 472);
    uint64_t random = 11;
    fleck_random_set set;

    (void)state;
    how.simulations = 39;
    options.width_mm = options.height_mm = 20;
    options.coverage = 0.2;
    mask = mask_of(&options);
    set = random_set_with(&mask, NULL, 0.0423, 0.0635, &how, 0);
    check_near("ellipses", set.grain.fit_p <= 0.05, 1, 0);
    fleck_random_set_clear(&set);
    set = random_set_with(&mask, NULL, 0.0423, 0.0423, &how, 0);
    check_near("the same as discs", set.grain.fit_p > 0.05, 1, 0);
    fleck_random_set_clear(&set);
    for (int parent = 0; parent < 120; parent++) {
        const double x = 472 * test_uniform(&random), y = 472 * test_uniform(&random);

        for (int child = 0; child < 8; child++) {
            const double cx = x + 30 * (test_uniform(&random) - 0.5);
            const double cy = y + 30 * (test_uniform(&random) - 0.5);

            for (int v = (int)cy - 4; v <= (int)cy + 4; v++)
                for (int u = (int)cx - 4; u <= (int)cx + 4; u++)
                    if (u >= 0 && v >= 0 && u < 472 && v < 472 && hypot(u - cx, v - cy) <= 3.5)
                        clustered.ink[v * 472 + u] = 1;
        }
    }
    set = random_set_with(&clustered, NULL, 0.0423, 0.0423, &how, 0);
    check_near("clusters", set.grain.fit_p <= 0.05, 1, 0);
    fleck_random_set_clear(&set);
    mask_free(&mask);
    mask_free(&clustered);
}

static void threads_do_not_change_a_digit_and_the_seed_does(void **state)
{
    fleck_phantom_options options = hard_options(FLECK_PHANTOM_DISCS);
    fleck_random_set_options how = fleck_random_set_options_default();
    struct mask mask;
    fleck_random_set one, three, other;

    (void)state;
    options.width_mm = options.height_mm = 8;
    options.coverage = 0.3;
    mask = mask_of(&options);
    how.simulations = 19;
    one = random_set_with(&mask, NULL, 0.0423, 0.0423, &how, 0.02);
    how.threads = 3;
    three = random_set_with(&mask, NULL, 0.0423, 0.0423, &how, 0.02);
    how.seed = 2;
    other = random_set_with(&mask, NULL, 0.0423, 0.0423, &how, 0.02);
    assert_true(isfinite(one.grain.fit_p) && one.grain.mean_diameter_se_mm > 0);
    assert_memory_equal(&one.grain, &three.grain, sizeof one.grain);
    assert_true(one.grain.mean_diameter_mm != other.grain.mean_diameter_mm);
    fleck_random_set_clear(&one);
    fleck_random_set_clear(&three);
    fleck_random_set_clear(&other);
    mask_free(&mask);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(boolean_discs_have_the_covariance_chords_and_boundary_of_the_model),
        cmocka_unit_test(a_gaussian_field_has_the_boundary_of_its_closed_form),
        cmocka_unit_test(separate_dots_are_counted_by_the_euler_number),
        cmocka_unit_test(grains_come_out_at_their_size_at_any_coverage),
        cmocka_unit_test(other_patterns_do_not_fit),
        cmocka_unit_test(elongated_and_clustered_dots_do_not_fit),
        cmocka_unit_test(threads_do_not_change_a_digit_and_the_seed_does),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
