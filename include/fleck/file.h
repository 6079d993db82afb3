/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Writing results so that nothing half-written is ever left. */
#ifndef FLECK_FILE_H
#define FLECK_FILE_H

#include <stddef.h>

#include "fleck/error.h"

#ifdef __cplusplus
extern "C" {
#endif

/*
 * Write a file whole or not at all: under a temporary name beside it, synced, then renamed.
 * Errors: FLECK_NO_RESOURCE (disk full, no permission): what stood there before still stands.
 */
FLECK_API fleck_status fleck_file_write(const char *path, const void *bytes, size_t size,
                                        fleck_error *err);

#ifdef __cplusplus
}
#endif

#endif
