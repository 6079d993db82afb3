/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/segment.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "support/check.h"

enum { MOST_SPIKES = 8 };

/* Levels with pixels; a list ends at a count of 0. */
struct spike {
    unsigned level;
    uint64_t count;
};

static uint64_t *histogram(const struct spike *spikes)
{
    uint64_t *const counts = calloc(FLECK_LEVELS, sizeof *counts);

    assert_non_null(counts);
    for (size_t i = 0; i < MOST_SPIKES && spikes[i].count > 0; i++)
        counts[spikes[i].level] += spikes[i].count;
    return counts;
}

static void test_otsu_takes_the_k_worked_by_hand(void **state)
{
    static const struct {
        const char *source;
        struct spike spikes[MOST_SPIKES];
        unsigned k;
    } cases[] = {
        { "two spikes: the middle of 0 ... 65534", { { 0, 3 }, { 65535, 1 } }, 32767 },
        { "two spikes: the middle of 10 ... 19, rounded down", { { 10, 1 }, { 20, 1 } }, 14 },
        { "two spikes side by side: one k only", { { 65534, 5 }, { 65535, 7 } }, 65534 },
        { "0.24 (290/3)^2 above 0.24 70^2: the middle of 10 ... 99",
          { { 0, 2 }, { 10, 1 }, { 100, 2 } },
          54 },
        { "an exact tie of two splits: the middle of the darker one, 0 ... 9",
          { { 0, 1 }, { 10, 1 }, { 20, 1 } },
          4 },
        { "the same with 2^40 - 1 pixels",
          { { 0, 366503875925 }, { 32767, 366503875925 }, { 65534, 366503875925 } },
          16383 },
        { "one pixel more on the light side decides among 2^40 (fractions.Fraction of Python)",
          { { 0, 366503875900 }, { 32767, 366503875900 }, { 65534, 366503875901 } },
          49150 },
        { "one pixel more on the dark side",
          { { 0, 366503875901 }, { 32767, 366503875900 }, { 65534, 366503875900 } },
          16383 },
        { "an exact tie that doubles decide wrongly (fractions.Fraction of Python)",
          { { 0, 1 }, { 40000, 6 }, { 60000, 8 } },
          19999 },
        { "an exact tie that 80-bit floats decide wrongly (fractions.Fraction of Python)",
          { { 0, 15308642 }, { 36000, 53580247 }, { 60000, 53580247 } },
          17999 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        uint64_t *const counts = histogram(cases[i].spikes);
        fleck_cut cut;
        fleck_error err;

        assert_int_equal(fleck_cut_otsu(counts, FLECK_INK_DARK, &cut, &err), FLECK_OK);
        check_near(cases[i].source, cut.k, cases[i].k, 0.0);
        free(counts);
    }
}

static void test_a_cut_has_the_statistics_worked_by_hand(void **state)
{
    static const struct spike three[MOST_SPIKES] = { { 0, 2 }, { 10, 1 }, { 100, 2 } };
    static const struct spike two[MOST_SPIKES] = { { 0, 3 }, { 65535, 1 } };
    uint64_t *const of_three = histogram(three), *const of_two = histogram(two);
    fleck_cut cut;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_cut_otsu(of_two, FLECK_INK_DARK, &cut, &err), FLECK_OK);
    check_near("3/4 1/4 1^2", cut.between_variance, 0.1875, 1e-16);
    check_near("nothing is left within the classes", cut.separability, 1.0, 1e-16);
    check_near("dark class", cut.ink_reflectance, 0.0, 0.0);
    check_near("light class", cut.bare_reflectance, 1.0, 0.0);
    check_near("1/4", cut.mean_reflectance, 0.25, 0.0);
    check_near("sqrt(3/16)", cut.sd_reflectance, 0.43301270189221932, 1e-16);
    check_near("(32767 + 1/2) / 65535", fleck_cut_threshold_reflectance(cut.k), 0.5, 0.0);

    assert_int_equal(fleck_cut_at(of_three, 50, FLECK_INK_LIGHT, &cut, &err), FLECK_OK);
    assert_int_equal(cut.k, 50);
    check_ratio("6/25 (100 - 10/3)^2 / 65535^2", cut.between_variance,
                0.24 * (290.0 / 3.0) * (290.0 / 3.0) / (65535.0 * 65535.0), 1e-15);
    check_ratio("2242.667 / 2256", cut.separability, (6.0 / 25.0) * (84100.0 / 9.0) / 2256.0,
                1e-15);
    check_ratio("light ink: mean 100", cut.ink_reflectance, 100.0 / 65535.0, 1e-15);
    check_ratio("dark paper: mean 10/3", cut.bare_reflectance, 10.0 / 3.0 / 65535.0, 1e-15);
    check_ratio("mean 42", cut.mean_reflectance, 42.0 / 65535.0, 1e-15);
    check_ratio("variance 20100/5 - 42^2", cut.sd_reflectance, sqrt(2256.0) / 65535.0, 1e-15);

    assert_int_equal(fleck_cut_otsu(of_three, FLECK_INK_LIGHT, &cut, &err), FLECK_OK);
    assert_int_equal(cut.k, 54);
    check_ratio("the kind of ink moves no threshold, it names the classes", cut.ink_reflectance,
                100.0 / 65535.0, 1e-15);
    free(of_three);
    free(of_two);
}

