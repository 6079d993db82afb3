/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/sampling.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/phantom.h"
#include "phantom/closed_forms.h"
#include "support/check.h"

static fleck_sampling sample(const fleck_geometry *geometry, const fleck_mask *mask, size_t tile_px,
                             const uint8_t *ink)
{
    fleck_cell_counts *counts = NULL;
    fleck_error err = { FLECK_OK, "" };
    fleck_sampling out;
    const size_t width = geometry->width_px;
    fleck_run *const runs = calloc(width / 2 + 1, sizeof *runs);
    fleck_run *const inside = calloc(width / 2 + 1, sizeof *inside);
    uint16_t *const q = calloc(width, sizeof *q);

    assert_true(runs != NULL && inside != NULL && q != NULL);
    assert_int_equal(fleck_cell_counts_new(geometry, mask, tile_px, &counts, &err), FLECK_OK);
    for (size_t y = 0; y < geometry->height_px; y++) {
        size_t count;

        for (size_t x = 0; x < width; x++)
            q[x] = ink[y * width + x] ? 0 : 65535;
        count = fleck_runs_from_row(q, width, 1, FLECK_INK_DARK, runs);
        if (mask != NULL)
            count = fleck_mask_clip_runs(mask, y, runs, count, inside);
        assert_int_equal(
            fleck_cell_counts_row(counts, mask != NULL ? inside : runs, count, &err), FLECK_OK);
    }
    assert_int_equal(fleck_cell_counts_row(counts, runs, 0, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_cell_counts_finish(counts, &out, &err), FLECK_OK);
    fleck_cell_counts_free(counts);
    free(runs);
    free(inside);
    free(q);
    return out;
}

static fleck_phantom_options hard_discs(double coverage, double diameter_mm, double side_mm)
{
    fleck_phantom_options options = fleck_phantom_options_default();

    options.kind = FLECK_PHANTOM_DISCS;
    options.width_mm = options.height_mm = side_mm;
    options.ppi = 300;
    options.coverage = coverage;
    options.sizes = FLECK_PHANTOM_FIXED;
    options.diameter_mm = diameter_mm;
    options.antialias = false;
    options.softness_mm = options.noise = options.fibre = 0;
    options.ink_reflectance = 0;
    options.paper_reflectance = 1;
    return options;
}

static uint8_t *draw(const fleck_phantom_options *options, fleck_geometry *geometry)
{
    fleck_phantom *phantom = NULL;
    fleck_error err = { FLECK_OK, "" };
    const float *values;
    uint8_t *ink;

    if (fleck_phantom_new(options, &phantom, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    geometry->pixel_x_mm = geometry->pixel_y_mm = 25.4 / options->ppi;
    values = fleck_phantom_reflectance(phantom, &geometry->width_px, &geometry->height_px);
    ink = calloc(geometry->width_px * geometry->height_px, 1);
    assert_non_null(ink);
    for (size_t i = 0; i < geometry->width_px * geometry->height_px; i++)
        ink[i] = values[i] < 0.5F;
    fleck_phantom_free(phantom);
    return ink;
}

static double share(const uint8_t *ink, const fleck_geometry *geometry)
{
    const size_t count = geometry->width_px * geometry->height_px;
    double sum = 0;

    for (size_t i = 0; i < count; i++)
        sum += ink[i];
    return sum / (double)count;
}

/*
 * Closed form of the Boolean model, at 0.1, 0.5 and 0.9. The closed form itself is checked against
 * mpmath in the tests of phantoms; a value of that source stands in the last row.
 */
static void discs_have_the_integral_range_of_theory(void **state)
{
    enum { PICTURES = 60 };
    static const double coverages[] = { 0.1, 0.5, 0.9, 0.26959730895135436 };
    size_t held = 0, even = 0;

    (void)state;
    for (size_t c = 0; c < 4; c++) {
        const fleck_phantom_options model = hard_discs(coverages[c], c < 3 ? 0.5 : 0.2, c < 3 ? 24 : 12);
        const double expected =
            c < 3 ? fleck_expect(&model).integral_range_mm2 : 0.028792571992109498;
        double sum = 0, squares = 0, evenness = 0;

        for (size_t i = 0; i < PICTURES; i++) {
            fleck_phantom_options options = model;
            fleck_geometry geometry;
            fleck_sampling sampling;
            uint8_t *ink;

            options.ppi = c < 3 ? 300 : 600;
            options.seed = 7000 + 100 * c + i;
            ink = draw(&options, &geometry);
            sampling = sample(&geometry, NULL, 70, ink);
            held += fabs(share(ink, &geometry) - coverages[c]) < 1.96 * sampling.coverage_se;
            sum += sampling.integral_range_mm2;
            squares += sampling.integral_range_mm2 * sampling.integral_range_mm2;
            evenness += isnan(sampling.evenness) ? 0 : sampling.evenness;
            even += isnan(sampling.evenness) ? 0 : 1;
            assert_false(sampling.exponent_is_slow);
            assert_true(sampling.exponent < -0.5 && sampling.exponent > -1.5);
            check_ratio("area for 1 %: p (1 - p) A3 / 0.0001", sampling.area_for_1pct_mm2,
                        sampling.coverage_se * sampling.coverage_se * 1e4 *
                            (double)(geometry.width_px * geometry.height_px) *
                            geometry.pixel_x_mm * geometry.pixel_y_mm,
                        1e-12);
            free(ink);
        }
        {
            const double mean = sum / PICTURES;
            const double se = sqrt((squares / PICTURES - mean * mean) / (PICTURES - 1));

            check_near("Boolean discs, within 3 standard errors", mean, expected, 3 * se);
            assert_true(se < 0.08 * expected);
            if (c < 3)
                check_near("random discs are even", evenness / PICTURES, 1, 0.15);
        }
    }
    assert_true(even >= 3 * PICTURES);
    /* 240 intervals of 95 %: 228 held, and 3.4 standard deviations of sqrt(240 0.95 0.05) */
    assert_in_range(held, 217, 239);
}

/*
 * Patches of 20 mm, small enough for chance in coverage_se itself to tell. tests/bench/coverage_intervals.c
 * is the long version.
 */
static void intervals_of_small_patches_hold_the_coverage(void **state)
{
    enum { PICTURES = 40 };
    static const struct {
        fleck_phantom_kind kind;
        double coverage, size_mm, gsd;
    } cases[] = {
        { FLECK_PHANTOM_DISCS, 0.1, 0.4, 1 },   { FLECK_PHANTOM_DISCS, 0.3, 0.4, 1 },
        { FLECK_PHANTOM_DISCS, 0.5, 0.4, 1 },   { FLECK_PHANTOM_DISCS, 0.3, 0.3, 1.5 },
        { FLECK_PHANTOM_FIELD, 0.1, 0.4, 1 },   { FLECK_PHANTOM_FIELD, 0.3, 0.4, 1 },
        { FLECK_PHANTOM_FIELD, 0.5, 0.4, 1 },
    };
    double held = 0, variance = 0, drawn = 0;

    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        fleck_phantom_options options = hard_discs(cases[c].coverage, cases[c].size_mm, 20);

        options.kind = cases[c].kind;
        options.ppi = 600;
        options.sizes = cases[c].gsd > 1 ? FLECK_PHANTOM_LOGNORMAL : FLECK_PHANTOM_FIXED;
        options.gsd = cases[c].gsd;
        options.correlation_mm = cases[c].size_mm;
        for (size_t i = 0; i < PICTURES; i++) {
            fleck_geometry geometry;
            fleck_sampling sampling;
            uint8_t *ink;
            double off;

            options.seed = 500 + 1000 * c + i; /* fields of one seed are alike */
            ink = draw(&options, &geometry);
            sampling = sample(&geometry, NULL, 0, ink);
            off = share(ink, &geometry) - cases[c].coverage;
            held += fabs(off) < 1.96 * sampling.coverage_se;
            variance += off * off / (sampling.coverage_se * sampling.coverage_se);
            drawn += 1;
            free(ink);
        }
    }
    /* 0.95 of 280 has a standard error of 0.013, a variance of 1 one of 0.085 */
    check_near("held", held / drawn, 0.95, 0.035);
    check_near("variance, in squares of coverage_se", variance / drawn, 1, 0.25);
}

/* Strips across the whole picture: the variance of a block falls with its side alone. */
static void strata_fall_slowly(void **state)
{
    const fleck_geometry geometry = { 800, 800, 0.05, 0.05 };
    uint8_t *const ink = calloc(800 * 800, 1);
    uint64_t seed = 5;

    double sum = 0;
    size_t slow = 0;

    (void)state;
    assert_non_null(ink);
    for (size_t picture = 0; picture < 20; picture++) {
        fleck_sampling sampling;

        for (size_t y = 0; y < 800; y += 4)
            memset(ink + y * 800, test_uniform(&seed) < 0.4, 4 * 800);
        sampling = sample(&geometry, NULL, 64, ink);
        sum += sampling.exponent;
        slow += sampling.exponent_is_slow ? 1 : 0;
    }
    check_near("one dimension: Var falls with sqrt(A)", sum / 20, -0.5, 0.1);
    assert_true(slow >= 10);
    free(ink);
}

static void blotches_are_not_even(void **state)
{
    const fleck_geometry geometry = { 512, 512, 0.05, 0.05 };
    uint8_t *const ink = calloc(512 * 512, 1);
    uint64_t seed = 9;

    (void)state;
    assert_non_null(ink);
    for (size_t i = 0; i < 512 * 512; i++) /* quarters of 40 % and 60 %, in 128 px squares */
        ink[i] = test_uniform(&seed) < ((i / 512 / 128 + i % 512 / 128) % 2 ? 0.4 : 0.6);
    {
        const fleck_sampling sampling = sample(&geometry, NULL, 128, ink);

        /* 16 tiles, 8 of 0.4 and 8 of 0.6: sd 0.1 sqrt(16 / 15), mean 0.5 */
        check_near("16 tiles by hand", sampling.tiles_cv, 0.2 * sqrt(16.0 / 15), 0.01);
        assert_true(sampling.evenness > 20);
    }
    free(ink);
}

static void tiles_are_counted_by_hand(void **state)
{
    const fleck_geometry geometry = { 19, 8, 0.1, 0.1 };
    uint8_t ink[8 * 19] = { 0 };
    fleck_sampling sampling;
    fleck_mask *mask = NULL;
    fleck_error err = { FLECK_OK, "" };

    (void)state;
    for (size_t y = 0; y < 8; y++) {
        for (size_t x = 0; x < 19; x++)
            ink[y * 19 + x] = x < 8 ? y < 2 : x < 16 ? y < 6 : 1;
    }
    sampling = sample(&geometry, NULL, 8, ink);
    /* coverage 1/4 and 3/4: mean 1/2, sample sd 1 / (2 sqrt 2); the last 3 columns are no tile */
    check_ratio("two tiles by hand", sampling.tiles_cv, sqrt(0.5), 1e-12);
    check_near("too small a patch", sampling.integral_range_mm2, NAN, 0);
    check_near("too small a patch", sampling.coverage_se, NAN, 0);
    check_near("two tiles", sampling.evenness, NAN, 0);
    assert_int_equal(fleck_mask_new(19, 8, &mask, &err), FLECK_OK);
    for (size_t y = 0; y < 8; y++)
        fleck_mask_add_run(mask, y, 0, y == 7 ? 15 : 19);
    check_near("a mask leaves one tile", sample(&geometry, mask, 8, ink).tiles_cv, NAN, 0);
    fleck_mask_free(mask);
}

/* Inside a mask nothing else counts, and half a picture by mask is that half. */
static void a_mask_gives_the_numbers_of_its_part(void **state)
{
    const fleck_phantom_options options = hard_discs(0.3, 0.4, 20);
    fleck_geometry whole, part;
    uint8_t *const ink = draw(&options, &whole);
    uint8_t *half;
    fleck_mask *mask = NULL;
    fleck_error err = { FLECK_OK, "" };
    fleck_sampling masked, alone;

    (void)state;
    part = whole;
    part.height_px = 118;
    half = calloc(part.width_px * part.height_px, 1);
    assert_non_null(half);
    memcpy(half, ink, part.width_px * part.height_px);
    assert_int_equal(fleck_mask_new(whole.width_px, whole.height_px, &mask, &err), FLECK_OK);
    for (size_t y = 0; y < part.height_px; y++)
        fleck_mask_add_run(mask, y, 0, whole.width_px);
    masked = sample(&whole, mask, 32, ink);
    alone = sample(&part, NULL, 32, half);
    check_ratio("tiles of the half", masked.tiles_cv, alone.tiles_cv, 1e-12);
    check_ratio("blocks of the half", masked.integral_range_mm2, alone.integral_range_mm2, 0.1);
    fleck_mask_free(mask);
    free(half);
    free(ink);
}

static void turning_oblong_pixels_changes_nothing(void **state)
{
    const fleck_geometry wide = { 400, 300, 0.05, 0.1 }, tall = { 300, 400, 0.1, 0.05 };
    uint8_t *const ink = calloc(400 * 300, 1), *const turned = calloc(400 * 300, 1);
    uint64_t seed = 3;

    (void)state;
    assert_true(ink != NULL && turned != NULL);
    for (size_t y = 0; y < 300; y++) {
        for (size_t x = 0; x < 400; x++)
            turned[x * 300 + y] = ink[y * 400 + x] = test_uniform(&seed) < 0.4;
    }
    {
        const fleck_sampling a = sample(&wide, NULL, 64, ink);
        const fleck_sampling b = sample(&tall, NULL, 64, turned);

        assert_true(a.integral_range_mm2 > 0);
        check_ratio("white noise: one pixel", a.integral_range_mm2, 0.005, 0.2);
        check_ratio("turned", b.integral_range_mm2, a.integral_range_mm2, 1e-9);
        check_ratio("turned", b.tiles_cv, a.tiles_cv, 1e-9);
    }
    free(ink);
    free(turned);
}

static void one_phase_alone_has_no_range(void **state)
{
    const fleck_geometry geometry = { 300, 300, 0.1, 0.1 };
    uint8_t *const ink = calloc(300 * 300, 1);

    (void)state;
    assert_non_null(ink);
    for (int all = 0; all < 2; all++) {
        fleck_sampling sampling;

        memset(ink, all, 300 * 300);
        sampling = sample(&geometry, NULL, 100, ink);
        check_near("one phase", sampling.integral_range_mm2, NAN, 0);
        check_near("one phase", sampling.exponent, NAN, 0);
        check_near("one phase", sampling.evenness, NAN, 0);
        check_near("equal tiles; no ink, no mean", sampling.tiles_cv, all ? 0 : NAN, 0);
    }
    free(ink);
}

static void wrong_calls_are_refused(void **state)
{
    const fleck_geometry geometry = { 8, 2, 0.1, 0.1 }, flat = { 8, 0, 0.1, 0.1 };
    const fleck_run beyond = { 4, 9 };
    fleck_cell_counts *counts = NULL;
    fleck_sampling out;
    fleck_error err = { FLECK_OK, "" };

    (void)state;
    assert_int_equal(fleck_cell_counts_new(&flat, NULL, 4, &counts, &err), FLECK_BAD_CALL);
    assert_null(counts);
    assert_int_equal(fleck_cell_counts_new(&geometry, NULL, 0, &counts, &err), FLECK_OK);
    assert_int_equal(fleck_cell_counts_row(counts, &beyond, 1, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_cell_counts_finish(counts, &out, &err), FLECK_BAD_CALL);
    check_near("no figures before the last row", out.coverage_se, NAN, 0);
    fleck_cell_counts_free(counts);
    fleck_cell_counts_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(discs_have_the_integral_range_of_theory),
        cmocka_unit_test(intervals_of_small_patches_hold_the_coverage),
        cmocka_unit_test(strata_fall_slowly),
        cmocka_unit_test(blotches_are_not_even),
        cmocka_unit_test(tiles_are_counted_by_hand),
        cmocka_unit_test(a_mask_gives_the_numbers_of_its_part),
        cmocka_unit_test(turning_oblong_pixels_changes_nothing),
        cmocka_unit_test(one_phase_alone_has_no_range),
        cmocka_unit_test(wrong_calls_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
