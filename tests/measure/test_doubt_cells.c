/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "disc_picture.h"
#include "measure/doubt_rim.h"
#include "measure/doubt_wander.h"
#include "support/check.h"

/* Random ink in boxes of 8 x 4 pixels of 0.025 mm: a patch whose coverage is even. */
struct patch {
    size_t side_mm;
    double coverage;
    double rim_mm, rim_coverage; /* within so much of the border */
    double tone, rim_tone;       /* of ink */
    double slope;                /* of ink tone over the patch's width */
    double noise;                /* of a box's tone */
};

struct found {
    fleck_doubt_rim rim;
    fleck_doubt_wander wander;
};

static struct found measure(const struct patch *patch, bool light_ink, uint64_t random)
{
    const size_t side_px = patch->side_mm * 40;
    const fleck_geometry geometry = { side_px, side_px, 0.025, 0.025 };
    uint16_t *q = malloc(side_px * sizeof *q);
    fleck_run *runs = malloc((side_px / 2 + 1) * sizeof *runs);
    fleck_ink_cells cells;
    fleck_doubt_rim_sums rim;
    fleck_doubt_wander_sums wander;
    struct found found;
    double ink = patch->tone, bare = 0.8;

    assert_true(fleck_ink_cells_begin(&cells, &geometry));
    assert_true(fleck_doubt_rim_begin(&rim, &cells));
    assert_true(fleck_doubt_wander_begin(&wander, &cells));
    for (size_t y = 0; y < side_px; y++) {
        if (y % 4 == 0) {
            for (size_t x = 0; x < side_px; x++) {
                const double at_x = (double)(x + 4) * 0.025, at_y = (double)(y + 2) * 0.025;
                const double side = (double)patch->side_mm;
                const double from_edge = fmin(fmin(at_x, side - at_x), fmin(at_y, side - at_y));
                const bool rimmed = from_edge < patch->rim_mm;
                double tone = bare;

                if (x % 8 != 0) {
                    q[x] = q[x - 1];
                    continue;
                }
                if (test_uniform(&random) < (rimmed ? patch->rim_coverage : patch->coverage))
                    tone = (rimmed ? patch->rim_tone : patch->tone) +
                           patch->slope * (at_x / side - 0.5) + patch->noise * test_normal(&random);
                q[x] = (uint16_t)(65535 * (light_ink ? 1 - tone : tone) + 0.5);
            }
        }
        if (fleck_ink_cells_add(&cells, q, runs,
                                fleck_runs_from_row(q, side_px, 32767,
                                                    light_ink ? FLECK_INK_LIGHT : FLECK_INK_DARK,
                                                    runs))) {
            fleck_doubt_rim_add(&rim, &cells);
            fleck_doubt_wander_add(&wander, &cells);
        }
    }
    if (light_ink) {
        ink = 1 - ink;
        bare = 1 - bare;
    }
    found.rim = fleck_doubt_rim_finish(&rim, &cells, ink, bare);
    found.wander = fleck_doubt_wander_finish(&wander, ink, bare);
    fleck_doubt_wander_end(&wander);
    fleck_doubt_rim_end(&rim);
    fleck_ink_cells_end(&cells);
    free(q);
    free(runs);
    return found;
}

static const struct patch even = { 12, 0.3, 0, 0, 0.1, 0.1, 0, 0.02 };

static void an_even_patch_raises_no_doubt(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 20; seed++) {
        const struct found found = measure(&even, seed % 2 == 0, seed);

        assert_true(isfinite(found.rim.coverage.statistic));
        assert_true(isfinite(found.wander.doubt.statistic));
        assert_false(found.rim.coverage.exceeded);
        assert_false(found.rim.tone.exceeded);
        assert_false(found.rim.bare.exceeded);
        assert_false(found.wander.doubt.exceeded);
    }
}

static void paper_beside_the_print_is_a_bare_rim(void **state)
{
    struct patch patch = even;
    fleck_doubt_rim rim;

    (void)state;
    for (uint64_t seed = 1; seed <= 10; seed++) {
        patch.rim_mm = seed % 2 == 0 ? 1 : 0.8;
        patch.rim_coverage = 0;
        rim = measure(&patch, false, seed).rim;
        check_near("by how it was drawn, in boxes of 0.1 and 0.2 mm", rim.bare.statistic, patch.rim_mm, 0.15);
        assert_true(rim.bare.exceeded);
        assert_false(rim.coverage.exceeded);
    }
    /* less ink is no bare paper */
    patch.rim_mm = 1;
    patch.rim_coverage = 0.2;
    assert_false(measure(&patch, false, 1).rim.bare.exceeded);
}

