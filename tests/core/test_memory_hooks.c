/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Hooks are set once for a process: the tests of this program stand in their order. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/fleck.h"
#include "support/check.h"

/* Every block begins some bytes behind what malloc gave, so that no other free() can take it. */
enum { AHEAD = 64 };

static struct {
    size_t taken, returned, moved;
    size_t fail_at; /* the n-th from now on is refused; 0: none */
} counts;

static bool refused(void)
{
    return counts.fail_at > 0 && --counts.fail_at == 0;
}

static void *take(void *context, size_t bytes)
{
    unsigned char *block;

    assert_ptr_equal(context, &counts);
    assert_true(bytes > 0);
    if (refused() || (block = malloc(bytes + AHEAD)) == NULL)
        return NULL;
    memset(block, 0xa5, bytes + AHEAD); /* nobody may count on zeros */
    counts.taken++;
    return block + AHEAD;
}

static void *resize(void *context, void *block, size_t bytes)
{
    unsigned char *moved;

    if (block == NULL)
        return take(context, bytes);
    if (refused() || (moved = realloc((unsigned char *)block - AHEAD, bytes + AHEAD)) == NULL)
        return NULL;
    counts.moved++;
    return moved + AHEAD;
}

static void give_back(void *context, void *block)
{
    assert_ptr_equal(context, &counts);
    assert_non_null(block);
    counts.returned++;
    free((unsigned char *)block - AHEAD);
}

static void hooks_that_lack_something_are_refused(void **state)
{
    fleck_memory_hooks hooks = fleck_memory_hooks_default();
    fleck_error err = { 0 };

    (void)state;
    assert_true(hooks.allocate != NULL && hooks.resize != NULL && hooks.release != NULL);
    hooks.resize = NULL;
    assert_int_equal(fleck_set_memory_hooks(&hooks, &err), FLECK_BAD_CALL);
    hooks = (fleck_memory_hooks){ .allocate = take, .resize = resize, .release = give_back };
    assert_int_equal(fleck_set_memory_hooks(&hooks, &err), FLECK_BAD_CALL);
}

static void hooks_are_set_before_all_else(void **state)
{
    fleck_memory_hooks hooks = fleck_memory_hooks_default();
    fleck_error err = { 0 };

    (void)state;
    hooks.context = &counts;
    hooks.allocate = take;
    hooks.resize = resize;
    hooks.release = give_back;
    assert_int_equal(fleck_set_memory_hooks(&hooks, &err), FLECK_OK);
}

/* A tile drawn, and its truth as text. */
static fleck_status draw(fleck_error *err)
{
    fleck_phantom_options options = fleck_phantom_options_default();
    fleck_phantom *phantom = NULL;
    char *truth = NULL;
    fleck_status status;

    options.width_mm = options.height_mm = 4;
    status = fleck_phantom_new(&options, &phantom, err);
    if (status == FLECK_OK && (truth = fleck_phantom_truth_json(phantom)) == NULL)
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no truth");
    fleck_free(truth);
    fleck_phantom_free(phantom);
    return status;
}

static void all_that_is_taken_through_hooks_is_given_back(void **state)
{
    fleck_error err = { 0 };

    (void)state;
    assert_int_equal(draw(&err), FLECK_OK);
    assert_true(counts.taken > 5 && counts.moved > 0);
    assert_int_equal(counts.taken, counts.returned);
}

/* Discs of 12 pixels on a lattice of 30. */
static fleck_status read_row(void *context, size_t y_px, void *row, fleck_error *err)
{
    (void)context;
    (void)err;
    for (size_t x = 0; x < 300; x++) {
        const int dx = (int)(x % 30) - 15, dy = (int)(y_px % 30) - 15;

        ((unsigned char *)row)[x] = dx * dx + dy * dy <= 36 ? 40 : 230;
    }
    return FLECK_OK;
}

/* Rows that come only once, kept or put into a file. The counters are plain: one thread at a time. */
static fleck_status measure(size_t memory_bytes, fleck_measure_summary *summary, fleck_error *err)
{
    fleck_measure_options options = fleck_measure_options_default();
    fleck_row_source source = fleck_row_source_default();
    fleck_inputs inputs = { 0 };
    fleck_status status;

    options.jobs = 1;
    options.simulations = 0;
    options.memory_bytes = memory_bytes;
    source.read_row = read_row;
    source.width_px = source.height_px = 300;
    source.ppi_x = source.ppi_y = 600;
    status = fleck_inputs_add_rows(&inputs, "lattice", &source, err);
    if (status == FLECK_OK)
        status = fleck_measure(&inputs, &options, NULL, NULL, summary, err);
    fleck_inputs_clear(&inputs);
    return status;
}

static void a_measurement_gives_back_all_it_took(void **state)
{
    fleck_measure_summary summary = { 0 };
    fleck_error err = { 0 };
    const size_t before = counts.taken;

    (void)state;
    assert_int_equal(measure(0, &summary, &err), FLECK_OK);
    assert_int_equal(summary.measured, 1);
    assert_true(counts.taken > before + 100);
    assert_int_equal(counts.taken, counts.returned);
}

/* Those that belong to the list and to the reading of rows come first. */
static void a_measurement_bears_each_of_its_first_refusals(void **state)
{
    (void)state;
    for (size_t memory_bytes = 0; memory_bytes < 2; memory_bytes++) {
        for (size_t n = 1; n <= 60; n++) {
            fleck_measure_summary summary = { 0 };
            fleck_error err = { 0 };
            fleck_status status;

            counts.fail_at = n;
            status = measure(memory_bytes, &summary, &err);
            assert_int_equal(counts.taken, counts.returned);
            /* what is kept in memory is put into a file when there is none, for one */
            assert_true(status == FLECK_OK ? summary.measured == 1
                                           : status == FLECK_NO_RESOURCE && err.message[0] != '\0');
        }
    }
    counts.fail_at = 0;
}

static void a_hook_that_refuses_fails_the_call_and_nothing_more(void **state)
{
    size_t refusals = 0;
    fleck_status status;

    (void)state;
    do {
        fleck_error err = { 0 };

        counts.fail_at = refusals + 1;
        status = draw(&err);
        assert_int_equal(counts.taken, counts.returned);
        refusals += status != FLECK_OK;
        assert_true(status == FLECK_OK || (status == FLECK_NO_RESOURCE && err.message[0] != '\0'));
    } while (status != FLECK_OK && refusals < 10000);
    assert_int_equal(status, FLECK_OK);
    assert_true(refusals > 5);
    counts.fail_at = 0;
}

static void hooks_come_too_late_when_memory_was_taken(void **state)
{
    const fleck_memory_hooks hooks = fleck_memory_hooks_default();
    fleck_error err = { 0 };

    (void)state;
    assert_int_equal(fleck_set_memory_hooks(&hooks, &err), FLECK_BAD_CALL);
    fleck_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(hooks_that_lack_something_are_refused),
        cmocka_unit_test(hooks_are_set_before_all_else),
        cmocka_unit_test(all_that_is_taken_through_hooks_is_given_back),
        cmocka_unit_test(a_measurement_gives_back_all_it_took),
        cmocka_unit_test(a_measurement_bears_each_of_its_first_refusals),
        cmocka_unit_test(a_hook_that_refuses_fails_the_call_and_nothing_more),
        cmocka_unit_test(hooks_come_too_late_when_memory_was_taken),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
