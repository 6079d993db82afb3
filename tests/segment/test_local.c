/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "segment/local.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "patches.h"
#include "support/check.h"

/* Both passes: thresholds of all pixels. `mask` has 1 for inside, NULL for all. */
static uint16_t *find_levels(const uint16_t *q, const uint8_t *mask, size_t width, size_t height,
                             size_t window_px, fleck_local_summary *summary)
{
    uint64_t *const counts = calloc(FLECK_LEVELS, sizeof *counts);
    fleck_run *const runs = malloc((width + 1) / 2 * sizeof *runs);
    uint16_t *const k = malloc(width * height * sizeof *k);
    fleck_local *local;
    fleck_cut cut = { .k = 77 };

    assert_non_null(counts);
    assert_non_null(runs);
    assert_non_null(k);
    assert_int_equal(fleck_local_new(width, height, window_px, window_px, &local, NULL), FLECK_OK);
    for (size_t y = 0; y < height; y++) {
        size_t n = 0;

        for (size_t x = 0; x < width; x++) {
            const bool inside = mask == NULL || mask[y * width + x] != 0;

            counts[q[y * width + x]] += inside;
            if (!inside)
                continue;
            if (n == 0 || runs[n - 1].end_px < x)
                runs[n++].start_px = (uint32_t)x;
            runs[n - 1].end_px = (uint32_t)x + 1;
        }
        assert_int_equal(fleck_local_add_row(local, q + y * width, runs, n, NULL), FLECK_OK);
    }
    (void)fleck_cut_otsu(counts, FLECK_INK_DARK, &cut, NULL); /* one tone leaves 77 */
    assert_int_equal(fleck_local_settle(local, &cut, summary, NULL), FLECK_OK);
    for (size_t y = height; y-- > 0;) /* rows in any order */
        fleck_local_levels(local, y, k + y * width);
    fleck_local_free(local);
    free(runs);
    free(counts);
    return k;
}

static double coverage_by(const uint16_t *q, const uint16_t *k, size_t count)
{
    size_t dark = 0;

    for (size_t i = 0; i < count; i++)
        dark += q[i] <= k[i];
    return (double)dark / (double)count;
}

/* As in local_twin.py. */
static void draw_lattice(uint16_t *q, int width, int height)
{
    uint64_t seed = 99;

    for (int y = 0; y < height; y++) {
        for (int x = 0; x < width; x++) {
            const int dx = x % 17 - 8, dy = y % 15 - 7;
            const int tone = dx * dx + dy * dy < 20 + x / 9 ? 9000 : 52000;

            q[y * width + x] = (uint16_t)(tone * (1000 - 2 * x - y) / 1000 +
                                          (int)(test_random(&seed) % 4001) - 2000);
        }
    }
}

