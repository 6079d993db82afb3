/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/scatter_rank.h"

#include <math.h>

#include "support/check.h"

enum { COUNT = 40 };

/* Two signs that go together (correlation about 0.95) and one that is the same for all. */
static void scatter(double values[COUNT][3], uint64_t seed)
{
    for (size_t i = 0; i < COUNT; i++) {
        const double common = test_uniform(&seed) + test_uniform(&seed) - 1;

        values[i][0] = common;
        values[i][1] = common + 0.2 * (test_uniform(&seed) - 0.5);
        values[i][2] = 7;
    }
}

static double rank_of_first(double values[COUNT][3], double slack)
{
    const double *rows[COUNT];

    for (size_t i = 0; i < COUNT; i++)
        rows[i] = values[i];
    return fleck_scatter_rank(rows, COUNT, 3, slack);
}

static void one_that_breaks_the_common_trend_is_farthest(void **state)
{
    double values[COUNT][3];

    (void)state;
    scatter(values, 1);
    values[0][0] = 0.6; /* each within the range of the others, but not together */
    values[0][1] = -0.6;
    check_near("farthest", rank_of_first(values, 0), 1.0 / COUNT, 0);
    values[0][1] = 0.6;
    assert_true(rank_of_first(values, 0) > 1.5 / COUNT);
    values[0][0] = values[0][1] = 0;
    assert_true(rank_of_first(values, 0) > 0.8);
}

static void slack_hides_what_is_too_small_to_matter(void **state)
{
    double values[COUNT][3];

    (void)state;
    scatter(values, 2);
    values[0][2] = 7.001; /* alone among equals */
    check_near("without slack", rank_of_first(values, 0), 1.0 / COUNT, 0);
    values[0][0] = values[0][1] = 0;
    assert_true(rank_of_first(values, 0.05) > 0.5);
}

static void under_one_law_each_rank_is_as_likely(void **state)
{
    double low = 0;

    (void)state;
    for (uint64_t seed = 1; seed <= 400; seed++) {
        double values[COUNT][3];

        scatter(values, seed << 20);
        low += rank_of_first(values, 0.004) <= 0.1;
    }
    /* 40 of 400 expected, standard deviation 6 */
    check_near("ranks up to 0.1", low, 40, 18);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_that_breaks_the_common_trend_is_farthest),
        cmocka_unit_test(slack_hides_what_is_too_small_to_matter),
        cmocka_unit_test(under_one_law_each_rank_is_as_likely),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
