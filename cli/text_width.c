/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Widths without the host's locale: letters of East Asian scripts and pictures take two columns,
 * marks that go on the letter before them take none. Source: Unicode Standard Annex 11, East Asian
 * Width, in whole blocks.
 */
#include "text_width.h"

#include <stdbool.h>
#include <stdint.h>

struct range {
    uint32_t from, to;
};

static const struct range marks[] = {
    { 0x300, 0x36f },   { 0x483, 0x489 },     { 0x591, 0x5bd },   { 0x610, 0x61a },
    { 0x64b, 0x65f },   { 0x1ab0, 0x1aff },   { 0x1dc0, 0x1dff }, { 0x200b, 0x200f },
    { 0x20d0, 0x20ff }, { 0x3099, 0x309a },   { 0xfe00, 0xfe0f }, { 0xfe20, 0xfe2f },
    { 0xfeff, 0xfeff }, { 0xe0100, 0xe01ef },
};

static const struct range wide[] = {
    { 0x1100, 0x115f }, { 0x2e80, 0x303e },   { 0x3041, 0xa4cf },   { 0xa960, 0xa97f },
    { 0xac00, 0xd7a3 }, { 0xf900, 0xfaff },   { 0xfe30, 0xfe6f },   { 0xff00, 0xff60 },
    { 0xffe0, 0xffe6 }, { 0x1f300, 0x1f64f }, { 0x1f900, 0x1f9ff }, { 0x20000, 0x3fffd },
};

static bool is_in(const struct range *ranges, size_t count, uint32_t character)
{
    for (size_t i = 0; i < count; i++) {
        if (character >= ranges[i].from && character <= ranges[i].to)
            return true;
    }
    return false;
}

/* The letter at the start of a text and its bytes; a byte that is no UTF-8 is 0xfffd. */
static size_t next_letter(const char *text, size_t size, uint32_t *letter)
{
    const unsigned char first = (unsigned char)text[0];
    const size_t bytes = first < 0x80 ? 1 : first >= 0xf0 ? 4 : first >= 0xe0 ? 3 : 2;
    uint32_t value = first & (bytes == 1 ? 0x7fu : 0xffu >> (bytes + 1));

    *letter = 0xfffd;
    if ((first >= 0x80 && first < 0xc2) || first > 0xf4 || bytes > size)
        return 1;
    for (size_t i = 1; i < bytes; i++) {
        const unsigned char next = (unsigned char)text[i];

        if ((next & 0xc0) != 0x80)
            return 1;
        value = value << 6 | (next & 0x3fu);
    }
    *letter = value;
    return bytes;
}

static size_t letter_width(uint32_t letter)
{
    if (letter < 0x300)
        return 1;
    if (is_in(marks, sizeof marks / sizeof *marks, letter))
        return 0;
    return is_in(wide, sizeof wide / sizeof *wide, letter) ? 2 : 1;
}

size_t cli_text_width(const char *text, size_t size)
{
    size_t width = 0;
    uint32_t letter;

    for (size_t at = 0; at < size;) {
        at += next_letter(text + at, size - at, &letter);
        width += letter_width(letter);
    }
    return width;
}

size_t cli_text_fitting(const char *text, size_t size, size_t columns)
{
    size_t width = 0, at = 0;
    uint32_t letter;

    while (at < size) {
        const size_t bytes = next_letter(text + at, size - at, &letter);

        width += letter_width(letter);
        if (width > columns && at > 0)
            break;
        at += bytes;
    }
    return at;
}

void cli_text_print(FILE *out, const char *text, size_t size)
{
    uint32_t letter;

    for (size_t at = 0; at < size;) {
        const size_t bytes = next_letter(text + at, size - at, &letter);

        if (letter < 0x20 || (letter >= 0x7f && letter < 0xa0) || letter == 0xfffd)
            fputc(' ', out);
        else
            fwrite(text + at, 1, bytes, out);
        at += bytes;
    }
}