static void test_level_k_itself_belongs_to_the_darker_class(void **state)
{
    static const struct spike three[MOST_SPIKES] = { { 0, 2 }, { 10, 1 }, { 100, 2 } };
    uint64_t *const counts = histogram(three);
    fleck_cut cut;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_cut_at(counts, 10, FLECK_INK_DARK, &cut, &err), FLECK_OK);
    check_ratio("levels 0, 0 and 10", cut.ink_reflectance, 10.0 / 3.0 / 65535.0, 1e-15);
    assert_int_equal(fleck_cut_at(counts, 9, FLECK_INK_DARK, &cut, &err), FLECK_OK);
    check_near("levels 0 and 0", cut.ink_reflectance, 0.0, 0.0);
    check_ratio("levels 10, 100 and 100", cut.bare_reflectance, 70.0 / 65535.0, 1e-15);
    free(counts);
}

static void test_an_empty_class_has_no_mean(void **state)
{
    static const struct spike two[MOST_SPIKES] = { { 100, 3 }, { 200, 1 } };
    static const struct spike one[MOST_SPIKES] = { { 65535, 9 } };
    uint64_t *const of_two = histogram(two), *const of_one = histogram(one);
    fleck_cut cut;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_cut_at(of_two, 99, FLECK_INK_DARK, &cut, &err), FLECK_OK);
    check_near("no ink", cut.ink_reflectance, NAN, 0.0);
    check_ratio("all bare, mean 125", cut.bare_reflectance, 125.0 / 65535.0, 1e-15);
    check_near("nothing between one class", cut.between_variance, 0.0, 0.0);
    check_near("nothing over something", cut.separability, 0.0, 0.0);
    assert_int_equal(fleck_cut_at(of_one, 65534, FLECK_INK_DARK, &cut, &err), FLECK_OK);
    check_near("no variance at all", cut.separability, NAN, 0.0);
    check_near("no variance at all", cut.sd_reflectance, 0.0, 0.0);
    check_near("white", cut.mean_reflectance, 1.0, 0.0);
    assert_int_equal(fleck_cut_at(of_one, 65535, FLECK_INK_DARK, &cut, &err), FLECK_OK);
    check_near("fixed:1 takes even white for ink", cut.ink_reflectance, 1.0, 0.0);
    check_near("and leaves nothing bare", cut.bare_reflectance, NAN, 0.0);
    free(of_two);
    free(of_one);
}

