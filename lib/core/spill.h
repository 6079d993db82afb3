/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Blocks that a limit does not allow in memory: each is the mapping of a temporary file without a name,
 * whose pages are let go when too many of them are in memory. What is read and written there is the same
 * as in a block of the heap, so no number depends on the limit.
 */
#ifndef FLECK_CORE_SPILL_H
#define FLECK_CORE_SPILL_H

#include <stdbool.h>
#include <stddef.h>

/* From so many bytes on a block counts: below, a file costs more than it saves. */
enum { FLECK_SPILL_LEAST_BYTES = 1 << 18 };

/*
 * All that the process may hold in large blocks, from now until fleck_spill_end(). Of several at once the
 * last one's word holds, until the last has ended. Where pages cannot be let go it changes nothing.
 */
void fleck_spill_begin(size_t most_bytes);
void fleck_spill_end(void);

/* Of a limit, what blocks of the heap may take: the rest is for pages of those in files. */
size_t fleck_spill_heap_share(size_t limit_bytes);

/* Bytes that blocks of the heap may take beside the `large_bytes` there are; SIZE_MAX without a limit. */
size_t fleck_spill_room(size_t large_bytes);

/* Whether a block of so many bytes, beside the `large_bytes` there are, is to stand in a file. */
bool fleck_spill_wants(size_t bytes, size_t large_bytes);

/* A block of zeros, its room on the disk taken; NULL when there is none. */
void *fleck_spill_take(size_t bytes);

/* The block stands in a file. Quick when none does. */
bool fleck_spill_owns(const void *block);

/* What fleck_resize() does, for such a block. */
void *fleck_spill_resize(void *block, size_t bytes);
void fleck_spill_release(void *block);

/*
 * Let pages go when too many are in memory, without waiting for the next look: for loops that touch much
 * of a block in the time between two, at each item. Quick when no block stands in a file, and when it
 * was looked a moment ago.
 */
void fleck_spill_let_go(void);

#endif
