/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is left of a small patch without a curved surface. */
#include "segment/presence_parts.h"

#include <math.h>
#include <stdlib.h>

#include "patches.h"
#include "support/check.h"

/* Cells of 2 x 2 equal pixels; `mask` has 1 for pixels inside, NULL for all. Returns what the call does. */
static bool find_shape(const int *cells, size_t width, size_t height, const uint8_t *mask,
                       struct whole_shape *shape)
{
    uint16_t *const row = malloc(2 * width * sizeof *row);
    fleck_run *const runs = malloc(width * sizeof *runs);
    fleck_presence *presence;
    bool found;

    assert_non_null(row);
    assert_non_null(runs);
    assert_int_equal(fleck_presence_new(2 * width, mask != NULL, &presence, NULL), FLECK_OK);
    for (size_t y = 0; y < 2 * height; y++) {
        size_t n = 0;

        for (size_t x = 0; x < 2 * width; x++) {
            row[x] = (uint16_t)cells[y / 2 * width + x / 2];
            if (mask == NULL || mask[y / 2 * width + x / 2] == 0)
                continue;
            if (n == 0 || runs[n - 1].end_px != x)
                runs[n++].start_px = (uint32_t)x;
            runs[n - 1].end_px = (uint32_t)x + 1;
        }
        fleck_presence_row(presence, row, mask != NULL ? runs : NULL, n);
    }
    found = fleck_presence_whole(presence, shape);
    fleck_presence_free(presence);
    free(row);
    free(runs);
    return found;
}

static void test_moments_are_those_worked_by_hand(void **state)
{
    /* A fourth difference is orthogonal to surfaces of second order: all of it is left. */
    static const int fourth[] = { 1, -4, 6, -4, 1 };
    enum { WIDTH = 25, HEIGHT = 20 };
    int cells[WIDTH * HEIGHT];
    struct whole_shape shape;

    (void)state;
    for (size_t i = 0; i < WIDTH * HEIGHT; i++)
        cells[i] = 30000 + 100 * fourth[i % WIDTH % 5];
    assert_true(find_shape(cells, WIDTH, HEIGHT, NULL, &shape));
    check_near("cells", shape.cells, WIDTH * HEIGHT, 0);
    check_ratio("(1 + 16 + 36 + 16 + 1) / 5", shape.m2, 14e4, 1e-9);
    check_ratio("(1 - 64 + 216 - 64 + 1) / 5", shape.m3, 18e6, 1e-9);
    check_ratio("(1 + 256 + 1296 + 256 + 1) / 5", shape.m4, 362e8, 1e-9);
    /* cells 4 apart: a[i - 4] - 2 a[i] + a[i + 4] from i = 4 on is -5, -5, 15, -20, 15, and so on to
       17 of them; nothing bends along y */
    check_ratio("(8 * 25 + 6 * 225 + 3 * 400) / 17 / 2", shape.roughness, 2750e4 / 34, 1e-9);
}

static void test_a_surface_of_second_order_changes_nothing(void **state)
{
    enum { WIDTH = 60, HEIGHT = 44 };
    int cells[WIDTH * HEIGHT];
    uint8_t mask[WIDTH * HEIGHT];
    struct whole_shape shape[2][2];
    uint64_t seed = 1;

    (void)state;
    for (size_t i = 0; i < WIDTH * HEIGHT; i++)
        cells[i] = 20000 + (int)(test_random(&seed) % 1000);
    for (size_t i = 0; i < WIDTH * HEIGHT; i++)
        mask[i] = hypot((double)(i % WIDTH) - 33, (double)(i / WIDTH) - 20) < 18;
    for (size_t i = 0; i < 2; i++) {
        assert_true(find_shape(cells, WIDTH, HEIGHT, NULL, &shape[i][0]));
        assert_true(find_shape(cells, WIDTH, HEIGHT, mask, &shape[i][1]));
        for (size_t k = 0; k < WIDTH * HEIGHT; k++) {
            const int x = (int)(k % WIDTH), y = (int)(k / WIDTH);

            cells[k] += 5000 + 70 * x - 90 * y + 2 * x * x - x * y + 3 * y * y;
        }
    }
    for (size_t i = 0; i < 2; i++) {
        check_ratio("variance", shape[1][i].m2, shape[0][i].m2, 1e-8);
        check_ratio("third moment", shape[1][i].m3, shape[0][i].m3, 1e-8);
        check_ratio("fourth moment", shape[1][i].m4, shape[0][i].m4, 1e-8);
        check_ratio("roughness", shape[1][i].roughness, shape[0][i].roughness, 1e-8);
        check_ratio("dependence", shape[1][i].third, shape[0][i].third, 1e-8);
    }
    assert_true(shape[0][1].cells < shape[0][0].cells);
}

