/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "fleck/phantom_sheet.h"

/* A file with this text, its name written into `path`. */
static void write_table(const char *text, char path[64])
{
    FILE *file;
    int descriptor;

    strcpy(path, "/tmp/fleck-sheet-XXXXXX");
    descriptor = mkstemp(path);
    assert_true(descriptor >= 0);
    file = fdopen(descriptor, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(text, 1, strlen(text), file), strlen(text));
    assert_int_equal(fclose(file), 0);
}

static fleck_status read_text(const char *text, fleck_phantom_patch **patches, size_t *count,
                              fleck_error *err)
{
    const fleck_phantom_options speckle = fleck_phantom_options_default();
    char path[64];
    fleck_status status;

    write_table(text, path);
    status = fleck_phantom_patches_from_csv(path, &speckle, patches, count, err);
    assert_int_equal(unlink(path), 0);
    return status;
}

static void a_table_says_what_differs_and_the_speckle_the_rest(void **state)
{
    const fleck_phantom_options speckle = fleck_phantom_options_default();
    fleck_phantom_patch *patches;
    size_t count;
    fleck_error err = { FLECK_OK, "" };

    (void)state;
    assert_int_equal(read_text("patch,x_mm,y_mm,width_mm,height_mm,tilt_deg,kind,coverage,diameter_mm,gsd,"
                          "half_range_mm,gap_mm,ink,seed,edge,note\n"
                          "a1,20,15,12,10,,,,,,,,,,,\n"
                          "\"b, 2\",40,15,12.5,10,-1.5,separate,0.25,0.4,,0.1,0.05,0.3,77,ragged,hm\n",
                          &patches, &count, &err),
                     FLECK_OK);
    assert_int_equal(count, 2);
    assert_string_equal(patches[0].name, "a1");
    check_near("x", patches[0].box.x_mm, 20, 0);
    check_near("height", patches[0].box.height_mm, 10, 0);
    check_near("no tilt given", patches[0].tilt_deg, 0, 0);
    assert_false(patches[0].ragged);
    assert_int_equal(patches[0].speckle.kind, speckle.kind);
    check_near("as the speckle", patches[0].speckle.coverage, speckle.coverage, 0);
    assert_int_equal(patches[0].speckle.seed, speckle.seed + 1);
    assert_string_equal(patches[1].name, "b, 2");
    check_near("width", patches[1].box.width_mm, 12.5, 0);
    check_near("tilt", patches[1].tilt_deg, -1.5, 0);
    assert_true(patches[1].ragged);
    assert_int_equal(patches[1].speckle.kind, FLECK_PHANTOM_SEPARATE);
    assert_int_equal(patches[1].speckle.sizes, FLECK_PHANTOM_UNIFORM);
    check_near("coverage", patches[1].speckle.coverage, 0.25, 0);
    check_near("diameter", patches[1].speckle.diameter_mm, 0.4, 0);
    check_near("half range", patches[1].speckle.diameter_half_range_mm, 0.1, 0);
    check_near("gap", patches[1].speckle.gap_mm, 0.05, 0);
    check_near("ink", patches[1].speckle.ink_reflectance, 0.3, 0);
    assert_int_equal(patches[1].speckle.seed, 77);
    free(patches);
}

static void a_decimal_comma_between_semicolons_is_read(void **state)
{
    fleck_phantom_patch *patches;
    size_t count;

    (void)state;
    assert_int_equal(read_text("patch;x_mm;y_mm;width_mm;height_mm\nä;20,5;15;12;10\n", &patches, &count,
                          NULL),
                     FLECK_OK);
    check_near("20,5", patches[0].box.x_mm, 20.5, 0);
    free(patches);
}

#define HEAD "patch,x_mm,y_mm,width_mm,height_mm"

