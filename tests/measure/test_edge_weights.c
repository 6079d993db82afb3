/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Weights in areas of any shape: against boxes slid over every place, and against a known density.
 */
#include "fleck/texture.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "segment/area_shapes.h"
#include "support/check.h"

enum { MOST = 200 };

static bool box_inside(const struct mask *area, size_t left, size_t top, size_t w, size_t h)
{
    for (size_t y = top; y < top + h; y++) {
        for (size_t x = left; x < left + w; x++) {
            if (x >= area->width_px || y >= area->height_px || !area->ink[y * area->width_px + x])
                return false;
        }
    }
    return true;
}

/* The slow twin: the box with one more pixel on all sides is slid over every place. */
static double slow_weight(const struct mask *area, const fleck_component *one)
{
    const size_t w = one->max_x_px - one->min_x_px + 3, h = one->max_y_px - one->min_y_px + 3;
    size_t places = 0;

    if (one->at_edge || one->min_x_px == 0 || one->min_y_px == 0 ||
        !box_inside(area, one->min_x_px - 1, one->min_y_px - 1, w, h))
        return 0;
    for (size_t y = 0; y < area->height_px; y++)
        for (size_t x = 0; x < area->width_px; x++)
            places += box_inside(area, x, y, w, h);
    return 1 / (double)places;
}

/* Boxes of all sizes at all places, and the labelled components of a speckle. */
static size_t make_components(const struct mask *area, const fleck_mask *mask,
                              fleck_component *list, uint64_t *random)
{
    const size_t w = area->width_px, h = area->height_px;
    struct mask ink = mask_speckle(w, h, 1.5, 0.2, random), clipped = area_clipped(&ink, area);
    struct components found[2];
    size_t n = 0;

    mask_label_in(&clipped, mask, found);
    for (int phase = 0; phase < 2; phase++) {
        for (size_t i = 0; i < found[phase].count && n < MOST / 2; i++)
            list[n++] = found[phase].items[i];
        components_free(&found[phase]);
    }
    for (; n < MOST; n++) {
        fleck_component *const one = &list[n];

        *one = (fleck_component){ .area_px = 1 };
        one->min_x_px = (uint32_t)(test_random(random) % w);
        one->min_y_px = (uint32_t)(test_random(random) % h);
        one->max_x_px = one->min_x_px + (uint32_t)(test_random(random) % (w - one->min_x_px));
        one->max_y_px = one->min_y_px + (uint32_t)(test_random(random) % (h - one->min_y_px));
        if (n % 3 > 0) { /* most are small, so that they have places in thin shapes too */
            one->max_x_px = one->min_x_px + 2 < one->max_x_px ? one->min_x_px + 2 : one->max_x_px;
            one->max_y_px = one->min_y_px + 1 < one->max_y_px ? one->min_y_px + 1 : one->max_y_px;
        }
        one->at_edge = n % 17 == 0 || one->min_x_px == 0 || one->min_y_px == 0 ||
                       one->max_x_px + 1 == w || one->max_y_px + 1 == h;
    }
    mask_free(&ink);
    mask_free(&clipped);
    return n;
}

static void test_weights_are_those_of_sliding_every_box(void **state)
{
    uint64_t random = 23;
    size_t weighted = 0;

    (void)state;
    for (size_t trial = 0; trial < AREA_KINDS * 5; trial++) {
        const enum area_kind kind = (enum area_kind)(trial % AREA_KINDS);
        const fleck_geometry geometry = { 3 + test_random(&random) % 70,
                                          3 + test_random(&random) % 40, 0.1, 0.2 };
        struct mask area = area_make(kind, geometry.width_px, geometry.height_px, &random);
        fleck_mask *mask = area_mask(&area);
        fleck_component list[MOST];
        double weights[MOST];
        const size_t n = make_components(&area, mask, list, &random);
        fleck_error err;

        assert_int_equal(fleck_edge_weights(&geometry, mask, list, n, weights, &err), FLECK_OK);
        for (size_t i = 0; i < n; i++) {
            check_near(area_names[kind], weights[i], slow_weight(&area, &list[i]), 0);
            weighted += weights[i] > 0 && kind != AREA_FULL;
        }
        fleck_mask_free(mask);
        mask_free(&area);
    }
    assert_true(weighted > 1000);
}

static void test_a_full_mask_and_none_give_the_formula_for_rectangles(void **state)
{
    const fleck_geometry geometry = { 67, 35, 0.1, 0.2 };
    uint64_t random = 3;
    struct mask area = area_make(AREA_FULL, 67, 35, &random);
    fleck_mask *mask = area_mask(&area);
    fleck_component list[MOST];
    double full[MOST], none[MOST];
    const size_t n = make_components(&area, mask, list, &random);
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_edge_weights(&geometry, mask, list, n, full, &err), FLECK_OK);
    assert_int_equal(fleck_edge_weights(&geometry, NULL, list, n, none, &err), FLECK_OK);
    for (size_t i = 0; i < n; i++) {
        const double wanted = fleck_edge_weight_per_px2(&geometry, &list[i]);

        check_near("(W - w - 1)(H - h - 1)", full[i], wanted, 0);
        check_near("(W - w - 1)(H - h - 1)", none[i], wanted, 0);
    }
    assert_int_equal(fleck_edge_weights(&geometry, mask, NULL, 0, NULL, &err), FLECK_OK);
    fleck_mask_free(mask);
    mask_free(&area);
}

