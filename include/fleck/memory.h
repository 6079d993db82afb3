/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Memory: giving back what the library handed over, and letting it take its own from the caller. */
#ifndef FLECK_MEMORY_H
#define FLECK_MEMORY_H

#include <stddef.h>

#include "fleck/error.h"

#ifdef __cplusplus
extern "C" {
#endif

/*
 * Free what a function of the library has handed over "to be freed with fleck_free()": texts, pictures,
 * pages. What has an ender of its own (_clear, _free, _close) goes by that. NULL is allowed. Thread-safe.
 */
FLECK_API void fleck_free(void *block);

/*
 * Where the library takes its memory from. All three are called from several threads at once, and must
 * not call the library.
 */
typedef struct fleck_memory_hooks {
    size_t struct_bytes; /* set by fleck_memory_hooks_default */
    void *context;       /* handed to each */
    /* at least `bytes` bytes, never 0, aligned for any type; NULL when there are none */
    void *(*allocate)(void *context, size_t bytes);
    /* the block (NULL: a new one) with room for `bytes`, never 0, and its contents kept up to there;
       NULL when there is no room, and the block stays as it is */
    void *(*resize)(void *context, void *block, size_t bytes);
    /* give back a block that one of the two above gave; never NULL */
    void (*release)(void *context, void *block);
} fleck_memory_hooks;

/* malloc, realloc and free of the C library, as it is without hooks: fill struct_bytes of them. */
FLECK_API void fleck_memory_hooks_init(fleck_memory_hooks *hooks, size_t struct_bytes);

/* The same as a value: change what should differ. */
static inline fleck_memory_hooks fleck_memory_hooks_default(void)
{
    fleck_memory_hooks hooks;

    fleck_memory_hooks_init(&hooks, sizeof hooks);
    return hooks;
}

/*
 * Let the library take its memory through hooks of the caller, in this process from now on and for good.
 *
 * hooks    all three functions; copied, but what context leads to must stay
 *
 * Only what the library itself allocates goes that way. What it stands on (libtiff, libjpeg, Little CMS,
 * FFTW, GSL, cJSON, cairo, the C library's streams and threads) asks for memory in its own way.
 *
 * Errors: FLECK_BAD_CALL (a function is missing; the library holds or has held memory, which must not
 * be given back to another place). Call it before any other function, while there is one thread.
 */
FLECK_API fleck_status fleck_set_memory_hooks(const fleck_memory_hooks *hooks, fleck_error *err);

#ifdef __cplusplus
}
#endif

#endif
