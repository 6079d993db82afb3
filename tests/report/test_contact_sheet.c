/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <sys/stat.h>
#include <unistd.h>

#include "overlay_patches.h"

static char *bytes_of(const char *path, size_t *size)
{
    FILE *const stream = fopen(path, "rb");
    char *const bytes = malloc(1 << 22);

    assert_non_null(stream);
    *size = fread(bytes, 1, 1 << 22, stream);
    fclose(stream);
    return bytes;
}

/* The pictures of a patch with one disc in its middle. */
static void write_disc(const char *run, const char *id, size_t width, size_t height,
                       double pixel_mm, double diameter_mm)
{
    fleck_overlay_options options = fleck_overlay_options_default();
    struct patch patch;
    fleck_error err = { 0 };

    options.scale = 0.2;
    begin_patch(&patch, width, height, pixel_mm, pixel_mm);
    put_disc(&patch, (double)(width - 1) / 2, (double)(height - 1) / 2,
             diameter_mm / 2 / pixel_mm);
    finish_patch(&patch, id);
    assert_int_equal(fleck_overlay_write(&patch.view, &options, run, &err), FLECK_OK);
    end_patch(&patch);
}

/* Width and height in pixels of what is dark in a box of a picture. */
static void dark_size(const struct picture *picture, size_t left, size_t top, size_t width,
                      size_t height, size_t *wide, size_t *high)
{
    size_t x0 = SIZE_MAX, x1 = 0, y0 = SIZE_MAX, y1 = 0;

    for (size_t y = top; y < top + height; y++) {
        for (size_t x = left; x < left + width; x++) {
            if (pixel(picture, x, y)[0] > 150)
                continue;
            x0 = x < x0 ? x : x0;
            y0 = y < y0 ? y : y0;
            x1 = x > x1 ? x : x1;
            y1 = y > y1 ? y : y1;
        }
    }
    assert_true(x0 <= x1);
    *wide = x1 - x0 + 1;
    *high = y1 - y0 + 1;
}

static void patches_of_a_contact_sheet_are_to_one_scale(void **state)
{
    /* 12 x 12 mm at two resolutions, and one that is cropped to it; each with a disc of 4 mm */
    static const fleck_contact_patch patches[] = { { "fine", NULL }, { "coarse", NULL }, { "large", NULL },
                                                   { "missing", NULL } };
    const char *const run = in_folder("one-scale");
    char run_copy[256];
    fleck_contact_summary summary;
    struct picture sheet;
    size_t wide, high, size, size_again;
    char *path, *first, *again;
    fleck_error err = { 0 };

    (void)state;
    strcpy(run_copy, run);
    assert_int_equal(mkdir(run_copy, 0777), 0);
    write_disc(run_copy, "fine", 600, 600, 0.02, 4);
    write_disc(run_copy, "coarse", 150, 150, 0.08, 4);
    write_disc(run_copy, "large", 400, 500, 0.04, 4);
    assert_int_equal(fleck_contact_sheet_write(run_copy, patches, 4, NULL, &summary, &err), FLECK_OK);
    assert_int_equal(summary.shown, 3);
    assert_int_equal(summary.without_picture, 1);
    path = fleck_overlay_path(run_copy, "", FLECK_OVERLAY_SHEET);
    read_picture(path, &sheet);
    for (size_t i = 0; i < 3; i++) {
        /* cells of 400 pixels, 12 mm, with 18 pixels between: a disc has 133 */
        dark_size(&sheet, 18 + 418 * i, 18, 400, 400, &wide, &high);
        assert_in_range(wide, 131, 137);
        assert_in_range(high, 131, 137);
    }
    free(sheet.rgb);
    first = bytes_of(path, &size);
    assert_int_equal(fleck_contact_sheet_write(run_copy, patches, 4, NULL, &summary, &err), FLECK_OK);
    again = bytes_of(path, &size_again);
    assert_int_equal(size, size_again);
    assert_memory_equal(first, again, size);
    free(first);
    free(again);
    free(path);
}

/* Which disc, from small to large, stands in each cell of a sheet of four. */
static void check_order(const char *run, const char *const factors[4], const char *expected)
{
    static const char *const ids[] = { "w1", "w2", "w3", "w4" };
    fleck_contact_patch patches[4];
    fleck_contact_summary summary;
    struct picture sheet;
    char *const path = fleck_overlay_path(run, "", FLECK_OVERLAY_SHEET);
    char found[5] = "";
    size_t wide, high;

    for (size_t i = 0; i < 4; i++)
        patches[i] = (fleck_contact_patch){ ids[i], factors[i] };
    assert_int_equal(fleck_contact_sheet_write(run, patches, 4, "water", &summary, NULL), FLECK_OK);
    assert_int_equal(summary.shown, 4);
    read_picture(path, &sheet);
    for (size_t i = 0; i < 4; i++) {
        /* three columns of cells of 400 pixels, 12 mm; below them two lines of 18 pixels */
        dark_size(&sheet, 18 + i % 3 * 418, 18 + i / 3 * (418 + 45), 400, 400, &wide, &high);
        found[i] = (char)('0' + (wide * 12 + 400) / 800);
    }
    assert_string_equal(found, expected);
    free(sheet.rgb);
    free(path);
}

static void a_factor_orders_the_contact_sheet(void **state)
{
    static const struct {
        const char *factors[4], *expected;
    } cases[] = {
        { { "10", "9", "-3", "9" }, "3241" },           /* numbers, equal ones as given */
        { { "2,5", "10", "", "2.25" }, "4123" },        /* decimal commas; empty cells last */
        { { "b", "10", "a", "9" }, "2431" },            /* text */
        { { "1e1", "  ", NULL, "1" }, "4123" },
    };
    const char *const run = in_folder("order");
    char run_copy[256];

    (void)state;
    strcpy(run_copy, run);
    assert_int_equal(mkdir(run_copy, 0777), 0);
    for (size_t i = 0; i < 4; i++) {
        const char id[] = { 'w', (char)('1' + i), '\0' };

        write_disc(run_copy, id, 240, 240, 0.05, 2 + 2 * (double)i);
    }
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++)
        check_order(run_copy, cases[i].factors, cases[i].expected);
}

static void nothing_to_show_is_no_failure(void **state)
{
    static const fleck_contact_patch gone = { "gone", NULL };
    fleck_contact_summary summary;
    const char *const run = in_folder("none");
    char *const path = fleck_overlay_path(run, "", FLECK_OVERLAY_SHEET);

    (void)state;
    assert_int_equal(fleck_contact_sheet_write(run, &gone, 1, NULL, &summary, NULL), FLECK_OK);
    assert_int_equal(summary.shown, 0);
    assert_int_equal(fleck_contact_sheet_write(run, NULL, 0, "x", &summary, NULL), FLECK_OK);
    assert_int_not_equal(access(path, F_OK), 0);
    free(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(patches_of_a_contact_sheet_are_to_one_scale),
        cmocka_unit_test(a_factor_orders_the_contact_sheet),
        cmocka_unit_test(nothing_to_show_is_no_failure),
    };

    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
