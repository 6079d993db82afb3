/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The layout is a manifest, and its paths lead to the scan. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "fleck/locate.h"
#include "support/check.h"

static char folder[] = "/tmp/fleck-layout-XXXXXX";

static int enter_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) == NULL || chdir(folder) != 0 || mkdir("scans", 0777) != 0 ||
           mkdir("scans/day 1", 0777) != 0 || mkdir("layouts", 0777) != 0 ||
           mkdir("scansets", 0777) != 0;
}

static int leave_folder(void **state)
{
    (void)state;
    return rmdir("scans/day 1") != 0 || rmdir("scans") != 0 || rmdir("layouts") != 0 ||
           rmdir("scansets") != 0 || chdir("/") != 0 || rmdir(folder) != 0;
}

static fleck_located patches[] = {
    { .id = "r1c1", .box = { 1.5, 2, 30, 20.25 }, .tilt_deg = -1.25 },
    { .id = "r1c2", .box = { 40, 2, 30, 20 }, .doubts = FLECK_DOUBT_CUT | FLECK_DOUBT_WEAK },
    { .id = "r1c3",
      .box = { 80, 2, 60, 8 },
      .doubts = FLECK_DOUBT_KIND,
      .kind = FLECK_BLOCK_GREY_SCALE },
};

static void rows_are_patches_with_region_tilt_and_note(void **state)
{
    const fleck_layout layout = { .patches = patches, .count = 3 };
    fleck_error err = { 0 };
    char *text = NULL;

    (void)state;
    assert_int_equal(fleck_layout_csv(&layout, "a,b.png", NULL, &text, &err), FLECK_OK);
    assert_string_equal(text, "scan,patch,region,tilt_deg,note\n"
                              "\"a,b.png\",r1c1,1.5 2 30 20.25,-1.25,\n"
                              "\"a,b.png\",r1c2,40 2 30 20,0,\"cut by the scan's edge; weak\"\n"
                              "\"a,b.png\",r1c3,80 2 60 8,0,grey scale?\n");
    free(text);
}

static void the_path_leads_from_the_layout_to_the_scan(void **state)
{
    static const struct {
        const char *scan, *layout, *expected; /* NULL: refused */
    } cases[] = {
        { "sheet.png", "sheet.csv", "sheet.png" },
        { "./sheet.png", "layouts/../sheet.csv", "sheet.png" },
        { "scans/sheet.png", "sheet.csv", "scans/sheet.png" },
        { "scans/day 1/sheet.png", "layouts/sheet.csv", "../scans/day 1/sheet.png" },
        { "sheet.png", "scans/day 1/sheet.csv", "../../sheet.png" },
        { "scans/sheet.png", "scansets/sheet.csv", "../scans/sheet.png" },
        { "scans/sheet.png", "nowhere/sheet.csv", NULL },
    };
    const fleck_layout layout = { .patches = patches, .count = 1 };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_error err = { 0 };
        char expected[128];
        char *text = NULL;

        if (cases[i].expected == NULL) {
            assert_int_equal(fleck_layout_csv(&layout, cases[i].scan, cases[i].layout, &text, &err),
                             FLECK_BAD_INPUT);
            assert_null(text);
            continue;
        }
        assert_int_equal(fleck_layout_csv(&layout, cases[i].scan, cases[i].layout, &text, &err),
                         FLECK_OK);
        snprintf(expected, sizeof expected, "\n%s,r1c1,", cases[i].expected);
        if (strstr(text, expected) == NULL)
            fail_msg("%s from %s:\n%s", cases[i].scan, cases[i].layout, text);
        free(text);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(rows_are_patches_with_region_tilt_and_note),
        cmocka_unit_test(the_path_leads_from_the_layout_to_the_scan),
    };

    return cmocka_run_group_tests(tests, enter_folder, leave_folder);
}
