/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report/report_html.h"
#include "report/report_parts.h"
#include "report/report_picture.h"
#include "support/check.h"

#define ODD "\xef\xbf\xbd"

static void what_comes_from_outside_is_shown_as_text(void **state)
{
    static const struct {
        const char *content, *html;
    } cases[] = {
        { "", "" },
        { "a 2.5 %", "a 2.5 %" },
        { "<script>alert(1)</script>", "&lt;script&gt;alert(1)&lt;/script&gt;" },
        { "\" onload='x' &amp;", "&quot; onload=&#39;x&#39; &amp;amp;" },
        { "</textarea><!--", "&lt;/textarea&gt;&lt;!--" },
        { "\xe7\xb4\x99\xc3\xa9\xf0\x9f\x96\xa8", "\xe7\xb4\x99\xc3\xa9\xf0\x9f\x96\xa8" },
        { "a\tb\nc\rd", "a b c d" },
        { "\x01\x7f\xc2\x85", ODD ODD ODD },
        { "\xff\xc0\xaf", ODD ODD ODD },            /* no UTF-8, an overlong slash */
        { "\xed\xa0\x80", ODD ODD ODD },            /* a surrogate */
        { "\xef\xbf\xbe\xef\xb7\x90", ODD ODD },    /* no characters */
        { "a\xe2\x80\xae"
          "gpj",
          "a" ODD "gpj" }, /* right-to-left override */
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_text text = { 0 };

        fleck_text_add(&text, "");
        html_add(&text, cases[i].content);
        assert_string_equal(text.bytes != NULL ? text.bytes : "", cases[i].html);
        fleck_text_clear(&text);
    }
}

static void a_sentence_begins_with_a_capital(void **state)
{
    fleck_text text = { 0 };

    (void)state;
    html_add_capital(&text, "dots & more");
    html_add_capital(&text, "<b");
    html_add_capital(&text, "");
    assert_string_equal(text.bytes, "Dots &amp; more&lt;b");
    fleck_text_clear(&text);
}

static void bytes_become_base64_as_published(void **state)
{
    /* RFC 4648, section 10 */
    static const char *const cases[][2] = {
        { "f", "Zg==" },         { "fo", "Zm8=" },         { "foo", "Zm9v" },
        { "foob", "Zm9vYg==" },  { "fooba", "Zm9vYmE=" },  { "foobar", "Zm9vYmFy" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_text text = { 0 };

        html_add_base64(&text, (const unsigned char *)cases[i][0], strlen(cases[i][0]));
        assert_string_equal(text.bytes, cases[i][1]);
        fleck_text_clear(&text);
    }
}

static void long_bytes_become_base64_without_a_seam(void **state)
{
    unsigned char bytes[10000];
    fleck_text all = { 0 }, pieces = { 0 };

    (void)state;
    for (size_t i = 0; i < sizeof bytes; i++)
        bytes[i] = (unsigned char)(i * 7 + (i >> 8));
    html_add_base64(&all, bytes, sizeof bytes);
    for (size_t i = 0; i < sizeof bytes; i += 3)
        html_add_base64(&pieces, bytes + i, sizeof bytes - i < 3 ? sizeof bytes - i : 3);
    assert_int_equal(all.length, (sizeof bytes + 2) / 3 * 4);
    assert_string_equal(all.bytes, pieces.bytes);
    fleck_text_clear(&all);
    fleck_text_clear(&pieces);
}

static void numbers_have_the_digits_that_their_uncertainty_leaves(void **state)
{
    static const struct {
        double value, uncertainty;
        const char *text;
    } cases[] = {
        { 0.35123, 0.013, "0.351" }, { 0.35123, 0.026, "0.35" },  { -0.0987, 0.025, "\xe2\x88\x92" "0.10" },
        { 307.4, 12, "307" },        { 0.35123, NAN, "0.351" },   { NAN, 0.1, "\xe2\x80\x93" },
        { 0.30, 0.02, "0.30" },      { -0.001, 0.3, "0.0" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_text text = { 0 };

        report_add_rounded(&text, cases[i].value, cases[i].uncertainty);
        assert_string_equal(text.bytes, cases[i].text);
        fleck_text_clear(&text);
    }
}

static void a_picture_larger_than_allowed_is_scaled_and_a_smaller_one_is_not(void **state)
{
    cairo_surface_t *const picture = cairo_image_surface_create(CAIRO_FORMAT_RGB24, 300, 100);
    fleck_text text = { 0 };

    (void)state;
    assert_true(picture_add(&text, picture, (picture_box){ 0, 0, 300, 100 }, 150, 70, true, "a \"b\"", " id=\"x\""));
    assert_non_null(strstr(text.bytes, "<img width=\"150\" height=\"50\" id=\"x\" alt=\"a &quot;b&quot;\""));
    fleck_text_clear(&text);
    assert_true(picture_add(&text, picture, (picture_box){ 10, 10, 60, 80 }, 150, 70, false, "", ""));
    assert_non_null(strstr(text.bytes, "<img width=\"60\" height=\"80\" alt=\"\" src=\"data:image/jpeg;base64,/9j/"));
    fleck_text_clear(&text);
    cairo_surface_destroy(picture);
}

static void a_file_that_is_no_picture_is_none(void **state)
{
    (void)state;
    assert_null(picture_read(FLECK_TEST_DATA));
    assert_null(picture_read(FLECK_TEST_DATA "/no such file.png"));
    assert_null(picture_read(__FILE__));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_comes_from_outside_is_shown_as_text),
        cmocka_unit_test(a_sentence_begins_with_a_capital),
        cmocka_unit_test(bytes_become_base64_as_published),
        cmocka_unit_test(long_bytes_become_base64_without_a_seam),
        cmocka_unit_test(numbers_have_the_digits_that_their_uncertainty_leaves),
        cmocka_unit_test(a_picture_larger_than_allowed_is_scaled_and_a_smaller_one_is_not),
        cmocka_unit_test(a_file_that_is_no_picture_is_none),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
