/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Every piece is done once, whether threads are kept between loops or not, and none is left behind. */
#include <pthread.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>
#include <time.h>

#include "core/parallel.h"
#include "support/check.h"

enum { PIECES = 64, INNER = 8, ROUNDS = 200, CALLERS = 3, THREADS = 4 };

struct counts {
    unsigned done[PIECES];
    bool wrong[PIECES]; /* a worker's number beyond the threads */
    unsigned inner[PIECES][INNER];
};

/* Threads of the process, as the system says; 0 when it does not. */
static unsigned thread_count(void)
{
    FILE *const stream = fopen("/proc/self/status", "r");
    char line[256];
    unsigned count = 0;

    while (stream != NULL && fgets(line, sizeof line, stream) != NULL) {
        if (strncmp(line, "Threads:", 8) == 0)
            (void)sscanf(line + 8, "%u", &count);
    }
    if (stream != NULL)
        fclose(stream);
    return count;
}

/* A thread that was waited for may still be counted for a moment. */
static bool only_so_many_are_left(unsigned threads)
{
    static const struct timespec moment = { 0, 1000000 };

    for (int i = 0; i < 2000 && thread_count() > threads; i++)
        (void)nanosleep(&moment, NULL);
    return thread_count() <= threads;
}

static void count_inner(void *context, unsigned worker, size_t i)
{
    unsigned *const done = context;

    (void)worker;
    done[i]++;
}

static void count_piece(void *context, unsigned worker, size_t i)
{
    struct counts *const counts = context;

    counts->done[i]++;
    counts->wrong[i] = worker >= THREADS;
    fleck_parallel_for(2, INNER, count_inner, counts->inner[i]);
}

static void check_rounds(size_t rounds)
{
    for (size_t round = 0; round < rounds; round++) {
        struct counts counts = { 0 };
        const unsigned threads = fleck_parallel_for(THREADS, PIECES, count_piece, &counts);

        assert_in_range(threads, 1, THREADS);
        for (size_t i = 0; i < PIECES; i++) {
            assert_int_equal(counts.done[i], 1);
            assert_false(counts.wrong[i]);
            for (size_t j = 0; j < INNER; j++)
                assert_int_equal(counts.inner[i][j], 1);
        }
    }
}

static void each_piece_is_done_once_in_loops_within_loops(void **state)
{
    const unsigned before = thread_count();

    (void)state;
    check_rounds(10);
    assert_true(only_so_many_are_left(before));
}

static void threads_are_kept_while_held_and_none_is_left(void **state)
{
    const unsigned before = thread_count();

    (void)state;
    fleck_parallel_hold();
    fleck_parallel_hold();
    check_rounds(ROUNDS);
    fleck_parallel_release();
    assert_true(before == 0 || thread_count() > before);
    check_rounds(1);
    fleck_parallel_release();
    assert_true(only_so_many_are_left(before));
}

static void *call(void *argument)
{
    for (size_t i = 0; i < ROUNDS; i++) {
        struct counts counts = { 0 };

        fleck_parallel_hold();
        fleck_parallel_for(THREADS, PIECES, count_piece, &counts);
        fleck_parallel_release();
        for (size_t piece = 0; piece < PIECES; piece++) {
            if (counts.done[piece] != 1)
                return argument; /* any that is not NULL */
        }
    }
    return NULL;
}

static void callers_side_by_side_share_what_waits(void **state)
{
    const unsigned before = thread_count();
    pthread_t callers[CALLERS];

    (void)state;
    for (size_t i = 0; i < CALLERS; i++)
        assert_int_equal(pthread_create(&callers[i], NULL, call, callers), 0);
    for (size_t i = 0; i < CALLERS; i++) {
        void *wrong = NULL;

        assert_int_equal(pthread_join(callers[i], &wrong), 0);
        assert_null(wrong);
    }
    assert_true(only_so_many_are_left(before));
}

static void no_pieces_and_one_thread_need_no_other(void **state)
{
    struct counts counts = { 0 };

    (void)state;
    assert_int_equal(fleck_parallel_for(THREADS, 0, count_piece, &counts), 1);
    assert_int_equal(counts.done[0], 0);
    assert_int_equal(fleck_parallel_for(1, PIECES, count_piece, &counts), 1);
    for (size_t i = 0; i < PIECES; i++)
        assert_int_equal(counts.done[i], 1);
}

int main(void)
{
    unsigned done[INNER] = { 0 };
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_piece_is_done_once_in_loops_within_loops),
        cmocka_unit_test(threads_are_kept_while_held_and_none_is_left),
        cmocka_unit_test(callers_side_by_side_share_what_waits),
        cmocka_unit_test(no_pieces_and_one_thread_need_no_other),
    };

    /* a sanitizer may begin a thread of its own with the first */
    fleck_parallel_for(2, INNER, count_inner, done);
    return cmocka_run_group_tests(tests, NULL, NULL);
}
