/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The sums that presence.c gathers, against a slow twin, and what must not change the statistic. */
#include "segment/presence_parts.h"

#include <math.h>
#include <stdlib.h>

#include "patches.h"
#include "support/check.h"

/* Sum of q over the cell of side px at (x, y) in cells. */
static long double cell(const uint16_t *q, size_t width, size_t side, size_t x, size_t y)
{
    long double sum = 0;

    for (size_t j = 0; j < side; j++) {
        for (size_t i = 0; i < side; i++)
            sum += q[(y * side + j) * width + x * side + i];
    }
    return sum;
}

/*
 * What is compared with windows of cells: the mean of a square of value_side pixels, the i-th along
 * the cell's diagonal.
 */
static long double value_at(const uint16_t *q, size_t width, size_t side, size_t value_side, size_t i,
                            size_t x, size_t y)
{
    const size_t per_cell = side / value_side;

    return cell(q, width, value_side, x * per_cell + i, y * per_cell + i) /
           (long double)(value_side * value_side);
}

struct moments {
    long double looks, sum, squares, cubes, fourths, bends;
};

static void add_look(struct moments *sums, const uint16_t *q, size_t width, size_t side,
                     size_t value_side, size_t i, size_t x, size_t y, long double window)
{
    const long double value = value_at(q, width, side, value_side, i, x, y);
    const long double u = roundl(value - window);
    const long double bend_x = value_at(q, width, side, value_side, i, x - 1, y) - 2 * value +
                               value_at(q, width, side, value_side, i, x + 1, y);
    const long double bend_y = value_at(q, width, side, value_side, i, x, y - 1) - 2 * value +
                               value_at(q, width, side, value_side, i, x, y + 1);

    sums->looks++;
    sums->sum += u;
    sums->squares += u * u;
    sums->cubes += u * u * u;
    sums->fourths += u * u * u * u;
    sums->bends += floorl(fabsl(bend_x)) * floorl(fabsl(bend_x)) +
                   floorl(fabsl(bend_y)) * floorl(fabsl(bend_y));
}

static struct moments twin(const uint16_t *q, size_t width, size_t height, size_t side,
                           size_t value_side, size_t values)
{
    const size_t columns = width / side, rows = height / side;
    const size_t step = (columns + 127) / 128, row_step = step < 4 ? step : 4;
    struct moments sums = { 0 };

    for (size_t y = 3; y + 3 < rows; y++) {
        /* a row is looked at once the third below it is there */
        if ((y + 4) % row_step != 0)
            continue;
        for (size_t x = 3; x + 3 < columns; x++) {
            long double window = 0;

            if (x % step != 0)
                continue;
            for (size_t j = y - 3; j <= y + 3; j++) {
                for (size_t i = x - 3; i <= x + 3; i++)
                    window += cell(q, width, side, i, j);
            }
            for (size_t i = 0; i < values; i++)
                add_look(&sums, q, width, side, value_side, i, x, y,
                         window / (long double)(49 * side * side));
        }
    }
    return sums;
}

static void check_sums(const char *source, const struct deviations *actual,
                       const struct moments *expected)
{
    check_near(source, (double)actual->looks, (double)expected->looks, 0);
    check_near(source, (double)actual->sum, (double)expected->sum, 0);
    check_near(source, (double)actual->squares, (double)expected->squares, 0);
    check_ratio(source, (double)actual->cubes, (double)expected->cubes, 1e-15);
    check_ratio(source, (double)actual->fourths, (double)expected->fourths, 1e-15);
    check_near(source, (double)actual->bends, (double)expected->bends, 0);
}

