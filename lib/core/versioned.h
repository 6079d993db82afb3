/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Structs that callers fill and that grow from one version to the next. Each begins with a size_t, how
 * many bytes of it the caller's program knows. New members go to the end, where no padding was before.
 */
#ifndef FLECK_CORE_VERSIONED_H
#define FLECK_CORE_VERSIONED_H

#include <stddef.h>

#include "fleck/error.h"

/* Fill the caller's struct of struct_bytes with defaults, and its first member with struct_bytes. */
void fleck_versioned_init(void *out, size_t struct_bytes, const void *defaults, size_t known_bytes);

/*
 * What a caller has given, in the struct as this version knows it.
 *
 * given    of any version; borrowed
 * full     out: holds the defaults, and gets the members that the caller's program knows
 * name     of the struct, for the message: "measure options"
 *
 * Errors: FLECK_BAD_CALL (no size is set, or one that is larger than known_bytes).
 */
fleck_status fleck_versioned_take(const void *given, void *full, size_t known_bytes,
                                  const char *name, fleck_error *err);

#endif
