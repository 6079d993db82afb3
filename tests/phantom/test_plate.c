/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdbool.h>
#include <string.h>

#include "phantom/plate.h"

enum { SIDE = 40 };

/* All shares of a SIDE x SIDE picture; their sum. */
static double draw(const fleck_plate *plate, bool antialias, double share[SIDE][SIDE])
{
    double sum = 0;

    for (size_t y = 0; y < SIDE; y++) {
        double row[SIDE];
        const fleck_stretch stretch = fleck_plate_row(plate, y, SIDE, antialias, row);

        for (size_t x = 0; x < SIDE; x++) {
            share[y][x] = x >= stretch.first && x < stretch.end ? row[x] : 0;
            sum += share[y][x];
        }
    }
    return sum;
}

static void a_plate_keeps_its_area_at_any_tilt(void **state)
{
    static const double tilts_deg[] = { 0, 0.001, 0.5, 1, 3, -2, 17, 45, 89, 90, -60 };
    static const double sizes[][2] = { { 12, 7 }, { 20, 0.3 }, { 0.2, 15.7 }, { 0.1, 0.1 } };

    (void)state;
    for (size_t i = 0; i < sizeof tilts_deg / sizeof *tilts_deg; i++) {
        for (size_t k = 0; k < sizeof sizes / sizeof *sizes; k++) {
            const fleck_plate plate =
                fleck_plate_at(20.13, 19.77, sizes[k][0], sizes[k][1], tilts_deg[i]);
            double share[SIDE][SIDE];

            check_near("width x height", draw(&plate, true, share), sizes[k][0] * sizes[k][1],
                       1e-9);
        }
    }
}

static void a_pixel_has_the_share_that_fine_points_find(void **state)
{
    enum { POINTS = 50 };
    static const double tilts_deg[] = { 0, 2, -5, 30 };

    (void)state;
    for (size_t i = 0; i < sizeof tilts_deg / sizeof *tilts_deg; i++) {
        const fleck_plate plate = fleck_plate_at(19.3, 21.6, 14.2, 9.1, tilts_deg[i]);
        double share[SIDE][SIDE];

        draw(&plate, true, share);
        for (size_t pixel = 0; pixel < SIDE * SIDE; pixel++) {
            const size_t x = pixel % SIDE, y = pixel / SIDE;
            size_t held = 0;

            for (size_t k = 0; k < POINTS * POINTS; k++) {
                /* written out from the definition: y downward, anticlockwise to the eye */
                const double tilt = tilts_deg[i] * 3.14159265358979323846 / 180;
                const double dx =
                    (double)x + ((double)(k % POINTS) + 0.5) / POINTS - 19.3;
                const double dy =
                    (double)y + ((double)(k / POINTS) + 0.5) / POINTS - 21.6;

                held += fabs(dx * cos(tilt) - dy * sin(tilt)) < 7.1 &&
                        fabs(dx * sin(tilt) + dy * cos(tilt)) < 4.55;
            }
            check_near("50 x 50 points in a pixel", share[y][x],
                       (double)held / (POINTS * POINTS), 0.02);
        }
    }
}

/* From the definition of a region: pixels from round(left) to round(right) - 1. */
static void a_hard_upright_plate_holds_the_pixels_of_its_region(void **state)
{
    static const struct {
        double left, width;
    } cases[] = { { 3, 5 }, { 3.5, 5 }, { 3.49, 5 }, { 3.51, 5 }, { 2.2, 4.4 }, { 2.25, 4.25 } };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_plate plate =
            fleck_plate_at(cases[i].left + cases[i].width / 2, 10, cases[i].width, 6, 0);
        const double right = round(cases[i].left + cases[i].width);
        double share[SIDE][SIDE];

        draw(&plate, false, share);
        for (size_t x = 0; x < SIDE; x++) {
            const bool inside = (double)x >= round(cases[i].left) && (double)x < right;

            check_near("round(left) to round(right) - 1", share[9][x], inside ? 1 : 0, 0);
        }
    }
}

static void the_right_side_of_a_plate_turned_a_little_is_higher(void **state)
{
    const fleck_plate plate = fleck_plate_at(20, 20, 20, 8, 10);
    double x[4], y[4], along, down;

    (void)state;
    fleck_plate_corners(&plate, x, y);
    check_near("20 - 10 cos 10 - 4 sin 10", x[0], 9.457329759, 1e-8);
    check_near("20 + 10 sin 10 - 4 cos 10", y[0], 17.797250765, 1e-8);
    check_near("20 - 10 sin 10 - 4 cos 10", y[1], 14.324287211, 1e-8);
    fleck_plate_local(&plate, x[1], y[1], &along, &down);
    check_near("and back", along, 10, 1e-12);
    check_near("and back", down, -4, 1e-12);
}

static void plates_overlap_when_they_share_an_area(void **state)
{
    static const struct {
        const char *source;
        double a[5], b[5]; /* x, y, width, height, tilt */
        bool overlap;
    } cases[] = {
        { "apart", { 5, 5, 4, 4, 0 }, { 12, 5, 4, 4, 0 }, false },
        { "side by side", { 5, 5, 4, 4, 0 }, { 9, 5, 4, 4, 0 }, false },
        { "a little", { 5, 5, 4, 4, 0 }, { 8.9, 5, 4, 4, 0 }, true },
        { "one in the other", { 5, 5, 10, 10, 7 }, { 5, 5, 1, 1, 0 }, true },
        { "a cross", { 5, 5, 10, 1, 0 }, { 5, 5, 1, 10, 0 }, true },
        { "their boxes do, they do not", { 5, 5, 10, 1, 45 }, { 7.5, 7.5, 2, 2, 0 }, false },
        { "a corner reaches in", { 0, 0, 4, 4, 0 }, { 3.3, 0, 2, 2, 45 }, true },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const double *a = cases[i].a, *b = cases[i].b;
        const fleck_plate first = fleck_plate_at(a[0], a[1], a[2], a[3], a[4]);
        const fleck_plate second = fleck_plate_at(b[0], b[1], b[2], b[3], b[4]);

        check_near(cases[i].source, fleck_plates_overlap(&first, &second), cases[i].overlap, 0);
        check_near(cases[i].source, fleck_plates_overlap(&second, &first), cases[i].overlap, 0);
    }
}

static void what_lies_outside_the_picture_is_left_out(void **state)
{
    static const double places[][2] = { { -20, 10 }, { 60, 10 }, { 10, -20 }, { 10, 60 } };
    const fleck_plate half = fleck_plate_at(0, 20, 10, 4, 3);
    double share[SIDE][SIDE];

    (void)state;
    for (size_t i = 0; i < 4; i++) {
        const fleck_plate plate = fleck_plate_at(places[i][0], places[i][1], 10, 10, 5);

        check_near("outside, soft", draw(&plate, true, share), 0, 0);
        check_near("outside, hard", draw(&plate, false, share), 0, 0);
        assert_false(fleck_plate_is_within(&plate, SIDE, SIDE));
    }
    check_near("half of it", draw(&half, true, share), 20, 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_plate_keeps_its_area_at_any_tilt),
        cmocka_unit_test(a_pixel_has_the_share_that_fine_points_find),
        cmocka_unit_test(a_hard_upright_plate_holds_the_pixels_of_its_region),
        cmocka_unit_test(the_right_side_of_a_plate_turned_a_little_is_higher),
        cmocka_unit_test(plates_overlap_when_they_share_an_area),
        cmocka_unit_test(what_lies_outside_the_picture_is_left_out),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
