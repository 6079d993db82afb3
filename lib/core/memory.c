/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/memory.h"

#include <stdatomic.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "core/versioned.h"

static void *plain_allocate(void *context, size_t bytes)
{
    (void)context;
    return malloc(bytes);
}

static void *plain_resize(void *context, void *block, size_t bytes)
{
    (void)context;
    return realloc(block, bytes);
}

static void plain_release(void *context, void *block)
{
    (void)context;
    free(block);
}

/*
 * The one thing here that a whole process shares: blocks wander between calls and threads, and each
 * must find back to where it came from. It is written before the first block is taken and never after.
 */
static fleck_memory_hooks hooks;
static bool hooked;
static atomic_bool used; /* a block was asked for */

static void note_use(void)
{
    /* looked at first: many threads come by here */
    if (!atomic_load_explicit(&used, memory_order_relaxed))
        atomic_store_explicit(&used, true, memory_order_relaxed);
}

void fleck_memory_hooks_init(fleck_memory_hooks *out, size_t struct_bytes)
{
    const fleck_memory_hooks plain = {
        .allocate = plain_allocate,
        .resize = plain_resize,
        .release = plain_release,
    };

    fleck_versioned_init(out, struct_bytes, &plain, sizeof plain);
}

fleck_status fleck_set_memory_hooks(const fleck_memory_hooks *given, fleck_error *err)
{
    fleck_memory_hooks taken = fleck_memory_hooks_default();
    const fleck_status status = fleck_versioned_take(given, &taken, sizeof taken, "memory hooks", err);

    if (status != FLECK_OK)
        return status;
    if (taken.allocate == NULL || taken.resize == NULL || taken.release == NULL)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a memory hook is missing; give allocate, resize and release");
    if (hooked || atomic_load(&used))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "memory was taken before; set its hooks once, before all other calls");
    hooks = taken;
    hooked = true;
    return FLECK_OK;
}

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
    if (bytes == 0)
        bytes = 1;
    note_use();
    return hooked ? hooks.allocate(hooks.context, bytes) : malloc(bytes);
}

void *fleck_alloc_zeroed(size_t count, size_t size)
{
    void *block;

    if (hooked) {
        block = fleck_alloc_array(count, size);
        if (block != NULL)
            memset(block, 0, count * size);
        return block;
    }
    note_use();
    /* large blocks come cleared from the system, at no cost */
    return calloc(count > 0 ? count : 1, size > 0 ? size : 1);
}

void *fleck_resize(void *block, size_t bytes)
{
    if (bytes == 0)
        bytes = 1;
    note_use();
    return hooked ? hooks.resize(hooks.context, block, bytes) : realloc(block, bytes);
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
    moved = fleck_resize(items, bytes);
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
    copy = fleck_alloc_array(bytes, 1);
    if (copy != NULL)
        memcpy(copy, text, bytes);
    return copy;
}

void fleck_free(void *block)
{
    if (block == NULL)
        return;
    if (hooked)
        hooks.release(hooks.context, block);
    else
        free(block);
}
