/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sharing numbered pieces of work among threads. */
#ifndef FLECK_CORE_PARALLEL_H
#define FLECK_CORE_PARALLEL_H

#include <stddef.h>

#include "fleck/error.h"

/*
 * Call work(context, worker, i) once for each i from 0 to count - 1, on `threads` threads (the
 * caller's is one of them), worker being 0 to threads - 1. Pieces are taken in order; a piece must
 * write only what belongs to it, and may call this again. When fewer threads can be started, those
 * there are do the work. Returns when all is done, and how many threads were at it: no more than there
 * were pieces.
 */
unsigned fleck_parallel_for(unsigned threads, size_t count,
                            void (*work)(void *context, unsigned worker, size_t i), void *context);

/* A piece of work of its own kind. */
typedef struct fleck_task {
    fleck_status (*run)(void *context, fleck_error *err);
    void *context;
    fleck_status status; /* of its run, which writes why it failed to err */
    fleck_error err;
} fleck_task;

/* Run them all as above. Returns the failure of the first in the list that failed. */
fleck_status fleck_tasks_run(fleck_task *tasks, size_t count, unsigned threads, fleck_error *err);

/*
 * From the first hold to the last release threads that have done their pieces wait for the next loop,
 * whosever it is; otherwise each loop starts and ends its own. For calls with many short loops. None is
 * left once nothing is held and no loop is running.
 */
void fleck_parallel_hold(void);
void fleck_parallel_release(void);

#endif