static void test_windows_and_the_way_between_agree_with_other_libraries(void **state)
{
    enum { WIDTH = 153, HEIGHT = 102, SIDE = 51, COLUMNS = WIDTH / SIDE };
    /* tests/segment/local_twin.py, with threshold_otsu of scikit-image 0.19.3 or later */
    static const size_t dark[] = { 670, 886, 1025, 751, 974, 1107 };
    /* the same, with ndimage.map_coordinates of scipy, order 1, mode "nearest" */
    static const struct {
        size_t x, y;
        double level;
    } points[] = {
        { 0, 0, 26655.000000 },    { 25, 25, 26655.000000 },  { 26, 25, 26591.941176 },
        { 40, 30, 25554.100346 },  { 76, 76, 21903.000000 },  { 77, 60, 22325.908112 },
        { 100, 50, 21294.298731 }, { 127, 76, 18815.000000 }, { 152, 101, 18815.000000 },
        { 10, 60, 25556.960784 },  { 140, 40, 20079.941176 }, { 90, 25, 22661.588235 },
        { 25, 75, 25086.372549 },  { 90, 74, 21118.304883 },
    };
    uint16_t q[WIDTH * HEIGHT];
    fleck_local_summary summary;
    uint16_t *k;

    (void)state;
    draw_lattice(q, WIDTH, HEIGHT);
    k = find_levels(q, NULL, WIDTH, HEIGHT, SIDE, &summary);
    assert_int_equal(summary.windows, 6);
    assert_int_equal(summary.own, 6);
    check_near("the highest of windows and points", summary.highest_k, 26655, 0);
    check_near("the lowest", summary.lowest_k, 18815, 0);
    check_near("their mean", summary.mean_k,
               (26655.0 + 23439.0 + 20607.0 + 25055.0 + 21903.0 + 18815.0) / 6, 1e-9);
    for (size_t i = 0; i < 6; i++) {
        const size_t left = i % COLUMNS * SIDE, top = i / COLUMNS * SIDE;
        const uint16_t at_middle = k[(top + SIDE / 2) * WIDTH + left + SIDE / 2];
        size_t count = 0;

        for (size_t y = top; y < top + SIDE; y++) {
            for (size_t x = left; x < left + SIDE; x++)
                count += q[y * WIDTH + x] <= at_middle;
        }
        check_near("dark pixels of a window by skimage.filters.threshold_otsu", (double)count,
                   (double)dark[i], 0);
    }
    for (size_t i = 0; i < sizeof points / sizeof *points; i++)
        check_near("map_coordinates, rounded down", k[points[i].y * WIDTH + points[i].x],
                   floor(points[i].level), 0);
    free(k);
}

/* Paper that light falls on unevenly, bare on the left, solid in a corner, speckle between. */
static void test_cockled_paper_keeps_its_coverage(void **state)
{
    static const struct {
        const char *source;
        double coverage, depth, most_wrong;
    } cases[] = {
        { "few dots", 0.05, 0.3, 0.001 },
        { "strong ink", 0.25, 0.7, 0.003 },
        { "pale ink", 0.25, 0.3, 0.003 },
        { "many dots", 0.6, 0.3, 0.006 },
    };
    enum { SIDE = 590 };
    const size_t count = (size_t)SIDE * SIDE;
    uint64_t seed = 1;

    (void)state;
    for (size_t c = 0; c < sizeof cases / sizeof *cases; c++) {
        struct patch patch = patch_new(SIDE, SIDE, 0.75);
        struct patch ink = patch_new(SIDE, SIDE, 1);
        fleck_local_summary summary;
        uint64_t *const counts = calloc(FLECK_LEVELS, sizeof *counts);
        fleck_cut whole;
        size_t wrong = 0, wrong_by_one = 0;
        uint16_t *q, *k;

        assert_non_null(counts);
        patch_add_discs(&ink, 8, cases[c].coverage, 1, &seed);
        for (size_t i = 0; i < count; i++) {
            const double x = (double)(i % SIDE), y = (double)(i / SIDE);

            if (x < 200)
                ink.tone[i] = 1; /* bare */
            if (x > 450 && y > 450)
                ink.tone[i] = 0; /* solid */
            patch.tone[i] -= cases[c].depth * (1 - ink.tone[i]);
            patch.tone[i] *= 1 + 0.2 * sin(x / 95 + 1) * cos(y / 110); /* period 25 to 29 mm */
        }
        patch_add_noise(&patch, 0.02, 0, &seed);
        q = patch_scan(&patch, 255);
        for (size_t i = 0; i < count; i++)
            counts[q[i]]++;
        assert_int_equal(fleck_cut_otsu(counts, FLECK_INK_DARK, &whole, NULL), FLECK_OK);
        k = find_levels(q, NULL, SIDE, SIDE, 118, &summary); /* 5 mm at 600 ppi */
        for (size_t i = 0; i < count; i++) {
            wrong += (q[i] <= k[i]) != (ink.tone[i] < 0.5);
            wrong_by_one += (q[i] <= whole.k) != (ink.tone[i] < 0.5);
        }
        if (cases[c].depth < 0.5) /* else one threshold would do */
            assert_true((double)wrong_by_one > 0.01 * (double)count);
        if (!((double)wrong < cases[c].most_wrong * (double)count)) {
            print_error("%s: %zu pixels wrong, %zu by one threshold, %zu of %zu windows\n",
                        cases[c].source, wrong, wrong_by_one, summary.own, summary.windows);
            fail();
        }
        assert_true(summary.own < summary.windows);
        free(k);
        free(q);
        free(counts);
        patch_free(&ink);
        patch_free(&patch);
    }
}

