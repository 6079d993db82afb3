/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What lies beside patches is no patch, and what cannot be decided is said. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "segment/sheet.h"
#include "support/check.h"

static const fleck_located *find_left_out(const fleck_layout *layout, fleck_block_kind kind)
{
    for (size_t i = 0; i < layout->left_out_count; i++) {
        if (layout->left_out[i].kind == kind)
            return &layout->left_out[i];
    }
    return NULL;
}

/* Write the sheet, end it, and look for patches. */
static void locate(test_sheet *sheet, fleck_layout *layout)
{
    const fleck_locate_options options = fleck_locate_options_default();
    fleck_error err = { 0 };

    sheet_write(sheet, 0, 0.01, true, sheet_scratch(".png"));
    sheet_clear(sheet);
    if (fleck_locate(sheet_scratch(".png"), &options, layout, &err) != FLECK_OK)
        fail_msg("%s", err.message);
}

static void writing_crosses_lines_and_a_ruler_are_no_patches(void **state)
{
    const sheet_place places[2] = { { 35, 40, 30, 30, 0 }, { 80, 40, 30, 30, 0 } };
    test_sheet sheet;
    fleck_layout layout;

    (void)state;
    sheet_init(&sheet, 180, 80, 150);
    sheet_patch(&sheet, &places[0], SHEET_BOX, 0.1, 0.35);
    sheet_patch(&sheet, &places[1], SHEET_BOX, 1, 0.35);
    sheet_scribble(&sheet, 105, 20, 60, 3); /* three lines close together */
    sheet_scribble(&sheet, 105, 25, 60, 3);
    sheet_scribble(&sheet, 105, 30, 60, 6);
    sheet_scribble(&sheet, 22, 58, 25, 3); /* three millimetres below the sparse patch */
    sheet_cross(&sheet, 6, 6);
    sheet_line(&sheet, 10, 14, 170, 14, 0.5, 0.05f);
    sheet_ruler(&sheet, 15, 68, 150);
    locate(&sheet, &layout);
    sheet_check("two patches among other things", &layout, places, 2);
    fleck_layout_clear(&layout);
}

static void words_between_sparse_patches_do_not_tie_them(void **state)
{
    static const double coverages[] = { 0.1 };
    test_sheet sheet;
    sheet_place places[9];
    fleck_layout layout;

    (void)state;
    sheet_init(&sheet, 80, 80, 200);
    sheet_grid(&sheet, 3, 3, 16, 22, 0, coverages, 1, places);
    for (size_t i = 0; i < 9; i++)
        sheet_scribble(&sheet, places[i].x_mm - 5, places[i].y_mm + 10, 9, 2.2);
    locate(&sheet, &layout);
    sheet_check("sparse patches with words below", &layout, places, 9);
    fleck_layout_clear(&layout);
}

/* Together they are as high as a patch; an empty strip parts them into lines too low for one. */
static void lines_of_writing_or_bars_close_together_are_no_patch(void **state)
{
    static const struct {
        const char *words;
        bool bars;
        double high_mm, gap_mm;
    } cases[] = {
        { "two lines of writing", false, 3, 1.75 },
        { "two low lines of writing", false, 2.5, 1.25 },
        { "two bars", true, 3, 1.75 },
        { "two low bars", true, 2.5, 2.75 },
    };
    const sheet_place place = { 65, 30, 25, 25, 0 };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        test_sheet sheet;
        fleck_layout layout;

        sheet_init(&sheet, 90, 60, 150);
        sheet_patch(&sheet, &place, SHEET_BOX, 0.3, 0.35);
        for (int line = 0; line < 2; line++) {
            const double y_mm = 20 + line * (cases[i].high_mm + cases[i].gap_mm);

            if (cases[i].bars)
                sheet_fill(&sheet, 8, y_mm, 34, cases[i].high_mm, 0.1f);
            else
                sheet_scribble(&sheet, 8, y_mm, 34, cases[i].high_mm);
        }
        locate(&sheet, &layout);
        sheet_check(cases[i].words, &layout, &place, 1);
        assert_non_null(find_left_out(&layout, FLECK_BLOCK_WRITING));
        assert_true(fleck_warnings_has(&layout.warnings, "left-out"));
        fleck_layout_clear(&layout);
    }
}

