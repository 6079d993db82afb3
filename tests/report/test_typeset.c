/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/typeset.h"
#include "support/check.h"

static void words_are_typeset_and_names_are_not(void **state)
{
    static const struct {
        const char *words, *label, *sentence;
    } cases[] = {
        { "", "", "" },
        { "dots per cm2", "dots per cm\xc2\xb2", "dots per cm\xc2\xb2" },
        { "69 per cm2 more", "69 per cm\xc2\xb2 more", "69 per cm\xc2\xb2 more" },
        { "dots per cm2, lower end", "dots per cm\xc2\xb2, lower end", "dots per cm\xc2\xb2, lower end" },
        { "dots.per_cm2", "dots.per_cm2", "dots.per_cm2" },
        { "upper cm2", "upper cm2", "upper cm2" },
        { "per cm2b", "per cm2b", "per cm2b" },
        { "-0.5 to -.5 (-1 to 2-1)", "-0.5 to -.5 (-1 to 2-1)",
          "\xe2\x88\x92" "0.5 to -.5 (\xe2\x88\x92" "1 to 2-1)" },
        { "raise --cutoff, patch a-1", "raise --cutoff, patch a-1", "raise --cutoff, patch a-1" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_text label = { 0 }, sentence = { 0 };

        typeset_label(&label, cases[i].words);
        typeset_sentence(&sentence, cases[i].words);
        assert_false(label.failed || sentence.failed);
        assert_string_equal(label.bytes, cases[i].label);
        assert_string_equal(sentence.bytes, cases[i].sentence);
        fleck_text_clear(&label);
        fleck_text_clear(&sentence);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(words_are_typeset_and_names_are_not),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
