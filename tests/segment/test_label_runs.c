/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Components that keep their runs. */
#include "fleck/segment.h"

#include <stdlib.h>
#include <string.h>

#include "segment/mask.h"
#include "support/check.h"

struct watch {
    fleck_labeller *labeller;
    const struct mask *mask;
    fleck_runs_wanted wanted[2];
    uint8_t *covered;
    uint64_t covered_px[2];
    size_t with_runs, without_runs;
};

/* Runs are maximal, sorted, of the right phase, and add up to the component. */
static fleck_status look(void *context, fleck_phase phase, const fleck_component *component,
                         fleck_error *err)
{
    struct watch *watch = context;
    const struct mask *const mask = watch->mask;
    const size_t width = mask->width_px;
    const uint8_t ink = phase == FLECK_PHASE_INK;
    size_t count = 99;
    const fleck_blob_run *const runs = fleck_labeller_get_runs(watch->labeller, &count);
    uint64_t area = 0, sum_x = 0, sum_y = 0;

    (void)err;
    assert_int_equal(runs == NULL, count == 0);
    if (runs == NULL) {
        watch->without_runs++;
        return FLECK_OK;
    }
    watch->with_runs++;
    assert_true(component->area_px >= watch->wanted[phase].least_area_px);
    assert_true(count <= watch->wanted[phase].most_runs);
    assert_int_equal(runs[0].y_px, component->first_y_px);
    assert_int_equal(runs[0].start_px, component->first_x_px);
    for (size_t i = 0; i < count; i++) {
        const uint8_t *const row = mask->ink + runs[i].y_px * width;

        assert_true(i == 0 || runs[i - 1].y_px < runs[i].y_px ||
                    (runs[i - 1].y_px == runs[i].y_px && runs[i - 1].end_px < runs[i].start_px));
        assert_true(runs[i].start_px == 0 || row[runs[i].start_px - 1] != ink);
        assert_true(runs[i].end_px == width || row[runs[i].end_px] != ink);
        for (size_t x = runs[i].start_px; x < runs[i].end_px; x++) {
            assert_int_equal(row[x], ink);
            assert_int_equal(watch->covered[runs[i].y_px * width + x]++, 0);
            area++;
            sum_x += x;
            sum_y += runs[i].y_px;
        }
    }
    assert_int_equal(area, component->area_px);
    assert_int_equal(sum_x, component->sum_x_px);
    assert_int_equal(sum_y, component->sum_y_px);
    watch->covered_px[phase] += area;
    return FLECK_OK;
}

static struct watch label(const struct mask *mask, fleck_runs_wanted ink, fleck_runs_wanted bare)
{
    struct watch watch = { .mask = mask, .wanted = { ink, bare } };
    fleck_run *runs = malloc((mask->width_px / 2 + 1) * sizeof *runs);

    watch.covered = calloc(mask->width_px * mask->height_px, 1);
    assert_non_null(runs);
    assert_non_null(watch.covered);
    assert_int_equal(fleck_labeller_new(mask->width_px, mask->height_px, NULL, look, &watch,
                                        &watch.labeller, NULL),
                     FLECK_OK);
    for (int phase = 0; phase < 2; phase++)
        if (watch.wanted[phase].most_runs > 0)
            assert_int_equal(fleck_labeller_keep_runs(watch.labeller, (fleck_phase)phase,
                                                      &watch.wanted[phase], NULL),
                             FLECK_OK);
    for (size_t y = 0; y < mask->height_px; y++)
        assert_int_equal(
            fleck_labeller_row(watch.labeller, runs, mask_runs(mask, y, runs), NULL), FLECK_OK);
    assert_int_equal(fleck_labeller_finish(watch.labeller, NULL), FLECK_OK);
    fleck_labeller_free(watch.labeller);
    free(watch.covered);
    free(runs);
    return watch;
}

static void test_the_runs_handed_over_are_those_of_the_component(void **state)
{
    static const fleck_runs_wanted all = { 1, SIZE_MAX };
    uint64_t seed = 5;

    (void)state;
    for (int i = 0; i < 60; i++) {
        struct mask mask = i % 2 == 0
                               ? mask_random(1 + test_random(&seed) % 90,
                                             1 + test_random(&seed) % 70, 0.1 * (i % 11), &seed)
                               : mask_speckle(120, 90, 5, 0.01 * i, &seed);
        const struct watch watch = label(&mask, all, all);
        struct components flood[2] = { mask_flood(&mask, FLECK_PHASE_INK),
                                       mask_flood(&mask, FLECK_PHASE_BARE) };

        assert_int_equal(watch.without_runs, 0);
        assert_int_equal(watch.with_runs, flood[0].count + flood[1].count);
        assert_int_equal(watch.covered_px[0] + watch.covered_px[1],
                         mask.width_px * mask.height_px);
        components_free(&flood[0]);
        components_free(&flood[1]);
        mask_free(&mask);
    }
}

