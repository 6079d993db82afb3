/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/shape.h"

#include <math.h>
#include <stdlib.h>

#include "measure/blobs.h"
#include "support/check.h"

static double *gaps_of(const struct blobs *blobs, const fleck_geometry *geometry)
{
    double *gaps = calloc(blobs->count + 1, sizeof *gaps);

    assert_non_null(gaps);
    assert_int_equal(fleck_gaps(blobs->items, blobs->count, geometry, 2, gaps, NULL), FLECK_OK);
    return gaps;
}

static void test_gaps_are_those_counted_by_hand(void **state)
{
    static const struct {
        const char *source, *text;
        double px, py;
        size_t dots;
        double gap[3];
    } cases[] = {
        { "one bare pixel", "#.#", 0.1, 0.1, 2, { 0.1, 0.1 } },
        { "three bare pixels, of which the nearer counts", "#...#.##", 0.1, 0.1, 3,
          { 0.3, 0.1, 0.1 } },
        { "a knight's step: sqrt 5 less one", "#.. ..#", 0.1, 0.1, 2, { 0.1236068, 0.1236068 } },
        { "wide pixels, one bare", "#.#", 0.3, 0.1, 2, { 0.3, 0.3 } },
        { "wide pixels, one bare below", "# . #", 0.3, 0.1, 2, { 0.1, 0.1 } },
        { "inside a ring", "##### #...# #.#.# #...# #####", 0.1, 0.1, 2, { 0.1, 0.1 } },
        { "a dot alone has none", ".#.", 0.1, 0.1, 1, { NAN } },
        /* equally far: 2 steps of 0.2, or 4 of 0.1 that leave 0.3 */
        { "of equal distances the least gap", "#.# ... ... ... #..", 0.2, 0.1, 3, { 0.2, 0.2, 0.3 } },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct mask mask = mask_from_text(cases[i].text);
        struct blobs blobs = blobs_from_mask(&mask, FLECK_PHASE_INK, 1);
        const fleck_geometry geometry = { 1, 1, cases[i].px, cases[i].py };
        double *gaps = gaps_of(&blobs, &geometry);

        assert_int_equal(blobs.count, cases[i].dots);
        for (size_t j = 0; j < blobs.count; j++)
            check_near(cases[i].source, gaps[j], cases[i].gap[j], 1e-7);
        free(gaps);
        blobs_free(&blobs);
        mask_free(&mask);
    }
}

/* All pixels of one dot against all of all others. */
static double slow_gap(const struct blobs *blobs, size_t of, const fleck_geometry *geometry)
{
    double best = INFINITY, gap = NAN;

    for (size_t other = 0; other < blobs->count; other++) {
        const fleck_blob *const a = &blobs->items[of], *const b = &blobs->items[other];

        for (size_t i = 0; other != of && i < a->run_count; i++)
            for (size_t j = 0; j < b->run_count; j++)
                for (size_t u = a->runs[i].start_px; u < a->runs[i].end_px; u++)
                    for (size_t v = b->runs[j].start_px; v < b->runs[j].end_px; v++) {
                        const double dx = (double)u - (double)v;
                        const double dy = (double)a->runs[i].y_px - (double)b->runs[j].y_px;
                        const double mm = hypot(dx * geometry->pixel_x_mm,
                                                dy * geometry->pixel_y_mm);
                        const double left = mm - mm / hypot(dx, dy);

                        if (mm < best - 1e-12 || (mm < best + 1e-12 && left < gap)) {
                            best = mm;
                            gap = left;
                        }
                    }
    }
    return gap;
}

static void test_random_dots_have_the_gaps_of_all_pairs(void **state)
{
    uint64_t seed = 3;

    (void)state;
    for (int i = 0; i < 10; i++) {
        const fleck_geometry geometry = { 1, 1, 0.02, i % 2 == 0 ? 0.02 : 0.03 };
        struct mask mask = i < 6 ? mask_speckle(100, 90, 2 + i % 3, 0.05 * (i + 1), &seed)
                                 : mask_random(60, 50, 0.1 * (i - 5), &seed);
        struct blobs blobs = blobs_from_mask(&mask, FLECK_PHASE_INK, 1);
        double *gaps = gaps_of(&blobs, &geometry);

        for (size_t j = 0; j < blobs.count; j++)
            check_near("all pairs of pixels", gaps[j], slow_gap(&blobs, j, &geometry), 1e-12);
        free(gaps);
        blobs_free(&blobs);
        mask_free(&mask);
    }
}

