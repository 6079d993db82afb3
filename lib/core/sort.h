/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sorting of long lists: qsort() takes memory of its own for them, which no limit and no hook sees. */
#ifndef FLECK_CORE_SORT_H
#define FLECK_CORE_SORT_H

#include <stdbool.h>
#include <stddef.h>

/*
 * Sort `count` items of `size` bytes as qsort() does; what compares equal stays in its order. Takes as much
 * memory again while it works, and goes through it from one end to the other.
 *
 * Returns false without memory, and then the items are as they were.
 *
 * Source: merging from the bottom up (Knuth, The Art of Computer Programming, vol. 3, 5.2.4).
 */
bool fleck_sort(void *items, size_t count, size_t size, int (*compare)(const void *, const void *));

#endif
