/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Labelling inside areas of any shape, against a flood fill that knows the area. */
#include "fleck/segment.h"

#include <stdlib.h>

#include "segment/area_shapes.h"
#include "support/check.h"

/* Ink inside, 2 outside: a picture of both for the flood fill. */
static struct mask joined(const struct mask *ink, const struct mask *area)
{
    struct mask picture = area_clipped(ink, area);

    for (size_t i = 0; i < ink->width_px * ink->height_px; i++)
        picture.ink[i] = area->ink[i] ? picture.ink[i] : 2;
    return picture;
}

static void test_components_inside_any_area_are_those_of_a_flood_fill(void **state)
{
    static const size_t widths[] = { 1, 2, 31, 63, 64, 65, 110 };
    uint64_t random = 17;

    (void)state;
    for (size_t trial = 0; trial < AREA_KINDS * 21; trial++) {
        const enum area_kind kind = (enum area_kind)(trial % AREA_KINDS);
        const size_t width = widths[trial / AREA_KINDS % 7], height = 1 + test_random(&random) % 60;
        const double coverage = test_uniform(&random);
        struct mask area = area_make(kind, width, height, &random);
        struct mask ink = trial % 2 == 0 ? mask_random(width, height, coverage, &random)
                                         : mask_speckle(width, height, 2, coverage * 0.6, &random);
        struct mask picture = joined(&ink, &area), clipped = area_clipped(&ink, &area);
        fleck_mask *mask = area_mask(&area);
        struct components found[2], twin;

        mask_label_in(&clipped, mask, found);
        for (int phase = 0; phase < 2; phase++) {
            twin = mask_flood(&picture, (fleck_phase)phase);
            components_check(area_names[kind], &found[phase], &twin);
            components_free(&twin);
            components_free(&found[phase]);
        }
        fleck_mask_free(mask);
        mask_free(&area);
        mask_free(&ink);
        mask_free(&picture);
        mask_free(&clipped);
    }
}

static void test_an_area_without_outside_changes_nothing(void **state)
{
    uint64_t random = 4;

    (void)state;
    for (int trial = 0; trial < 20; trial++) {
        struct mask ink = mask_random(70, 40, 0.05 * trial, &random);
        struct mask area = area_make(AREA_FULL, 70, 40, &random);
        fleck_mask *mask = area_mask(&area);
        struct components found[2], plain[2];

        mask_label_in(&ink, mask, found);
        mask_label(&ink, plain);
        for (int phase = 0; phase < 2; phase++) {
            components_check("full", &found[phase], &plain[phase]);
            components_free(&found[phase]);
            components_free(&plain[phase]);
        }
        fleck_mask_free(mask);
        mask_free(&area);
        mask_free(&ink);
    }
}

static fleck_status take(void *context, fleck_phase phase, const fleck_component *one,
                         fleck_error *err)
{
    (void)context;
    (void)phase;
    (void)one;
    (void)err;
    return FLECK_OK;
}

static void test_ink_outside_the_mask_and_masks_of_another_size_are_refused(void **state)
{
    static const fleck_run outside[] = { { 0, 2 } }, across[] = { { 2, 5 } },
                           inside[] = { { 3, 4 } };
    struct mask area = mask_from_text("...### ###...");
    fleck_mask *mask = area_mask(&area);
    fleck_labeller *labeller;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_labeller_new(6, 3, mask, take, NULL, &labeller, &err), FLECK_BAD_CALL);
    assert_null(labeller);
    assert_int_equal(fleck_labeller_new(5, 2, mask, take, NULL, &labeller, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_labeller_new(6, 2, mask, take, NULL, &labeller, &err), FLECK_OK);
    assert_int_equal(fleck_labeller_row(labeller, outside, 1, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_labeller_row(labeller, across, 1, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_labeller_row(labeller, inside, 1, &err), FLECK_OK);
    assert_int_equal(fleck_labeller_row(labeller, outside, 1, &err), FLECK_OK);
    assert_int_equal(fleck_labeller_finish(labeller, &err), FLECK_OK);
    fleck_labeller_free(labeller);
    fleck_mask_free(mask);
    mask_free(&area);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_components_inside_any_area_are_those_of_a_flood_fill),
        cmocka_unit_test(test_an_area_without_outside_changes_nothing),
        cmocka_unit_test(test_ink_outside_the_mask_and_masks_of_another_size_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
