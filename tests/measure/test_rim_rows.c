/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/rim_rows.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "measure/blobs.h"
#include "support/check.h"

/* A picture of two tones and what the rows said of it. */
struct scene {
    fleck_geometry geometry;
    struct mask mask; /* 1 ink, 0 bare, 2 not measured */
    struct blobs blobs;
    int32_t *blob_of; /* index, or FLECK_OWNER_NOBODY */
    double reach_mm, per_mm2;
    size_t next_row, first_checked, last_checked;
};

static fleck_status read_row(void *context, size_t y_px, uint16_t *q, fleck_error *err)
{
    const struct scene *scene = context;
    const size_t width = scene->geometry.width_px;

    (void)err;
    for (size_t x = 0; x < width; x++) {
        const uint8_t pixel = scene->mask.ink[y_px * width + x];

        q[x] = pixel == 1 || (pixel == 2 && x % 2 == 0) ? 100 : 900;
    }
    return FLECK_OK;
}

/* The definition, by trying every pixel within reach. */
static void check_pixel(const struct scene *scene, size_t x, size_t y, int32_t owner,
                        int16_t square)
{
    const size_t w = scene->geometry.width_px, h = scene->geometry.height_px;
    const double px = scene->geometry.pixel_x_mm, py = scene->geometry.pixel_y_mm;
    const long across = (long)(scene->reach_mm / px), down = (long)(scene->reach_mm / py);
    const uint8_t here = scene->mask.ink[y * w + x];
    double nearest = INFINITY, of_owner = INFINITY;

    if (here == 2) {
        assert_int_equal(owner, FLECK_OWNER_MASKED);
        return;
    }
    for (long v = -down; v <= down; v++)
        for (long u = -across; u <= across; u++) {
            const long to_x = (long)x + u, to_y = (long)y + v;
            const double mm = hypot((double)u * px, (double)v * py);
            size_t to;

            if (to_x < 0 || to_y < 0 || to_x >= (long)w || to_y >= (long)h)
                continue;
            to = (size_t)to_y * w + (size_t)to_x;
            if (scene->mask.ink[to] == 2 || scene->mask.ink[to] == here)
                continue;
            nearest = fmin(nearest, mm);
            if (here == 0 && scene->blob_of[to] == owner)
                of_owner = fmin(of_owner, mm);
        }
    if (here == 1)
        assert_int_equal(owner, scene->blob_of[y * w + x]);
    if (square == FLECK_RIM_FAR) {
        assert_true(nearest > scene->reach_mm * 0.98);
        assert_true(here == 1 || owner == FLECK_OWNER_NONE);
        return;
    }
    /* two squares, each rounded to a whole number, are off by one at most */
    check_near("square", square, nearest * nearest * scene->per_mm2, 1.001);
    if (here == 0)
        check_near("the owner is as near as anybody", of_owner * of_owner * scene->per_mm2,
                   nearest * nearest * scene->per_mm2, 2.002);
}

/* Owners and squares of all pixels; asserts must not be in other threads. */
struct kept {
    size_t width;
    int32_t *owner;
    int16_t *square;
};

static void keep_row(void *context, size_t band, const fleck_rim_row *row)
{
    struct kept *const kept = context;

    (void)band;
    memcpy(kept->owner + row->y_px * kept->width, row->owner, kept->width * sizeof *kept->owner);
    memcpy(kept->square + row->y_px * kept->width, row->square, kept->width * sizeof *kept->square);
}

static struct kept keep_rows(const fleck_dot_tone_input *input, double reach_mm, size_t bands)
{
    const size_t pixels = input->geometry->width_px * input->geometry->height_px;
    struct kept kept = { input->geometry->width_px, calloc(pixels, sizeof *kept.owner),
                         calloc(pixels, sizeof *kept.square) };

    assert_true(kept.owner != NULL && kept.square != NULL);
    assert_int_equal(fleck_rim_rows(input, reach_mm, bands, keep_row, &kept, NULL), FLECK_OK);
    return kept;
}

static void check_bands(const fleck_dot_tone_input *input, double reach_mm)
{
    static const size_t bands[] = { 2, 3, FLECK_RIM_MOST_BANDS };
    const size_t pixels = input->geometry->width_px * input->geometry->height_px;
    const struct kept one = keep_rows(input, reach_mm, 1);

    for (size_t i = 0; i < sizeof bands / sizeof *bands; i++) {
        const struct kept some = keep_rows(input, reach_mm, bands[i]);

        assert_memory_equal(some.owner, one.owner, pixels * sizeof *one.owner);
        assert_memory_equal(some.square, one.square, pixels * sizeof *one.square);
        free(some.owner);
        free(some.square);
    }
    free(one.owner);
    free(one.square);
}

static void check_row(void *context, size_t band, const fleck_rim_row *row)
{
    struct scene *const scene = context;

    assert_int_equal(band, 0);
    assert_int_equal(row->y_px, scene->next_row++);
    if (row->y_px < scene->first_checked || row->y_px > scene->last_checked)
        return;
    for (size_t x = 0; x < scene->geometry.width_px; x++)
        check_pixel(scene, x, row->y_px, row->owner[x], row->square[x]);
}

