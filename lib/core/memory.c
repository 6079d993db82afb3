/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/memory.h"

#if defined(__linux__)
#include <malloc.h>
#endif
#include <stdatomic.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "core/spill.h"
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
static atomic_size_t large_bytes; /* in blocks of the heap so large that a limit counts them */

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

/* Bytes of a block of the heap; 0 where the C library does not say, and nothing spills. */
static size_t usable_bytes(void *block)
{
#if defined(__linux__)
    return block != NULL ? malloc_usable_size(block) : 0;
#else
    (void)block;
    return 0;
#endif
}

/* What it counts against a limit. */
static size_t counted_bytes(void *block)
{
    const size_t bytes = usable_bytes(block);

    return bytes >= FLECK_SPILL_LEAST_BYTES ? bytes : 0;
}

/* The block, once it is counted. */
static void *count_in(void *block)
{
    const size_t bytes = counted_bytes(block);

    if (bytes > 0)
        atomic_fetch_add_explicit(&large_bytes, bytes, memory_order_relaxed);
    return block;
}

static void count_out(size_t bytes)
{
    if (bytes > 0)
        atomic_fetch_sub_explicit(&large_bytes, bytes, memory_order_relaxed);
}

size_t fleck_memory_room(void)
{
    return fleck_spill_room(atomic_load_explicit(&large_bytes, memory_order_relaxed));
}

/* A block in a file when a limit asks for that and the disk has room; else NULL. */
static void *take_spilled(size_t bytes)
{
    if (!fleck_spill_wants(bytes, atomic_load_explicit(&large_bytes, memory_order_relaxed)))
        return NULL;
    return fleck_spill_take(bytes);
}

void *fleck_alloc_array(size_t count, size_t size)
{
    void *block;
    size_t bytes;

    if (!size_mul(count, size, &bytes))
        return NULL;
    /* a list of nothing is a valid list, and must not look like a failure */
    if (bytes == 0)
        bytes = 1;
    note_use();
    if (hooked)
        return hooks.allocate(hooks.context, bytes);
    block = take_spilled(bytes);
    return block != NULL ? block : count_in(malloc(bytes));
}

void *fleck_alloc_zeroed(size_t count, size_t size)
{
    size_t bytes;
    void *block;

    if (hooked) {
        block = fleck_alloc_array(count, size);
        if (block != NULL)
            memset(block, 0, count * size);
        return block;
    }
    note_use();
    block = size_mul(count, size, &bytes) ? take_spilled(bytes) : NULL;
    /* large blocks come cleared from the system, at no cost */
    return block != NULL ? block : count_in(calloc(count > 0 ? count : 1, size > 0 ? size : 1));
}

/* A block of the heap that grows goes to a file when a limit asks for that; NULL when it stays. */
static void *move_to_file(void *block, size_t bytes)
{
    const size_t counted = counted_bytes(block), usable = usable_bytes(block);
    const size_t others = atomic_load_explicit(&large_bytes, memory_order_relaxed) - counted;
    void *moved;

    if (bytes <= usable || !fleck_spill_wants(bytes, others))
        return NULL;
    moved = fleck_spill_take(bytes);
    if (moved == NULL)
        return NULL;
    if (block != NULL)
        memcpy(moved, block, usable);
    count_out(counted);
    free(block);
    return moved;
}

void *fleck_resize(void *block, size_t bytes)
{
    size_t counted;
    void *moved;

    if (bytes == 0)
        bytes = 1;
    note_use();
    if (hooked)
        return hooks.resize(hooks.context, block, bytes);
    if (fleck_spill_owns(block))
        return fleck_spill_resize(block, bytes);
    moved = move_to_file(block, bytes);
    if (moved != NULL)
        return moved;
    counted = counted_bytes(block);
    moved = realloc(block, bytes);
    if (moved == NULL)
        return NULL;
    count_out(counted);
    return count_in(moved);
}

void *fleck_reserve(void *items, size_t *capacity, size_t needed, size_t size)
{
    size_t wanted, bytes;
    void *moved;

    if (needed <= *capacity)
        return items;
    if (!size_mul(*capacity, 2, &wanted) || wanted < needed)
        wanted = needed;
    if (wanted < 16)
        wanted = 16;
    if (!size_mul(wanted, size, &bytes))
        return NULL;
    moved = fleck_resize(items, bytes);
    if (moved != NULL)
        *capacity = wanted;
    return moved;
}

void *fleck_grow(void *items, size_t *capacity, size_t count, size_t size)
{
    size_t needed;

    return size_add(count, 1, &needed) ? fleck_reserve(items, capacity, needed, size) : NULL;
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
    if (hooked) {
        hooks.release(hooks.context, block);
    } else if (fleck_spill_owns(block)) {
        fleck_spill_release(block);
    } else {
        count_out(counted_bytes(block));
        free(block);
    }
}