static void test_bare_and_solid_windows_follow_their_own_tone(void **state)
{
    /* five windows of 20 x 20: two tones, bare, bare and lighter, ink, ink and darker */
    static const struct {
        uint16_t dark, light;
        double k;
    } columns[] = {
        { 10000, 50000, 29999 }, /* bins 625 and 3125: 1874 x 16 + 15 */
        { 48000, 48000, 27999 }, { 54000, 54000, 33999 },
        { 54000, 54000, 33999 }, { 12000, 12000, 31999 },
    };
    enum { SIDE = 20, COLUMNS = 5 };
    uint16_t q[SIDE * SIDE * COLUMNS];
    fleck_local_summary summary;
    uint16_t *k;

    (void)state;
    for (size_t i = 0; i < SIDE * SIDE * COLUMNS; i++) {
        const size_t x = i % (SIDE * COLUMNS);

        q[i] = x % 2 == 0 ? columns[x / SIDE].dark : columns[x / SIDE].light;
    }
    k = find_levels(q, NULL, SIDE * COLUMNS, SIDE, SIDE, &summary);
    assert_int_equal(summary.windows, 5);
    assert_int_equal(summary.own, 1);
    for (size_t i = 0; i < COLUMNS; i++)
        /* a middle lies between two pixels; the level before it is off by half a step at most */
        check_near("middle of a window", (k[i * SIDE + 9] + k[i * SIDE + 10]) / 2.0, columns[i].k,
                   i == 0 ? 60 : 160);
    check_near("beyond the last middle: constant", k[SIDE * COLUMNS - 1], columns[4].k, 20);
    free(k);
}

static void test_noise_alone_takes_the_threshold_of_the_whole(void **state)
{
    struct patch patch = patch_new(120, 90, 0.8);
    uint16_t *q, *k;
    uint64_t seed = 3;
    fleck_local_summary summary;

    (void)state;
    patch_add_noise(&patch, 0.02, 0, &seed);
    q = patch_scan(&patch, 65535);
    k = find_levels(q, NULL, 120, 90, 30, &summary);
    assert_int_equal(summary.own, 0);
    check_near("one threshold", summary.lowest_k, summary.highest_k, 0);
    check_near("Otsu's cuts noise in halves", coverage_by(q, k, 120 * 90), 0.5, 0.05);
    free(k);
    for (size_t i = 0; i < 120 * 90; i++)
        q[i] = 5000;
    k = find_levels(q, NULL, 120, 90, 30, &summary);
    assert_int_equal(summary.own, 0);
    check_near("one tone", k[100], 77, 0);
    free(k);
    free(q);
    patch_free(&patch);
}

static void test_one_window_is_otsu_of_the_whole(void **state)
{
    enum { WIDTH = 60, HEIGHT = 45 };
    uint16_t q[WIDTH * HEIGHT];
    fleck_local_summary summary;
    uint64_t *const counts = calloc(FLECK_LEVELS, sizeof *counts);
    fleck_cut cut;
    uint16_t *k;

    (void)state;
    assert_non_null(counts);
    draw_lattice(q, WIDTH, HEIGHT);
    for (size_t i = 0; i < WIDTH * HEIGHT; i++)
        counts[q[i]]++;
    assert_int_equal(fleck_cut_otsu(counts, FLECK_INK_DARK, &cut, NULL), FLECK_OK);
    k = find_levels(q, NULL, WIDTH, HEIGHT, 100, &summary);
    assert_int_equal(summary.windows, 1);
    check_near("to the bins of 16 levels", k[0], cut.k, 16);
    for (size_t i = 0; i < WIDTH * HEIGHT; i++)
        assert_int_equal(k[i], k[0]);
    free(k);
    free(counts);
}