static void test_sums_agree_with_the_definition(void **state)
{
    static const struct {
        const char *source;
        size_t width, height;
    } cases[] = {
        { "even sides", 60, 64 },
        { "odd sides", 79, 65 },
        { "one row of windows", 33, 15 },
        { "wide enough for steps of 2 cells", 391, 40 },
        { "wide enough for steps of 5 cells and 4 rows", 1200, 47 },
        { "high enough for windows of 112 pixels", 150, 190 },
    };
    /* by level: cells of 2, 4, 8 and 16 pixels */
    static const struct {
        size_t value_side, values;
    } fine[PRESENCE_LEVELS] = { { 1, 1 }, { 0, 0 }, { 2, 4 }, { 2, 8 } };
    uint64_t seed = 1;

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const size_t width = cases[i].width, height = cases[i].height;
        uint16_t *const q = malloc(width * height * sizeof *q);
        fleck_presence *presence;
        struct moments expected;

        assert_non_null(q);
        for (size_t j = 0; j < width * height; j++)
            q[j] = (uint16_t)(test_random(&seed) % 3 == 0 ? 65535 : test_random(&seed));
        assert_int_equal(fleck_presence_new(width, false, &presence, NULL), FLECK_OK);
        for (size_t y = 0; y < height; y++)
            fleck_presence_row(presence, q + y * width, NULL, 0);
        for (size_t level = 0; level < presence->levels; level++) {
            const size_t side = (size_t)2 << level;

            expected = twin(q, width, height, side, side, 1);
            assert_true(expected.looks > 0 || level > 0);
            check_sums(cases[i].source, &presence->level[level].cells, &expected);
            if (fine[level].values == 0)
                continue;
            expected = twin(q, width, height, side, fine[level].value_side, fine[level].values);
            check_sums(cases[i].source, &presence->level[level].finer, &expected);
        }
        fleck_presence_free(presence);
        free(q);
    }
}

static void test_steps_are_summed_by_their_place_in_a_block(void **state)
{
    enum { WIDTH = 70000 };
    uint16_t *const q = malloc(WIDTH * sizeof *q);
    const fleck_run inside = { 13, WIDTH - 5 };
    uint64_t steps[PRESENCE_BLOCK] = { 0 }, squares[PRESENCE_BLOCK] = { 0 };
    uint64_t counts[PRESENCE_BLOCK] = { 0 }, seed = 2;
    fleck_presence *presence;

    (void)state;
    assert_non_null(q);
    for (size_t x = 0; x < WIDTH; x++)
        q[x] = (uint16_t)(test_random(&seed) % 2 == 0 ? 65535 - x % 7 : 0);
    for (size_t x = inside.start_px + 1; x < inside.end_px; x++) {
        const uint64_t step = (uint64_t)abs(q[x] - q[x - 1]);

        steps[x % PRESENCE_BLOCK] += step;
        squares[x % PRESENCE_BLOCK] += step * step;
        counts[x % PRESENCE_BLOCK]++;
    }
    assert_int_equal(fleck_presence_new(WIDTH, true, &presence, NULL), FLECK_OK);
    fleck_presence_row(presence, q, &inside, 1);
    for (size_t i = 0; i < PRESENCE_BLOCK; i++) {
        assert_int_equal(presence->steps[i], steps[i]);
        assert_int_equal(presence->step_squares[i], squares[i]);
        assert_int_equal(presence->step_count[i], counts[i]);
    }
    fleck_presence_free(presence);
    free(q);
}

static double statistic(const uint16_t *q, size_t width, size_t height)
{
    uint64_t *const counts = calloc(FLECK_LEVELS, sizeof *counts);
    fleck_presence *presence;
    fleck_presence_finding finding;
    fleck_cut cut;

    assert_non_null(counts);
    assert_int_equal(fleck_presence_new(width, false, &presence, NULL), FLECK_OK);
    for (size_t y = 0; y < height; y++) {
        fleck_presence_row(presence, q + y * width, NULL, 0);
        for (size_t x = 0; x < width; x++)
            counts[q[y * width + x]]++;
    }
    assert_int_equal(fleck_cut_otsu(counts, FLECK_INK_DARK, &cut, NULL), FLECK_OK);
    finding = fleck_presence_decide(presence, counts, &cut);
    fleck_presence_free(presence);
    free(counts);
    return finding.statistic;
}

static void add_deviation(struct deviations *sums, uint64_t count, int64_t u)
{
    sums->looks += count;
    sums->sum += (signed_wide)count * u;
    sums->squares += (wide)count * (uint64_t)(u * u);
    sums->cubes += (signed_wide)count * u * u * u;
    sums->fourths += (wide)count * (uint64_t)(u * u) * (uint64_t)(u * u);
    sums->bends += (wide)count * 12 * 1000 * 1000; /* as rough as noise */
}

