/* SPDX-License-Identifier: GPL-3.0-or-later */
#if defined(__linux__)
#define _GNU_SOURCE /* mremap */
#endif
#include "core/spill.h"

#include <stdint.h>

/* Of the limit, pages of blocks in files take one of so many parts. */
enum { PARTS = 4 };

size_t fleck_spill_heap_share(size_t limit_bytes)
{
    return limit_bytes - limit_bytes / PARTS;
}

#if defined(__linux__)

#include <fcntl.h>
#include <pthread.h>
#include <sched.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <time.h>
#include <unistd.h>

/* Large blocks are few; one more than this stays in memory. */
enum { MOST_BLOCKS = 256 };

typedef struct spilled {
    FILE *stream;
    void *block;
    size_t bytes;
} spilled;

/* What a whole process shares: who takes a block does not know for which call. */
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static pthread_cond_t ended = PTHREAD_COND_INITIALIZER;
static spilled blocks[MOST_BLOCKS];
static size_t block_count;
static unsigned calls;   /* begun and not ended */
static unsigned periods; /* in which there were such calls */
static atomic_size_t most_bytes = SIZE_MAX, held_bytes;
static atomic_llong looked_ns; /* when a thread other than the watcher looked at the pages last */
static size_t pages_before; /* of files, in memory without the blocks': the program's own */
static bool watched;
static pthread_t watcher;

/*
 * Between two looks at the pages: as long as a few threads need to touch what may stay of them, at 8 bytes a
 * nanosecond where the system holds them already, within what a look costs and what a calm time lets grow.
 */
enum { BYTES_PER_NS = 8, LEAST_WAIT_NS = 200000, MOST_WAIT_NS = 4000000 };

/* A thread that looks by itself does so this long after the last that did: a look takes some thousand ns. */
enum { MOMENT_NS = 1000000 };

/* Least size of a page: mappings begin with one. */
enum { LEAST_PAGE_BYTES = 4096 };

/* Pages of files that are in this process's memory, as the system counts them; 0 when it does not say. */
static size_t resident_file_pages(void)
{
    const int file = open("/proc/self/statm", O_RDONLY | O_CLOEXEC);
    char text[128];
    ssize_t count;
    char *at = text;

    if (file < 0)
        return 0;
    count = read(file, text, sizeof text - 1);
    close(file);
    if (count <= 0)
        return 0;
    text[count] = '\0';
    (void)strtoull(at, &at, 10); /* all */
    (void)strtoull(at, &at, 10); /* resident */
    return (size_t)strtoull(at, &at, 10);
}

/* Let the pages of all blocks in files go when more of them are in memory than may be; under the lock. */
static void settle(void)
{
    const size_t may_stay = atomic_load(&most_bytes) / PARTS;
    size_t pages;

    if (atomic_load(&held_bytes) <= may_stay)
        return;
    pages = resident_file_pages();
    if (pages <= pages_before || pages - pages_before <= may_stay / (size_t)sysconf(_SC_PAGESIZE))
        return;
    /* a shared file keeps what was written to its pages, wherever they are */
    for (size_t i = 0; i < block_count; i++)
        (void)madvise(blocks[i].block, blocks[i].bytes, MADV_DONTNEED);
    /*
     * What is left is code that has come into memory by being run, which stays, and what other threads have
     * touched since, which does not: so it is believed by and by.
     */
    pages = resident_file_pages();
    if (pages > pages_before)
        pages = pages_before + (pages - pages_before) / 4;
    pages_before = pages;
}

/* How long until the next look; under the lock. */
static long look_again_ns(void)
{
    const size_t ns = atomic_load(&most_bytes) / PARTS / BYTES_PER_NS;

    if (ns < LEAST_WAIT_NS)
        return LEAST_WAIT_NS;
    return ns < MOST_WAIT_NS ? (long)ns : MOST_WAIT_NS;
}

/*
 * Ask for the processor in slices of 0.1 ms, the shortest that Linux gives (from 6.12 on, before it takes no
 * notice): such a thread need not wait until the slice of another has ended, which takes some ms where all
 * processors are busy. It has no more of the processor for that, and no other thread of the process changes.
 */
static void ask_for_short_slices(void)
{
#if defined(SYS_sched_setattr)
    struct {
        uint32_t bytes, policy;
        uint64_t flags;
        int32_t nice;
        uint32_t priority;
        uint64_t runtime_ns, deadline_ns, period_ns;
    } wanted;

    /* as it is, whatever the program was started with */
    if (syscall(SYS_sched_getattr, 0, &wanted, sizeof wanted, 0) != 0 || wanted.policy != SCHED_OTHER)
        return;
    wanted.runtime_ns = 100000;
    (void)syscall(SYS_sched_setattr, 0, &wanted, 0);
#endif
}

/* Settles from time to time: who uses a block need not know that it stands in a file. */
static void *watch(void *argument)
{
    /* that of its making: the calls may have ended before it comes here */
    const unsigned period = (unsigned)(uintptr_t)argument;

    ask_for_short_slices();
    pthread_mutex_lock(&lock);
    while (period == periods) {
        struct timespec next;

        clock_gettime(CLOCK_REALTIME, &next);
        next.tv_nsec += look_again_ns();
        if (next.tv_nsec >= 1000000000) {
            next.tv_nsec -= 1000000000;
            next.tv_sec++;
        }
        (void)pthread_cond_timedwait(&ended, &lock, &next);
        settle();
    }
    pthread_mutex_unlock(&lock);
    return NULL;
}

void fleck_spill_begin(size_t bytes)
{
    pthread_mutex_lock(&lock);
    if (calls++ == 0)
        pages_before = resident_file_pages();
    atomic_store(&most_bytes, bytes);
    pthread_mutex_unlock(&lock);
}

