/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/shape.h"

#include <math.h>
#include <stdlib.h>

#include "measure/blobs.h"
#include "support/check.h"

struct disc {
    double x, y, radius; /* in mm */
};

static void draw_disc(struct mask *mask, const fleck_geometry *geometry, struct disc disc)
{
    for (size_t y = 0; y < mask->height_px; y++)
        for (size_t x = 0; x < mask->width_px; x++)
            if (hypot(((double)x + 0.5) * geometry->pixel_x_mm - disc.x,
                      ((double)y + 0.5) * geometry->pixel_y_mm - disc.y) <= disc.radius)
                mask->ink[y * mask->width_px + x] = 1;
}

static fleck_split split_mask(const struct mask *mask, const fleck_geometry *geometry,
                              double depth_mm)
{
    struct blobs blobs = blobs_from_mask(mask, FLECK_PHASE_INK, 1);
    fleck_split split;
    uint64_t area = 0;

    assert_int_equal(
        fleck_split_dots(blobs.items, blobs.count, geometry, depth_mm, &split, NULL), FLECK_OK);
    for (size_t i = 0, part = 0; i < blobs.count; i++) {
        for (area = 0; part < split.count && split.parts[part].blob == i; part++)
            area += split.parts[part].area_px;
        assert_int_equal(area, blobs.items[i].component.area_px);
    }
    blobs_free(&blobs);
    return split;
}

/* Two discs of radius 0.15 mm: the neck is sqrt(R^2 - (d/2)^2), which lies R less that deep. */
static void test_two_discs_part_where_their_neck_is_deep_enough(void **state)
{
    static const double ppi[] = { 600, 1200, 2400 };
    static const double depth_mm = 0.03;

    (void)state;
    for (size_t i = 0; i < 3; i++)
        for (int step = 0; step < 24; step++) {
            const double pixel_mm = 25.4 / ppi[i], distance_mm = 0.02 + 0.01 * step;
            const double neck_mm = sqrt(0.15 * 0.15 - distance_mm * distance_mm / 4);
            const fleck_geometry geometry = { 1, 1, pixel_mm, pixel_mm };
            struct mask mask = mask_new((size_t)(0.8 / pixel_mm), (size_t)(0.8 / pixel_mm));
            fleck_split split;

            draw_disc(&mask, &geometry, (struct disc){ 0.3, 0.3, 0.15 });
            draw_disc(&mask, &geometry,
                      (struct disc){ 0.3 + distance_mm * 0.8, 0.3 + distance_mm * 0.6, 0.15 });
            split = split_mask(&mask, &geometry, depth_mm);
            /* what the pixels round off at peak and neck, half of one each, may decide either way */
            if (0.15 - neck_mm > depth_mm + pixel_mm)
                assert_int_equal(split.count, 2);
            if (0.15 - neck_mm < depth_mm - pixel_mm)
                assert_int_equal(split.count, 1);
            fleck_split_clear(&split);
            mask_free(&mask);
        }
}

/*
 * Winding chains of discs of known number, each 0.85 to 0.95 mean diameters from the last and clear of
 * all others: no sharp bends, as in the gap between three, when it is filled, the pass lies higher.
 */
static void test_overlapping_discs_are_as_many_as_were_drawn(void **state)
{
    const fleck_geometry geometry = { 1, 1, 25.4 / 1200, 25.4 / 1200 };
    uint64_t seed = 21;

    (void)state;
    for (size_t chain = 0; chain < 24; chain++) {
        const size_t discs = 1 + chain % 12;
        struct mask mask = mask_new(240, 240);
        double x = 2.5, y = 2.5;
        struct disc drawn[12];
        fleck_split split;

        for (size_t i = 0; i < discs;) {
            const double angle = 6.283185307 * test_uniform(&seed);
            const double radius = 0.17 + 0.05 * test_uniform(&seed); /* 8 to 10 pixels */
            bool fits = true;

            if (i > 0) {
                const double step = (0.85 + 0.1 * test_uniform(&seed)) * (radius + drawn[i - 1].radius);

                x = drawn[i - 1].x + step * cos(angle);
                y = drawn[i - 1].y + step * sin(angle);
            }
            for (size_t j = 0; j + 1 < i; j++)
                fits = fits && hypot(x - drawn[j].x, y - drawn[j].y) >
                                   1.35 * (radius + drawn[j].radius);
            if (fits && x > 0.3 && x < 4.7 && y > 0.3 && y < 4.7)
                drawn[i++] = (struct disc){ x, y, radius };
        }
        for (size_t i = 0; i < discs; i++)
            draw_disc(&mask, &geometry, drawn[i]);
        split = split_mask(&mask, &geometry, fleck_split_depth_mm(&geometry));
        assert_int_equal(split.count, discs);
        assert_int_equal(split.too_large, 0);
        fleck_split_clear(&split);
        mask_free(&mask);
    }
}

static void test_parts_of_two_equal_discs_are_halves(void **state)
{
    const fleck_geometry geometry = { 1, 1, 0.01, 0.01 };
    struct mask mask = mask_new(100, 50);
    fleck_split split;

    (void)state;
    draw_disc(&mask, &geometry, (struct disc){ 0.25, 0.25, 0.15 });
    draw_disc(&mask, &geometry, (struct disc){ 0.50, 0.25, 0.15 });
    split = split_mask(&mask, &geometry, 0.03);
    assert_int_equal(split.count, 2);
    check_near("mirror images but for the neck", (double)split.parts[0].area_px,
               (double)split.parts[1].area_px, 20);
    fleck_split_clear(&split);
    mask_free(&mask);
}

