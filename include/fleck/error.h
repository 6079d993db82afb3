/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Status codes, the error a failing call fills in, and the warnings that travel with a number. */
#ifndef FLECK_ERROR_H
#define FLECK_ERROR_H

#include <stddef.h>

#include "fleck/export.h"

#ifdef __cplusplus
extern "C" {
#endif

/* How a call ended; the rest of its outcome stands in its fleck_error and its outputs. */
typedef enum fleck_status {
    FLECK_OK = 0,
    FLECK_BAD_INPUT,  /* this file or patch cannot be measured, others may be: exit code 1 */
    FLECK_BAD_CALL,   /* an option or argument is wrong, nothing was done: exit code 2 */
    FLECK_NO_RESOURCE /* disk, memory, threads: exit code 3 */
} fleck_status;

/* message: "what is wrong; what to do", no path, no newline */
typedef struct fleck_error {
    fleck_status status;
    char message[512];
} fleck_error;

/*
 * Fill *err (may be NULL) and return status, so that a failing line reads `return fleck_fail(...)`.
 * Control characters in the finished message become spaces; it is cut at the buffer's end. Thread-safe.
 */
FLECK_API fleck_status fleck_fail(fleck_error *err, fleck_status status, const char *format, ...)
    FLECK_PRINTF(3, 4);

/* A doubt about a number: a stable kebab-case code for programs and a sentence for people. */
typedef struct fleck_warning {
    char *code;
    char *message;
} fleck_warning;

/* A list of warnings in the order they arose. Start from {0}; owns its strings. */
typedef struct fleck_warnings {
    fleck_warning *items;
    size_t count;
    size_t capacity;
} fleck_warnings;

/*
 * Append a warning. The same code with the same message is kept once.
 * Errors: FLECK_NO_RESOURCE (the list is unchanged then). Not thread-safe on one list.
 */
FLECK_API fleck_status fleck_warnings_add(fleck_warnings *warnings, fleck_error *err,
                                          const char *code, const char *format, ...)
    FLECK_PRINTF(4, 5);

/* Append copies of all warnings of `from`. Errors: FLECK_NO_RESOURCE. */
FLECK_API fleck_status fleck_warnings_append(fleck_warnings *warnings, const fleck_warnings *from,
                                             fleck_error *err);

/* True when a warning with this code is in the list. */
FLECK_API int fleck_warnings_has(const fleck_warnings *warnings, const char *code);

/* Free what the list owns and leave it empty, ready for use again; NULL is allowed. */
FLECK_API void fleck_warnings_clear(fleck_warnings *warnings);

#ifdef __cplusplus
}
#endif

#endif
