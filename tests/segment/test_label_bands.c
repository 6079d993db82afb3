/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Regions labelled in bands that are joined, against a flood fill of the whole. */
#include "fleck/segment.h"

#include <stdlib.h>
#include <string.h>

#include "segment/mask.h"
#include "support/check.h"

enum { MOST_BANDS = 9 };

struct taken {
    fleck_labeller *labeller; /* that is at work */
    struct components of[2];
    bool has_runs, wants_bare;
};

static fleck_status take(void *context, fleck_phase phase, const fleck_component *component,
                         fleck_error *err)
{
    struct taken *const taken = context;
    struct components *const into = &taken->of[phase];
    size_t count;
    const fleck_blob_run *const runs = fleck_labeller_get_runs(taken->labeller, &count);
    uint64_t area_px = 0;

    (void)err;
    for (size_t i = 0; i < count; i++) {
        area_px += runs[i].end_px - runs[i].start_px;
        assert_true(i == 0 || runs[i - 1].y_px < runs[i].y_px ||
                    (runs[i - 1].y_px == runs[i].y_px && runs[i - 1].end_px < runs[i].start_px));
    }
    assert_int_equal(area_px, taken->has_runs ? component->area_px : 0);
    assert_true(phase == FLECK_PHASE_INK || taken->wants_bare);
    into->items = realloc(into->items, (into->count + 1) * sizeof *into->items);
    assert_non_null(into->items);
    into->items[into->count++] = *component;
    return FLECK_OK;
}

static fleck_labeller *band(const struct mask *mask, struct taken *taken, size_t first_y,
                            size_t end_y)
{
    static const fleck_runs_wanted all = { 0, SIZE_MAX };
    fleck_run *const runs = malloc((mask->width_px + 1) / 2 * sizeof *runs);
    fleck_labeller *labeller;

    assert_non_null(runs);
    assert_int_equal(
        fleck_labeller_new(mask->width_px, mask->height_px, NULL, take, taken, &labeller, NULL),
        FLECK_OK);
    for (int phase = 0; taken->has_runs && phase < 2; phase++)
        assert_int_equal(fleck_labeller_keep_runs(labeller, (fleck_phase)phase, &all, NULL),
                         FLECK_OK);
    if (!taken->wants_bare)
        assert_int_equal(fleck_labeller_leave_out_bare(labeller, NULL), FLECK_OK);
    assert_int_equal(fleck_labeller_start_at(labeller, first_y, NULL), FLECK_OK);
    taken->labeller = labeller;
    for (size_t y = first_y; y < end_y; y++)
        assert_int_equal(fleck_labeller_row(labeller, runs, mask_runs(mask, y, runs), NULL),
                         FLECK_OK);
    free(runs);
    return labeller;
}

/* Join neighbours, seam after seam in a random order, until one is left, and finish that. */
static void join_all(fleck_labeller **labellers, size_t count, struct taken *taken, uint64_t *seed)
{
    fleck_error err;

    for (; count > 1; count--) {
        const size_t upper = test_random(seed) % (count - 1);

        taken->labeller = labellers[upper];
        assert_int_equal(fleck_labeller_join(labellers[upper], labellers[upper + 1], &err),
                         FLECK_OK);
        fleck_labeller_free(labellers[upper + 1]);
        memmove(labellers + upper + 1, labellers + upper + 2,
                (count - upper - 2) * sizeof *labellers);
    }
    taken->labeller = labellers[0];
    assert_int_equal(fleck_labeller_finish(labellers[0], &err), FLECK_OK);
    fleck_labeller_free(labellers[0]);
}

static void check_bands(const struct mask *mask, bool has_runs, bool wants_bare, uint64_t *seed)
{
    fleck_labeller *labellers[MOST_BANDS];
    struct taken taken = { .has_runs = has_runs, .wants_bare = wants_bare };
    const size_t most = mask->height_px < MOST_BANDS ? mask->height_px : MOST_BANDS;
    size_t first_y = 0, count = 0;

    while (first_y < mask->height_px) {
        size_t end_y = first_y + 1 + test_random(seed) % (2 * mask->height_px / most);

        if (count == MOST_BANDS - 1 || end_y > mask->height_px)
            end_y = mask->height_px;
        labellers[count++] = band(mask, &taken, first_y, end_y);
        first_y = end_y;
    }
    join_all(labellers, count, &taken, seed);
    for (int phase = 0; phase < (wants_bare ? 2 : 1); phase++) {
        struct components twin = mask_flood(mask, (fleck_phase)phase);

        components_sort(&taken.of[phase]);
        components_check("bands", &taken.of[phase], &twin);
        components_free(&twin);
        components_free(&taken.of[phase]);
    }
}