static void a_solid_block_just_below_the_smallest_side_is_mentioned(void **state)
{
    const sheet_place place = { 40, 30, 20, 20, 0 };
    test_sheet sheet;
    fleck_layout layout;
    const fleck_located *block;

    (void)state;
    sheet_init(&sheet, 80, 60, 150);
    sheet_patch(&sheet, &place, SHEET_BOX, 0.5, 0.35);
    sheet_fill(&sheet, 10, 10, 4.3, 8, 0.1f);
    sheet_fill(&sheet, 60, 10, 2, 2, 0.1f); /* far below: a mark */
    locate(&sheet, &layout);
    sheet_check("one patch", &layout, &place, 1);
    assert_int_equal(layout.left_out_count, 1);
    block = find_left_out(&layout, FLECK_BLOCK_SMALL);
    assert_non_null(block);
    check_near("its left side", block->box.x_mm, 10, 0.4);
    fleck_layout_clear(&layout);
}

static void a_grey_scale_is_left_out_unless_all_is_asked_for(void **state)
{
    const sheet_place places[1] = { { 60, 50, 30, 30, 0 } };
    fleck_locate_options options = fleck_locate_options_default();
    fleck_error err = { 0 };
    test_sheet sheet;
    fleck_layout layout;
    const fleck_located *scale;
    char note[256];

    (void)state;
    sheet_init(&sheet, 120, 80, 150);
    sheet_patch(&sheet, &places[0], SHEET_BOX, 0.3, 0.35);
    sheet_grey_scale(&sheet, 15, 10, 11, 8, 12);
    locate(&sheet, &layout);
    sheet_check("a patch below a grey scale", &layout, places, 1);
    scale = find_left_out(&layout, FLECK_BLOCK_GREY_SCALE);
    assert_non_null(scale);
    /* the first step has the paper's own tone */
    check_near("right end of the last step", scale->box.x_mm + scale->box.width_mm, 103, 0.4);
    check_near("height of the steps", scale->box.height_mm, 12, 0.4);
    assert_true(fleck_warnings_has(&layout.warnings, "left-out"));
    fleck_layout_clear(&layout);

    options.all = true;
    assert_int_equal(fleck_locate(sheet_scratch(".png"), &options, &layout, &err), FLECK_OK);
    assert_int_equal(layout.count, 2);
    assert_int_equal(layout.left_out_count, 0);
    assert_string_equal(fleck_located_note(&layout.patches[0], note), "grey scale?");
    fleck_layout_clear(&layout);
}

static void a_dark_band_around_the_sheet_is_a_frame(void **state)
{
    const sheet_place places[1] = { { 40, 40, 30, 30, 0 } };
    test_sheet sheet;
    fleck_layout layout;

    (void)state;
    sheet_init(&sheet, 80, 80, 150);
    sheet_fill(&sheet, 0, 0, 80, 7, 0.02f);
    sheet_fill(&sheet, 0, 0, 7, 80, 0.02f);
    sheet_fill(&sheet, 73, 0, 7, 80, 0.02f);
    sheet_fill(&sheet, 0, 73, 80, 7, 0.02f);
    sheet_patch(&sheet, &places[0], SHEET_BOX, 0.4, 0.35);
    locate(&sheet, &layout);
    sheet_check("a patch on a sheet smaller than the scan", &layout, places, 1);
    assert_non_null(find_left_out(&layout, FLECK_BLOCK_FRAME));
    fleck_layout_clear(&layout);
}

/* Every cell of the box is within the shape: the box of an ellipse that touches it at four points.
 */
static void the_box_of_an_ellipse_holds_print_only(void **state)
{
    const sheet_place place = { 40, 30, 50, 30, 0 };
    test_sheet sheet;
    fleck_layout layout;
    const fleck_box_mm *box;
    double x, y;

    (void)state;
    sheet_init(&sheet, 80, 60, 150);
    sheet_patch(&sheet, &place, SHEET_ELLIPSE, 0.5, 0.35);
    locate(&sheet, &layout);
    assert_int_equal(layout.count, 1);
    assert_int_equal(layout.patches[0].doubts, FLECK_DOUBT_NOT_RECTANGULAR);
    assert_int_equal(layout.patches[0].tilt_deg, 0);
    box = &layout.patches[0].box;
    x = fmax(40 - box->x_mm, box->x_mm + box->width_mm - 40) - 0.3;
    y = fmax(30 - box->y_mm, box->y_mm + box->height_mm - 30) - 0.3;
    assert_true(x * x / (25 * 25) + y * y / (15 * 15) <= 1);
    /* the largest one has half of the ellipse's bounding box */
    assert_true(box->width_mm * box->height_mm > 0.9 * 750);
    fleck_layout_clear(&layout);
}

static void ragged_edges_move_a_side_by_less_than_their_depth(void **state)
{
    const sheet_place place = { 40, 30, 40, 30, 2 };
    test_sheet sheet;
    fleck_layout layout;

    (void)state;
    sheet_init(&sheet, 80, 60, 150);
    sheet_patch(&sheet, &place, SHEET_RAGGED, 0.5, 0.35);
    locate(&sheet, &layout);
    assert_int_equal(layout.count, 1);
    check_near("width", layout.patches[0].box.width_mm, 40, 1.2);
    check_near("height", layout.patches[0].box.height_mm, 30, 1.2);
    check_near("tilt", layout.patches[0].tilt_deg, 2, 1);
    fleck_layout_clear(&layout);
}

