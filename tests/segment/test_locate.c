/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Patches are found where they were drawn: number, order, place and tilt. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "segment/sheet.h"
#include "support/check.h"

static void locate(const fleck_locate_options *options, fleck_layout *layout)
{
    fleck_error err = { 0 };

    if (fleck_locate(sheet_scratch(".png"), options, layout, &err) != FLECK_OK)
        fail_msg("%s", err.message);
}

/* Coverage from 10 to 100 %, uneven light, writing and crosses beside. */
static void all_patches_of_a_sheet_are_found_in_order_at_any_tilt(void **state)
{
    static const double tilts[] = { 0, 2, -2, 5, -5 }, coverages[] = { 0.1, 0.3, 0.6, 1, 0.2 };
    static const size_t rows[] = { 2, 3, 2, 6, 2 };
    const fleck_locate_options options = fleck_locate_options_default();

    (void)state;
    for (size_t i = 0; i < sizeof tilts / sizeof *tilts; i++) {
        test_sheet sheet;
        sheet_place places[24];
        fleck_layout layout;
        char words[64], last[8];
        const double height_mm = 36 + 34 * (double)rows[i];
        const size_t count = 4 * rows[i];

        sheet_init(&sheet, 190, height_mm, 150);
        sheet.seed = 10 + i;
        sheet_grid(&sheet, rows[i], 4, 26, 34, tilts[i], coverages, 5, places);
        sheet_scribble(&sheet, 10, height_mm - 8, 60, 3.5);
        sheet_cross(&sheet, 6, 6);
        sheet_cross(&sheet, 184, height_mm - 6);
        sheet_write(&sheet, i % 2 == 0 ? 0 : 0.4, 0.012, i % 2 == 0, sheet_scratch(".png"));
        sheet_clear(&sheet);
        snprintf(words, sizeof words, "%zu patches at %g degrees", count, tilts[i]);
        snprintf(last, sizeof last, "%zu", count);
        locate(&options, &layout);
        sheet_check(words, &layout, places, count);
        assert_string_equal(layout.patches[0].id, "1");
        assert_string_equal(layout.patches[count - 1].id, last);
        for (size_t k = 0; k < layout.count; k++)
            assert_int_equal(layout.patches[k].doubts, 0);
        fleck_layout_clear(&layout);
    }
}

static void few_patches_each_with_a_tilt_of_its_own(void **state)
{
    static const struct {
        const char *words;
        size_t count;
        double coverage;
        sheet_place places[2];
    } cases[] = {
        { "one of 30 %", 1, 0.3, { { 30, 25, 30, 25, 1.5 } } },
        { "one of 10 %", 1, 0.1, { { 30, 25, 42, 36, -4 } } },
        { "one solid, a third of the scan", 1, 1, { { 30, 25, 30, 25, 3 } } },
        { "two of 60 %", 2, 0.6, { { 18, 25, 20, 25, -3 }, { 44, 25, 18, 25, 3 } } },
        { "two small solid ones", 2, 1, { { 18, 25, 8, 8, 0 }, { 44, 25, 8, 6, 0 } } },
    };
    const fleck_locate_options options = fleck_locate_options_default();

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        test_sheet sheet;
        fleck_layout layout;

        sheet_init(&sheet, 60, 50, 200);
        for (size_t k = 0; k < cases[i].count; k++)
            sheet_patch(&sheet, &cases[i].places[k], SHEET_BOX, cases[i].coverage, 0.3);
        sheet_write(&sheet, 0.2, 0.012, false, sheet_scratch(".png"));
        sheet_clear(&sheet);
        locate(&options, &layout);
        sheet_check(cases[i].words, &layout, cases[i].places, cases[i].count);
        fleck_layout_clear(&layout);
    }
}

/* Sides of 48 cells: a degree moves their ends by less than a cell. */
static void small_patches_keep_tilts_of_their_own(void **state)
{
    static const double tilts[] = { 0.77, -1.25, 2.4,  -0.4, 1.57, -2.6,
                                    0.5,  1.34,  -1.8, 2.9,  -0.9, 0.1 };
    const fleck_locate_options options = fleck_locate_options_default();
    test_sheet sheet;
    fleck_layout layout;
    double squares = 0;

    (void)state;
    sheet_init(&sheet, 88, 68, 200);
    for (size_t i = 0; i < 12; i++) {
        const sheet_place place = { 14 + 20 * (double)(i % 4), 14 + 20 * (double)(i / 4), 12, 12,
                                    tilts[i] };

        sheet_patch(&sheet, &place, SHEET_BOX, i % 2 == 0 ? 1 : 0.5, 0.35);
    }
    sheet_write(&sheet, 0.2, 0.012, false, sheet_scratch(".png"));
    sheet_clear(&sheet);
    locate(&options, &layout);
    assert_int_equal(layout.count, 12);
    for (size_t i = 0; i < 12; i++) {
        const double off = layout.patches[i].tilt_deg - tilts[i];

        check_near("tilt", off, 0, 0.7);
        squares += off * off;
    }
    check_near("root mean square of what tilts are off by", sqrt(squares / 12), 0, 0.3);
    fleck_layout_clear(&layout);
}

