/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/versioned.h"

#include <string.h>

void fleck_versioned_init(void *out, size_t struct_bytes, const void *defaults, size_t known_bytes)
{
    const size_t shared = struct_bytes < known_bytes ? struct_bytes : known_bytes;

    memset(out, 0, struct_bytes);
    memcpy(out, defaults, shared);
    if (struct_bytes >= sizeof struct_bytes)
        memcpy(out, &struct_bytes, sizeof struct_bytes);
}

fleck_status fleck_versioned_take(const void *given, void *full, size_t known_bytes,
                                  const char *name, fleck_error *err)
{
    size_t bytes;

    memcpy(&bytes, given, sizeof bytes);
    /* whole words: what is no multiple of one was never set */
    if (bytes < 2 * sizeof bytes || bytes % sizeof bytes != 0)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the %s do not say their size; begin with those of the default function", name);
    if (bytes > known_bytes)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the %s are of a newer version than the library; install the newer library",
                          name);
    memcpy(full, given, bytes);
    memcpy(full, &known_bytes, sizeof known_bytes);
    return FLECK_OK;
}