static void a_patch_cut_by_the_scan_is_listed_and_said(void **state)
{
    static const sheet_place places[] = { { 2, 30, 24, 20, 0 },
                                          { 60, 30, 20, 20, 0 },
                                          { 30, 60, 20, 20, 5 } };
    test_sheet sheet;
    fleck_layout layout;
    char note[256];

    (void)state;
    sheet_init(&sheet, 80, 64, 150);
    for (size_t i = 0; i < 3; i++)
        sheet_patch(&sheet, &places[i], SHEET_BOX, 0.4, 0.35);
    locate(&sheet, &layout);
    assert_int_equal(layout.count, 3);
    assert_string_equal(fleck_located_note(&layout.patches[0], note), "cut by the scan's edge");
    check_near("left", layout.patches[0].box.x_mm, 0, 0.3);
    check_near("right", layout.patches[0].box.x_mm + layout.patches[0].box.width_mm, 14, 0.4);
    assert_int_equal(layout.patches[1].doubts, 0);
    assert_int_equal(layout.patches[2].doubts & FLECK_DOUBT_CUT, FLECK_DOUBT_CUT);
    /* its turned box ends where the scan does */
    check_near("lower corner",
               layout.patches[2].box.y_mm + layout.patches[2].box.height_mm / 2 +
                   layout.patches[2].box.height_mm / 2 * cos(5 * 0.0174533) +
                   layout.patches[2].box.width_mm / 2 * sin(5 * 0.0174533),
               layout.height_mm, 0.3);
    assert_true(fleck_warnings_has(&layout.warnings, "patch-in-doubt"));
    fleck_layout_clear(&layout);
}

static void print_over_the_whole_scan_is_one_patch_without_a_tilt(void **state)
{
    const sheet_place place = { 15, 15, 60, 60, 0 };
    test_sheet sheet;
    fleck_layout layout;

    (void)state;
    sheet_init(&sheet, 30, 30, 200);
    sheet_patch(&sheet, &place, SHEET_BOX, 0.25, 0.35);
    locate(&sheet, &layout);
    assert_int_equal(layout.count, 1);
    assert_int_equal(layout.patches[0].doubts, FLECK_DOUBT_CUT);
    assert_int_equal(layout.patches[0].tilt_deg, 0);
    check_near("width", layout.patches[0].box.width_mm, 30, 0.3);
    check_near("left", layout.patches[0].box.x_mm, 0, 0.1);
    fleck_layout_clear(&layout);
}

static void touching_patches_are_parted_or_said(void **state)
{
    static const struct {
        const char *words;
        sheet_place places[2];
        double coverages[2];
        size_t found;
        unsigned doubt; /* of the first */
    } cases[] = {
        { "a gap of 1.5 mm between sparse ones",
          { { 20, 30, 20, 20, 0 }, { 41.5, 30, 20, 20, 0 } },
          { 0.15, 0.15 },
          2,
          0 },
        { "a gap of a millimetre between solid ones",
          { { 20, 30, 20, 20, 0 }, { 41, 30, 20, 20, 0 } },
          { 1, 1 },
          2,
          0 },
        { "a neck",
          { { 20, 25, 20, 20, 0 }, { 40, 43, 20, 20, 0 } },
          { 0.6, 0.6 },
          2,
          FLECK_DOUBT_TOUCHES },
        { "no gap, a solid one and a sparse one",
          { { 20, 30, 20, 20, 0 }, { 40, 30, 20, 20, 0 } },
          { 1, 0.15 },
          2,
          FLECK_DOUBT_TOUCHES },
        { "no gap, two tones",
          { { 20, 30, 20, 20, 0 }, { 40, 30, 20, 20, 0 } },
          { 0.3, 0.55 },
          1,
          FLECK_DOUBT_SEVERAL },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        test_sheet sheet;
        fleck_layout layout;

        sheet_init(&sheet, 70, 60, 150);
        for (size_t k = 0; k < 2; k++)
            sheet_patch(&sheet, &cases[i].places[k], SHEET_BOX, cases[i].coverages[k], 0.35);
        locate(&sheet, &layout);
        if (layout.count != cases[i].found || layout.patches[0].doubts != cases[i].doubt)
            print_error("%s: %zu patches, doubts %u\n", cases[i].words, layout.count,
                        layout.patches[0].doubts);
        assert_int_equal(layout.count, cases[i].found);
        assert_int_equal(layout.patches[0].doubts, cases[i].doubt);
        fleck_layout_clear(&layout);
    }
}

