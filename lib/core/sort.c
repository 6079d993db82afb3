/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/sort.h"

#include <stdlib.h>
#include <string.h>

#include "core/memory.h"

/* Stretches of so many bytes are left to qsort(), which sorts them without memory of the heap. */
enum { FIRST_BYTES = 1000 };

struct sorting {
    size_t count, size;
    int (*compare)(const void *, const void *);
};

/* Merge the stretches [first, middle) and [middle, end) of `from` into the same place of `into`. */
static void merge(const struct sorting *sorting, const char *from, char *into, size_t first,
                  size_t middle, size_t end)
{
    const size_t size = sorting->size;
    const char *left = from + first * size, *right = from + middle * size;
    const char *const left_end = right, *const right_end = from + end * size;
    char *next = into + first * size;

    while (left < left_end && right < right_end) {
        const char **const taken = sorting->compare(left, right) <= 0 ? &left : &right;

        memcpy(next, *taken, size);
        *taken += size;
        next += size;
    }
    memcpy(next, left, (size_t)(left_end - left));
    next += left_end - left;
    memcpy(next, right, (size_t)(right_end - right));
}

static size_t least(size_t a, size_t b)
{
    return a < b ? a : b;
}

bool fleck_sort(void *items, size_t count, size_t size, int (*compare)(const void *, const void *))
{
    const struct sorting sorting = { count, size, compare };
    const size_t stretch = size < FIRST_BYTES ? FIRST_BYTES / size : 1;
    char *from = items, *into = fleck_alloc_array(count, size);
    void *const room = into;

    if (room == NULL)
        return false;
    for (size_t first = 0; first < count; first += stretch)
        qsort(from + first * size, least(stretch, count - first), size, compare);
    for (size_t length = stretch; length < count; length *= 2) {
        char *const sorted = into;

        for (size_t first = 0; first < count; first += 2 * length)
            merge(&sorting, from, into, first, first + least(length, count - first),
                  first + least(2 * length, count - first));
        into = from;
        from = sorted;
    }
    if (from != items)
        memcpy(items, from, count * size);
    fleck_free(room);
    return true;
}
