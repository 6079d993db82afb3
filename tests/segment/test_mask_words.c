/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Masks of one bit a pixel against the same areas of one byte a pixel. */
#include "segment/mask_words.h"

#include <stdlib.h>
#include <string.h>

#include "segment/area_shapes.h"
#include "support/check.h"

static const size_t widths[] = { 1, 2, 63, 64, 65, 127, 128, 129, 200 };

static size_t slow_count(const struct mask *area, size_t x0, size_t y0, size_t w, size_t h)
{
    size_t count = 0;

    for (size_t y = y0; y < y0 + h; y++)
        for (size_t x = x0; x < x0 + w; x++)
            count += area->ink[y * area->width_px + x];
    return count;
}

static void check_same(const struct mask *area, const fleck_mask *mask)
{
    fleck_run *const runs = malloc((area->width_px / 2 + 1) * sizeof *runs);
    fleck_run *const found = malloc((area->width_px / 2 + 1) * sizeof *found);

    assert_int_equal(fleck_mask_width_px(mask), area->width_px);
    assert_int_equal(fleck_mask_height_px(mask), area->height_px);
    assert_int_equal(fleck_mask_area_px(mask),
                     slow_count(area, 0, 0, area->width_px, area->height_px));
    for (size_t y = 0; y < area->height_px; y++) {
        const size_t n = mask_runs(area, y, runs);

        assert_int_equal(fleck_mask_runs(mask, y, found), n);
        if (n > 0)
            assert_memory_equal(found, runs, n * sizeof *runs);
        for (size_t x = 0; x < area->width_px; x++)
            assert_int_equal(fleck_mask_has(mask, x, y), area->ink[y * area->width_px + x]);
        assert_false(fleck_mask_has(mask, area->width_px, y));
    }
    assert_false(fleck_mask_has(mask, 0, area->height_px));
    free(runs);
    free(found);
}

static void check_runs(const struct mask *area, const fleck_mask *mask, uint64_t *random)
{
    const size_t w = area->width_px, h = area->height_px;

    for (int i = 0; i < 200; i++) {
        const size_t y = test_random(random) % h, start = test_random(random) % (w + 1);
        const size_t end = start + test_random(random) % (w - start + 1);
        const size_t count = slow_count(area, start, y, end - start, 1);

        assert_int_equal(fleck_mask_count(mask, y, start, end), count);
        assert_int_equal(fleck_mask_covers(mask, y, start, end), count == end - start);
        if (start < end) {
            const bool in_box = y > 0 && y + 1 < h && start > 0 && end < w;
            const size_t length = end - start + 2;

            assert_int_equal(fleck_mask_is_clear(mask, y, start, end),
                             in_box && slow_count(area, start - 1, y - 1, length, 3) == 3 * length);
        }
    }
}

static void check_clipped(const struct mask *area, const fleck_mask *mask, uint64_t *random)
{
    struct mask ink = mask_random(area->width_px, area->height_px, 0.6, random);
    struct mask clipped = area_clipped(&ink, area);
    fleck_run *const runs = malloc((area->width_px / 2 + 1) * sizeof *runs);
    fleck_run *const inside = malloc((area->width_px / 2 + 1) * sizeof *inside);
    fleck_run *const wanted = malloc((area->width_px / 2 + 1) * sizeof *wanted);

    for (size_t y = 0; y < area->height_px; y++) {
        const size_t n = mask_runs(&ink, y, runs), m = mask_runs(&clipped, y, wanted);

        assert_int_equal(fleck_mask_clip_runs(mask, y, runs, n, inside), m);
        if (m > 0)
            assert_memory_equal(inside, wanted, m * sizeof *wanted);
    }
    mask_free(&ink);
    mask_free(&clipped);
    free(runs);
    free(inside);
    free(wanted);
}

static void check_part(const struct mask *area, const fleck_mask *mask, uint64_t *random)
{
    const size_t left = test_random(random) % area->width_px;
    const size_t top = test_random(random) % area->height_px;
    const size_t width = 1 + test_random(random) % (area->width_px - left);
    const size_t height = 1 + test_random(random) % (area->height_px - top);
    struct mask part = mask_new(width, height), other = mask_random(width, height, 0.5, random);
    fleck_mask *cropped, *kept = area_mask(&other);
    fleck_error err;

    for (size_t y = 0; y < height; y++)
        memcpy(part.ink + y * width, area->ink + (top + y) * area->width_px + left, width);
    assert_int_equal(fleck_mask_crop(mask, left, top, width, height, &cropped, &err), FLECK_OK);
    check_same(&part, cropped);
    fleck_mask_keep(kept, cropped);
    for (size_t i = 0; i < width * height; i++)
        other.ink[i] = other.ink[i] && part.ink[i];
    check_same(&other, kept);
    fleck_mask_free(cropped);
    fleck_mask_free(kept);
    mask_free(&part);
    mask_free(&other);
}

