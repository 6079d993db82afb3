/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/sort.h"

#include <assert.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/spill.h"

/* Stretches of so many bytes are left to qsort(), which sorts them without memory of the heap. */
enum { FIRST_BYTES = 1000, BLOCK_LEVELS = 8, LET_GO_BYTES = 1 << 15 };

static_assert(BLOCK_LEVELS % 2 == 0, "a block ends where it began");

struct sorting {
    size_t count, size;
    int (*compare)(const void *, const void *);
};

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

static void copy(char *into, const char *from, size_t bytes)
{
    for (size_t done = 0; done < bytes; done += LET_GO_BYTES) {
        memcpy(into + done, from + done, least(LET_GO_BYTES, bytes - done));
        fleck_spill_let_go();
    }
}

/* Merge the stretches [first, middle) and [middle, end) of `from` into the same place of `into`. */
static void merge(const struct sorting *sorting, const char *from, char *into, size_t first,
                  size_t middle, size_t end)
{
    const size_t size = sorting->size;
    const char *left = from + first * size, *right = from + middle * size;
    const char *const left_end = right, *const right_end = from + end * size;
    char *next = into + first * size;
    const char *let_go_at = next + LET_GO_BYTES;

    while (left < left_end && right < right_end) {
        const char **const taken = sorting->compare(left, right) <= 0 ? &left : &right;

        memcpy(next, *taken, size);
        *taken += size;
        next += size;
        if (next >= let_go_at) {
            fleck_spill_let_go();
            let_go_at = next + LET_GO_BYTES;
        }
    }
    copy(next, left, (size_t)(left_end - left));
    next += left_end - left;
    copy(next, right, (size_t)(right_end - right));
}

/* Merge stretches of `length` in pairs, from the first item to the end. */
static void merge_pairs(const struct sorting *sorting, const char *from, char *into, size_t first,
                        size_t end, size_t length)
{
    for (; first < end; first += 2 * length)
        merge(sorting, from, into, first, first + least(length, end - first),
              first + least(2 * length, end - first));
}

bool fleck_sort(void *items, size_t count, size_t size, int (*compare)(const void *, const void *))
{
    const struct sorting sorting = { count, size, compare };
    const size_t stretch = size < FIRST_BYTES ? FIRST_BYTES / size : 1;
    const size_t block = stretch << BLOCK_LEVELS;
    char *from = items, *into = fleck_alloc_array(count, size);
    void *const room = into;

    if (room == NULL)
        return false;
    /* A block is merged as far as it goes, or the list asks for, while it is near; an even number
       of times, so it is back in its place then. */
    for (size_t first = 0; first < count; first += block) {
        const size_t end = first + least(block, count - first);

        for (size_t at = first; at < end; at += stretch)
            qsort(from + at * size, least(stretch, end - at), size, compare);
        for (unsigned level = 0; level < BLOCK_LEVELS && (stretch << level) < count; level += 2) {
            merge_pairs(&sorting, from, into, first, end, stretch << level);
            merge_pairs(&sorting, into, from, first, end, stretch << (level + 1));
        }
        fleck_spill_let_go();
    }
    for (size_t length = block; length < count; length *= 2) {
        char *const sorted = into;

        merge_pairs(&sorting, from, into, 0, count, length);
        into = from;
        from = sorted;
    }
    if (from != items)
        copy(items, from, count * size);
    fleck_free(room);
    return true;
}
