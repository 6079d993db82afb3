/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "number_text.h"
#include "options.h"
#include "table.h"
#include "text_width.h"

static char *printed(const cli_table *table)
{
    static char *text; /* the stream writes to it until it is closed */
    static size_t size;
    FILE *out = open_memstream(&text, &size);

    assert_non_null(out);
    assert_int_equal(cli_table_print(table, out, 2), EXIT_DONE);
    fclose(out);
    return text;
}

static size_t widest_line(const char *text)
{
    size_t widest = 0;

    while (*text != '\0') {
        const size_t length = strcspn(text, "\n");
        const size_t width = cli_text_width(text, length);

        widest = width > widest ? width : widest;
        text += length + 1;
    }
    return widest;
}

static void numbers_stand_right_and_names_left(void **state)
{
    static const cli_column columns[] = { { "measure", CLI_LEFT },
                                          { "difference\nmm", CLI_RIGHT },
                                          { "verdict", CLI_WRAP } };
    cli_table *table = cli_table_new(columns, 3);
    char *text;

    (void)state;
    cli_table_add(table, "ink.coverage");
    cli_table_add_rounded(table, 0.12345, 0.012);
    cli_table_add(table, "cannot tell");
    cli_table_add_gap(table);
    cli_table_add(table, "d50");
    cli_table_add_rounded(table, NAN, 1);
    cli_table_add(table, "");
    cli_table_add_blank(table);
    cli_table_add_p(table, 0.00001);
    text = printed(table);
    assert_string_equal(text, "                difference\n"
                              "  measure               mm  verdict\n"
                              "  ink.coverage       0.123  cannot tell\n"
                              "\n"
                              "  d50                    -  -\n"
                              "                  < 0.0001\n");
    free(text);
    cli_table_free(table);
}

static void a_table_never_exceeds_100_columns(void **state)
{
    static const cli_column columns[] = {
        { "a", CLI_LEFT },  { "b", CLI_RIGHT }, { "c", CLI_WRAP },  { "d", CLI_RIGHT },
        { "e", CLI_RIGHT }, { "f", CLI_LEFT },  { "g", CLI_RIGHT }, { "h", CLI_RIGHT },
    };
    uint64_t seed = 5;

    (void)state;
    for (size_t count = 1; count <= 8; count++) {
        for (int run = 0; run < 40; run++) {
            cli_table *table = cli_table_new(columns, count);
            char *text;

            for (size_t i = 0; i < 3 * count; i++) {
                char cell[200];
                size_t length = (size_t)(test_random(&seed) % 180);

                if (columns[i % count].align == CLI_RIGHT)
                    length = length % 30;
                for (size_t k = 0; k < length; k++)
                    cell[k] = test_random(&seed) % 6 == 0 ? ' ' : 'x';
                cell[length] = '\0';
                cli_table_add(table, cell);
            }
            text = printed(table);
            assert_true(widest_line(text) <= CLI_TABLE_WIDTH);
            free(text);
            cli_table_free(table);
        }
    }
}

static void nothing_of_a_cell_is_lost_when_it_is_wrapped(void **state)
{
    static const cli_column columns[] = { { "id", CLI_LEFT }, { "words", CLI_WRAP } };
    cli_table *table = cli_table_new(columns, 2);
    char sentence[1200] = "";
    char *text, *at;

    (void)state;
    for (int i = 0; i < 150; i++)
        sprintf(sentence + strlen(sentence), "%sw%d", i > 0 ? " " : "", i);
    cli_table_add(table, "1");
    cli_table_add(table, sentence);
    at = text = printed(table);
    for (int i = 0; i < 150; i++) {
        char word[16];

        sprintf(word, "w%d", i);
        at = strstr(at, word);
        assert_non_null(at);
    }
    assert_true(widest_line(text) <= CLI_TABLE_WIDTH);
    free(text);
    cli_table_free(table);
}

static void columns_that_do_not_fit_follow_in_a_block_of_their_own(void **state)
{
    static const cli_column columns[] = {
        { "id", CLI_LEFT }, { "one", CLI_RIGHT }, { "two", CLI_RIGHT }, { "three", CLI_RIGHT }
    };
    cli_table *table = cli_table_new(columns, 4);
    char *text;

    (void)state;
    cli_table_add(table, "patch");
    for (int i = 1; i <= 3; i++)
        cli_table_add_format(table, "%040d", i);
    text = printed(table);
    assert_non_null(strstr(text, "\n\n  id  "));
    assert_ptr_equal(strstr(text, "patch"), strchr(text, 'p'));
    assert_non_null(strstr(strstr(text, "\n\n"), "patch"));
    assert_non_null(strstr(strstr(text, "\n\n"), "three"));
    free(text);
    cli_table_free(table);
}