static void test_small_components_and_unwanted_phases_have_no_runs(void **state)
{
    struct mask mask = mask_from_text("##.#..... ##.#..#.. ......... ###...... ###......");
    const struct watch watch =
        label(&mask, (fleck_runs_wanted){ 4, SIZE_MAX }, (fleck_runs_wanted){ 0, 0 });

    (void)state;
    assert_int_equal(watch.with_runs, 2);    /* of 4 and 6 pixels */
    assert_int_equal(watch.without_runs, 3); /* of 2 and 1, and the paper */
    mask_free(&mask);
}

static void test_a_component_with_too_many_runs_loses_them_whether_it_grows_or_joins(void **state)
{
    /* a bar of 5 rows, two bars of 3 that join, and one of 4 */
    struct mask mask = mask_from_text("#.#.#.# #.#.#.# #.#.#.# #.###.# #......");
    const struct watch five = label(&mask, (fleck_runs_wanted){ 1, 5 }, (fleck_runs_wanted){ 0, 0 });
    const struct watch four = label(&mask, (fleck_runs_wanted){ 1, 4 }, (fleck_runs_wanted){ 0, 0 });
    const struct watch seven =
        label(&mask, (fleck_runs_wanted){ 1, 7 }, (fleck_runs_wanted){ 0, 0 });

    (void)state;
    assert_int_equal(seven.with_runs, 3);
    assert_int_equal(five.with_runs, 2);
    assert_int_equal(four.with_runs, 1);
    mask_free(&mask);
}

struct ink_only {
    struct components flood; /* of ink */
    size_t next;
    uint64_t area_px, first_sum;
};

static fleck_status take_ink(void *context, fleck_phase phase, const fleck_component *component,
                             fleck_error *err)
{
    struct ink_only *const ink = context;

    (void)err;
    assert_int_equal(phase, FLECK_PHASE_INK);
    ink->next++;
    ink->area_px += component->area_px;
    ink->first_sum += component->area_px * (component->first_x_px + 7919 * component->first_y_px);
    return FLECK_OK;
}

static void test_ink_is_the_same_when_bare_paper_is_left_out(void **state)
{
    uint64_t seed = 17;

    (void)state;
    for (int i = 0; i < 30; i++) {
        struct mask mask = mask_speckle(100, 80, 4, 0.03 * i, &seed);
        struct ink_only ink = { .flood = mask_flood(&mask, FLECK_PHASE_INK) };
        fleck_run *const runs = malloc((mask.width_px / 2 + 1) * sizeof *runs);
        fleck_labeller *labeller;
        uint64_t area_px = 0, first_sum = 0;

        assert_non_null(runs);
        assert_int_equal(fleck_labeller_new(mask.width_px, mask.height_px, NULL, take_ink, &ink,
                                            &labeller, NULL),
                         FLECK_OK);
        assert_int_equal(fleck_labeller_leave_out_bare(labeller, NULL), FLECK_OK);
        for (size_t y = 0; y < mask.height_px; y++)
            assert_int_equal(
                fleck_labeller_row(labeller, runs, mask_runs(&mask, y, runs), NULL), FLECK_OK);
        assert_int_equal(fleck_labeller_finish(labeller, NULL), FLECK_OK);
        for (size_t c = 0; c < ink.flood.count; c++) {
            const fleck_component *const one = &ink.flood.items[c];

            area_px += one->area_px;
            first_sum += one->area_px * (one->first_x_px + 7919 * one->first_y_px);
        }
        assert_int_equal(ink.next, ink.flood.count);
        assert_int_equal(ink.area_px, area_px);
        assert_int_equal(ink.first_sum, first_sum);
        fleck_labeller_free(labeller);
        components_free(&ink.flood);
        mask_free(&mask);
        free(runs);
    }
}

static void test_runs_cannot_be_asked_for_once_rows_have_come(void **state)
{
    static const fleck_runs_wanted all = { 1, 10 };
    struct watch watch = { 0 };
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_labeller_new(4, 2, NULL, look, &watch, &watch.labeller, &err), FLECK_OK);
    assert_int_equal(fleck_labeller_row(watch.labeller, NULL, 0, &err), FLECK_OK);
    assert_int_equal(fleck_labeller_keep_runs(watch.labeller, FLECK_PHASE_INK, &all, &err),
                     FLECK_BAD_CALL);
    assert_int_equal(fleck_labeller_leave_out_bare(watch.labeller, &err), FLECK_BAD_CALL);
    fleck_labeller_free(watch.labeller);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_runs_handed_over_are_those_of_the_component),
        cmocka_unit_test(test_small_components_and_unwanted_phases_have_no_runs),
        cmocka_unit_test(test_a_component_with_too_many_runs_loses_them_whether_it_grows_or_joins),
        cmocka_unit_test(test_ink_is_the_same_when_bare_paper_is_left_out),
        cmocka_unit_test(test_runs_cannot_be_asked_for_once_rows_have_come),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