static void test_oblong_pixels_split_by_millimetres(void **state)
{
    const fleck_geometry geometry = { 1, 1, 0.01, 0.02 };
    struct mask mask = mask_new(140, 50);
    fleck_split split;

    (void)state;
    draw_disc(&mask, &geometry, (struct disc){ 0.35, 0.45, 0.20 });
    draw_disc(&mask, &geometry, (struct disc){ 0.70, 0.45, 0.20 });
    split = split_mask(&mask, &geometry, 0.04); /* neck 0.097: 0.1 deep */
    assert_int_equal(split.count, 2);
    fleck_split_clear(&split);
    split = split_mask(&mask, &geometry, 0.13);
    assert_int_equal(split.count, 1);
    fleck_split_clear(&split);
    mask_free(&mask);
}

/* ---- the slow twin: parts are counted by cutting the map level by level ---- */

/* Distance to bare paper in 1/32 pixel by trying all pixels; mask with a bare border. */
static void slow_levels(const struct mask *mask, int *level)
{
    const int w = (int)mask->width_px, h = (int)mask->height_px;

    for (int y = 0; y < h; y++)
        for (int x = 0; x < w; x++) {
            double best = INFINITY;

            for (int v = 0; v < h; v++)
                for (int u = 0; u < w; u++)
                    if (!mask->ink[v * w + u])
                        best = fmin(best, hypot(x - u, y - v));
            level[y * w + x] = mask->ink[y * w + x] ? (int)floor(32 * best + 0.5) : 0;
        }
}

/*
 * Components of {level >= t} by flood fill. A maximum counts when the component of all that is at
 * least depth below it holds nothing higher, nor an equal maximum found before.
 */
static size_t slow_count(const struct mask *mask, int depth)
{
    const int w = (int)mask->width_px, n = w * (int)mask->height_px;
    int *const level = calloc((size_t)n, sizeof *level), *const stack = calloc((size_t)n, sizeof *stack);
    uint8_t *const seen = calloc((size_t)n, 1), *const done = calloc((size_t)n, 1);
    size_t count = 0;

    assert_true(level != NULL && stack != NULL && seen != NULL && done != NULL);
    slow_levels(mask, level);
    for (int start = 0; start < n; start++) {
        bool is_peak = level[start] > 0 && !done[start];
        int size = 0;

        if (!is_peak)
            continue;
        for (int i = 0; i < n; i++)
            seen[i] = 0;
        stack[size++] = start;
        seen[start] = 1;
        while (size > 0) {
            const int at = stack[--size];

            is_peak = is_peak && level[at] <= level[start] && !(done[at] && level[at] == level[start]);
            for (int d = 0; d < 9; d++) {
                const int to = at + (d / 3 - 1) * w + d % 3 - 1;

                if (to < 0 || to >= n || seen[to] || level[to] == 0 ||
                    level[to] <= level[start] - depth)
                    continue;
                seen[to] = 1;
                stack[size++] = to;
            }
        }
        if (is_peak) {
            count++;
            done[start] = 1;
        }
    }
    free(level);
    free(stack);
    free(seen);
    free(done);
    return count;
}

static void test_random_shapes_have_as_many_parts_as_maxima_of_that_depth(void **state)
{
    const fleck_geometry geometry = { 1, 1, 1, 1 };
    uint64_t seed = 77;

    (void)state;
    for (int i = 0; i < 24; i++) {
        struct mask drawn = i % 2 == 0 ? mask_speckle(40, 36, 3 + i % 4, 0.5, &seed)
                                       : mask_random(30, 30, 0.75, &seed);
        struct mask mask = mask_framed(&drawn);
        static const double depth[3] = { 0.25, 0.5, 1.5 };
        fleck_split split = split_mask(&mask, &geometry, depth[i % 3]);

        assert_int_equal(split.count, slow_count(&mask, (int)(32 * depth[i % 3])));
        fleck_split_clear(&split);
        mask_free(&drawn);
        mask_free(&mask);
    }
}

static void test_what_cannot_be_split_stays_whole_and_bad_depths_are_refused(void **state)
{
    const fleck_geometry geometry = { 1, 1, 0.02, 0.02 };
    const fleck_blob blobs[1] = { { .component = { .area_px = 900, .max_x_px = 40, .max_y_px = 40 } } };
    fleck_split split;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_split_dots(blobs, 1, &geometry, 0.02, &split, &err), FLECK_OK);
    assert_int_equal(split.count, 1);
    assert_int_equal(split.parts[0].area_px, 900);
    assert_int_equal(split.too_large, 1);
    fleck_split_clear(&split);
    assert_int_equal(fleck_split_dots(blobs, 0, &geometry, 0.02, &split, &err), FLECK_OK);
    assert_int_equal(split.count, 0);
    assert_int_equal(fleck_split_dots(blobs, 1, &geometry, 0, &split, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_split_dots(blobs, 1, &geometry, NAN, &split, &err), FLECK_BAD_CALL);
    fleck_split_clear(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_two_discs_part_where_their_neck_is_deep_enough),
        cmocka_unit_test(test_overlapping_discs_are_as_many_as_were_drawn),
        cmocka_unit_test(test_parts_of_two_equal_discs_are_halves),
        cmocka_unit_test(test_oblong_pixels_split_by_millimetres),
        cmocka_unit_test(test_random_shapes_have_as_many_parts_as_maxima_of_that_depth),
        cmocka_unit_test(test_what_cannot_be_split_stays_whole_and_bad_depths_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
