/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/segment.h"

#include <stdlib.h>
#include <string.h>

#include "support/check.h"

/* Whether a list of runs is the row, from the definition: every pixel, and a gap between two runs.
 */
static bool is_row(const uint16_t *q, size_t count, unsigned k, fleck_ink ink,
                   const fleck_run *runs, size_t n)
{
    size_t run = 0;

    for (size_t x = 0; x < count; x++) {
        const bool is_ink = ink == FLECK_INK_DARK ? q[x] <= k : q[x] > k;

        while (run < n && runs[run].end_px <= x)
            run++;
        if (is_ink != (run < n && runs[run].start_px <= x))
            return false;
    }
    for (size_t i = 0; i < n; i++) {
        if (runs[i].start_px >= runs[i].end_px || runs[i].end_px > count ||
            (i > 0 && runs[i - 1].end_px >= runs[i].start_px))
            return false;
    }
    return true;
}

static void test_runs_are_the_ink_of_a_row_worked_by_hand(void **state)
{
    static const uint16_t row[] = { 5, 6, 7, 9, 5, 9, 9, 0 };
    fleck_run runs[4];

    (void)state;
    assert_int_equal(fleck_runs_from_row(row, 8, 6, FLECK_INK_DARK, runs), 3);
    assert_int_equal(runs[0].start_px, 0);
    assert_int_equal(runs[0].end_px, 2);
    assert_int_equal(runs[1].start_px, 4);
    assert_int_equal(runs[1].end_px, 5);
    assert_int_equal(runs[2].start_px, 7);
    assert_int_equal(runs[2].end_px, 8);
    assert_int_equal(fleck_runs_from_row(row, 8, 6, FLECK_INK_LIGHT, runs), 2);
    assert_int_equal(runs[0].start_px, 2);
    assert_int_equal(runs[0].end_px, 4);
    assert_int_equal(runs[1].start_px, 5);
    assert_int_equal(runs[1].end_px, 7);
}

static void test_a_row_of_no_pixels_has_no_runs(void **state)
{
    (void)state;
    assert_int_equal(fleck_runs_from_row(NULL, 0, 100, FLECK_INK_DARK, NULL), 0);
    assert_int_equal(fleck_runs_from_row(NULL, 0, 100, FLECK_INK_LIGHT, NULL), 0);
}

static void test_runs_of_any_row_agree_with_the_definition(void **state)
{
    static const size_t lengths[] = { 1,   2,   3,   63,   64,   65,   511,
                                      512, 513, 514, 1024, 1025, 1026, 3000 };
    static const unsigned levels[] = { 0, 1, 100, 32767, 65534, 65535 };
    /* 2 stands for ink and bare in turn: as many runs as there can be */
    static const double shares[] = { 0.0, 0.05, 0.5, 0.95, 1.0, 2.0 };
    uint64_t random = 7;

    (void)state;
    for (size_t trial = 0; trial < 14 * 6 * 6 * 2; trial++) {
        const size_t count = lengths[trial % 14];
        const unsigned k = levels[trial / 14 % 6];
        const double share = shares[trial / 84 % 6];
        const fleck_ink ink = trial / 504 == 0 ? FLECK_INK_DARK : FLECK_INK_LIGHT;
        const size_t room = (count + 1) / 2;
        uint16_t *const q = malloc(count * sizeof *q);
        /* one run more than allowed, which must stay as it is */
        fleck_run *const runs = malloc((room + 1) * sizeof *runs);
        size_t n;

        assert_non_null(q);
        assert_non_null(runs);
        memset(runs, 0xa5, (room + 1) * sizeof *runs);
        for (size_t x = 0; x < count; x++) {
            const unsigned off = (unsigned)(test_random(&random) % 3);

            if (test_uniform(&random) < share)
                q[x] = (uint16_t)(k > off ? k - off : 0);
            else
                q[x] = (uint16_t)(k + 1 + off < 65535 ? k + 1 + off : 65535);
        }
        for (size_t x = 0; share > 1.0 && x < count; x++)
            q[x] = (uint16_t)((x % 2 == 0) == (ink == FLECK_INK_DARK) ? 0 : 65535);
        n = fleck_runs_from_row(q, count, k, ink, runs);
        assert_true(n <= room);
        assert_true(is_row(q, count, k, ink, runs, n));
        assert_int_equal(runs[room].start_px, 0xa5a5a5a5);
        assert_int_equal(runs[room].end_px, 0xa5a5a5a5);
        free(q);
        free(runs);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_runs_are_the_ink_of_a_row_worked_by_hand),
        cmocka_unit_test(test_a_row_of_no_pixels_has_no_runs),
        cmocka_unit_test(test_runs_of_any_row_agree_with_the_definition),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