static void test_a_mirrored_patch_has_mirrored_thresholds(void **state)
{
    enum { WIDTH = 150, HEIGHT = 100 };
    uint16_t q[WIDTH * HEIGHT], mirrored[WIDTH * HEIGHT];
    fleck_local_summary summary;
    uint16_t *k, *k_mirrored;

    (void)state;
    draw_lattice(q, WIDTH, HEIGHT);
    for (size_t i = 0; i < WIDTH * HEIGHT; i++)
        mirrored[i] = q[i / WIDTH * WIDTH + WIDTH - 1 - i % WIDTH];
    k = find_levels(q, NULL, WIDTH, HEIGHT, 50, &summary);
    k_mirrored = find_levels(mirrored, NULL, WIDTH, HEIGHT, 50, &summary);
    for (size_t i = 0; i < WIDTH * HEIGHT; i++)
        check_near("mirrored, but for rounding", k_mirrored[i],
                   k[i / WIDTH * WIDTH + WIDTH - 1 - i % WIDTH], 1);
    free(k);
    free(k_mirrored);
}

static void test_pixels_outside_the_mask_do_not_matter(void **state)
{
    enum { WIDTH = 153, HEIGHT = 102 };
    uint16_t q[WIDTH * HEIGHT];
    uint8_t mask[WIDTH * HEIGHT];
    fleck_local_summary summary, other;
    uint64_t seed = 5;
    uint16_t *k, *k_other;

    (void)state;
    draw_lattice(q, WIDTH, HEIGHT);
    for (size_t i = 0; i < WIDTH * HEIGHT; i++) /* a window without pixels, and holes */
        mask[i] = i % WIDTH > 55 && (i % WIDTH) * (i / WIDTH) % 31 != 0;
    k = find_levels(q, mask, WIDTH, HEIGHT, 51, &summary);
    for (size_t i = 0; i < WIDTH * HEIGHT; i++)
        q[i] = mask[i] ? q[i] : (uint16_t)test_random(&seed);
    k_other = find_levels(q, mask, WIDTH, HEIGHT, 51, &other);
    assert_int_equal(summary.windows, 6);
    assert_int_equal(summary.own, 4);
    check_near("the same mean", other.mean_k, summary.mean_k, 0);
    assert_memory_equal(k, k_other, sizeof q);
    free(k);
    free(k_other);
}

static void test_a_cut_row_gives_the_runs_at_its_levels(void **state)
{
    enum { WIDTH = 153, HEIGHT = 102 };
    const fleck_run all = { 0, WIDTH };
    uint16_t q[WIDTH * HEIGHT], k[WIDTH], sides[WIDTH];
    fleck_run runs[WIDTH / 2 + 1];
    const fleck_cut whole = { .k = 30000 };
    fleck_local_summary summary;
    fleck_local *local;
    size_t dark = 0, in_runs = 0;

    (void)state;
    draw_lattice(q, WIDTH, HEIGHT);
    assert_int_equal(fleck_local_new(WIDTH, HEIGHT, 51, 34, &local, NULL), FLECK_OK);
    for (size_t y = 0; y < HEIGHT; y++)
        assert_int_equal(fleck_local_add_row(local, q + y * WIDTH, &all, 1, NULL), FLECK_OK);
    assert_int_equal(fleck_local_settle(local, &whole, &summary, NULL), FLECK_OK);
    assert_int_equal(summary.windows, 3 * 3);
    for (size_t y = 0; y < HEIGHT; y++) {
        size_t n;

        fleck_local_levels(local, y, k);
        for (size_t x = 0; x < WIDTH; x++)
            dark += q[y * WIDTH + x] <= k[x];
        memcpy(sides, q + y * WIDTH, sizeof sides);
        fleck_local_cut_row(local, y, sides, sides);
        n = fleck_runs_from_row(sides, WIDTH, 0, FLECK_INK_DARK, runs);
        for (size_t i = 0; i < n; i++)
            in_runs += runs[i].end_px - runs[i].start_px;
    }
    fleck_local_cut_row(local, HEIGHT - 1, k, sides); /* k is of that row */
    for (size_t x = 0; x < WIDTH; x++) {
        assert_int_equal(sides[x], 0);
        k[x]++;
    }
    fleck_local_cut_row(local, HEIGHT - 1, k, sides);
    for (size_t x = 0; x < WIDTH; x++)
        assert_int_equal(sides[x], 1);
    assert_true(dark > 0);
    assert_int_equal(in_runs, dark);
    fleck_local_free(local);
}

