/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <string.h>

#include "core/memory.h"
#include "fleck/inputs.h"

/* Five scans in the order 0 1 2 0 3 1 4: a patch of a scan that came before goes with that one. */
static const char *const scans[] = { "s0", "s1", "s2", "s0", "s3", "s1", "s4" };
enum { PATCHES = sizeof scans / sizeof *scans, SCANS = 5 };
static const size_t scan_of[PATCHES] = { 0, 1, 2, 0, 3, 1, 4 };

static void make(fleck_inputs *inputs)
{
    *inputs = (fleck_inputs){ .count = PATCHES, .capacity = PATCHES };
    inputs->items = fleck_alloc_zeroed(PATCHES, sizeof *inputs->items);
    inputs->failures = fleck_alloc_zeroed(1, sizeof *inputs->failures);
    inputs->columns = fleck_alloc_zeroed(1, sizeof *inputs->columns);
    assert_non_null(inputs->items);
    assert_non_null(inputs->failures);
    assert_non_null(inputs->columns);
    inputs->columns[0] = fleck_copy_text("paste");
    inputs->column_count = 1;
    inputs->failures[0].path = fleck_copy_text("no such.png");
    inputs->failures[0].message = fleck_copy_text("is not there; look");
    inputs->failure_count = inputs->failure_capacity = 1;
    for (size_t i = 0; i < PATCHES; i++) {
        const char id[] = { 'p', (char)('0' + i), '\0' };

        inputs->items[i].id = fleck_copy_text(id);
        inputs->items[i].path = fleck_copy_text(scans[i]);
    }
}

static char *digest_of(fleck_inputs *inputs)
{
    fleck_error err = { 0 };
    char *digest;

    assert_int_equal(fleck_inputs_take_slice(inputs, 1, 1, &err), FLECK_OK);
    digest = fleck_copy_text(inputs->whole_sha256);
    assert_non_null(digest);
    fleck_inputs_clear(inputs);
    return digest;
}

static void every_patch_is_in_one_slice_and_patches_of_a_scan_stay_together(void **state)
{
    (void)state;
    for (size_t of = 1; of <= SCANS + 2; of++) {
        size_t seen[PATCHES] = { 0 }, early = 0;

        for (size_t slice = 1; slice <= of; slice++) {
            fleck_error err = { 0 };
            fleck_inputs inputs;

            make(&inputs);
            assert_int_equal(fleck_inputs_take_slice(&inputs, slice, of, &err), FLECK_OK);
            assert_int_equal(inputs.slice, slice);
            assert_int_equal(inputs.slice_of, of);
            assert_int_equal(inputs.whole_count, PATCHES);
            for (size_t i = 0; i < inputs.count; i++) {
                const size_t place = inputs.places[i];

                assert_true(place < PATCHES);
                assert_true(i == 0 || place > inputs.places[i - 1]);
                seen[place]++;
                assert_int_equal(inputs.items[i].id[1] - '0', place);
                assert_string_equal(inputs.items[i].path, scans[place]);
                /* scan after scan to one slice after the other */
                assert_int_equal(scan_of[place] % of, slice - 1);
            }
            early += inputs.failure_count;
            fleck_inputs_clear(&inputs);
        }
        for (size_t i = 0; i < PATCHES; i++)
            assert_int_equal(seen[i], 1);
        assert_int_equal(early, 1);
    }
}

static void all_slices_of_a_list_have_one_digest(void **state)
{
    fleck_inputs inputs;
    fleck_error err = { 0 };
    char *first;

    (void)state;
    make(&inputs);
    first = digest_of(&inputs);
    for (size_t slice = 1; slice <= 3; slice++) {
        make(&inputs);
        assert_int_equal(fleck_inputs_take_slice(&inputs, slice, 3, &err), FLECK_OK);
        assert_string_equal(inputs.whole_sha256, first);
        fleck_inputs_clear(&inputs);
    }
    fleck_free(first);
}

static void replace(char **text, const char *with)
{
    fleck_free(*text);
    *text = fleck_copy_text(with);
}

static void a_change_of_anything_that_reaches_a_result_gives_another_digest(void **state)
{
    enum { ID, SCAN, REGION, REGION_PLACE, TILT, CELL, COLUMN, FAILED, NAME, FEWER, CHANGES };
    static char cell[] = "3.5";
    char *digests[CHANGES + 1];
    fleck_inputs inputs;

    (void)state;
    for (size_t change = 0; change <= CHANGES; change++) {
        fleck_input *item;

        make(&inputs);
        item = &inputs.items[PATCHES - 1];
        if (change == ID)
            replace(&item->id, "other");
        if (change == SCAN)
            replace(&item->path, "s5");
        if (change == REGION || change == REGION_PLACE || change == TILT) {
            item->has_region = true;
            item->region = (fleck_box_mm){ change == REGION_PLACE ? 1 : 0, 0, 10, 10 };
            item->tilt_deg = change == TILT ? 1 : 0;
        }
        if (change == CELL) {
            item->cells = fleck_alloc_array(1, sizeof *item->cells);
            assert_non_null(item->cells);
            item->cells[0] = cell;
        }
        if (change == COLUMN)
            replace(&inputs.columns[0], "water");
        if (change == FAILED)
            item->failure = fleck_copy_text("is wrong; put it right");
        if (change == NAME)
            replace(&inputs.failures[0].path, "nor this.png");
        if (change == FEWER) {
            fleck_free(item->id);
            fleck_free(item->path);
            inputs.count--;
        }
        digests[change] = digest_of(&inputs);
        for (size_t other = 0; other < change; other++)
            assert_string_not_equal(digests[change], digests[other]);
    }
    for (size_t change = 0; change <= CHANGES; change++)
        fleck_free(digests[change]);
}

static void a_slice_that_does_not_exist_or_of_a_slice_is_refused(void **state)
{
    static const size_t wrong[][2] = { { 0, 3 }, { 4, 3 }, { 0, 0 }, { 1, 0 } };
    fleck_inputs inputs;
    fleck_error err = { 0 };

    (void)state;
    make(&inputs);
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++)
        assert_int_equal(fleck_inputs_take_slice(&inputs, wrong[i][0], wrong[i][1], &err), FLECK_BAD_CALL);
    assert_int_equal(inputs.count, PATCHES);
    assert_int_equal(fleck_inputs_take_slice(&inputs, 1, 2, &err), FLECK_OK);
    assert_int_equal(fleck_inputs_take_slice(&inputs, 1, 2, &err), FLECK_BAD_CALL);
    assert_non_null(strstr(err.message, "a slice already"));
    fleck_inputs_clear(&inputs);
}

static void an_empty_list_has_empty_slices(void **state)
{
    fleck_inputs inputs = { 0 };
    fleck_error err = { 0 };

    (void)state;
    assert_int_equal(fleck_inputs_take_slice(&inputs, 2, 2, &err), FLECK_OK);
    assert_int_equal(inputs.count, 0);
    assert_int_equal(inputs.whole_count, 0);
    fleck_inputs_clear(&inputs);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_patch_is_in_one_slice_and_patches_of_a_scan_stay_together),
        cmocka_unit_test(all_slices_of_a_list_have_one_digest),
        cmocka_unit_test(a_change_of_anything_that_reaches_a_result_gives_another_digest),
        cmocka_unit_test(a_slice_that_does_not_exist_or_of_a_slice_is_refused),
        cmocka_unit_test(an_empty_list_has_empty_slices),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