static void test_the_statistic_of_two_sharp_tones_is_the_one_worked_by_hand(void **state)
{
    /* shares p and q of 10 000 deviations: S = (q - p) / sqrt(pq), K = 1 / (pq) - 6 */
    static const struct {
        const char *source;
        uint64_t rare;
        fleck_presence_test test;
        double statistic;
    } cases[] = {
        { "p 0.5: S 0, K -2; S^2 - K over 0.35 + 0.045", 5000, FLECK_PRESENCE_TWO, 2 / 0.395 },
        { "p 0.1: S 8/3 over 0.45 + 0.05", 1000, FLECK_PRESENCE_SKEW, 8.0 / 3 / 0.5 },
        { "p 0.02: K 45.02 over 2 + 0.2", 200, FLECK_PRESENCE_EDGES, (1 / 0.0196 - 6) / 2.2 },
    };
    /* an even histogram, fine and not clipped, of a patch whose classes are close */
    const fleck_cut cut = { .k = 30000,
                            .between_variance = 1e-6,
                            .ink_reflectance = 0.45,
                            .bare_reflectance = 0.46,
                            .mean_reflectance = 0.455,
                            .sd_reflectance = 0.01 };
    uint64_t *const counts = calloc(FLECK_LEVELS, sizeof *counts);

    (void)state;
    assert_non_null(counts);
    for (size_t i = 29000; i < 31000; i++)
        counts[i] = 5;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_presence *presence;
        fleck_presence_finding finding;

        assert_int_equal(fleck_presence_new(64, false, &presence, NULL), FLECK_OK);
        add_deviation(&presence->level[0].cells, cases[i].rare, 700);
        add_deviation(&presence->level[0].cells, 10000 - cases[i].rare, -300);
        finding = fleck_presence_decide(presence, counts, &cut);
        check_ratio(cases[i].source, finding.statistic, cases[i].statistic, 1e-9);
        assert_int_equal(finding.test, cases[i].test);
        presence->level[0].cells.bends = 0;
        finding = fleck_presence_decide(presence, counts, &cut);
        check_ratio("a smooth shade is not looked at: Otsu's classes alone", finding.statistic,
                    1e-6 / 1e-4 / 0.83, 1e-9);
        fleck_presence_free(presence);
    }
    free(counts);
}

static void test_a_negative_and_a_turned_patch_have_the_same_statistic(void **state)
{
    enum { SIDE = 160 };
    static const double coverages[] = { 0.05, 0.3, 0.5 };
    uint16_t *const other = malloc(SIDE * SIDE * sizeof *other);
    uint64_t seed = 3;

    (void)state;
    assert_non_null(other);
    for (size_t c = 0; c < sizeof coverages / sizeof *coverages; c++) {
        struct patch patch = patch_new(SIDE, SIDE, 0.7);
        uint16_t *q;
        double expected;

        patch_add_discs(&patch, 4, coverages[c], 0.2, &seed);
        patch_add_noise(&patch, 0.03, 0, &seed);
        q = patch_scan(&patch, 65535);
        expected = statistic(q, SIDE, SIDE);
        for (size_t i = 0; i < SIDE * SIDE; i++)
            other[i] = (uint16_t)(65535 - q[i]);
        check_ratio("negative", statistic(other, SIDE, SIDE), expected, 1e-9);
        for (size_t i = 0; i < SIDE * SIDE; i++)
            other[i] = q[i % SIDE * SIDE + i / SIDE];
        check_ratio("columns for rows", statistic(other, SIDE, SIDE), expected, 1e-9);
        free(q);
        patch_free(&patch);
    }
    free(other);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sums_agree_with_the_definition),
        cmocka_unit_test(test_steps_are_summed_by_their_place_in_a_block),
        cmocka_unit_test(test_the_statistic_of_two_sharp_tones_is_the_one_worked_by_hand),
        cmocka_unit_test(test_a_negative_and_a_turned_patch_have_the_same_statistic),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