static void test_small_and_odd_patches_have_thresholds(void **state)
{
    static const size_t sizes[][2] = { { 1, 1 }, { 2, 1 }, { 1, 90 }, { 700, 3 }, { 39, 41 } };
    uint64_t seed = 6;

    (void)state;
    for (size_t s = 0; s < sizeof sizes / sizeof *sizes; s++) {
        const size_t count = sizes[s][0] * sizes[s][1];
        uint16_t *const q = malloc(count * sizeof *q);
        fleck_local_summary summary;
        uint16_t *k;

        assert_non_null(q);
        for (size_t i = 0; i < count; i++)
            q[i] = test_random(&seed) % 2 == 0 ? 100 : 65500;
        k = find_levels(q, NULL, sizes[s][0], sizes[s][1], FLECK_LOCAL_LEAST_PX, &summary);
        assert_true(summary.windows >= 1);
        for (size_t i = 0; count > 10 && i < count; i++)
            assert_true(k[i] >= 100 && k[i] < 65500);
        free(k);
        free(q);
    }
}

static void test_wrong_calls_are_refused(void **state)
{
    static const struct {
        size_t width, height, window_x, window_y;
    } cases[] = {
        { 0, 10, 20, 20 },
        { 10, 0, 20, 20 },
        { (size_t)1 << 31, 1, 20, 20 },
        { 10, 10, 15, 20 },
        { 10, 10, 20, (1u << 15) + 1 },
    };
    static const uint16_t q[3] = { 1, 2, 3 };
    const fleck_run all = { 0, 3 };
    const fleck_cut whole = { .k = 1 };
    fleck_local_summary summary;
    fleck_local *local;
    fleck_error err;

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        assert_int_equal(fleck_local_new(cases[i].width, cases[i].height, cases[i].window_x,
                                         cases[i].window_y, &local, &err),
                         FLECK_BAD_CALL);
        assert_null(local);
    }
    assert_int_equal(fleck_local_new(3, 2, 20, 20, &local, &err), FLECK_OK);
    assert_int_equal(fleck_local_add_row(local, q, &all, 1, &err), FLECK_OK);
    assert_int_equal(fleck_local_settle(local, &whole, &summary, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_local_add_row(local, q, &all, 1, &err), FLECK_OK);
    assert_int_equal(fleck_local_add_row(local, q, &all, 1, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_local_settle(local, &whole, &summary, &err), FLECK_OK);
    fleck_local_free(local);
    fleck_local_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_windows_and_the_way_between_agree_with_other_libraries),
        cmocka_unit_test(test_cockled_paper_keeps_its_coverage),
        cmocka_unit_test(test_bare_and_solid_windows_follow_their_own_tone),
        cmocka_unit_test(test_noise_alone_takes_the_threshold_of_the_whole),
        cmocka_unit_test(test_one_window_is_otsu_of_the_whole),
        cmocka_unit_test(test_a_mirrored_patch_has_mirrored_thresholds),
        cmocka_unit_test(test_pixels_outside_the_mask_do_not_matter),
        cmocka_unit_test(test_a_cut_row_gives_the_runs_at_its_levels),
        cmocka_unit_test(test_small_and_odd_patches_have_thresholds),
        cmocka_unit_test(test_wrong_calls_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
