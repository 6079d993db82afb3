/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Rows of patches put aside in a temporary file that nobody else sees, for patches whose pixels may not
 * stay in memory but are needed again in any order.
 */
#ifndef FLECK_RECORD_SPOOL_H
#define FLECK_RECORD_SPOOL_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"

typedef struct fleck_spool fleck_spool;

/* Errors: FLECK_NO_RESOURCE (no temporary file can be made). */
fleck_status fleck_spool_new(fleck_spool **out, fleck_error *err);

/* Write bytes at an offset. Thread-safe. Errors: FLECK_NO_RESOURCE (disk full). */
fleck_status fleck_spool_put(fleck_spool *spool, uint64_t offset_bytes, const void *bytes,
                             size_t size, fleck_error *err);

/* Read what was put there. Thread-safe. Errors: FLECK_NO_RESOURCE. */
fleck_status fleck_spool_get(fleck_spool *spool, uint64_t offset_bytes, void *bytes, size_t size,
                             fleck_error *err);

/* The file goes with it; NULL is allowed. */
void fleck_spool_free(fleck_spool *spool);

#endif
