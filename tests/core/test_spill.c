/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Blocks that a limit sends to temporary files behave as those of the heap do, and leave the memory. */
#include <stdio.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#include "core/memory.h"
#include "core/spill.h"
#include "support/check.h"

enum { MIB = 1 << 20, BLOCKS = 48, BLOCK_BYTES = 4 * MIB, LIMIT_BYTES = 16 * MIB };

/* What of the process is in memory, as the system says. */
static size_t resident_bytes(void)
{
    FILE *const stream = fopen("/proc/self/statm", "r");
    size_t all, resident;

    assert_non_null(stream);
    assert_int_equal(fscanf(stream, "%zu %zu", &all, &resident), 2);
    fclose(stream);
    return resident * (size_t)sysconf(_SC_PAGESIZE);
}

static uint32_t mark(size_t block, size_t i)
{
    return (uint32_t)(block * 2654435761u + i * 40503u);
}

static void what_is_written_stays_and_memory_is_left(void **state)
{
    static const struct timespec longer_than_the_watcher_sleeps = { 0, 10000000 };
    uint32_t *blocks[BLOCKS];
    size_t before, spilled = 0, most = 0;

    (void)state;
    fleck_spill_begin(LIMIT_BYTES);
    before = resident_bytes();
    for (size_t b = 0; b < BLOCKS; b++) {
        blocks[b] = fleck_alloc_array(BLOCK_BYTES, 1);
        assert_non_null(blocks[b]);
        spilled += fleck_spill_owns(blocks[b]);
        for (size_t i = 0; i < BLOCK_BYTES / sizeof **blocks; i++)
            blocks[b][i] = mark(b, i);
        (void)nanosleep(&longer_than_the_watcher_sleeps, NULL);
        most = resident_bytes() > most ? resident_bytes() : most;
    }
    /* three of 4 MiB fit into the heap's share of 12 MiB, less what they cost beside themselves */
    assert_in_range(spilled, BLOCKS - 3, BLOCKS - 2);
#if !defined(__SANITIZE_THREAD__) /* which keeps eight bytes of its own for each that is written */
    assert_in_range(most - before, 0, LIMIT_BYTES + BLOCK_BYTES);
#else
    (void)before;
#endif
    for (size_t b = 0; b < BLOCKS; b++) {
        size_t wrong = 0;

        for (size_t i = 0; i < BLOCK_BYTES / sizeof **blocks; i++)
            wrong += blocks[b][i] != mark(b, i);
        assert_int_equal(wrong, 0);
        fleck_free(blocks[b]);
    }
    fleck_spill_end();
}

static void a_list_grows_from_the_heap_into_a_file(void **state)
{
    size_t *items = NULL, capacity = 0, count = 0, wrong = 0;
    bool on_heap = false;

    (void)state;
    fleck_spill_begin(2 * MIB);
    for (; count < 2 * MIB; count++) {
        size_t *const moved = fleck_grow(items, &capacity, count, sizeof *moved);

        assert_non_null(moved);
        items = moved;
        items[count] = count * 7;
        on_heap = on_heap || (count == 1000 && !fleck_spill_owns(items));
    }
    assert_true(on_heap);
    assert_true(fleck_spill_owns(items));
    for (size_t i = 0; i < count; i++)
        wrong += items[i] != i * 7;
    assert_int_equal(wrong, 0);
    items = fleck_resize(items, MIB);
    assert_non_null(items);
    assert_int_equal(items[MIB / sizeof *items - 1], (MIB / sizeof *items - 1) * 7);
    fleck_free(items);
    fleck_spill_end();
}

static void what_is_asked_for_cleared_is(void **state)
{
    unsigned char *block;
    size_t wrong = 0;

    (void)state;
    fleck_spill_begin(MIB);
    block = fleck_alloc_zeroed(2 * MIB, 1);
    assert_non_null(block);
    assert_true(fleck_spill_owns(block));
    for (size_t i = 0; i < 2 * MIB; i++)
        wrong += block[i] != 0;
    assert_int_equal(wrong, 0);
    fleck_free(block);
    fleck_spill_end();
}

static void without_a_limit_or_small_nothing_spills(void **state)
{
    void *const large = fleck_alloc_array(64 * MIB, 1);
    void *small;

    (void)state;
    assert_non_null(large);
    assert_false(fleck_spill_owns(large));
    fleck_spill_begin(1);
    small = fleck_alloc_array(FLECK_SPILL_LEAST_BYTES - 64, 1);
    assert_non_null(small);
    assert_false(fleck_spill_owns(small));
    fleck_spill_end();
    fleck_free(small);
    fleck_free(large);
}

/* The watcher may come to life when all is over: it must not wait for what has been. */
static void short_periods_end(void **state)
{
    (void)state;
    for (int i = 0; i < 2000; i++) {
        void *block;

        fleck_spill_begin(1);
        block = fleck_alloc_array(FLECK_SPILL_LEAST_BYTES, 1);
        assert_non_null(block);
        fleck_free(block);
        fleck_spill_end();
    }
}

/* More than any disk has: the room is asked for before it is used, so nothing is written to what is not there. */
static void without_room_on_the_disk_there_is_none(void **state)
{
    (void)state;
    assert_null(fleck_spill_take((size_t)1 << 50));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_written_stays_and_memory_is_left),
        cmocka_unit_test(a_list_grows_from_the_heap_into_a_file),
        cmocka_unit_test(what_is_asked_for_cleared_is),
        cmocka_unit_test(without_a_limit_or_small_nothing_spills),
        cmocka_unit_test(short_periods_end),
        cmocka_unit_test(without_room_on_the_disk_there_is_none),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
