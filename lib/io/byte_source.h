/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Bytes of a file or of a block of memory, read at any place: what the scan readers stand on. */
#ifndef FLECK_IO_BYTE_SOURCE_H
#define FLECK_IO_BYTE_SOURCE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"

typedef struct fleck_byte_source fleck_byte_source;

/*
 * Open a file; it must be a plain file, since readers jump about in it.
 * Errors: FLECK_BAD_INPUT (missing, a folder, not readable), FLECK_NO_RESOURCE.
 */
fleck_status fleck_byte_source_open(const char *path, fleck_byte_source **out, fleck_error *err);

/* The same over memory, which is borrowed until the close. Errors: FLECK_NO_RESOURCE. */
fleck_status fleck_byte_source_open_memory(const void *bytes, size_t size, fleck_byte_source **out,
                                           fleck_error *err);

/* Size when it was opened; a file that shrinks later gives short reads. */
uint64_t fleck_byte_source_size(const fleck_byte_source *source);

/*
 * Copy count bytes from an offset. Returns how many there were: fewer at the end, or when the disk
 * fails. Thread-safe.
 */
size_t fleck_byte_source_read(const fleck_byte_source *source, uint64_t offset, void *buffer,
                              size_t count);

/* NULL is allowed. */
void fleck_byte_source_close(fleck_byte_source *source);

/* Reading on from a place, through a buffer, for libraries that ask for single bytes. */
typedef struct fleck_byte_cursor {
    const fleck_byte_source *source;
    uint64_t offset; /* of the first byte behind the buffer */
    size_t at;       /* first byte of the buffer that was not taken yet */
    size_t filled;
    uint8_t buffer[32768];
} fleck_byte_cursor;

/* Read on count bytes; false when the source ends before. */
bool fleck_byte_cursor_take(fleck_byte_cursor *cursor, void *bytes, size_t count);

#endif