/* A comb that spans the patch, with dots between its teeth and beyond. */
static void test_a_dot_that_spans_the_patch_is_everyones_neighbour(void **state)
{
    const fleck_geometry geometry = { 1, 1, 1, 1 };
    struct mask mask = mask_new(240, 220);
    struct blobs blobs;
    double *gaps;

    (void)state;
    for (size_t y = 0; y < 200; y++)
        for (size_t x = 0; x < 240; x++)
            mask.ink[y * 240 + x] = x % 12 == 0 || y == 0 || (x % 12 == 5 && y % 10 == 5);
    mask.ink[215 * 240 + 3] = 1;
    blobs = blobs_from_mask(&mask, FLECK_PHASE_INK, 1);
    gaps = gaps_of(&blobs, &geometry);
    assert_int_equal(blobs.count, 2 + 20 * 20);
    for (size_t i = 1; i < blobs.count - 1; i++)
        check_near("five pixels to the tooth on the left, or the back", gaps[i], 4, 1e-12);
    check_near("of the comb", gaps[0], 4, 1e-12);
    check_near("below the teeth", gaps[blobs.count - 1], hypot(3, 16) - 1, 1e-12);
    free(gaps);
    blobs_free(&blobs);
    mask_free(&mask);
}

static void test_the_order_of_the_dots_changes_no_digit(void **state)
{
    const fleck_geometry geometry = { 1, 1, 0.021, 0.0213 };
    uint64_t seed = 8;
    struct mask mask = mask_speckle(200, 160, 3, 0.2, &seed);
    struct blobs blobs = blobs_from_mask(&mask, FLECK_PHASE_INK, 1);
    double *gaps = gaps_of(&blobs, &geometry), *back;

    (void)state;
    assert_true(blobs.count > 50);
    for (size_t i = 0; i < blobs.count / 2; i++) {
        const fleck_blob moved = blobs.items[i];

        blobs.items[i] = blobs.items[blobs.count - 1 - i];
        blobs.items[blobs.count - 1 - i] = moved;
    }
    back = gaps_of(&blobs, &geometry);
    for (size_t i = 0; i < blobs.count; i++)
        check_near("the other way round", back[blobs.count - 1 - i], gaps[i], 0);
    free(gaps);
    free(back);
    blobs_free(&blobs);
    mask_free(&mask);
}

static void test_a_blob_without_runs_is_nobodys_neighbour(void **state)
{
    static const fleck_blob_run run = { 3, 4, 5 };
    const fleck_geometry geometry = { 1, 1, 1, 1 };
    const fleck_blob blobs[2] = { { .run_count = 0 }, { .runs = &run, .run_count = 1 } };
    double gaps[2] = { 0, 0 };

    (void)state;
    assert_int_equal(fleck_gaps(blobs, 2, &geometry, 2, gaps, NULL), FLECK_OK);
    check_near("without runs", gaps[0], NAN, 0);
    check_near("alone then", gaps[1], NAN, 0);
    assert_int_equal(fleck_gaps(blobs, 1, &geometry, 2, gaps, NULL), FLECK_OK);
    assert_int_equal(fleck_gaps(NULL, 0, &geometry, 2, gaps, NULL), FLECK_OK);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_gaps_are_those_counted_by_hand),
        cmocka_unit_test(test_random_dots_have_the_gaps_of_all_pairs),
        cmocka_unit_test(test_a_dot_that_spans_the_patch_is_everyones_neighbour),
        cmocka_unit_test(test_the_order_of_the_dots_changes_no_digit),
        cmocka_unit_test(test_a_blob_without_runs_is_nobodys_neighbour),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
