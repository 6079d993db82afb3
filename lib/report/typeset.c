/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/typeset.h"

#include <stdbool.h>
#include <string.h>

#define PER_AREA "per cm2"
#define PER_AREA_RAISED "per cm\xc2\xb2"
#define MINUS "\xe2\x88\x92"

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

static bool in_word(char c)
{
    return is_digit(c) || c == '_' || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

static void add(fleck_text *text, const char *words, bool with_minus)
{
    const char *from = words;

    for (const char *at = words; *at != '\0'; at++) {
        const size_t unit = sizeof PER_AREA - 1;
        const bool opens = at == words || at[-1] == ' ' || at[-1] == '(';
        const bool raised = opens && strncmp(at, PER_AREA, unit) == 0 && !in_word(at[unit]);
        const bool minus = with_minus && opens && *at == '-' && is_digit(at[1]);

        if (!raised && !minus)
            continue;
        fleck_text_add_bytes(text, from, (size_t)(at - from));
        fleck_text_add(text, raised ? PER_AREA_RAISED : MINUS);
        from = at + (raised ? unit : 1);
        at = from - 1;
    }
    fleck_text_add(text, from);
}

void typeset_label(fleck_text *text, const char *label)
{
    add(text, label, false);
}

void typeset_sentence(fleck_text *text, const char *sentence)
{
    add(text, sentence, true);
}
