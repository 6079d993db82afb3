/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/utf8.h"

size_t fleck_utf8_next(const char *text, size_t size, uint32_t *character)
{
    /* smallest value that needs as many bytes: a smaller one is an overlong form */
    static const uint32_t smallest[] = { 0, 0, 0x80, 0x800, 0x10000 };
    const unsigned char *bytes = (const unsigned char *)text;
    uint32_t value;
    size_t length;

    if (size == 0)
        return 0;
    if (bytes[0] < 0x80) {
        *character = bytes[0];
        return 1;
    }
    if (bytes[0] >= 0xc2 && bytes[0] <= 0xdf)
        length = 2;
    else if ((bytes[0] & 0xf0) == 0xe0)
        length = 3;
    else if (bytes[0] >= 0xf0 && bytes[0] <= 0xf4)
        length = 4;
    else
        return 0;
    if (size < length)
        return 0;
    value = bytes[0] & (0xffu >> (length + 1));
    for (size_t i = 1; i < length; i++) {
        if ((bytes[i] & 0xc0) != 0x80)
            return 0;
        value = value << 6 | (bytes[i] & 0x3fu);
    }
    if (value < smallest[length] || value > 0x10ffff || (value >= 0xd800 && value <= 0xdfff))
        return 0;
    *character = value;
    return length;
}

size_t fleck_utf8_valid(const char *text, size_t size)
{
    size_t at = 0, length;
    uint32_t character;

    while (at < size && (length = fleck_utf8_next(text + at, size - at, &character)) > 0)
        at += length;
    return at;
}
