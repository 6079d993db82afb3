/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Distances from a mask's border, its length, and boxes turned against the rows. */
#include <math.h>
#include <stdlib.h>

#include "segment/area_shapes.h"
#include "segment/mask_distance.h"
#include "segment/mask_outline.h"
#include "segment/tilted_box.h"
#include "support/check.h"

/* The slow twin: every pixel with every outside pixel, and with a frame of them when beyond is one.
 */
static double slow_distance_mm(const struct mask *area, size_t x, size_t y, double px, double py,
                               bool beyond)
{
    const long w = (long)area->width_px, h = (long)area->height_px;
    double nearest = INFINITY;

    for (long j = -1; j <= h; j++) {
        for (long i = -1; i <= w; i++) {
            const bool in_box = i >= 0 && j >= 0 && i < w && j < h;

            if (in_box ? !area->ink[j * w + i] : beyond)
                nearest =
                    fmin(nearest, hypot((double)(i - (long)x) * px, (double)(j - (long)y) * py));
        }
    }
    return nearest - fmax(px, py) / 2;
}

static void test_border_distances_are_those_to_the_nearest_pixel_outside(void **state)
{
    static const double pixels[][2] = { { 1, 1 }, { 0.0423, 0.0423 }, { 0.02, 0.06 }, { 3, 0.5 } };
    uint64_t random = 8;

    (void)state;
    for (size_t trial = 0; trial < AREA_KINDS * 12; trial++) {
        const double px = pixels[trial % 4][0], py = pixels[trial % 4][1];
        const bool beyond = trial / 4 % 3 != 0;
        struct mask area =
            area_make((enum area_kind)(trial % AREA_KINDS), 1 + test_random(&random) % 40,
                      1 + test_random(&random) % 30, &random);
        fleck_mask *mask = area_mask(&area);
        fleck_mask_distance *distance;
        fleck_error err;

        assert_int_equal(fleck_mask_distance_new(mask, px, py, beyond, &distance, &err), FLECK_OK);
        for (size_t y = 0; y < area.height_px; y++) {
            const double *const row_mm = fleck_mask_distance_row_mm(distance);

            for (size_t x = 0; x < area.width_px; x++) {
                const double wanted = slow_distance_mm(&area, x, y, px, py, beyond);

                if (isinf(wanted))
                    assert_true(isinf(row_mm[x]) && row_mm[x] > 0);
                else
                    check_near(area_names[trial % AREA_KINDS], row_mm[x], wanted, 1e-12);
            }
        }
        fleck_mask_distance_free(distance);
        fleck_mask_free(mask);
        mask_free(&area);
    }
    fleck_mask_distance_free(NULL);
}