static void test_what_cannot_be_cut_is_refused(void **state)
{
    static const struct spike one[MOST_SPIKES] = { { 4711, 9 } };
    static const struct spike many[MOST_SPIKES] = { { 1, UINT64_C(1) << 40 }, { 9, 1 } };
    static const struct spike wrapping[MOST_SPIKES] = { { 1, 2 }, { 9, UINT64_MAX } };
    uint64_t *const of_one = histogram(one), *const of_many = histogram(many);
    uint64_t *const of_wrapping = histogram(wrapping);
    uint64_t *const of_none = histogram(&(struct spike){ 0, 0 });
    fleck_cut cut;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_cut_otsu(of_one, FLECK_INK_DARK, &cut, &err), FLECK_BAD_INPUT);
    assert_int_equal(strncmp(err.message, "one tone only", 13), 0);
    assert_int_equal(fleck_cut_otsu(of_none, FLECK_INK_DARK, &cut, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_cut_at(of_none, 5, FLECK_INK_DARK, &cut, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_cut_otsu(of_many, FLECK_INK_DARK, &cut, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_cut_otsu(of_wrapping, FLECK_INK_DARK, &cut, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_cut_at(of_one, 65536, FLECK_INK_DARK, &cut, &err), FLECK_BAD_CALL);
    free(of_one);
    free(of_many);
    free(of_wrapping);
    free(of_none);
}

/* The slow twin: w0 w1 (m0 - m1)^2 for every k, the first plateau that reaches the largest. */
static unsigned slow_otsu(const uint64_t *counts)
{
    static long double value[FLECK_LEVELS - 1];
    long double n = 0.0L, s = 0.0L, n0 = 0.0L, s0 = 0.0L, largest = 0.0L;
    unsigned low = 0, high;

    for (size_t level = 0; level < FLECK_LEVELS; level++) {
        n += (long double)counts[level];
        s += (long double)counts[level] * (long double)level;
    }
    for (size_t k = 0; k < FLECK_LEVELS - 1; k++) {
        n0 += (long double)counts[k];
        s0 += (long double)counts[k] * (long double)k;
        value[k] = 0.0L;
        if (n0 > 0.0L && n0 < n) {
            const long double apart = s0 / n0 - (s - s0) / (n - n0);

            value[k] = n0 / n * ((n - n0) / n) * apart * apart;
        }
        if (value[k] > largest)
            largest = value[k];
    }
    while (value[low] < largest * (1.0L - 1e-16L))
        low++;
    for (high = low; high + 1 < FLECK_LEVELS - 1 && counts[high + 1] == 0;)
        high++;
    return (low + high) / 2;
}

static void test_otsu_agrees_with_the_slow_twin(void **state)
{
    uint64_t random = 1;

    (void)state;
    for (int trial = 0; trial < 150; trial++) {
        static uint64_t counts[FLECK_LEVELS];
        const size_t levels = trial < 75 ? 2 + test_random(&random) % 6 : 40000;
        const uint64_t most = trial % 3 == 0 ? 3 : trial % 3 == 1 ? 1000000 : UINT64_C(20000000);
        const size_t span = trial % 2 == 0 ? FLECK_LEVELS : 300;
        fleck_cut cut;
        fleck_error err;

        memset(counts, 0, sizeof counts);
        counts[0] = trial % 5 == 0;
        counts[FLECK_LEVELS - 1] = trial % 7 == 0;
        counts[7] = counts[101] = 1; /* two levels at least */
        for (size_t i = 0; i < levels; i++)
            counts[test_random(&random) % span] = 1 + test_random(&random) % most;
        assert_int_equal(fleck_cut_otsu(counts, FLECK_INK_DARK, &cut, &err), FLECK_OK);
        assert_int_equal(cut.k, slow_otsu(counts));
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_otsu_takes_the_k_worked_by_hand),
        cmocka_unit_test(test_a_cut_has_the_statistics_worked_by_hand),
        cmocka_unit_test(test_level_k_itself_belongs_to_the_darker_class),
        cmocka_unit_test(test_an_empty_class_has_no_mean),
        cmocka_unit_test(test_what_cannot_be_cut_is_refused),
        cmocka_unit_test(test_otsu_agrees_with_the_slow_twin),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
