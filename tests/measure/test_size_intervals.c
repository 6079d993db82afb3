/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_cdf.h>

#include "core/random.h"
#include "fleck/size_distribution.h"
#include "fleck/texture.h"
#include "measure/disc_field.h"
#include "support/check.h"

enum { FIGURES = 6 };

static void fill(const disc_field *field, const fleck_mask *mask, const double *weights,
                 uint64_t seed, size_t resamples, fleck_interval intervals[FIGURES])
{
    const fleck_size_options options = { sizeof options, seed, resamples };
    fleck_size_distribution sizes;
    fleck_error err;

    if (fleck_size_distribution_fill(field->counted, weights, field->count, &field->geometry, mask,
                                     0.1, &options, &sizes, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    intervals[0] = sizes.intervals.d10_mm;
    intervals[1] = sizes.intervals.d50_mm;
    intervals[2] = sizes.intervals.d90_mm;
    intervals[3] = sizes.intervals.area_d50_mm;
    intervals[4] = sizes.intervals.mean_diameter_mm;
    intervals[5] = sizes.intervals.per_cm2;
    fleck_size_distribution_clear(&sizes);
}

static disc_law law_of(double dots)
{
    return (disc_law){ .side_mm = 20,
                       .pixel_mm = 25.4 / 1200,
                       .per_mm2 = dots / 400,
                       .median_mm = 0.2,
                       .gsd = 1.5,
                       .cutoff_mm = 0.1 };
}

/* ---- a slow twin: each resample as a list of its own, summarised by fleck_sizes_summarise ---- */

static int by_value(const void *left, const void *right)
{
    const double a = *(const double *)left, b = *(const double *)right;

    return (a > b) - (a < b);
}

static void twin(const disc_field *field, uint64_t seed, size_t resamples,
                 fleck_interval intervals[FIGURES])
{
    const double t = gsl_cdf_tdist_Pinv(0.975, 35);
    const double level = gsl_cdf_ugaussian_P(-t * sqrt(36.0 / 35.0));
    const size_t below = (size_t)floor(level * (double)(resamples + 1)) - 1;
    fleck_component *const list = malloc(36 * field->count * sizeof *list);
    double *const values[FIGURES] = {
        malloc(resamples * sizeof(double)), malloc(resamples * sizeof(double)),
        malloc(resamples * sizeof(double)), malloc(resamples * sizeof(double)),
        malloc(resamples * sizeof(double)), malloc(resamples * sizeof(double)),
    };

    assert_non_null(list);
    for (size_t r = 0; r < resamples; r++) {
        size_t n = 0;
        fleck_sizes sizes;

        for (int draw = 0; draw < 36; draw++) {
            const int tile = (int)(36 * fleck_random_uniform(&seed));

            for (size_t i = 0; i < field->count; i++) {
                const fleck_component *const one = &field->counted[i];
                const double places_x =
                    (double)field->geometry.width_px - (double)(one->max_x_px - one->min_x_px) - 2;
                const double places_y =
                    (double)field->geometry.height_px - (double)(one->max_y_px - one->min_y_px) - 2;
                const int column = (int)(6 * ((double)one->min_x_px - 0.999) / places_x);
                const int row = (int)(6 * ((double)one->min_y_px - 0.999) / places_y);

                if (!one->at_edge && 6 * row + column == tile)
                    list[n++] = *one;
            }
        }
        assert_int_equal(fleck_sizes_summarise(list, NULL, n, 0, &field->geometry, &sizes, NULL),
                         FLECK_OK);
        values[0][r] = sizes.d10_mm;
        values[1][r] = sizes.d50_mm;
        values[2][r] = sizes.d90_mm;
        values[3][r] = sizes.area_d50_mm;
        values[4][r] = sizes.mean_diameter_mm;
        values[5][r] = sizes.per_cm2;
    }
    for (int f = 0; f < FIGURES; f++) {
        qsort(values[f], resamples, sizeof(double), by_value);
        intervals[f] = (fleck_interval){ values[f][below], values[f][resamples - 1 - below] };
        free(values[f]);
    }
    free(list);
}

static void test_intervals_are_those_of_resampled_lists(void **state)
{
    static const double dots[] = { 60, 500 };

    (void)state;
    for (size_t i = 0; i < sizeof dots / sizeof *dots; i++) {
        const disc_law law = law_of(dots[i]);
        fleck_interval expected[FIGURES], intervals[FIGURES];
        uint64_t random = 3;
        disc_field field;

        assert_true(disc_field_draw(&law, &random, &field));
        fill(&field, NULL, NULL, 11, 199, intervals);
        twin(&field, 11, 199, expected);
        for (int f = 0; f < FIGURES; f++) {
            check_ratio("low end", intervals[f].lo, expected[f].lo, 1e-12);
            check_ratio("high end", intervals[f].hi, expected[f].hi, 1e-12);
        }
        disc_field_clear(&field);
    }
}

static void test_intervals_hold_the_truth_as_often_as_said(void **state)
{
    /* of 300 runs 95 %, give or take 3 standard errors; a whole pixel's width may hold it oftener
     */
    enum { RUNS = 300 };
    disc_law law = law_of(200);
    int held[2] = { 0 };
    uint64_t random = 19;
    const fleck_geometry geometry = { 1, 1, 25.4 / 4800, 25.4 / 4800 };
    double truth_mm;

    (void)state;
    law.pixel_mm = geometry.pixel_x_mm;
    truth_mm =
        fleck_equivalent_diameter_mm(fleck_area_mm2(&geometry, disc_law_quantile_px(&law, 0.5)));
    for (int run = 0; run < RUNS; run++) {
        fleck_interval intervals[FIGURES];
        disc_field field;

        assert_true(disc_field_draw(&law, &random, &field));
        fill(&field, NULL, NULL, (uint64_t)run, 199, intervals);
        held[0] += intervals[1].lo <= truth_mm && truth_mm <= intervals[1].hi;
        held[1] += intervals[5].lo <= 100 * disc_law_counted_per_mm2(&law) &&
                   100 * disc_law_counted_per_mm2(&law) <= intervals[5].hi;
        disc_field_clear(&field);
    }
    check_near("d50", (double)held[0] / RUNS, 0.95, 0.038);
    check_near("per cm2", (double)held[1] / RUNS, 0.95, 0.038);
}

static void test_neither_order_nor_a_full_mask_changes_a_bit(void **state)
{
    const disc_law law = law_of(5000); /* several blocks of dots */
    fleck_interval first[FIGURES], again[FIGURES];
    uint64_t random = 23;
    disc_field field;
    fleck_mask *mask;

    (void)state;
    assert_true(disc_field_draw(&law, &random, &field));
    fill(&field, NULL, NULL, 1, 99, first);
    assert_int_equal(fleck_mask_new(field.geometry.width_px, field.geometry.height_px, &mask, NULL),
                     FLECK_OK);
    for (size_t y = 0; y < field.geometry.height_px; y++)
        fleck_mask_add_run(mask, y, 0, field.geometry.width_px);
    fill(&field, mask, NULL, 1, 99, again);
    assert_memory_equal(first, again, sizeof first);
    fleck_mask_free(mask);
    for (size_t i = field.count - 1; i > 0; i--) {
        const size_t j = (size_t)(test_random(&random) % (i + 1));
        const fleck_component swapped = field.counted[i];

        field.counted[i] = field.counted[j];
        field.counted[j] = swapped;
    }
    fill(&field, NULL, NULL, 1, 99, again);
    assert_memory_equal(first, again, sizeof first);
    fill(&field, NULL, NULL, 2, 99, again);
    assert_true(memcmp(first, again, sizeof first) != 0);
    disc_field_clear(&field);
}

/* Dots of 9 pixels, step_px apart from each other, the first corner_px from the corner. */
static disc_field lattice(size_t side_px, uint32_t corner_px, uint32_t step_px, uint32_t along)
{
    disc_field field = { .geometry = { side_px, side_px, 0.05, 0.05 } };

    field.counted = calloc((size_t)along * along, sizeof *field.counted);
    assert_non_null(field.counted);
    for (uint32_t i = 0; i < along * along; i++) {
        const uint32_t x = corner_px + step_px * (i % along), y = corner_px + step_px * (i / along);

        field.counted[field.count++] = (fleck_component){ .area_px = 9,
                                                          .first_x_px = x,
                                                          .first_y_px = y,
                                                          .min_x_px = x,
                                                          .max_x_px = x + 2,
                                                          .min_y_px = y,
                                                          .max_y_px = y + 2 };
    }
    return field;
}

static void test_equal_tiles_leave_no_doubt(void **state)
{
    /* 364 - 3 - 1 = 360 places along each side, 60 to a tile, 3 dots in each 20 apart */
    disc_field field = lattice(364, 1, 20, 18);
    const double per_cm2 = 18.0 * 18.0 / (360.0 * 360.0 * 0.05 * 0.05) * 100;
    fleck_interval intervals[FIGURES];

    (void)state;
    fill(&field, NULL, NULL, 1, 999, intervals);
    check_ratio("18^2 dots on 360^2 places of 0.05 mm, low", intervals[5].lo, per_cm2, 1e-12);
    check_ratio("high", intervals[5].hi, per_cm2, 1e-12);
    check_ratio("9 pixels", intervals[1].lo, 0.1 * sqrt(9 / 3.14159265358979323846), 1e-12);
    check_ratio("9 pixels", intervals[1].hi, 0.1 * sqrt(9 / 3.14159265358979323846), 1e-12);
    disc_field_clear(&field);
}

static void test_in_a_mask_tiles_count_by_their_area(void **state)
{
    /*
     * A lattice of 6 x 6 dots to a tile of 60 pixels, seen through a mask that leaves out the right
     * half of the lowest tile row and the upper left 30 x 60 pixels: dots per area stay the same.
     */
    disc_field field = lattice(360, 4, 10, 36);
    double weights[36 * 36];
    fleck_interval intervals[FIGURES];
    fleck_mask *mask;

    (void)state;
    assert_int_equal(fleck_mask_new(360, 360, &mask, NULL), FLECK_OK);
    for (size_t y = 0; y < 360; y++)
        fleck_mask_add_run(mask, y, y < 60 ? 30 : 0, y < 300 ? 360 : 180);
    for (size_t i = 0; i < field.count; i++) {
        const fleck_component *const one = &field.counted[i];

        weights[i] = fleck_mask_has(mask, one->first_x_px, one->first_y_px)
                         ? 1 / (double)fleck_mask_area_px(mask)
                         : 0;
    }
    fill(&field, mask, weights, 1, 999, intervals);
    /* all dots lie evenly, one to 10 x 10 pixels of 0.05 mm */
    check_ratio("low", intervals[5].lo, 400, 1e-12);
    check_ratio("high", intervals[5].hi, 400, 1e-12);
    fleck_mask_free(mask);
    disc_field_clear(&field);
}

static void test_few_dots_and_few_tiles_give_no_interval(void **state)
{
    const struct {
        const char *source;
        uint32_t corner_px, step_px, along;
        bool given;
    } cases[] = {
        { "16 dots", 40, 80, 4, false },
        { "25 dots in 25 tiles", 20, 60, 5, true },
        { "400 dots in one tile", 2, 3, 20, false },
        { "400 dots in 9 tiles", 2, 9, 20, false },
        { "400 dots in 16 tiles", 2, 10, 20, true },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        disc_field field = lattice(364, cases[i].corner_px, cases[i].step_px, cases[i].along);
        fleck_interval intervals[FIGURES];

        fill(&field, NULL, NULL, 1, 99, intervals);
        for (int f = 0; f < FIGURES; f++) {
            if ((intervals[f].lo > 0) != cases[i].given || (intervals[f].hi > 0) != cases[i].given)
                fail_msg("%s", cases[i].source);
        }
        disc_field_clear(&field);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_intervals_are_those_of_resampled_lists),
        cmocka_unit_test(test_intervals_hold_the_truth_as_often_as_said),
        cmocka_unit_test(test_neither_order_nor_a_full_mask_changes_a_bit),
        cmocka_unit_test(test_equal_tiles_leave_no_doubt),
        cmocka_unit_test(test_in_a_mask_tiles_count_by_their_area),
        cmocka_unit_test(test_few_dots_and_few_tiles_give_no_interval),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
