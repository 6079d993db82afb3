/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Memory may end anywhere. The linker sends the library's malloc, calloc, realloc and free through
 * here (--wrap), where the n-th allocation fails, for each n there is.
 */
#include <stdlib.h>
#include <string.h>

#include "segment/sheet.h"
#include "support/check.h"

enum { MOST_LIVE = 4096 };

static size_t asked;      /* allocations so far */
static size_t to_fail;    /* the one that fails, from 1; 0: none */
static bool watched;
static void *live[MOST_LIVE]; /* from this test's allocations */
static size_t live_count;

void *__real_malloc(size_t size);
void *__real_calloc(size_t count, size_t size);
void *__real_realloc(void *old, size_t size);
void __real_free(void *old);
void *__wrap_malloc(size_t size);
void *__wrap_calloc(size_t count, size_t size);
void *__wrap_realloc(void *old, size_t size);
void __wrap_free(void *old);

static bool fails(void)
{
    return watched && ++asked == to_fail;
}

static void *note(void *made)
{
    if (watched && made != NULL) {
        assert_true(live_count < MOST_LIVE);
        live[live_count++] = made;
    }
    return made;
}

static void forget(const void *old)
{
    for (size_t i = 0; i < live_count; i++) {
        if (live[i] == old) {
            live[i] = live[--live_count];
            return;
        }
    }
}

void *__wrap_malloc(size_t size)
{
    return fails() ? NULL : note(__real_malloc(size));
}

void *__wrap_calloc(size_t count, size_t size)
{
    return fails() ? NULL : note(__real_calloc(count, size));
}

void *__wrap_realloc(void *old, size_t size)
{
    if (fails())
        return NULL;
    forget(old);
    return note(__real_realloc(old, size));
}

void __wrap_free(void *old)
{
    forget(old);
    __real_free(old);
}

/* Two patches, a grey scale, writing and a ruler: something for each step to do. */
static void draw(void)
{
    static const sheet_place places[] = { { 12, 12, 12, 10, 2 }, { 30, 12, 12, 12, -1 } };
    test_sheet sheet;

    sheet_init(&sheet, 60, 44, 60);
    sheet_patch(&sheet, &places[0], SHEET_BOX, 0.4, 0.6);
    sheet_patch(&sheet, &places[1], SHEET_ELLIPSE, 1, 0.6);
    sheet_grey_scale(&sheet, 6, 24, 6, 6, 6);
    sheet_scribble(&sheet, 42, 10, 12, 3);
    sheet_ruler(&sheet, 5, 38, 50);
    sheet_write(&sheet, 0.1, 0.01, false, sheet_scratch(".png"));
    sheet_clear(&sheet);
}

static fleck_status locate(size_t failing, fleck_layout *layout, fleck_error *err)
{
    fleck_locate_options options = fleck_locate_options_default();
    fleck_status status;

    options.grid_rows = 1;
    options.grid_columns = 3;
    to_fail = failing;
    asked = 0;
    watched = true;
    status = fleck_locate(sheet_scratch(".png"), &options, layout, err);
    watched = false;
    return status;
}

static void every_missing_allocation_is_said_and_nothing_is_lost(void **state)
{
    fleck_layout layout;
    fleck_error err = { 0 };
    size_t count;

    (void)state;
    draw();
    assert_int_equal(locate(0, &layout, &err), FLECK_OK);
    assert_int_equal(layout.count, 2);
    fleck_layout_clear(&layout);
    assert_int_equal(live_count, 0);
    count = asked;
    assert_true(count > 100);
    for (size_t n = 1; n <= count; n++) {
        const fleck_status status = locate(n, &layout, &err);

        if (status != FLECK_NO_RESOURCE || strstr(err.message, "memory") == NULL)
            fail_msg("allocation %zu of %zu: status %d, \"%s\"", n, count, (int)status, err.message);
        fleck_layout_clear(&layout);
        if (live_count > 0)
            fail_msg("allocation %zu of %zu: %zu are left", n, count, live_count);
    }
}

static void every_missing_allocation_of_the_table_is_said(void **state)
{
    fleck_layout layout;
    fleck_error err = { 0 };
    size_t count = 1;

    (void)state;
    draw();
    assert_int_equal(locate(0, &layout, &err), FLECK_OK);
    for (size_t n = 0; n <= count; n++) {
        char *text = NULL;
        fleck_status status;

        to_fail = n;
        asked = 0;
        watched = true;
        status = fleck_layout_csv(&layout, sheet_scratch(".png"), NULL, &text, &err);
        watched = false;
        if (n == 0)
            count = asked;
        if (status != (n == 0 ? FLECK_OK : FLECK_NO_RESOURCE))
            fail_msg("allocation %zu of %zu: status %d, \"%s\"", n, count, (int)status, err.message);
        free(text);
    }
    fleck_layout_clear(&layout);
    assert_int_equal(live_count, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_missing_allocation_is_said_and_nothing_is_lost),
        cmocka_unit_test(every_missing_allocation_of_the_table_is_said),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