static void more_ink_at_the_edge_is_a_rim(void **state)
{
    struct patch patch = even;
    struct found found;

    (void)state;
    patch.rim_mm = 1;
    patch.rim_coverage = 0.45;
    found = measure(&patch, false, 1);
    check_near("by how it was drawn: 0.45 / 0.3 - 1", found.rim.coverage.statistic, 0.5, 0.08);
    assert_true(found.rim.coverage.exceeded);
    assert_false(found.rim.tone.exceeded);
    assert_false(found.wander.doubt.exceeded);
    patch.rim_coverage = 0.15; /* less ink is none */
    assert_false(measure(&patch, false, 1).rim.coverage.exceeded);
}

static void stronger_ink_at_the_edge_is_a_rim_for_dark_and_light_ink(void **state)
{
    struct patch patch = even;

    (void)state;
    patch.rim_mm = 1;
    patch.rim_coverage = patch.coverage;
    patch.rim_tone = 0.03;
    for (int light = 0; light < 2; light++) {
        const struct found found = measure(&patch, light, 2);

        check_near("by how it was drawn: 0.07 / 0.7", found.rim.tone.statistic, 0.1, 0.01);
        assert_true(found.rim.tone.exceeded);
        assert_false(found.rim.coverage.exceeded);
        assert_false(found.wander.doubt.exceeded);
    }
    patch.rim_tone = 0.17; /* weaker ink is none */
    assert_false(measure(&patch, false, 2).rim.tone.exceeded);
}

/* Stripes that are the same in every cell, so that the lines inside do not scatter at all. */
static fleck_doubt_rim measure_stripes(size_t dark_rows, size_t dark_columns)
{
    const fleck_geometry geometry = { 400, 400, 0.025, 0.025 };
    fleck_ink_cells cells;
    fleck_doubt_rim_sums sums;
    fleck_doubt_rim rim;
    uint16_t q[400] = { 0 };

    assert_true(fleck_ink_cells_begin(&cells, &geometry));
    assert_true(fleck_doubt_rim_begin(&sums, &cells));
    for (size_t y = 0; y < 400; y++) {
        fleck_run runs[40];

        for (uint32_t i = 0; i < 40; i++) {
            const bool dark = y < dark_rows || y >= 400 - dark_columns || i * 10 < dark_columns ||
                              i * 10 >= 400 - dark_columns;

            runs[i] = (fleck_run){ i * 10, i * 10 + (dark ? 9 : 5) };
        }
        if (fleck_ink_cells_add(&cells, q, runs, 40))
            fleck_doubt_rim_add(&sums, &cells);
    }
    rim = fleck_doubt_rim_finish(&sums, &cells, 0.1, 0.8);
    fleck_doubt_rim_end(&sums);
    fleck_ink_cells_end(&cells);
    return rim;
}

static void ink_on_one_side_alone_is_no_rim(void **state)
{
    (void)state;
    assert_false(measure_stripes(0, 0).coverage.exceeded);
    assert_false(measure_stripes(40, 0).coverage.exceeded);
    assert_true(measure_stripes(0, 40).coverage.exceeded); /* three sides */
    assert_true(measure_stripes(40, 40).coverage.exceeded);
}

static void a_slope_of_ink_tone_is_its_range_over_the_contrast(void **state)
{
    static const struct {
        double slope;
        bool told;
    } cases[] = { { 0.02, false }, { 0.07, true }, { 0.14, true } };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct patch patch = even;
        struct found found;

        patch.side_mm = 20;
        patch.slope = cases[i].slope;
        found = measure(&patch, false, 3 + i);
        /* the outer millimetre and what differs within a field are not in it */
        check_near("by how it was drawn", found.wander.doubt.statistic, cases[i].slope / 0.7 * 0.87,
                   0.02);
        assert_int_equal(found.wander.doubt.exceeded, cases[i].told);
    }
}

