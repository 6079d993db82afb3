/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/pattern_window.h"

#include <stdlib.h>

#include "support/check.h"

static fleck_mask *new_mask(size_t width_px, size_t height_px)
{
    fleck_mask *mask = NULL;

    assert_int_equal(fleck_mask_new(width_px, height_px, &mask, NULL), FLECK_OK);
    return mask;
}

static void fill_box(fleck_mask *mask, fleck_pattern_box box)
{
    for (size_t y = 0; y < box.height_px; y++)
        fleck_mask_add_run(mask, box.top_px + y, box.left_px, box.left_px + box.width_px);
}

static fleck_pattern_box largest(const fleck_geometry *geometry, const fleck_mask *mask)
{
    fleck_pattern_box box;

    assert_int_equal(fleck_pattern_largest_box(geometry, mask, &box, NULL), FLECK_OK);
    return box;
}

static void check_box(fleck_pattern_box actual, size_t left_px, size_t top_px, size_t width_px,
                      size_t height_px)
{
    assert_int_equal(actual.left_px, left_px);
    assert_int_equal(actual.top_px, top_px);
    assert_int_equal(actual.width_px, width_px);
    assert_int_equal(actual.height_px, height_px);
}

static void without_a_mask_the_box_is_the_region(void **state)
{
    const fleck_geometry geometry = { 70, 50, 0.1, 0.1 };
    fleck_mask *mask = new_mask(70, 50);

    (void)state;
    check_box(largest(&geometry, NULL), 0, 0, 70, 50);
    check_box(largest(&geometry, mask), 0, 0, 0, 0);
    fill_box(mask, (fleck_pattern_box){ 0, 0, 70, 50 });
    check_box(largest(&geometry, mask), 0, 0, 70, 50);
    fleck_mask_free(mask);
}

static void of_two_boxes_the_larger_is_found(void **state)
{
    const fleck_geometry geometry = { 70, 50, 0.1, 0.1 };
    fleck_mask *mask = new_mask(70, 50);

    (void)state;
    fill_box(mask, (fleck_pattern_box){ 3, 4, 20, 9 });
    fill_box(mask, (fleck_pattern_box){ 30, 20, 11, 25 });
    check_box(largest(&geometry, mask), 30, 20, 11, 25);
    fleck_mask_free(mask);
}

/* Every box of small random masks, one by one. */
static void no_box_of_a_random_mask_is_larger(void **state)
{
    enum { W = 12, H = 9, TRIALS = 60 };
    const fleck_geometry geometry = { W, H, 0.1, 0.1 };
    uint64_t random = 6;

    (void)state;
    for (int trial = 0; trial < TRIALS; trial++) {
        fleck_mask *mask = new_mask(W, H);
        size_t inside[H + 1][W + 1] = { { 0 } }, best = 0;
        fleck_pattern_box box;

        for (size_t y = 0; y < H; y++)
            for (size_t x = 0; x < W; x++) {
                const bool in = test_uniform(&random) < 0.75;

                if (in)
                    fleck_mask_add_run(mask, y, x, x + 1);
                inside[y + 1][x + 1] = in + inside[y][x + 1] + inside[y + 1][x] - inside[y][x];
            }
        for (size_t top = 0; top < H; top++)
            for (size_t left = 0; left < W; left++)
                for (size_t end = top + 1; end <= H; end++)
                    for (size_t right = left + 1; right <= W; right++) {
                        const size_t area = (end - top) * (right - left);

                        if (area > best && inside[end][right] - inside[top][right] -
                                                   inside[end][left] + inside[top][left] ==
                                               area)
                            best = area;
                    }
        box = largest(&geometry, mask);
        assert_int_equal(box.width_px * box.height_px, best);
        for (size_t y = 0; y < box.height_px; y++)
            for (size_t x = 0; x < box.width_px; x++)
                assert_true(fleck_mask_has(mask, box.left_px + x, box.top_px + y));
        fleck_mask_free(mask);
    }
}