static void check_extent(const struct mask *area, const fleck_mask *mask)
{
    size_t left = area->width_px, right = 0, top = area->height_px, bottom = 0, box[4];
    const bool found = fleck_mask_extent(mask, &box[0], &box[1], &box[2], &box[3]);

    for (size_t y = 0; y < area->height_px; y++) {
        for (size_t x = 0; x < area->width_px; x++) {
            if (!area->ink[y * area->width_px + x])
                continue;
            left = x < left ? x : left;
            right = x + 1 > right ? x + 1 : right;
            top = y < top ? y : top;
            bottom = y + 1;
        }
    }
    assert_int_equal(found, right > 0);
    if (found) {
        assert_int_equal(box[0], left);
        assert_int_equal(box[1], top);
        assert_int_equal(box[2], right - left);
        assert_int_equal(box[3], bottom - top);
    }
}

/* Columns of growing height, in steps as a caller may take them. */
static void check_erosion(const struct mask *area, const fleck_mask *mask, uint64_t *random)
{
    const size_t w = area->width_px, h = area->height_px;
    size_t rows = 1, wanted = 1;
    fleck_mask *eroded;
    fleck_error err;

    assert_int_equal(fleck_mask_crop(mask, 0, 0, w, h, &eroded, &err), FLECK_OK);
    for (int step = 0; step < 5; step++) {
        struct mask twin = mask_new(w, h);

        wanted += test_random(random) % (step == 4 ? 2 * h : 4);
        fleck_mask_erode_rows(eroded, &rows, wanted);
        assert_int_equal(rows, wanted);
        for (size_t y = 0; y + wanted <= h; y++)
            for (size_t x = 0; x < w; x++)
                twin.ink[y * w + x] = slow_count(area, x, y, 1, wanted) == wanted;
        check_same(&twin, eroded);
        mask_free(&twin);
    }
    fleck_mask_free(eroded);
}

static void test_masks_of_any_shape_hold_the_pixels_they_were_given(void **state)
{
    uint64_t random = 31;

    (void)state;
    for (size_t trial = 0; trial < AREA_KINDS * 9; trial++) {
        struct mask area =
            area_make((enum area_kind)(trial % AREA_KINDS), widths[trial / AREA_KINDS],
                      1 + test_random(&random) % 40, &random);
        fleck_mask *mask = area_mask(&area);

        check_same(&area, mask);
        check_runs(&area, mask, &random);
        check_clipped(&area, mask, &random);
        check_part(&area, mask, &random);
        check_extent(&area, mask);
        check_erosion(&area, mask, &random);
        fleck_mask_free(mask);
        mask_free(&area);
    }
}

static void test_runs_that_overlap_count_their_pixels_once(void **state)
{
    fleck_mask *mask;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_mask_new(130, 2, &mask, &err), FLECK_OK);
    fleck_mask_add_run(mask, 0, 10, 100);
    fleck_mask_add_run(mask, 0, 60, 130);
    fleck_mask_add_run(mask, 0, 20, 20);
    assert_int_equal(fleck_mask_area_px(mask), 120);
    assert_ptr_equal(fleck_mask_unless_full(mask), mask);
    fleck_mask_add_run(mask, 0, 0, 11);
    fleck_mask_add_run(mask, 1, 0, 130);
    assert_int_equal(fleck_mask_area_px(mask), 260);
    assert_null(fleck_mask_unless_full(mask));
    assert_null(fleck_mask_unless_full(NULL));
    fleck_mask_free(mask);
    fleck_mask_free(NULL);
}

static void test_masks_without_a_size_are_refused(void **state)
{
    static const size_t bad[][2] = { { 0, 3 }, { 3, 0 }, { 2147483648, 1 }, { 1, 2147483648 } };
    fleck_mask *mask;
    fleck_error err;

    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        assert_int_equal(fleck_mask_new(bad[i][0], bad[i][1], &mask, &err), FLECK_BAD_CALL);
        assert_null(mask);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_masks_of_any_shape_hold_the_pixels_they_were_given),
        cmocka_unit_test(test_runs_that_overlap_count_their_pixels_once),
        cmocka_unit_test(test_masks_without_a_size_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