static void test_components_of_joined_bands_are_those_of_a_flood_fill(void **state)
{
    uint64_t seed = 23;

    (void)state;
    for (unsigned i = 0; i < 200; i++) {
        const size_t width = 1 + test_random(&seed) % 90, height = 1 + test_random(&seed) % 60;
        struct mask mask = i % 2 == 0 ? mask_random(width, height, 0.1 * (i % 11), &seed)
                                      : mask_speckle(width, height, 3, 0.005 * i, &seed);

        check_bands(&mask, i % 3 == 0, i % 5 != 0, &seed);
        mask_free(&mask);
    }
}

static void test_components_that_wind_through_many_bands_are_one(void **state)
{
    /* a spiral, a comb and a frame: joined only far from where they are cut */
    static const char *const pictures[] = {
        "######### ........# #######.# #.....#.# #.###.#.# #.#...#.# #.#####.# #.......# #########",
        "#.#.#.#.# #.#.#.#.# #.#.#.#.# #.#.#.#.# #.#.#.#.# #.#.#.#.# #########",
        "######### #.......# #.#####.# #.#...#.# #.#.#.#.# #.#...#.# #.#####.# #.......# #########",
    };
    uint64_t seed = 3;

    (void)state;
    for (unsigned i = 0; i < 60; i++) {
        struct mask mask = mask_from_text(pictures[i % 3]);
        struct mask turned = mask_turned(&mask);

        check_bands(&mask, i % 2 == 0, true, &seed);
        check_bands(&turned, i % 2 == 0, true, &seed);
        mask_free(&mask);
        mask_free(&turned);
    }
}

static void test_what_cannot_be_joined_is_refused(void **state)
{
    struct mask mask = mask_from_text("#.# .#. #.# ### ...");
    struct taken taken = { .wants_bare = true };
    fleck_labeller *const top = band(&mask, &taken, 0, 2), *const middle =
                                                               band(&mask, &taken, 2, 3);
    fleck_labeller *const low = band(&mask, &taken, 3, 5);
    fleck_labeller *other;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_labeller_join(top, low, &err), FLECK_BAD_CALL);
    assert_non_null(strstr(err.message, "begins at row 3"));
    assert_int_equal(fleck_labeller_join(middle, top, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_labeller_join(top, top, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_labeller_start_at(top, 1, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_labeller_finish(low, &err), FLECK_BAD_CALL);
    assert_non_null(strstr(err.message, "join it"));
    taken.has_runs = true;
    other = band(&mask, &taken, 2, 4);
    assert_int_equal(fleck_labeller_join(top, other, &err), FLECK_BAD_CALL);
    assert_non_null(strstr(err.message, "start them alike"));
    fleck_labeller_free(other);
    assert_int_equal(fleck_labeller_new(3, 5, NULL, take, &taken, &other, &err), FLECK_OK);
    assert_int_equal(fleck_labeller_start_at(other, 5, &err), FLECK_BAD_CALL);
    fleck_labeller_free(other);
    /* a band that was joined is at its end */
    assert_int_equal(fleck_labeller_join(middle, low, &err), FLECK_OK);
    assert_int_equal(fleck_labeller_join(middle, low, &err), FLECK_BAD_CALL);
    fleck_labeller_free(top);
    fleck_labeller_free(middle);
    fleck_labeller_free(low);
    components_free(&taken.of[0]);
    components_free(&taken.of[1]);
    mask_free(&mask);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_components_of_joined_bands_are_those_of_a_flood_fill),
        cmocka_unit_test(test_components_that_wind_through_many_bands_are_one),
        cmocka_unit_test(test_what_cannot_be_joined_is_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
