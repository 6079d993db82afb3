/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "core/parallel.h"

#include <pthread.h>
#include <stdatomic.h>

#include "core/memory.h"

struct shared {
    void (*work)(void *context, unsigned worker, size_t i);
    void *context;
    size_t count;
    atomic_size_t next;
};

struct worker {
    struct shared *shared;
    unsigned number;
    pthread_t thread;
};

static void take_pieces(struct shared *shared, unsigned number)
{
    for (;;) {
        const size_t i = atomic_fetch_add(&shared->next, 1);

        if (i >= shared->count)
            return;
        shared->work(shared->context, number, i);
    }
}

static void *run_worker(void *argument)
{
    struct worker *worker = argument;

    take_pieces(worker->shared, worker->number);
    return NULL;
}

unsigned fleck_parallel_for(unsigned threads, size_t count,
                            void (*work)(void *context, unsigned worker, size_t i), void *context)
{
    struct shared shared = { .work = work, .context = context, .count = count };
    struct worker *workers = NULL;
    unsigned started = 0;

    atomic_init(&shared.next, 0);
    if (threads > count)
        threads = (unsigned)count;
    if (threads > 1)
        workers = fleck_alloc_array(threads - 1, sizeof *workers);
    if (workers != NULL) {
        for (; started < threads - 1; started++) {
            struct worker *worker = &workers[started];

            worker->shared = &shared;
            worker->number = started + 1;
            if (pthread_create(&worker->thread, NULL, run_worker, worker) != 0)
                break;
        }
    }
    take_pieces(&shared, 0);
    for (unsigned i = 0; i < started; i++)
        pthread_join(workers[i].thread, NULL);
    fleck_free(workers);
    return started + 1;
}
