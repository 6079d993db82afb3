/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <locale.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/text.h"

static void numbers_are_the_shortest_that_read_back(void **state)
{
    static const struct {
        double value;
        const char *text;
    } cases[] = {
        { 0.1, "0.1" },           { 1.0 / 3.0, "0.3333333333333333" },
        { 25.4, "25.4" },         { -0.0, "0" },
        { 1e300, "1e+300" },      { 65535, "65535" },
        { 0.1 + 0.2, "0.30000000000000004" },
    };
    char buffer[FLECK_NUMBER_TEXT_BYTES];

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const char *text = fleck_text_from_number(cases[i].value, buffer);

        assert_string_equal(text, cases[i].text);
        assert_true(strtod(text, NULL) == cases[i].value);
    }
    assert_string_equal(fleck_text_from_number(NAN, buffer), "");
    assert_string_equal(fleck_text_from_number(INFINITY, buffer), "");
}

static void random_numbers_survive_the_way_to_text_and_back(void **state)
{
    uint64_t seed = 7;
    char buffer[FLECK_NUMBER_TEXT_BYTES];

    (void)state;
    for (int i = 0; i < 20000; i++) {
        const uint64_t bits = test_random(&seed);
        double value, back = 0;

        memcpy(&value, &bits, sizeof value);
        if (!isfinite(value))
            continue;
        assert_true(fleck_text_to_number(fleck_text_from_number(value, buffer), &back));
        assert_true(back == value);
    }
}

static void only_plain_decimals_are_numbers(void **state)
{
    static const char *const bad[] = { "", " ", "x", "1x", "0x10", "inf", "nan", "1,5", "1 2",
                                       "--1", "1e999", "e5", "." };
    double value = -5;
    size_t count = 7;

    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++)
        assert_false(fleck_text_to_number(bad[i], &value));
    assert_true(value == -5);
    assert_true(fleck_text_to_number(" 1.5e2 ", &value));
    assert_true(value == 150);
    assert_false(fleck_text_to_size("-1", &count));
    assert_false(fleck_text_to_size("99999999999999999999999", &count));
    assert_false(fleck_text_to_size("1.5", &count));
    assert_int_equal(count, 7);
    assert_true(fleck_text_to_size("42", &count));
    assert_int_equal(count, 42);
}

static void a_text_grows(void **state)
{
    fleck_text text = { 0 };

    (void)state;
    for (int i = 0; i < 1000; i++)
        fleck_text_add_format(&text, "%d;", i);
    fleck_text_add_number(&text, 0.25);
    assert_false(text.failed);
    assert_int_equal(text.length, strlen(text.bytes));
    assert_memory_equal(text.bytes, "0;1;2;", 6);
    assert_string_equal(text.bytes + text.length - 8, "999;0.25");
    fleck_text_clear(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_are_the_shortest_that_read_back),
        cmocka_unit_test(random_numbers_survive_the_way_to_text_and_back),
        cmocka_unit_test(only_plain_decimals_are_numbers),
        cmocka_unit_test(a_text_grows),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