static void check_scene(struct scene *scene, const fleck_mask *area)
{
    const size_t w = scene->mask.width_px;
    fleck_dot_tone_input input = { .geometry = &scene->geometry,
                                   .mask = area,
                                   .phase = FLECK_PHASE_INK,
                                   .cut = { .k = 500 },
                                   .ink = FLECK_INK_DARK,
                                   .read = read_row,
                                   .context = scene };

    scene->geometry.width_px = w;
    scene->geometry.height_px = scene->mask.height_px;
    scene->blobs = blobs_from_mask(&scene->mask, FLECK_PHASE_INK, 4);
    scene->blob_of = calloc(w * scene->mask.height_px, sizeof *scene->blob_of);
    assert_non_null(scene->blob_of);
    for (size_t i = 0; i < w * scene->mask.height_px; i++)
        scene->blob_of[i] = FLECK_OWNER_NOBODY;
    for (size_t i = 0; i < scene->blobs.count; i++)
        for (size_t j = 0; j < scene->blobs.items[i].run_count; j++) {
            const fleck_blob_run *const run = &scene->blobs.items[i].runs[j];

            for (size_t x = run->start_px; x < run->end_px; x++)
                scene->blob_of[run->y_px * w + x] = (int32_t)i;
        }
    input.blobs = scene->blobs.items;
    input.n = scene->blobs.count;
    scene->per_mm2 = fleck_rim_per_mm2(&scene->geometry, scene->reach_mm);
    scene->next_row = 0;
    assert_int_equal(fleck_rim_rows(&input, scene->reach_mm, 1, check_row, scene, NULL), FLECK_OK);
    assert_int_equal(scene->next_row, scene->mask.height_px);
    check_bands(&input, scene->reach_mm);
    free(scene->blob_of);
    blobs_free(&scene->blobs);
}

static void test_squares_and_owners_are_those_of_all_pixels_within_reach(void **state)
{
    static const struct {
        double px, py, reach_mm;
    } cases[] = {
        { 0.02, 0.02, 0.1 }, { 0.02, 0.02, 0.021 }, { 0.02, 0.03, 0.11 },
        { 0.05, 0.01, 0.12 }, { 1, 1, 4.5 },
    };
    uint64_t seed = 40;

    (void)state;
    for (size_t i = 0; i < 3 * (sizeof cases / sizeof *cases); i++) {
        struct scene scene = { .last_checked = SIZE_MAX };

        scene.geometry.pixel_x_mm = cases[i / 3].px;
        scene.geometry.pixel_y_mm = cases[i / 3].py;
        scene.reach_mm = cases[i / 3].reach_mm;
        scene.mask = i % 3 == 0   ? mask_speckle(70, 60, 2.5, 0.15, &seed)
                     : i % 3 == 1 ? mask_random(50, 40, 0.03, &seed)
                                  : mask_random(30, 40, 0.5, &seed);
        check_scene(&scene, NULL);
        mask_free(&scene.mask);
    }
}

static void test_masked_pixels_are_of_neither_kind(void **state)
{
    uint64_t seed = 41;

    (void)state;
    for (int i = 0; i < 4; i++) {
        struct scene scene = { .last_checked = SIZE_MAX, .reach_mm = 0.09 };
        fleck_mask *area;

        scene.geometry.pixel_x_mm = scene.geometry.pixel_y_mm = 0.02;
        scene.mask = mask_speckle(60, 50, 2.5, 0.25, &seed);
        assert_int_equal(fleck_mask_new(60, 50, &area, NULL), FLECK_OK);
        for (size_t y = 0; y < 50; y++)
            for (size_t x = 0; x < 60; x++)
                if (hypot((double)x - 10 - 10 * i, (double)y - 25) < 6 || y == 40 || x == 59 ||
                    (y == 12 && x == 0))
                    scene.mask.ink[y * 60 + x] = 2;
                else
                    fleck_mask_add_run(area, y, x, x + 1);
        check_scene(&scene, area);
        fleck_mask_free(area);
        mask_free(&scene.mask);
    }
}

/* Wide pictures are done in strips: rows at two seams. */
static void test_strips_join_without_a_seam(void **state)
{
    enum { WIDTH = 5000, HEIGHT = 460 };
    struct scene scene = { .reach_mm = 0.13 };
    uint64_t seed = 42;
    /* 2^20 / 5000 rows in a strip */
    static const size_t seams[] = { 209, 418 };

    (void)state;
    scene.geometry.pixel_x_mm = scene.geometry.pixel_y_mm = 0.02;
    scene.mask = mask_new(WIDTH, HEIGHT);
    for (int i = 0; i < 6000; i++) {
        const size_t x = test_random(&seed) % (WIDTH - 4), y = test_random(&seed) % (HEIGHT - 3);

        for (size_t v = y; v < y + 3; v++)
            memset(scene.mask.ink + v * WIDTH + x, 1, 4);
    }
    for (size_t i = 0; i < 2; i++) {
        scene.first_checked = seams[i] - 3;
        scene.last_checked = seams[i] + 3;
        check_scene(&scene, NULL);
    }
    mask_free(&scene.mask);
}

static void test_the_smallest_pictures_have_their_rows(void **state)
{
    static const char *const texts[] = { "#", ".", "#.", "# .", "..#..", "# # . ." };

    (void)state;
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++) {
        struct scene scene = { .last_checked = SIZE_MAX, .reach_mm = 0.3 };

        scene.geometry.pixel_x_mm = scene.geometry.pixel_y_mm = 0.02;
        scene.mask = mask_from_text(texts[i]);
        check_scene(&scene, NULL);
        mask_free(&scene.mask);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_squares_and_owners_are_those_of_all_pixels_within_reach),
        cmocka_unit_test(test_masked_pixels_are_of_neither_kind),
        cmocka_unit_test(test_strips_join_without_a_seam),
        cmocka_unit_test(test_the_smallest_pictures_have_their_rows),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