void fleck_spill_end(void)
{
    bool join = false;

    pthread_mutex_lock(&lock);
    if (--calls == 0) {
        atomic_store(&most_bytes, SIZE_MAX);
        join = watched;
        watched = false;
        periods++;
        pthread_cond_broadcast(&ended);
    }
    pthread_mutex_unlock(&lock);
    if (join)
        pthread_join(watcher, NULL);
}

static long long now_ns(void)
{
    struct timespec now;

    clock_gettime(CLOCK_MONOTONIC, &now);
    return now.tv_sec * 1000000000LL + now.tv_nsec;
}

void fleck_spill_let_go(void)
{
    long long now, before;

    if (atomic_load_explicit(&held_bytes, memory_order_relaxed) == 0)
        return;
    now = now_ns();
    before = atomic_load_explicit(&looked_ns, memory_order_relaxed);
    if (now - before < MOMENT_NS ||
        !atomic_compare_exchange_strong(&looked_ns, &before, now)) /* another thread looks */
        return;
    pthread_mutex_lock(&lock);
    settle();
    pthread_mutex_unlock(&lock);
}

size_t fleck_spill_room(size_t large_bytes)
{
    const size_t limit = atomic_load_explicit(&most_bytes, memory_order_relaxed);
    const size_t in_memory = fleck_spill_heap_share(limit);

    if (limit == SIZE_MAX)
        return SIZE_MAX;
    return in_memory > large_bytes ? in_memory - large_bytes : 0;
}

bool fleck_spill_wants(size_t bytes, size_t large_bytes)
{
    return bytes >= FLECK_SPILL_LEAST_BYTES && bytes > fleck_spill_room(large_bytes);
}

static bool reserve(FILE *stream, size_t bytes)
{
    /* taken now: a disk that fills up later would end the program where it writes */
    return bytes <= INT64_MAX && posix_fallocate(fileno(stream), 0, (off_t)bytes) == 0;
}

/* Hang the block of an open file in; false when there is no place for it. */
static bool add(const spilled *made)
{
    bool added;

    pthread_mutex_lock(&lock);
    added = block_count < MOST_BLOCKS;
    if (added) {
        blocks[block_count++] = *made;
        atomic_fetch_add(&held_bytes, made->bytes);
        /* without a watcher more of it stays in memory, and nothing else is other */
        if (!watched && calls > 0)
            watched = pthread_create(&watcher, NULL, watch, (void *)(uintptr_t)periods) == 0;
    }
    pthread_mutex_unlock(&lock);
    return added;
}

void *fleck_spill_take(size_t bytes)
{
    spilled made = { .stream = tmpfile(), .bytes = bytes };

    if (made.stream == NULL)
        return NULL;
    if (reserve(made.stream, bytes)) {
        made.block = mmap(NULL, bytes, PROT_READ | PROT_WRITE, MAP_SHARED, fileno(made.stream), 0);
        if (made.block != MAP_FAILED) {
            if (add(&made))
                return made.block;
            munmap(made.block, bytes);
        }
    }
    fclose(made.stream);
    return NULL;
}

/* The item of a block, or NULL; under the lock. */
static spilled *find(const void *block)
{
    for (size_t i = 0; i < block_count; i++) {
        if (blocks[i].block == block)
            return &blocks[i];
    }
    return NULL;
}

bool fleck_spill_owns(const void *block)
{
    bool found;

    /* blocks of the heap hardly ever begin a page */
    if (atomic_load_explicit(&held_bytes, memory_order_relaxed) == 0 ||
        (uintptr_t)block % LEAST_PAGE_BYTES != 0)
        return false;
    pthread_mutex_lock(&lock);
    found = find(block) != NULL;
    pthread_mutex_unlock(&lock);
    return found;
}

void *fleck_spill_resize(void *block, size_t bytes)
{
    spilled *item;
    void *moved = MAP_FAILED;

    pthread_mutex_lock(&lock);
    item = find(block);
    if (item != NULL && (bytes <= item->bytes || reserve(item->stream, bytes)))
        moved = mremap(block, item->bytes, bytes, MREMAP_MAYMOVE);
    if (moved != MAP_FAILED) {
        atomic_fetch_sub(&held_bytes, item->bytes);
        atomic_fetch_add(&held_bytes, bytes);
        item->block = moved;
        item->bytes = bytes;
    }
    pthread_mutex_unlock(&lock);
    return moved != MAP_FAILED ? moved : NULL;
}

void fleck_spill_release(void *block)
{
    spilled *item, gone = { 0 };

    pthread_mutex_lock(&lock);
    item = find(block);
    if (item != NULL) {
        gone = *item;
        *item = blocks[--block_count];
        atomic_fetch_sub(&held_bytes, gone.bytes);
    }
    pthread_mutex_unlock(&lock);
    if (gone.stream == NULL)
        return;
    munmap(gone.block, gone.bytes);
    fclose(gone.stream);
}

#else

void fleck_spill_begin(size_t bytes)
{
    (void)bytes;
}

void fleck_spill_end(void)
{
}

void fleck_spill_let_go(void)
{
}

size_t fleck_spill_room(size_t large_bytes)
{
    (void)large_bytes;
    return SIZE_MAX;
}

bool fleck_spill_wants(size_t bytes, size_t large_bytes)
{
    (void)bytes;
    (void)large_bytes;
    return false;
}

void *fleck_spill_take(size_t bytes)
{
    (void)bytes;
    return NULL;
}

bool fleck_spill_owns(const void *block)
{
    (void)block;
    return false;
}

void *fleck_spill_resize(void *block, size_t bytes)
{
    (void)block;
    (void)bytes;
    return NULL;
}

void fleck_spill_release(void *block)
{
    (void)block;
}

#endif