static void letters_are_counted_by_the_room_they_take(void **state)
{
    static const struct {
        const char *source;
        const char *text;
        size_t width;
    } cases[] = {
        { "ASCII", "paste", 5 },
        { "two bytes", "p\xc3\xa4te", 4 },
        { "a mark on the letter before", "a\xcc\x88", 1 },
        { "two columns each", "\xe7\xb4\x99\xe6\x9c\xa8", 4 },
        { "no UTF-8", "a\xff\xfe", 3 },
        { "cut off", "a\xe7\xb4", 3 },
        { "nothing", "", 0 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        check_near(cases[i].source, (double)cli_text_width(cases[i].text, strlen(cases[i].text)),
                   (double)cases[i].width, 0);
    assert_int_equal(cli_text_fitting("\xe7\xb4\x99\xe6\x9c\xa8", 6, 3), 3);
    assert_int_equal(cli_text_fitting("a\xcc\x88z", 4, 1), 3);
}

static void a_number_has_the_digits_its_uncertainty_leaves(void **state)
{
    static const struct {
        double value, uncertainty;
        const char *text;
    } cases[] = {
        { 0.123456, 0.0123, "0.123" },
        { 0.123456, 0.0996, "0.12" },
        { 0.123456, 0.00994, "0.1235" },
        { 12345, 456, "12350" },
        { 12345, 99.6, "12350" },
        { 12345, 12.3, "12345" },
        { -0.00001, 0.01, "0.000" },
        { 0.123456, NAN, "0.1235" },
        { 1234.56, NAN, "1235" },
        { 99999.6, NAN, "100000" },
        { 0, NAN, "0" },
        { 0.00123456, 0, "0.001235" },
        { NAN, 0.1, "-" },
        { 5, INFINITY, "5.000" },
        { 2.5e-12, NAN, "2.5e-12" },
        { 99.9999, NAN, "100.0" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char text[CLI_NUMBER_BYTES];

        assert_string_equal(cli_number_rounded(text, cases[i].value, cases[i].uncertainty),
                            cases[i].text);
    }
}

static void p_values_have_two_digits(void **state)
{
    static const struct {
        double p;
        const char *text;
    } cases[] = {
        { 1, "1.00" },           { 0.5, "0.50" },       { 0.0994, "0.099" },
        { 0.0321, "0.032" },     { 0.00209, "0.0021" }, { 0.00012, "0.00012" },
        { 0.00009, "< 0.0001" }, { NAN, "-" },          { 0.0996, "0.10" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char text[CLI_NUMBER_BYTES];

        assert_string_equal(cli_number_p(text, cases[i].p), cases[i].text);
    }
}

static void notes_are_wrapped_with_their_indent(void **state)
{
    char *text = NULL;
    size_t size = 0;
    FILE *out = open_memstream(&text, &size);
    char words[400] = "";

    (void)state;
    for (int i = 0; i < 60; i++)
        strcat(words, "words ");
    cli_print_note(out, "  * ", words);
    cli_print_note(out, "", "one\ntwo");
    fclose(out);
    assert_memory_equal(text, "  * words", 9);
    assert_non_null(strstr(text, "\n    words"));
    assert_true(widest_line(text) <= CLI_TABLE_WIDTH);
    assert_non_null(strstr(text, "\none\ntwo\n"));
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(numbers_stand_right_and_names_left),
        cmocka_unit_test(a_table_never_exceeds_100_columns),
        cmocka_unit_test(nothing_of_a_cell_is_lost_when_it_is_wrapped),
        cmocka_unit_test(columns_that_do_not_fit_follow_in_a_block_of_their_own),
        cmocka_unit_test(letters_are_counted_by_the_room_they_take),
        cmocka_unit_test(a_number_has_the_digits_its_uncertainty_leaves),
        cmocka_unit_test(p_values_have_two_digits),
        cmocka_unit_test(notes_are_wrapped_with_their_indent),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
