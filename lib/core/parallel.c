/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A helper is a thread that belongs to one loop at a time. A loop takes those that wait before it starts
 * more, and gives them back when all its pieces are done; so a loop within a piece of another finds
 * helpers of its own, and nobody waits for a thread that is busy elsewhere.
 */
#include "core/parallel.h"

#include <pthread.h>
#include <stdatomic.h>
#include <stdbool.h>

#include "core/memory.h"

struct loop {
    void (*work)(void *context, unsigned worker, size_t i);
    void *context;
    size_t count;
    atomic_size_t next;
};

struct helper {
    pthread_t thread;
    pthread_cond_t changed; /* loop or ends */
    struct loop *loop;      /* NULL once its pieces are done */
    bool ends;
    unsigned number;
    struct helper *next; /* of those that wait, or of those of its loop */
};

/* Guards all below, and the loop and end of each helper. */
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static struct helper *waiting;
static unsigned holds;

static void take_pieces(struct loop *loop, unsigned number)
{
    for (;;) {
        const size_t i = atomic_fetch_add(&loop->next, 1);

        if (i >= loop->count)
            return;
        loop->work(loop->context, number, i);
    }
}

static void *help(void *argument)
{
    struct helper *const helper = argument;

    pthread_mutex_lock(&lock);
    for (;;) {
        while (helper->loop == NULL && !helper->ends)
            pthread_cond_wait(&helper->changed, &lock);
        if (helper->loop == NULL)
            break;
        pthread_mutex_unlock(&lock);
        take_pieces(helper->loop, helper->number);
        pthread_mutex_lock(&lock);
        helper->loop = NULL;
        pthread_cond_signal(&helper->changed);
    }
    pthread_mutex_unlock(&lock);
    return NULL;
}

/* Those that wait, up to `wanted`, are put to the loop; *helpers is their list. */
static unsigned take_waiting(struct loop *loop, unsigned wanted, struct helper **helpers)
{
    unsigned taken = 0;

    pthread_mutex_lock(&lock);
    while (taken < wanted && waiting != NULL) {
        struct helper *const helper = waiting;

        waiting = helper->next;
        helper->next = *helpers;
        *helpers = helper;
        helper->loop = loop;
        helper->number = ++taken;
        pthread_cond_signal(&helper->changed);
    }
    pthread_mutex_unlock(&lock);
    return taken;
}

/* A new thread for the loop; NULL when there is none. */
static struct helper *start_helper(struct loop *loop, unsigned number)
{
    struct helper *const helper = fleck_alloc_zeroed(1, sizeof *helper);

    if (helper == NULL)
        return NULL;
    helper->loop = loop;
    helper->number = number;
    if (pthread_cond_init(&helper->changed, NULL) == 0) {
        if (pthread_create(&helper->thread, NULL, help, helper) == 0)
            return helper;
        pthread_cond_destroy(&helper->changed);
    }
    fleck_free(helper);
    return NULL;
}

static void end_helpers(struct helper *helpers)
{
    pthread_mutex_lock(&lock);
    for (struct helper *helper = helpers; helper != NULL; helper = helper->next) {
        helper->ends = true;
        pthread_cond_signal(&helper->changed);
    }
    pthread_mutex_unlock(&lock);
    while (helpers != NULL) {
        struct helper *const helper = helpers;

        helpers = helper->next;
        pthread_join(helper->thread, NULL);
        pthread_cond_destroy(&helper->changed);
        fleck_free(helper);
    }
}

/* Wait until their pieces are done; then they wait for others, or end. */
static void give_back(struct helper *helpers)
{
    pthread_mutex_lock(&lock);
    for (struct helper *helper = helpers; helper != NULL; helper = helper->next) {
        while (helper->loop != NULL)
            pthread_cond_wait(&helper->changed, &lock);
    }
    while (holds > 0 && helpers != NULL) {
        struct helper *const helper = helpers;

        helpers = helper->next;
        helper->next = waiting;
        waiting = helper;
    }
    pthread_mutex_unlock(&lock);
    end_helpers(helpers);
}

unsigned fleck_parallel_for(unsigned threads, size_t count,
                            void (*work)(void *context, unsigned worker, size_t i), void *context)
{
    struct loop loop = { .work = work, .context = context, .count = count };
    struct helper *helpers = NULL;
    unsigned helping;

    atomic_init(&loop.next, 0);
    if (threads > count)
        threads = (unsigned)count;
    if (threads < 2) {
        take_pieces(&loop, 0);
        return 1;
    }
    helping = take_waiting(&loop, threads - 1, &helpers);
    while (helping < threads - 1) {
        struct helper *const helper = start_helper(&loop, helping + 1);

        if (helper == NULL)
            break;
        helper->next = helpers;
        helpers = helper;
        helping++;
    }
    take_pieces(&loop, 0);
    give_back(helpers);
    return helping + 1;
}

static void run_task(void *context, unsigned worker, size_t i)
{
    fleck_task *const task = (fleck_task *)context + i;

    (void)worker;
    task->status = task->run(task->context, &task->err);
}

fleck_status fleck_tasks_run(fleck_task *tasks, size_t count, unsigned threads, fleck_error *err)
{
    fleck_parallel_for(threads, count, run_task, tasks);
    for (size_t i = 0; i < count; i++) {
        if (tasks[i].status != FLECK_OK) {
            if (err != NULL)
                *err = tasks[i].err;
            return tasks[i].status;
        }
    }
    return FLECK_OK;
}

void fleck_parallel_hold(void)
{
    pthread_mutex_lock(&lock);
    holds++;
    pthread_mutex_unlock(&lock);
}

void fleck_parallel_release(void)
{
    struct helper *helpers = NULL;

    pthread_mutex_lock(&lock);
    if (--holds == 0) {
        helpers = waiting;
        waiting = NULL;
    }
    pthread_mutex_unlock(&lock);
    end_helpers(helpers);
}