static void test_a_margin_takes_what_is_nearer_to_the_border(void **state)
{
    /* worked by hand: pixels of 1 mm; beyond the box there is no border */
    static const struct {
        const char *before;
        double margin_mm;
        const char *after;
    } cases[] = {
        { "........ .######. .######. .######. ........", 1,
          "........ ........ ..####.. ........ ........" },
        { "........ .######. .######. .######. ........", 0.49,
          "........ .######. .######. .######. ........" },
        { "........ .######. .######. .######. ........", 0.5,
          "........ ........ ..####.. ........ ........" },
        /* across the corner of a hole it is sqrt 2 - 1/2 = 0.91 mm */
        { "##### ##### ##.## ##### #####", 0.95, "##### #...# #...# #...# #####" },
        { "##### ##### ##.## ##### #####", 0.5, "##### ##.## #...# ##.## #####" },
        { "###. ###. ###.", 1, "##.. ##.. ##.." },
        { "### ###", 5, "### ###" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct mask area = mask_from_text(cases[i].before), after = mask_from_text(cases[i].after);
        fleck_mask *mask = area_mask(&area), *shrunk;
        fleck_error err;

        assert_int_equal(fleck_mask_shrink(mask, 1, 1, cases[i].margin_mm, &shrunk, &err),
                         FLECK_OK);
        for (size_t y = 0; y < area.height_px; y++)
            for (size_t x = 0; x < area.width_px; x++)
                if (fleck_mask_has(shrunk, x, y) != after.ink[y * area.width_px + x])
                    fail_msg("case %zu: pixel %zu, %zu", i, x, y);
        fleck_mask_free(mask);
        fleck_mask_free(shrunk);
        mask_free(&area);
        mask_free(&after);
    }
}

/* The slow twin: every pixel of a frame with its neighbours right, below and on the slant. */
static double slow_outline_mm(const struct mask *area, double px, double py)
{
    const long w = (long)area->width_px, h = (long)area->height_px;
    const double spacing[4] = { py, px, px * py / hypot(px, py), px * py / hypot(px, py) };
    static const int dx[4] = { 1, 0, 1, -1 }, dy[4] = { 0, 1, 1, 1 };
    double sum = 0;

    for (long y = -1; y <= h; y++) {
        for (long x = -1; x <= w; x++) {
            const bool here = x >= 0 && y >= 0 && x < w && y < h && area->ink[y * w + x];

            for (int i = 0; i < 4; i++) {
                const long u = x + dx[i], v = y + dy[i];
                const bool there = u >= 0 && v >= 0 && u < w && v < h && area->ink[v * w + u];

                sum += here != there ? spacing[i] : 0;
            }
        }
    }
    return 3.14159265358979323846 / 8 * sum;
}

static void test_outlines_are_croftons_formula_in_four_directions(void **state)
{
    uint64_t random = 6;

    (void)state;
    for (size_t trial = 0; trial < AREA_KINDS * 12; trial++) {
        static const size_t widths[] = { 1, 2, 63, 64, 65, 128 };
        struct mask area = area_make((enum area_kind)(trial % AREA_KINDS), widths[trial / 11 % 6],
                                     1 + test_random(&random) % 30, &random);
        fleck_mask *mask = area_mask(&area);

        check_ratio(area_names[trial % AREA_KINDS], fleck_mask_outline_mm(mask, 0.04, 0.07),
                    slow_outline_mm(&area, 0.04, 0.07), 1e-13);
        fleck_mask_free(mask);
        mask_free(&area);
    }
}

static void test_a_disc_has_the_outline_of_a_circle(void **state)
{
    uint64_t random = 1;
    struct mask area = area_make(AREA_DISC, 400, 400, &random);
    fleck_mask *mask = area_mask(&area);

    (void)state;
    check_ratio("2 pi r; four directions are exact for a circle but for the pixels",
                fleck_mask_outline_mm(mask, 0.1, 0.1), 2 * 3.14159265358979323846 * 20, 0.004);
    fleck_mask_free(mask);
    mask_free(&area);
}

/* ---- turned boxes ---- */

static fleck_mask *draw(fleck_box_mm box, double tilt_deg, double px, double py, size_t w, size_t h)
{
    const fleck_tilted_box tilted = fleck_tilted_box_upright(box, tilt_deg);
    fleck_mask *mask;
    fleck_error err;

    assert_int_equal(fleck_mask_new(w, h, &mask, &err), FLECK_OK);
    fleck_tilted_box_draw(&tilted, 0, 0, px, py, mask);
    return mask;
}

static void test_a_turned_box_holds_the_pixels_whose_centres_turn_back_into_it(void **state)
{
    static const double tilts[] = { 0, 3.3, -3.3, 10, 45, -45, 60, 89, 135, -135, 170, -179.5 };

    (void)state;
    for (size_t i = 0; i < sizeof tilts / sizeof *tilts; i++) {
        const fleck_box_mm box = { 31.07, 42.03, 35.11, 22.17 };
        const double px = 1, py = 1.3, angle = tilts[i] * 3.14159265358979323846 / 180;
        fleck_mask *mask = draw(box, tilts[i], px, py, 100, 90);
        size_t inside = 0;

        for (size_t y = 0; y < 90; y++) {
            for (size_t x = 0; x < 100; x++) {
                /* upward and to the right of the centre, turned back clockwise */
                const double right = ((double)x + 0.5) * px - (box.x_mm + box.width_mm / 2);
                const double up = box.y_mm + box.height_mm / 2 - ((double)y + 0.5) * py;
                const double u = right * cos(angle) + up * sin(angle);
                const double v = -right * sin(angle) + up * cos(angle);
                const bool wanted = fabs(u) < box.width_mm / 2 && fabs(v) < box.height_mm / 2;

                if (fleck_mask_has(mask, x, y) != wanted)
                    fail_msg("tilt %g: pixel %zu, %zu", tilts[i], x, y);
                inside += wanted;
            }
        }
        check_ratio("the area of the box", (double)inside * px * py, box.width_mm * box.height_mm,
                    0.03);
        fleck_mask_free(mask);
    }
}

static void test_a_box_that_is_not_turned_covers_the_rounded_pixels(void **state)
{
    static const double edges[] = { 2, 2.49, 2.5, 2.51, 3 };

    (void)state;
    for (size_t i = 0; i < 25; i++) {
        const double x = edges[i % 5], past = 4 + edges[i / 5];
        const fleck_box_mm box = { x, 1, past - x, 2 };
        fleck_mask *mask = draw(box, 0, 1, 1, 12, 5);
        fleck_run runs[6];

        assert_int_equal(fleck_mask_runs(mask, 1, runs), 1);
        assert_int_equal(runs[0].start_px, (size_t)round(x));
        assert_int_equal(runs[0].end_px, (size_t)round(past));
        fleck_mask_free(mask);
    }
}

static void test_quarter_turns_change_the_sides_over(void **state)
{
    static const struct {
        double tilt_deg, rest_deg;
        bool turned;
    } cases[] = {
        { 0, 0, false },   { 90, 0, true },       { -90, 0, true },  { 180, 0, false },
        { 360, 0, false }, { -270, 0, true },     { 45, 45, false }, { -45, 45, true },
        { 135, 45, true }, { 45.5, -44.5, true }, { 100, 10, true }, { -170, 10, false },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_tilted_box upright =
            fleck_tilted_box_upright((fleck_box_mm){ 10, 20, 8, 4 }, cases[i].tilt_deg);
        const fleck_box_mm bounds = fleck_tilted_box_bounds(&upright);

        check_near("tilt", upright.tilt_deg, cases[i].rest_deg, 0);
        check_near("x", upright.box.x_mm, cases[i].turned ? 12 : 10, 0);
        check_near("y", upright.box.y_mm, cases[i].turned ? 18 : 20, 0);
        check_near("width", upright.box.width_mm, cases[i].turned ? 4 : 8, 0);
        check_near("height", upright.box.height_mm, cases[i].turned ? 8 : 4, 0);
        check_near("the centre stays", bounds.x_mm + bounds.width_mm / 2, 14, 1e-12);
        check_near("the centre stays", bounds.y_mm + bounds.height_mm / 2, 22, 1e-12);
    }
    {
        const fleck_tilted_box tilted = { { 10, 20, 8, 4 }, 30 };
        const fleck_box_mm bounds = fleck_tilted_box_bounds(&tilted);

        check_near("8 cos 30 + 4 sin 30", bounds.width_mm, 4 * sqrt(3.0) + 2, 1e-12);
        check_near("8 sin 30 + 4 cos 30", bounds.height_mm, 4 + 2 * sqrt(3.0), 1e-12);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_border_distances_are_those_to_the_nearest_pixel_outside),
        cmocka_unit_test(test_a_margin_takes_what_is_nearer_to_the_border),
        cmocka_unit_test(test_outlines_are_croftons_formula_in_four_directions),
        cmocka_unit_test(test_a_disc_has_the_outline_of_a_circle),
        cmocka_unit_test(test_a_turned_box_holds_the_pixels_whose_centres_turn_back_into_it),
        cmocka_unit_test(test_a_box_that_is_not_turned_covers_the_rounded_pixels),
        cmocka_unit_test(test_quarter_turns_change_the_sides_over),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
