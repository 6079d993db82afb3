/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * An overlay and a contact sheet against pictures of them that were looked at and kept.
 * `test_overlay_references --renew` draws them anew; look at them before they are committed.
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "overlay_patches.h"
#include "report/picture_cells.h"

/* One of each kind: counted, with a waist, cut by the edge, below the cutoff. */
static void put_kinds(struct patch *patch, double moved_px)
{
    put_disc(patch, 20 + moved_px, 22, 9);
    put_disc(patch, 58, 24, 10);
    put_disc(patch, 73, 24, 8);
    put_disc(patch, 0, 60, 7);
    put_disc(patch, 45, 66, 4);
    put_disc(patch, 80, 70, 6);
    patch->ink[50 * patch->geometry.width_px + 30] = 1;
}

static picture_cells draw_overlay(double moved_px, bool lines)
{
    const fleck_overlay_options options = fleck_overlay_options_default();
    struct patch patch;
    fleck_error err = { 0 };

    begin_patch(&patch, 100, 90, 0.02, 0.02);
    put_kinds(&patch, moved_px);
    finish_patch(&patch, "patch 1");
    if (fleck_overlay_draw(&patch.view, &options, lines, in_folder("overlay.png"), &err) != FLECK_OK)
        fail_msg("%s", err.message);
    end_patch(&patch);
    return picture_cells_of_png_file(in_folder("overlay.png"));
}

/* Three textures in the order of a factor, `missing` of them without a picture. */
static picture_cells draw_sheet(const char *name, size_t missing, const char *const factors[3])
{
    static const char *const ids[] = { "coarse", "middle", "fine" };
    const fleck_overlay_options options = fleck_overlay_options_default();
    fleck_contact_patch patches[3];
    fleck_contact_summary summary;
    fleck_error err = { 0 };
    char run[256];
    char *path;
    picture_cells made;

    snprintf(run, sizeof run, "%s", in_folder(name));
    assert_int_equal(mkdir(run, 0777), 0);
    for (size_t i = 0; i < 3; i++) {
        const double radius = 9.0 / (double)(i + 1);
        struct patch patch;

        patches[i] = (fleck_contact_patch){ ids[i], factors[i] };
        if (i < missing)
            continue;
        begin_patch(&patch, 120, 120, 0.1, 0.1);
        for (double y = 12; y < 120; y += 24 / (double)(i + 1)) {
            for (double x = 12; x < 120; x += 24 / (double)(i + 1))
                put_disc(&patch, x, y, radius);
        }
        finish_patch(&patch, ids[i]);
        if (fleck_overlay_write(&patch.view, &options, run, &err) != FLECK_OK)
            fail_msg("%s", err.message);
        end_patch(&patch);
    }
    if (fleck_contact_sheet_write(run, patches, 3, "water", &summary, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    path = fleck_overlay_path(run, "", FLECK_OVERLAY_SHEET);
    made = picture_cells_of_png_file(path);
    fleck_free(path);
    return made;
}

static const char *const rising[3] = { "1", "2", "3" }, *const falling[3] = { "3", "2", "1" };

static void pictures_are_as_they_were_looked_at(void **state)
{
    (void)state;
    check_picture_cells(draw_overlay(0, true), "overlay");
    check_picture_cells(draw_sheet("as kept", 0, rising), "contact-sheet");
}

static void what_is_left_out_or_elsewhere_is_noticed(void **state)
{
    (void)state;
    assert_true(picture_cells_off(draw_overlay(0, false), "overlay") > 1);
    assert_true(picture_cells_off(draw_overlay(2, true), "overlay") > 1);
    assert_true(picture_cells_off(draw_sheet("one missing", 1, rising), "contact-sheet") > 1);
    assert_true(picture_cells_off(draw_sheet("other order", 0, falling), "contact-sheet") > 1);
}

static int renew(void)
{
    void *none = NULL;
    bool kept = make_folder(&none) == 0;

    kept = kept && picture_cells_keep(draw_overlay(0, true), "overlay") &&
           picture_cells_keep(draw_sheet("as kept", 0, rising), "contact-sheet");
    return remove_folder(&none) == 0 && kept ? 0 : 1;
}

int main(int argc, char **argv)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(pictures_are_as_they_were_looked_at),
        cmocka_unit_test(what_is_left_out_or_elsewhere_is_noticed),
    };

    if (argc == 2 && strcmp(argv[1], "--renew") == 0)
        return renew();
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