/* A component that bends round a hole touches nothing outside, and its box is not inside. */
static void test_a_component_round_a_hole_has_no_weight(void **state)
{
    struct mask area = mask_from_text("########### ########### ########### ########### "
                                      "#####.##### ########### ########### ########### "
                                      "###########");
    struct mask ink = mask_from_text("........... ........... ..#######.. ..#.....#.. "
                                     "..#.....#.. ..#.....#.. ..#######.. ........... "
                                     "...........");
    const fleck_geometry geometry = { 11, 9, 1, 1 };
    fleck_mask *mask = area_mask(&area);
    struct components found[2];
    double weight;
    fleck_error err;

    (void)state;
    mask_label_in(&ink, mask, found);
    assert_int_equal(found[FLECK_PHASE_INK].count, 1);
    assert_false(found[FLECK_PHASE_INK].items[0].at_edge);
    assert_int_equal(
        fleck_edge_weights(&geometry, mask, found[FLECK_PHASE_INK].items, 1, &weight, &err),
        FLECK_OK);
    check_near("the hole lies in its box", weight, 0, 0);
    components_free(&found[0]);
    components_free(&found[1]);
    fleck_mask_free(mask);
    mask_free(&area);
    mask_free(&ink);
}

/*
 * Rectangles of several sizes are strewn over a plane larger than the mask, 0.002 of each size per
 * pixel. What lies wholly inside, weighted, must give that number back for each size.
 */
static void test_densities_are_without_bias_in_any_shape(void **state)
{
    static const uint32_t sizes[][2] = { { 1, 1 }, { 9, 2 }, { 3, 12 }, { 14, 14 } };
    static const enum area_kind kinds[] = { AREA_DISC, AREA_RING, AREA_COMB, AREA_BLOBS };
    enum { SIDE = 90, REACH = 20, TRIALS = 400, SIZES = 4 };
    const fleck_geometry geometry = { SIDE, SIDE, 1, 1 };
    const double density = 0.002;
    const size_t strewn = 34; /* 0.002 * 130 * 130 = 33.8, drawn as a binomial of twice as many */
    uint64_t random = 77;

    (void)state;
    for (size_t k = 0; k < sizeof kinds / sizeof *kinds; k++) {
        struct mask area = area_make(kinds[k], SIDE, SIDE, &random);
        fleck_mask *mask = area_mask(&area);
        double sum[SIZES] = { 0 }, squares[SIZES] = { 0 };

        for (int trial = 0; trial < TRIALS; trial++) {
            for (size_t s = 0; s < SIZES; s++) {
                const double share =
                    density * (SIDE + 2.0 * REACH) * (SIDE + 2.0 * REACH) / (2.0 * (double)strewn);
                double estimate = 0;

                for (size_t i = 0; i < 2 * strewn; i++) {
                    const long x = (long)(test_random(&random) % (SIDE + 2 * REACH)) - REACH;
                    const long y = (long)(test_random(&random) % (SIDE + 2 * REACH)) - REACH;
                    fleck_component one = { .area_px = 1 };
                    double weight;
                    fleck_error err;

                    if (test_uniform(&random) >= share || x < 1 || y < 1 ||
                        !box_inside(&area, (size_t)x - 1, (size_t)y - 1, sizes[s][0] + 2,
                                    sizes[s][1] + 2))
                        continue;
                    one.min_x_px = (uint32_t)x;
                    one.min_y_px = (uint32_t)y;
                    one.max_x_px = one.min_x_px + sizes[s][0] - 1;
                    one.max_y_px = one.min_y_px + sizes[s][1] - 1;
                    assert_int_equal(fleck_edge_weights(&geometry, mask, &one, 1, &weight, &err),
                                     FLECK_OK);
                    estimate += weight;
                }
                sum[s] += estimate;
                squares[s] += estimate * estimate;
            }
        }
        for (size_t s = 0; s < SIZES; s++) {
            const double mean = sum[s] / TRIALS;
            const double error = sqrt((squares[s] / TRIALS - mean * mean) / TRIALS);
            char what[64];

            snprintf(what, sizeof what, "%s, %u x %u", area_names[kinds[k]], sizes[s][0],
                     sizes[s][1]);
            if (mean > 0) /* the teeth of the comb are too thin for the largest */
                check_near(what, mean, density, 3 * error);
        }
        fleck_mask_free(mask);
        mask_free(&area);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_weights_are_those_of_sliding_every_box),
        cmocka_unit_test(test_a_full_mask_and_none_give_the_formula_for_rectangles),
        cmocka_unit_test(test_a_component_round_a_hole_has_no_weight),
        cmocka_unit_test(test_densities_are_without_bias_in_any_shape),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
