/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "core/utf8.h"

static void characters_are_told_from_other_bytes(void **state)
{
    static const struct {
        const char *source;
        const char *text;
        size_t length;
        uint32_t character;
    } cases[] = {
        { "RFC 3629, section 7: A", "A", 1, 0x41 },
        { "RFC 3629, section 7: not identical to", "\xe2\x89\xa2", 3, 0x2262 },
        { "RFC 3629, section 7: Korean", "\xed\x95\x9c", 3, 0xd55c },
        { "RFC 3629, section 7: stump of tree", "\xf0\xa3\x8e\xb4", 4, 0x233b4 },
        { "RFC 3629, section 3: first of two bytes", "\xc2\x80", 2, 0x80 },
        { "RFC 3629, section 3: last of two bytes", "\xdf\xbf", 2, 0x7ff },
        { "RFC 3629, section 3: first of three bytes", "\xe0\xa0\x80", 3, 0x800 },
        { "RFC 3629, section 3: before the surrogates", "\xed\x9f\xbf", 3, 0xd7ff },
        { "RFC 3629, section 3: after the surrogates", "\xee\x80\x80", 3, 0xe000 },
        { "RFC 3629, section 3: first of four bytes", "\xf0\x90\x80\x80", 4, 0x10000 },
        { "RFC 3629, section 3: the last of all", "\xf4\x8f\xbf\xbf", 4, 0x10ffff },
        { "RFC 3629, section 10: overlong NUL", "\xc0\x80", 0, 7 },
        { "RFC 3629, section 10: overlong /../", "\xc0\xae", 0, 7 },
        { "overlong in three bytes", "\xe0\x9f\xbf", 0, 7 },
        { "overlong in four bytes", "\xf0\x8f\xbf\xbf", 0, 7 },
        { "RFC 3629, section 3: a surrogate", "\xed\xa0\x80", 0, 7 },
        { "above U+10FFFF", "\xf4\x90\x80\x80", 0, 7 },
        { "section 1: C1, F5 to FF never appear", "\xf5\x80\x80\x80", 0, 7 },
        { "a byte that may only follow", "\x80", 0, 7 },
        { "Latin-1 e acute before a letter", "\xe9t\xe9", 0, 7 },
        { "cut off", "\xe2\x89", 0, 7 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        uint32_t character = 7;
        const size_t length =
            fleck_utf8_next(cases[i].text, strlen(cases[i].text), &character);

        check_near(cases[i].source, (double)length, (double)cases[i].length, 0);
        check_near(cases[i].source, character, cases[i].character, 0);
    }
}

static void the_valid_part_ends_before_the_first_wrong_byte(void **state)
{
    (void)state;
    assert_int_equal(fleck_utf8_valid("", 0), 0);
    assert_int_equal(fleck_utf8_valid("f\xc3\xbcnf", 5), 5);
    assert_int_equal(fleck_utf8_valid("f\xc3\xbcn\xfc", 5), 4);
    assert_int_equal(fleck_utf8_valid("f\xc3\xbc", 2), 1);
    assert_int_equal(fleck_utf8_valid("a\0b", 3), 3);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(characters_are_told_from_other_bytes),
        cmocka_unit_test(the_valid_part_ends_before_the_first_wrong_byte),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