static void pale_and_light_inks_are_found(void **state)
{
    static const struct {
        const char *words;
        float paper[3], ink[3];
        fleck_ink kind;
    } cases[] = {
        { "yellow on cream", { 0.85f, 0.8f, 0.65f }, { 0.83f, 0.75f, 0.3f }, FLECK_INK_DARK },
        { "grey, a seventh darker than the paper",
          { 0.8f, 0.8f, 0.8f },
          { 0.68f, 0.68f, 0.68f },
          FLECK_INK_DARK },
        { "white on black", { 0.05f, 0.05f, 0.06f }, { 0.6f, 0.6f, 0.5f }, FLECK_INK_LIGHT },
    };
    static const double coverages[] = { 0.15, 0.4, 1 };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_locate_options options = fleck_locate_options_default();
        test_sheet sheet;
        sheet_place places[6];
        fleck_layout layout;

        sheet_init(&sheet, 120, 90, 150);
        sheet_set_paper(&sheet, cases[i].paper, cases[i].ink);
        sheet_grid(&sheet, 2, 3, 25, 34, 2, coverages, 3, places);
        sheet_write(&sheet, 0.2, 0.008, false, sheet_scratch(".png"));
        sheet_clear(&sheet);
        options.ink = cases[i].kind;
        locate(&options, &layout);
        sheet_check(cases[i].words, &layout, places, 6);
        fleck_layout_clear(&layout);
    }
}

static void a_finer_scan_gives_the_same_places(void **state)
{
    static const double ppi[] = { 100, 300 }, coverages[] = { 0.5 };
    const fleck_locate_options options = fleck_locate_options_default();

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        test_sheet sheet;
        sheet_place places[4];
        fleck_layout layout;

        sheet_init(&sheet, 70, 70, ppi[i]);
        sheet_grid(&sheet, 2, 2, 20, 30, 1, coverages, 1, places);
        sheet_write(&sheet, 0, 0.01, true, sheet_scratch(".png"));
        sheet_clear(&sheet);
        locate(&options, &layout);
        sheet_check(i == 0 ? "100 ppi" : "300 ppi", &layout, places, 4);
        fleck_layout_clear(&layout);
    }
}

static void a_grid_names_patches_by_cell_and_tells_of_empty_ones(void **state)
{
    static const double coverages[] = { 0.5, 0.3, 0.6, 0, 1, 0.2 }; /* r2c1 is empty */
    fleck_locate_options options = fleck_locate_options_default();
    test_sheet sheet;
    sheet_place places[6];
    fleck_layout layout;

    (void)state;
    options.grid_rows = 2;
    options.grid_columns = 3;
    sheet_init(&sheet, 120, 90, 150);
    sheet_grid(&sheet, 2, 3, 22, 34, 4, coverages, 6, places);
    sheet_write(&sheet, 0, 0.01, true, sheet_scratch(".png"));
    sheet_clear(&sheet);
    locate(&options, &layout);
    assert_int_equal(layout.count, 5);
    assert_string_equal(layout.patches[2].id, "r1c3");
    assert_string_equal(layout.patches[3].id, "r2c2");
    assert_string_equal(layout.patches[4].id, "r2c3");
    assert_int_equal(layout.warnings.count, 1);
    assert_string_equal(layout.warnings.items[0].code, "empty-cell");
    assert_non_null(strstr(layout.warnings.items[0].message, "r2c1"));
    fleck_layout_clear(&layout);

    options.grid_rows = 3; /* which row is missing cannot be known */
    locate(&options, &layout);
    assert_true(fleck_warnings_has(&layout.warnings, "grid-differs"));
    fleck_layout_clear(&layout);

    options.grid_rows = 1; /* more rows than the grid has */
    locate(&options, &layout);
    assert_true(fleck_warnings_has(&layout.warnings, "grid-differs"));
    assert_int_equal(layout.count, 5);
    assert_int_equal(layout.patches[4].doubts, FLECK_DOUBT_OFF_GRID);
    fleck_layout_clear(&layout);
}

static void an_empty_row_between_full_ones_is_counted(void **state)
{
    static const double coverages[] = { 0.5, 0.5, 0.5, 0.5, 0, 0, 0.5, 0.5 };
    fleck_locate_options options = fleck_locate_options_default();
    test_sheet sheet;
    sheet_place places[8];
    fleck_layout layout;

    (void)state;
    options.grid_rows = 4;
    options.grid_columns = 2;
    sheet_init(&sheet, 50, 80, 150);
    sheet_grid(&sheet, 4, 2, 10, 18, -3, coverages, 8, places);
    sheet_write(&sheet, 0, 0.01, true, sheet_scratch(".png"));
    sheet_clear(&sheet);
    locate(&options, &layout);
    assert_int_equal(layout.count, 6);
    assert_string_equal(layout.patches[4].id, "r4c1");
    assert_false(fleck_warnings_has(&layout.warnings, "grid-differs"));
    fleck_layout_clear(&layout);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(all_patches_of_a_sheet_are_found_in_order_at_any_tilt),
        cmocka_unit_test(few_patches_each_with_a_tilt_of_its_own),
        cmocka_unit_test(small_patches_keep_tilts_of_their_own),
        cmocka_unit_test(pale_and_light_inks_are_found),
        cmocka_unit_test(a_finer_scan_gives_the_same_places),
        cmocka_unit_test(a_grid_names_patches_by_cell_and_tells_of_empty_ones),
        cmocka_unit_test(an_empty_row_between_full_ones_is_counted),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
