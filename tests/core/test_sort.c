/* SPDX-License-Identifier: GPL-3.0-or-later */
/* fleck_sort() against qsort() of the C library, and the order of what compares equal. */
#include <stdlib.h>
#include <string.h>

#include "core/sort.h"
#include "support/check.h"

enum { MOST = 3000 };

/* As wide as what is sorted in a patch. */
typedef struct item {
    uint32_t key;
    size_t place;
    char more[40];
} item;

static int by_key(const void *left, const void *right)
{
    const item *const a = left, *const b = right;

    return (a->key > b->key) - (a->key < b->key);
}

static int by_key_and_place(const void *left, const void *right)
{
    const item *const a = left, *const b = right;
    const int order = by_key(left, right);

    return order != 0 ? order : (a->place > b->place) - (a->place < b->place);
}

static void what_is_equal_stays_in_its_order(void **state)
{
    static item sorted[MOST], expected[MOST];
    uint64_t seed = 5;

    (void)state;
    for (size_t count = 0; count <= MOST; count = count < 70 ? count + 1 : count * 3 / 2) {
        for (size_t i = 0; i < count; i++) {
            memset(&sorted[i], 0, sizeof sorted[i]);
            sorted[i].key = (uint32_t)(test_random(&seed) % (count / 4 + 1));
            sorted[i].place = i;
        }
        memcpy(expected, sorted, sizeof expected);
        assert_true(fleck_sort(sorted, count, sizeof *sorted, by_key));
        if (count > 0)
            qsort(expected, count, sizeof *expected, by_key_and_place);
        assert_memory_equal(sorted, expected, count * sizeof *sorted);
    }
}

static int by_value(const void *left, const void *right)
{
    const double a = *(const double *)left, b = *(const double *)right;

    return (a > b) - (a < b);
}

static void small_items_are_sorted_too(void **state)
{
    static double sorted[MOST], expected[MOST];
    uint64_t seed = 6;

    (void)state;
    for (size_t i = 0; i < MOST; i++)
        sorted[i] = expected[i] = test_uniform(&seed);
    assert_true(fleck_sort(sorted, MOST, sizeof *sorted, by_value));
    qsort(expected, MOST, sizeof *expected, by_value);
    assert_memory_equal(sorted, expected, sizeof expected);
}

static void more_than_there_is_memory_for_is_refused(void **state)
{
    (void)state;
    assert_false(fleck_sort(NULL, SIZE_MAX / 4, 8, by_value));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_equal_stays_in_its_order),
        cmocka_unit_test(small_items_are_sorted_too),
        cmocka_unit_test(more_than_there_is_memory_for_is_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