/* Six patches of one size; the last two touch without a gap and without a change of tone. */
static void two_in_one_stand_out_by_their_length(void **state)
{
    static const double coverages[] = { 0.4 };
    test_sheet sheet;
    sheet_place places[6];
    fleck_layout layout;
    sheet_place bridge;

    (void)state;
    sheet_init(&sheet, 110, 75, 150);
    sheet_grid(&sheet, 2, 3, 20, 30, 0, coverages, 1, places);
    bridge = places[4];
    bridge.x_mm += 15;
    sheet_patch(&sheet, &bridge, SHEET_BOX, 0.4, 0.35);
    locate(&sheet, &layout);
    assert_int_equal(layout.count, 5);
    assert_int_equal(layout.patches[3].doubts, 0);
    assert_int_equal(layout.patches[4].doubts, FLECK_DOUBT_SEVERAL);
    fleck_layout_clear(&layout);
}

static void a_sheet_without_patches_is_refused(void **state)
{
    const fleck_locate_options options = fleck_locate_options_default();

    (void)state;
    for (unsigned kind = 0; kind < 5; kind++) {
        test_sheet sheet;
        fleck_layout layout;
        fleck_error err = { 0 };

        sheet_init(&sheet, 80, 60, 150);
        if (kind == 3)
            sheet_fill(&sheet, 0, 0, 80, 60, 0); /* nothing but black */
        if (kind == 4)
            sheet_fill(&sheet, 0, 0, 20, 60, 0.02f); /* beside the sheet */
        if (kind == 1 || kind == 2)
            sheet_scribble(&sheet, 10, 20, 50, 5);
        if (kind == 2)
            sheet_fill(&sheet, 20, 35, 4, 3, 0.1f); /* below the smallest side */
        sheet_write(&sheet, 0.2, 0.01, false, sheet_scratch(".png"));
        sheet_clear(&sheet);
        assert_int_equal(fleck_locate(sheet_scratch(".png"), &options, &layout, &err),
                         FLECK_BAD_INPUT);
        assert_non_null(strstr(err.message, "no patch"));
        if (kind == 0 || kind >= 3) /* writing may be told of or not */
            assert_int_equal(layout.left_out_count, kind == 4);
        fleck_layout_clear(&layout);
    }
}

static void absurd_options_are_refused(void **state)
{
    static const struct {
        const char *part;
        fleck_locate_options options;
    } cases[] = {
        { "smallest side", { sizeof(fleck_locate_options), .page = 1, .min_size_mm = 0 } },
        { "smallest side", { sizeof(fleck_locate_options), .page = 1, .min_size_mm = NAN } },
        { "grid", { sizeof(fleck_locate_options), .page = 1, .min_size_mm = 5, .grid_rows = 3 } },
        { "grid", { sizeof(fleck_locate_options), .page = 1, .min_size_mm = 5, .grid_rows = 3, .grid_columns = 1001 } },
        { "ppi", { sizeof(fleck_locate_options), .page = 1, .min_size_mm = 5, .ppi_x = 600 } },
        { "page", { sizeof(fleck_locate_options), .page = 0, .min_size_mm = 5 } },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_layout layout;
        fleck_error err = { 0 };

        assert_int_equal(fleck_locate("nowhere.png", &cases[i].options, &layout, &err),
                         FLECK_BAD_CALL);
        assert_non_null(strstr(err.message, cases[i].part));
        fleck_layout_clear(&layout);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(writing_crosses_lines_and_a_ruler_are_no_patches),
        cmocka_unit_test(words_between_sparse_patches_do_not_tie_them),
        cmocka_unit_test(lines_of_writing_or_bars_close_together_are_no_patch),
        cmocka_unit_test(a_solid_block_just_below_the_smallest_side_is_mentioned),
        cmocka_unit_test(a_grey_scale_is_left_out_unless_all_is_asked_for),
        cmocka_unit_test(a_dark_band_around_the_sheet_is_a_frame),
        cmocka_unit_test(the_box_of_an_ellipse_holds_print_only),
        cmocka_unit_test(ragged_edges_move_a_side_by_less_than_their_depth),
        cmocka_unit_test(a_patch_cut_by_the_scan_is_listed_and_said),
        cmocka_unit_test(print_over_the_whole_scan_is_one_patch_without_a_tilt),
        cmocka_unit_test(touching_patches_are_parted_or_said),
        cmocka_unit_test(two_in_one_stand_out_by_their_length),
        cmocka_unit_test(a_sheet_without_patches_is_refused),
        cmocka_unit_test(absurd_options_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
