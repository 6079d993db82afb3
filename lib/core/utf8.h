/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Telling UTF-8 from other bytes. */
#ifndef FLECK_CORE_UTF8_H
#define FLECK_CORE_UTF8_H

#include <stddef.h>
#include <stdint.h>

/*
 * The character at the start of a text.
 *
 * size         bytes there are
 * character    out: its code point; untouched when there is none
 *
 * Returns the number of its bytes, 1 to 4; 0 when the bytes are not UTF-8 (overlong forms,
 * surrogates and values above U+10FFFF are not) or size is 0. Source: RFC 3629, section 4.
 */
size_t fleck_utf8_next(const char *text, size_t size, uint32_t *character);

/* Bytes at the start of a text that are UTF-8; `size` when all are. */
size_t fleck_utf8_valid(const char *text, size_t size);

#endif
