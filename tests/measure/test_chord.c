/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/texture.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "segment/heather.h"
#include "segment/mask.h"
#include "support/check.h"

static fleck_chord_counts count(const struct mask *mask)
{
    const size_t room = (mask->width_px + 1) / 2;
    fleck_run *runs = malloc(room * sizeof *runs), *above = malloc(room * sizeof *above);
    fleck_chord_counts counts = { 0 };
    size_t above_count = 0;

    assert_non_null(runs);
    assert_non_null(above);
    for (size_t y = 0; y < mask->height_px; y++) {
        const size_t n = mask_runs(mask, y, runs);
        fleck_run *const swapped = above;

        fleck_chord_counts_add_row(&counts, mask->width_px, NULL, y, runs, n, y == 0 ? NULL : above,
                                   above_count);
        above = runs;
        above_count = n;
        runs = swapped;
    }
    free(runs);
    free(above);
    return counts;
}

/* The slow twin: every pixel with its right and its lower neighbour. */
static fleck_chord_counts slow_count(const struct mask *mask)
{
    const size_t w = mask->width_px;
    fleck_chord_counts counts = { 0 };

    for (size_t y = 0; y < mask->height_px; y++) {
        for (size_t x = 0; x < w; x++) {
            const uint8_t *const at = mask->ink + y * w + x;

            counts.ink_px += at[0];
            counts.bare_px += !at[0];
            if (x + 1 < w)
                counts.changes_in_rows += at[0] != at[1];
            if (y + 1 < mask->height_px)
                counts.changes_in_columns += at[0] != at[w];
        }
    }
    return counts;
}

static void test_chords_are_those_worked_by_hand(void **state)
{
    static const struct {
        const char *source, *picture;
        double ink_mm, bare_mm;
    } cases[] = {
        /* pixels of 0.1 x 0.2 mm: a pixel adds 0.3 mm of length */
        { "one dot: 1 px, 2 + 2 changes, 2 chords", "... .#. ...", 0.3 / 2.0, 8 * 0.3 / 2.0 },
        { "a dot in a corner is half a chord each way", "#. ..", 0.3 / 1.0, 3 * 0.3 / 1.0 },
        { "a bar across the rows: their chords count nothing", "... ### ...", 3 * 0.3 / 3.0,
          6 * 0.3 / 3.0 },
        { "a chessboard of 3 x 3: 6 + 6 changes", "#.# .#. #.#", 5 * 0.3 / 6.0, 4 * 0.3 / 6.0 },
        { "one column of pixels: one change", "# . .", 0.3 / 0.5, 2 * 0.3 / 0.5 },
        { "no change in ink", "## ##", NAN, NAN },
        { "no change in paper", ".. ..", NAN, NAN },
        { "one pixel", "#", NAN, NAN },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct mask mask = mask_from_text(cases[i].picture);
        const fleck_geometry geometry = { mask.width_px, mask.height_px, 0.1, 0.2 };
        const fleck_chord_counts counts = count(&mask);

        check_near(cases[i].source, fleck_mean_chord_mm(&counts, FLECK_PHASE_INK, &geometry),
                   cases[i].ink_mm, 1e-15);
        check_near(cases[i].source, fleck_mean_chord_mm(&counts, FLECK_PHASE_BARE, &geometry),
                   cases[i].bare_mm, 1e-15);
        mask_free(&mask);
    }
}

static void test_heather_has_the_changes_and_chords_numpy_counts(void **state)
{
    (void)state;
    for (size_t i = 0; i < HEATHER_IMAGES; i++) {
        const struct heather *const image = &heather_images[i];
        struct mask mask = heather_read(image);
        const fleck_geometry geometry = { image->width_px, image->height_px, 1.0, 1.0 };
        const fleck_chord_counts counts = count(&mask);

        assert_int_equal(counts.ink_px, image->ink_px);
        assert_int_equal(counts.bare_px, image->width_px * image->height_px - image->ink_px);
        assert_int_equal(counts.changes_in_rows, image->changes_in_rows);
        assert_int_equal(counts.changes_in_columns, image->changes_in_columns);
        check_ratio(image->name, fleck_mean_chord_mm(&counts, FLECK_PHASE_INK, &geometry),
                    image->mean_chord_ink_px, 1e-14);
        check_ratio(image->name, fleck_mean_chord_mm(&counts, FLECK_PHASE_BARE, &geometry),
                    image->mean_chord_bare_px, 1e-14);
        mask_free(&mask);
    }
}

static void test_counts_of_any_mask_agree_with_the_slow_twin(void **state)
{
    static const double coverages[] = { 0.0, 0.03, 0.35, 0.5, 0.97, 1.0 };
    static const size_t widths[] = { 1, 2, 3, 63, 64, 65, 120 };
    uint64_t random = 12;

    (void)state;
    for (size_t trial = 0; trial < 420; trial++) {
        struct mask mask = mask_random(widths[trial / 6 % 7], 1 + test_random(&random) % 40,
                                       coverages[trial % 6], &random);
        const fleck_chord_counts counts = count(&mask), twin = slow_count(&mask);

        assert_memory_equal(&counts, &twin, sizeof counts);
        mask_free(&mask);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_chords_are_those_worked_by_hand),
        cmocka_unit_test(test_heather_has_the_changes_and_chords_numpy_counts),
        cmocka_unit_test(test_counts_of_any_mask_agree_with_the_slow_twin),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