static void small_patches_tell_nothing(void **state)
{
    static const struct {
        size_t side_mm;
        bool rim, wander;
    } cases[] = { { 1, false, false },
                  { 5, false, false },
                  { 6, true, false },
                  { 7, true, false },
                  { 8, true, true } };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct patch patch = even;
        struct found found;

        patch.side_mm = cases[i].side_mm;
        found = measure(&patch, false, 7);
        assert_int_equal(!isnan(found.rim.coverage.statistic), cases[i].rim);
        assert_int_equal(!isnan(found.wander.doubt.statistic), cases[i].wander);
    }
}

static void a_region_below_a_millimetre_and_a_blank_one_do_no_harm(void **state)
{
    const fleck_geometry tiny = { 1, 1, 0.04, 0.04 };
    fleck_ink_cells cells;
    fleck_doubt_rim_sums rim;
    fleck_doubt_wander_sums wander;
    struct patch blank = even;
    struct found found;
    const uint16_t q = 9;

    (void)state;
    assert_true(fleck_ink_cells_begin(&cells, &tiny));
    assert_true(fleck_doubt_rim_begin(&rim, &cells));
    assert_true(fleck_doubt_wander_begin(&wander, &cells));
    assert_false(fleck_ink_cells_add(&cells, &q, NULL, 0));
    assert_false(fleck_doubt_rim_finish(&rim, &cells, 0.1, 0.8).coverage.exceeded);
    assert_false(fleck_doubt_wander_finish(&wander, 0.1, 0.8).doubt.exceeded);
    fleck_doubt_wander_end(&wander);
    fleck_doubt_rim_end(&rim);
    fleck_ink_cells_end(&cells);
    blank.coverage = 0;
    found = measure(&blank, false, 1);
    assert_false(found.rim.coverage.exceeded || found.rim.tone.exceeded);
    assert_false(found.wander.doubt.exceeded);
}

/* A slow twin: every pixel of every looked-at row goes to its cell by division. */
static void cells_hold_the_ink_that_lies_in_them(void **state)
{
    enum { W = 103, H = 87, ACROSS = 4, DOWN = 3 };
    const fleck_geometry geometry = { W, H, 0.04, 0.04 }; /* 4.12 x 3.48 mm, a reach of 3 pixels */
    static uint16_t q[H][W];
    uint64_t ink[DOWN][ACROSS] = { { 0 } }, seen[DOWN][ACROSS] = { { 0 } };
    fleck_ink_cells cells;
    fleck_run runs[W / 2 + 1];
    uint64_t random = 6;
    size_t completed = 0;

    (void)state;
    for (size_t y = 0; y < H; y++) {
        for (size_t x = 0; x < W; x++) {
            size_t i = 0, j = 0;

            q[y][x] = test_uniform(&random) < 0.5 ? 1000 : 60000;
            while (x >= (i + 1) * W / ACROSS)
                i++;
            while (y >= (j + 1) * H / DOWN)
                j++;
            if (y % 3 == 0) {
                ink[j][i] += q[y][x] == 1000;
                seen[j][i]++;
            }
        }
    }
    assert_true(fleck_ink_cells_begin(&cells, &geometry));
    assert_int_equal(cells.across, ACROSS);
    assert_int_equal(cells.down, DOWN);
    for (size_t y = 0; y < H; y++) {
        if (!fleck_ink_cells_add(&cells, q[y], runs,
                                 fleck_runs_from_row(q[y], W, 30000, FLECK_INK_DARK, runs)))
            continue;
        for (size_t i = 0; i < ACROSS; i++) {
            assert_int_equal(cells.cells[i].ink_px, ink[completed][i]);
            assert_int_equal(fleck_ink_cell_px(&cells, i), seen[completed][i]);
            assert_int_equal(cells.cells[i].core_sum, 1000 * cells.cells[i].core_px);
        }
        completed++;
    }
    assert_int_equal(completed, DOWN);
    fleck_ink_cells_end(&cells);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_even_patch_raises_no_doubt),
        cmocka_unit_test(paper_beside_the_print_is_a_bare_rim),
        cmocka_unit_test(more_ink_at_the_edge_is_a_rim),
        cmocka_unit_test(stronger_ink_at_the_edge_is_a_rim_for_dark_and_light_ink),
        cmocka_unit_test(ink_on_one_side_alone_is_no_rim),
        cmocka_unit_test(a_slope_of_ink_tone_is_its_range_over_the_contrast),
        cmocka_unit_test(small_patches_tell_nothing),
        cmocka_unit_test(a_region_below_a_millimetre_and_a_blank_one_do_no_harm),
        cmocka_unit_test(cells_hold_the_ink_that_lies_in_them),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
