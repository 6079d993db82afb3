/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/report_html.h"

#include <stdint.h>
#include <string.h>

#include "core/utf8.h"
#include "report/typeset.h"

#define REPLACEMENT "\xef\xbf\xbd"

/* Marks and overrides of direction, which could make a text look like another. Source: UAX 9. */
static bool turns_direction(uint32_t character)
{
    return character == 0x061c || character == 0x200e || character == 0x200f ||
           (character >= 0x202a && character <= 0x202e) ||
           (character >= 0x2066 && character <= 0x2069);
}

static bool is_control(uint32_t character)
{
    return character < 0x20 || (character >= 0x7f && character < 0xa0) ||
           (character >= 0xfdd0 && character <= 0xfdef) || (character & 0xfffe) == 0xfffe;
}

static const char *escaped(uint32_t character)
{
    switch (character) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    case '\'':
        return "&#39;";
    case '\n':
    case '\r':
    case '\t':
        return " ";
    default:
        return NULL;
    }
}

void html_add(fleck_text *text, const char *content)
{
    size_t left = strlen(content);

    while (left > 0) {
        uint32_t character = 0;
        size_t length = fleck_utf8_next(content, left, &character);
        const char *instead = NULL;

        if (length == 0) {
            length = 1;
            instead = REPLACEMENT;
        } else {
            instead = escaped(character);
            if (instead == NULL && (is_control(character) || turns_direction(character)))
                instead = REPLACEMENT;
        }
        if (instead != NULL)
            fleck_text_add(text, instead);
        else
            fleck_text_add_bytes(text, content, length);
        content += length;
        left -= length;
    }
}

static void add_typeset(fleck_text *text, fleck_text *words, bool capital)
{
    if (words->failed) {
        text->failed = true;
    } else if (words->bytes != NULL) {
        char *const first = words->bytes;

        if (capital && *first >= 'a' && *first <= 'z')
            *first = (char)(*first - 'a' + 'A');
        html_add(text, words->bytes);
    }
    fleck_text_clear(words);
}

void html_add_capital(fleck_text *text, const char *content)
{
    fleck_text words = { 0 };

    typeset_label(&words, content);
    add_typeset(text, &words, true);
}

void html_add_sentence(fleck_text *text, const char *sentence, bool capital)
{
    fleck_text words = { 0 };

    typeset_sentence(&words, sentence);
    add_typeset(text, &words, capital);
}

void html_add_name(fleck_text *text, const char *name)
{
    fleck_text_add(text, "<bdi>");
    html_add(text, name);
    fleck_text_add(text, "</bdi>");
}

void html_add_base64(fleck_text *text, const unsigned char *bytes, size_t size)
{
    static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    char chunk[4096];
    size_t used = 0;

    for (size_t i = 0; i < size; i += 3) {
        const uint32_t three = (uint32_t)bytes[i] << 16 |
                               (i + 1 < size ? (uint32_t)bytes[i + 1] << 8 : 0) |
                               (i + 2 < size ? (uint32_t)bytes[i + 2] : 0);

        chunk[used++] = digits[three >> 18];
        chunk[used++] = digits[three >> 12 & 63];
        chunk[used++] = i + 1 < size ? digits[three >> 6 & 63] : '=';
        chunk[used++] = i + 2 < size ? digits[three & 63] : '=';
        if (used == sizeof chunk) {
            fleck_text_add_bytes(text, chunk, used);
            used = 0;
        }
    }
    fleck_text_add_bytes(text, chunk, used);
}
