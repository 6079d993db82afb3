/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FLECK_IO_SHA256_H
#define FLECK_IO_SHA256_H

#include <stddef.h>

#include "fleck/error.h"

enum { FLECK_SHA256_TEXT_BYTES = 65 };

/*
 * SHA-256 of a file's bytes as lower-case hex (FIPS 180-4).
 * Errors: FLECK_BAD_INPUT (the file cannot be read).
 */
fleck_status fleck_sha256_file(const char *path, char text[FLECK_SHA256_TEXT_BYTES],
                               fleck_error *err);

/* The same of bytes in memory. */
void fleck_sha256_bytes(const void *bytes, size_t size, char text[FLECK_SHA256_TEXT_BYTES]);

/* The same of bytes that come in pieces. NULL when there is no memory. */
typedef struct fleck_sha256 fleck_sha256;
fleck_sha256 *fleck_sha256_new(void);
void fleck_sha256_add(fleck_sha256 *hash, const void *bytes, size_t size);
void fleck_sha256_finish(fleck_sha256 *hash, char text[FLECK_SHA256_TEXT_BYTES]);
void fleck_sha256_free(fleck_sha256 *hash); /* NULL is allowed */

#endif