static void large_regions_are_looked_at_in_blocks(void **state)
{
    const fleck_geometry geometry = { 1100, 1030, 0.1, 0.1 }; /* blocks of 4 */
    fleck_mask *mask = new_mask(1100, 1030);

    (void)state;
    fill_box(mask, (fleck_pattern_box){ 101, 203, 800, 700 });
    check_box(largest(&geometry, mask), 104, 204, 796, 696);
    fleck_mask_free(mask);
}

static void a_window_keeps_clear_of_what_cuts_dots_unseen(void **state)
{
    static const struct {
        const char *what;
        fleck_pattern_box box;
        double shrink;
        size_t margin_px;
        fleck_pattern_box points, drawn;
    } cases[] = {
        { "the whole region", { 0, 0, 200, 100 }, 1, 10, { 0, 0, 200, 100 }, { 0, 0, 200, 100 } },
        { "its middle", { 0, 0, 200, 100 }, 0.5, 10, { 50, 25, 100, 50 }, { 40, 15, 120, 70 } },
        { "near its border", { 0, 0, 200, 100 }, 0.9, 10, { 10, 5, 180, 90 }, { 0, 0, 200, 100 } },
        { "a box inside", { 20, 20, 100, 60 }, 1, 10, { 30, 30, 80, 40 }, { 20, 20, 100, 60 } },
        { "a corner", { 0, 0, 100, 60 }, 1, 10, { 0, 0, 90, 50 }, { 0, 0, 100, 60 } },
        { "its middle", { 20, 20, 100, 60 }, 0.5, 10, { 45, 35, 50, 30 }, { 35, 25, 70, 50 } },
    };
    const fleck_geometry geometry = { 200, 100, 0.1, 0.1 };
    fleck_pattern_window window;

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        assert_true(fleck_pattern_window_choose(&geometry, &cases[i].box, cases[i].shrink,
                                                cases[i].margin_px, &window));
        assert_memory_equal(&window.points, &cases[i].points, sizeof window.points);
        assert_memory_equal(&window.drawn, &cases[i].drawn, sizeof window.drawn);
    }
    assert_false(fleck_pattern_window_choose(&geometry, &cases[3].box, 1, 30, &window));
    assert_false(fleck_pattern_window_choose(&geometry, &cases[3].box, 1, 3000, &window));
}

/* Two pixels, 51 and 52 of row 30: their centroid is the border between them. */
static void a_centroid_is_the_mean_of_pixel_centres(void **state)
{
    const fleck_geometry geometry = { 200, 100, 0.1, 0.2 };
    const fleck_component component = { .area_px = 2, .sum_x_px = 103, .sum_y_px = 60 };
    const fleck_component drawn = { .area_px = 2, .sum_x_px = 23, .sum_y_px = 30 };
    fleck_pattern_window window = { { 50, 25, 100, 50 }, { 40, 15, 120, 70 } };
    fleck_point_mm place;

    (void)state;
    assert_true(fleck_pattern_place(&window, &geometry, &component, 0, 0, &place));
    check_near("x", place.x_mm, 0.2, 1e-12);
    check_near("y", place.y_mm, 1.1, 1e-12);
    assert_true(fleck_pattern_place(&window, &geometry, &drawn, 40, 15, &place));
    check_near("x from the drawn box", place.x_mm, 0.2, 1e-12);
    check_near("y from the drawn box", place.y_mm, 1.1, 1e-12);
    window.points.left_px = 52; /* from its own border on a point is inside */
    assert_true(fleck_pattern_place(&window, &geometry, &component, 0, 0, &place));
    check_near("on the border", place.x_mm, 0, 1e-12);
    window.points = (fleck_pattern_box){ 50, 25, 2, 50 };
    assert_false(fleck_pattern_place(&window, &geometry, &component, 0, 0, &place));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(without_a_mask_the_box_is_the_region),
        cmocka_unit_test(of_two_boxes_the_larger_is_found),
        cmocka_unit_test(no_box_of_a_random_mask_is_larger),
        cmocka_unit_test(large_regions_are_looked_at_in_blocks),
        cmocka_unit_test(a_window_keeps_clear_of_what_cuts_dots_unseen),
        cmocka_unit_test(a_centroid_is_the_mean_of_pixel_centres),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
