/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/error.h"

#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include <gsl/gsl_errno.h>

#include "core/memory.h"

/*
 * GSL aborts the host program at its first error unless it is told not to. Its functions return NAN
 * or a code instead, which our callers look at. Once, when the library is loaded: the handler is
 * the process's own.
 */
__attribute__((constructor)) static void keep_gsl_from_aborting(void)
{
    gsl_set_error_handler_off();
}

static void fill(char *message, size_t bytes, const char *format, va_list arguments)
{
    vsnprintf(message, bytes, format, arguments);
    /*
     * Names from files land in messages: a newline or an escape in one must not fake a second line, nor
     * command a terminal. The second kind of control, U+0080 to U+009F, is C2 80 to C2 9F in UTF-8.
     */
    for (char *c = message; *c != '\0'; c++) {
        const unsigned char byte = (unsigned char)*c, next = (unsigned char)c[1];

        if (byte == 0xc2 && next >= 0x80 && next < 0xa0)
            *c = c[1] = ' ';
        else if (byte < 0x20 || byte == 0x7f)
            *c = ' ';
    }
}

fleck_status fleck_fail(fleck_error *err, fleck_status status, const char *format, ...)
{
    va_list arguments;

    if (err == NULL)
        return status;
    err->status = status;
    va_start(arguments, format);
    fill(err->message, sizeof err->message, format, arguments);
    va_end(arguments);
    return status;
}

static fleck_status add(fleck_warnings *warnings, const char *code, const char *message,
                        fleck_error *err)
{
    fleck_warning *items;
    fleck_warning one;

    for (size_t i = 0; i < warnings->count; i++) {
        if (strcmp(warnings->items[i].code, code) == 0 &&
            strcmp(warnings->items[i].message, message) == 0)
            return FLECK_OK;
    }
    items = fleck_grow(warnings->items, &warnings->capacity, warnings->count, sizeof *items);
    if (items == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a warning; free some memory");
    warnings->items = items;
    one.code = fleck_copy_text(code);
    one.message = fleck_copy_text(message);
    if (one.code == NULL || one.message == NULL) {
        fleck_free(one.code);
        fleck_free(one.message);
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a warning; free some memory");
    }
    items[warnings->count++] = one;
    return FLECK_OK;
}

fleck_status fleck_warnings_add(fleck_warnings *warnings, fleck_error *err, const char *code,
                                const char *format, ...)
{
    char message[512];
    va_list arguments;

    va_start(arguments, format);
    fill(message, sizeof message, format, arguments);
    va_end(arguments);
    return add(warnings, code, message, err);
}

fleck_status fleck_warnings_append(fleck_warnings *warnings, const fleck_warnings *from,
                                   fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t i = 0; status == FLECK_OK && i < from->count; i++)
        status = add(warnings, from->items[i].code, from->items[i].message, err);
    return status;
}

int fleck_warnings_has(const fleck_warnings *warnings, const char *code)
{
    for (size_t i = 0; i < warnings->count; i++) {
        if (strcmp(warnings->items[i].code, code) == 0)
            return 1;
    }
    return 0;
}

void fleck_warnings_clear(fleck_warnings *warnings)
{
    if (warnings == NULL)
        return;
    for (size_t i = 0; i < warnings->count; i++) {
        fleck_free(warnings->items[i].code);
        fleck_free(warnings->items[i].message);
    }
    fleck_free(warnings->items);
    *warnings = (fleck_warnings){ 0 };
}
