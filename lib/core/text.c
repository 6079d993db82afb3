/* SPDX-License-Identifier: GPL-3.0-or-later */
#define _GNU_SOURCE /* strtod_l: a host program's locale must not change what a number means */
#include "core/text.h"

#include <ctype.h>
#include <locale.h>
#include <math.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"

static locale_t c_locale;
static pthread_once_t c_locale_once = PTHREAD_ONCE_INIT;

static void make_c_locale(void)
{
    c_locale = newlocale(LC_ALL_MASK, "C", (locale_t)0);
}

static double to_double(const char *text, char **end)
{
    pthread_once(&c_locale_once, make_c_locale);
    return c_locale != (locale_t)0 ? strtod_l(text, end, c_locale) : strtod(text, end);
}

/* A finite number with so many digits and a point. */
static void print_number(double value, int digits, char buffer[FLECK_NUMBER_TEXT_BYTES])
{
    const char *point;
    char *at;

    if (value == 0.0)
        value = 0.0; /* no negative zero in a record */
    snprintf(buffer, FLECK_NUMBER_TEXT_BYTES, "%.*g", digits, value);
    point = localeconv()->decimal_point;
    if (strcmp(point, ".") != 0 && (at = strstr(buffer, point)) != NULL) {
        const size_t length = strlen(point);

        *at = '.';
        memmove(at + 1, at + length, strlen(at + length) + 1);
    }
}

const char *fleck_text_from_number(double value, char buffer[FLECK_NUMBER_TEXT_BYTES])
{
    buffer[0] = '\0';
    if (!isfinite(value))
        return buffer;
    for (int digits = 15; digits <= 17; digits++) {
        print_number(value, digits, buffer);
        if (to_double(buffer, NULL) == value)
            break;
    }
    return buffer;
}

static const char *skip_blanks(const char *text)
{
    while (*text == ' ' || *text == '\t')
        text++;
    return text;
}

bool fleck_text_to_number(const char *text, double *value)
{
    const char *start = skip_blanks(text);
    char *end;
    double number;

    if (strspn(start, "+-0123456789.eE") == 0)
        return false;
    /* strtod would take "0x1p3", "inf" and "nan" */
    for (const char *c = start; *c != '\0' && *c != ' ' && *c != '\t'; c++) {
        if (strchr("+-0123456789.eE", *c) == NULL)
            return false;
    }
    number = to_double(start, &end);
    if (end == start || *skip_blanks(end) != '\0' || !isfinite(number))
        return false;
    *value = number;
    return true;
}

bool fleck_text_to_size(const char *text, size_t *value)
{
    const char *c = skip_blanks(text);
    size_t number = 0;

    if (!isdigit((unsigned char)*c))
        return false;
    for (; isdigit((unsigned char)*c); c++) {
        const size_t digit = (size_t)(*c - '0');

        if (number > (SIZE_MAX - digit) / 10)
            return false;
        number = number * 10 + digit;
    }
    if (*skip_blanks(c) != '\0')
        return false;
    *value = number;
    return true;
}

static bool reserve(fleck_text *text, size_t more)
{
    size_t wanted;
    char *bytes;

    if (text->failed || !size_add(text->length, more, &wanted) || !size_add(wanted, 1, &wanted)) {
        text->failed = true;
        return false;
    }
    if (wanted <= text->capacity)
        return true;
    if (wanted < 2 * text->capacity)
        wanted = 2 * text->capacity;
    if (wanted < 256)
        wanted = 256;
    bytes = fleck_resize(text->bytes, wanted);
    if (bytes == NULL) {
        text->failed = true;
        return false;
    }
    text->bytes = bytes;
    text->capacity = wanted;
    return true;
}

void fleck_text_add_bytes(fleck_text *text, const char *more, size_t count)
{
    if (!reserve(text, count))
        return;
    memcpy(text->bytes + text->length, more, count);
    text->length += count;
    text->bytes[text->length] = '\0';
}

void fleck_text_add(fleck_text *text, const char *more)
{
    fleck_text_add_bytes(text, more, strlen(more));
}

void fleck_text_add_number(fleck_text *text, double value)
{
    char buffer[FLECK_NUMBER_TEXT_BYTES];

    fleck_text_add(text, fleck_text_from_number(value, buffer));
}

void fleck_text_add_rounded(fleck_text *text, double value, int digits)
{
    char buffer[FLECK_NUMBER_TEXT_BYTES];

    if (!isfinite(value))
        return;
    print_number(value, digits, buffer);
    fleck_text_add(text, buffer);
}

void fleck_text_add_format(fleck_text *text, const char *format, ...)
{
    va_list arguments;
    int length;

    va_start(arguments, format);
    length = vsnprintf(NULL, 0, format, arguments);
    va_end(arguments);
    if (length < 0 || !reserve(text, (size_t)length)) {
        text->failed = true;
        return;
    }
    va_start(arguments, format);
    vsnprintf(text->bytes + text->length, (size_t)length + 1, format, arguments);
    va_end(arguments);
    text->length += (size_t)length;
}

void fleck_text_clear(fleck_text *text)
{
    fleck_free(text->bytes);
    *text = (fleck_text){ 0 };
}
