/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/memory.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

bool size_mul(size_t a, size_t b, size_t *out)
{
    if (b != 0 && a > SIZE_MAX / b)
        return false;
    *out = a * b;
    return true;
}

bool size_add(size_t a, size_t b, size_t *out)
{
    if (a > SIZE_MAX - b)
        return false;
    *out = a + b;
    return true;
}

void *fleck_alloc_array(size_t count, size_t size)
{
    size_t bytes;

    if (!size_mul(count, size, &bytes))
        return NULL;
    /* a list of nothing is a valid list, and must not look like a failure */
    return malloc(bytes > 0 ? bytes : 1);
}

void *fleck_alloc_zeroed(size_t count, size_t size)
{
    return calloc(count > 0 ? count : 1, size > 0 ? size : 1);
}

void *fleck_grow(void *items, size_t *capacity, size_t count, size_t size)
{
    size_t wanted, bytes;
    void *moved;

    if (count < *capacity)
        return items;
    if (!size_mul(*capacity, 2, &wanted))
        return NULL;
    if (wanted < 16)
        wanted = 16;
    if (!size_mul(wanted, size, &bytes))
        return NULL;
    moved = realloc(items, bytes);
    if (moved != NULL)
        *capacity = wanted;
    return moved;
}

char *fleck_copy_text(const char *text)
{
    size_t bytes;
    char *copy;

    if (text == NULL)
        return NULL;
    bytes = strlen(text) + 1;
    copy = malloc(bytes);
    if (copy != NULL)
        memcpy(copy, text, bytes);
    return copy;
}