static void test_cells_outside_the_mask_do_not_matter(void **state)
{
    enum { WIDTH = 40, HEIGHT = 40 };
    int cells[WIDTH * HEIGHT];
    uint8_t mask[WIDTH * HEIGHT];
    struct whole_shape one, other;
    uint64_t seed = 2;

    (void)state;
    for (size_t i = 0; i < WIDTH * HEIGHT; i++) {
        cells[i] = 20000 + (int)(test_random(&seed) % 1000);
        mask[i] = i % WIDTH + i / WIDTH < 60;
    }
    assert_true(find_shape(cells, WIDTH, HEIGHT, mask, &one));
    for (size_t i = 0; i < WIDTH * HEIGHT; i++)
        cells[i] = mask[i] ? cells[i] : (int)(test_random(&seed) % 65536);
    assert_true(find_shape(cells, WIDTH, HEIGHT, mask, &other));
    check_near("variance", other.m2, one.m2, 0);
    check_near("fourth moment", other.m4, one.m4, 0);
    check_near("roughness", other.roughness, one.roughness, 0);
    check_near("dependence", other.fourth, one.fourth, 0);
}

/*
 * Noise averaged over n x n cells has the correlation (1 - |x|/n)(1 - |y|/n). The sums over the plane
 * are the squares of sum (1 - k/n)^3 and ^4 over -n < k < n.
 */
static void test_cells_of_smooth_noise_count_for_fewer(void **state)
{
    enum { SIDE = 126 };
    static const struct {
        const char *source;
        size_t smooth;
        double third, fourth, tolerance; /* correlations are not the same in all directions */
    } cases[] = {
        { "n 1", 0, 1, 1, 0.02 },
        { "n 3: (1 + 2 (8 + 1) / 27)^2, (1 + 2 (16 + 1) / 81)^2", 1, 2.7778, 2.0157, 0.25 },
        { "n 7", 3, 13.224, 8.7475, 0.35 },
    };
    int cells[SIDE * SIDE];
    uint64_t seed = 3;

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct patch patch = patch_new(SIDE, SIDE, 0);
        struct whole_shape shape;

        patch_add_noise(&patch, 1, cases[i].smooth, &seed);
        for (size_t k = 0; k < SIDE * SIDE; k++)
            cells[k] = 30000 + (int)lround(1000 * patch.tone[k]);
        assert_true(find_shape(cells, SIDE, SIDE, NULL, &shape));
        check_ratio(cases[i].source, shape.third, cases[i].third, cases[i].tolerance);
        check_ratio(cases[i].source, shape.fourth, cases[i].fourth, cases[i].tolerance);
        patch_free(&patch);
    }
}

static void test_only_small_patches_are_kept(void **state)
{
    static const struct {
        const char *source;
        size_t width, height;
        bool kept;
    } cases[] = {
        { "as large as can be", 128, 128, true },
        { "one row more", 128, 129, false },
        { "too narrow", 8, 100, false },
        { "too low", 100, 8, false },
        { "the least", 9, 9, true },
        { "rows wider than all that is kept", PRESENCE_WHOLE + 1, 9, false },
    };
    struct whole_shape shape;

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const size_t count = cases[i].width * cases[i].height;
        int *const cells = malloc(count * sizeof *cells);

        assert_non_null(cells);
        for (size_t k = 0; k < count; k++)
            cells[k] = (int)(k * k % 1009);
        check_near(cases[i].source,
                   find_shape(cells, cases[i].width, cases[i].height, NULL, &shape), cases[i].kept,
                   0);
        free(cells);
    }
}

static void test_what_settles_no_surface_is_left_alone(void **state)
{
    enum { SIDE = 20 };
    int cells[SIDE * SIDE];
    uint8_t column[SIDE * SIDE] = { 0 }, nothing[SIDE * SIDE] = { 0 };
    struct whole_shape shape;

    (void)state;
    for (size_t i = 0; i < SIDE * SIDE; i++) {
        cells[i] = 1000 + (int)(i * i % 1009);
        column[i] = i % SIDE == 7;
    }
    assert_false(find_shape(cells, SIDE, SIDE, column, &shape));
    assert_false(find_shape(cells, SIDE, SIDE, nothing, &shape));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_moments_are_those_worked_by_hand),
        cmocka_unit_test(test_a_surface_of_second_order_changes_nothing),
        cmocka_unit_test(test_cells_outside_the_mask_do_not_matter),
        cmocka_unit_test(test_cells_of_smooth_noise_count_for_fewer),
        cmocka_unit_test(test_only_small_patches_are_kept),
        cmocka_unit_test(test_what_settles_no_surface_is_left_alone),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