static void a_bad_table_is_told_with_its_line(void **state)
{
    static const struct {
        const char *text, *message;
    } cases[] = {
        { "patch,x_mm,y_mm,width_mm\na,1,2,3\n", "no column height_mm" },
        { "x_mm,y_mm,width_mm,height_mm\n1,2,3,4\n", "no column patch" },
        { HEAD ",coverge\na,1,2,3,4,0.2\n", "column 6 is none of a sheet's" },
        { HEAD "\n", "no patch" },
        { HEAD "\na,1,2,3,4\nb,1,2,drei,4\n", "line 3: width_mm is no number" },
        { HEAD "\na,1,2,3,\n", "line 2: height_mm is no number" },
        { HEAD "\n,1,2,3,4\n", "line 2: the patch has no name" },
        { HEAD "\n0123456789012345678901234567890123456789012345678901234567890123,1,2,3,4\n",
          "line 2: the patch has too long a name" },
        { HEAD ",kind\na,1,2,3,4,stars\n", "line 2: there is no such kind" },
        { HEAD ",edge\na,1,2,3,4,torn\n", "line 2: there is no such edge" },
        { HEAD ",seed\na,1,2,3,4,-1\n", "line 2: the seed is no whole number" },
        { HEAD ",gsd,half_range_mm\na,1,2,3,4,1.5,0.1\n", "both gsd and half_range_mm" },
        { HEAD "\n\"a,1,2,3,4\n", "line 2" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_phantom_patch *patches = (fleck_phantom_patch *)1;
        size_t count = 1;
        fleck_error err = { FLECK_OK, "" };

        assert_int_equal(read_text(cases[i].text, &patches, &count, &err), FLECK_BAD_INPUT);
        assert_null(patches);
        assert_int_equal(count, 0);
        if (strstr(err.message, cases[i].message) == NULL || strstr(err.message, "; ") == NULL)
            fail_msg("\"%s\" holds neither \"%s\" nor advice", err.message, cases[i].message);
    }
}

static void a_grid_goes_row_by_row_in_even_steps(void **state)
{
    fleck_phantom_grid grid = fleck_phantom_grid_default();
    fleck_phantom_patch *patches;
    size_t count;

    (void)state;
    grid.rows = 2;
    grid.columns = 3;
    grid.coverage_from = 0.1;
    grid.coverage_to = 0.6;
    grid.diameter_from_mm = 0.1;
    grid.diameter_to_mm = 3.2;
    grid.tilt_deg = 2;
    assert_int_equal(fleck_phantom_patches_from_grid(&grid, &patches, &count, NULL), FLECK_OK);
    assert_int_equal(count, 6);
    assert_string_equal(patches[0].name, "r1c1");
    assert_string_equal(patches[4].name, "r2c2");
    check_near("18 + 1 x (12 + 6)", patches[4].box.x_mm, 36, 1e-12);
    check_near("14 + 1 x (12 + 6)", patches[4].box.y_mm, 32, 1e-12);
    check_near("0.1 + 4/5 x 0.5", patches[4].speckle.coverage, 0.5, 1e-12);
    check_near("0.1 x 2^4", patches[4].speckle.diameter_mm, 1.6, 1e-12);
    assert_int_equal(patches[4].speckle.seed, grid.speckle.seed + 5);
    for (size_t i = 0; i < count; i++)
        assert_true(patches[i].tilt_deg > -2 && patches[i].tilt_deg < 2);
    assert_true(patches[0].tilt_deg != patches[1].tilt_deg);
    free(patches);
    grid.columns = 0;
    assert_int_equal(fleck_phantom_patches_from_grid(&grid, &patches, &count, NULL),
                     FLECK_BAD_CALL);
    assert_null(patches);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_table_says_what_differs_and_the_speckle_the_rest),
        cmocka_unit_test(a_decimal_comma_between_semicolons_is_read),
        cmocka_unit_test(a_bad_table_is_told_with_its_line),
        cmocka_unit_test(a_grid_goes_row_by_row_in_even_steps),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
