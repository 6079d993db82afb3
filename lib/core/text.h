/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers as text and back, whatever the host's locale, and texts that grow. */
#ifndef FLECK_CORE_TEXT_H
#define FLECK_CORE_TEXT_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/export.h"

enum { FLECK_NUMBER_TEXT_BYTES = 32 };

/*
 * The shortest decimal that reads back as the same double (at most 17 digits), with a point.
 * A number that is not finite gives an empty text. Returns buffer.
 */
const char *fleck_text_from_number(double value, char buffer[FLECK_NUMBER_TEXT_BYTES]);

/*
 * Read a decimal number that fills the whole text (surrounding blanks allowed); no hexadecimal, no
 * "inf", no "nan". False when it is not one, *value untouched then.
 */
bool fleck_text_to_number(const char *text, double *value);

/* The same for a whole number from 0 to SIZE_MAX. */
bool fleck_text_to_size(const char *text, size_t *value);

/*
 * A text that grows. Start from {0}. After a failed allocation `failed` is set and further calls do
 * nothing, so that one check at the end is enough.
 */
typedef struct fleck_text {
    char *bytes; /* NUL-terminated once anything was added */
    size_t length;
    size_t capacity;
    bool failed;
} fleck_text;

void fleck_text_add(fleck_text *text, const char *more);
void fleck_text_add_bytes(fleck_text *text, const char *more, size_t count);
void fleck_text_add_number(fleck_text *text, double value);

/* Rounded to so many significant digits, 1 to 17: a quarter of the time, and half the bytes. */
void fleck_text_add_rounded(fleck_text *text, double value, int digits);

void fleck_text_add_format(fleck_text *text, const char *format, ...) FLECK_PRINTF(2, 3);

/* Free what it owns and start anew. */
void fleck_text_clear(fleck_text *text);

#endif
