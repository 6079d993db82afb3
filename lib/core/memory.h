/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Memory whose size is checked before it is multiplied; all that the library takes goes through here. */
#ifndef FLECK_CORE_MEMORY_H
#define FLECK_CORE_MEMORY_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/memory.h"

/* *out = a * b, or false (and *out untouched) when the product does not fit. */
bool size_mul(size_t a, size_t b, size_t *out);

/* *out = a + b, or false (and *out untouched) when the sum does not fit. */
bool size_add(size_t a, size_t b, size_t *out);

/* count * size bytes, not cleared; NULL when that overflows or there is no memory. Freed with fleck_free(). */
void *fleck_alloc_array(size_t count, size_t size);

/* The same, cleared to zero. */
void *fleck_alloc_zeroed(size_t count, size_t size);

/*
 * The block (NULL: a new one) with room for `bytes`, moved perhaps; NULL when there is no memory (the old
 * block stays valid).
 */
void *fleck_resize(void *block, size_t bytes);

/*
 * Room in a list for `needed` elements, at least 1, by doubling.
 *
 * items       the list, may be NULL when *capacity is 0
 * capacity    elements there is room for; updated
 *
 * Returns the list, moved perhaps, or NULL when there is no memory (the old list stays valid).
 */
void *fleck_reserve(void *items, size_t *capacity, size_t needed, size_t size);

/* The same for one element more than the `count` in use. */
void *fleck_grow(void *items, size_t *capacity, size_t count, size_t size);

/* Bytes that may still be taken in large blocks before a limit puts them into files; SIZE_MAX without one. */
size_t fleck_memory_room(void);

/* A copy of a text, NULL when there is no memory or the text is NULL. */
char *fleck_copy_text(const char *text);

#endif
