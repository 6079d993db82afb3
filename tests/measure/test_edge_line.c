/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/edge_line.h"

#include <math.h>
#include <stdlib.h>

#include "support/check.h"

static const double pi = 3.14159265358979323846;
static const double tenth = 1.2815515655446004; /* 90 % of a normal distribution, in sd */

/* An edge through (x_mm, y_mm), dark below a line that rises to the right by the angle. */
struct drawn {
    fleck_geometry geometry;
    double angle_deg, x_mm, y_mm, sd_mm;
};

static fleck_edge_picture draw(const struct drawn *drawn, double noise)
{
    const fleck_geometry *const geometry = &drawn->geometry;
    uint16_t *const q = calloc(geometry->width_px * geometry->height_px, sizeof *q);
    const double angle = drawn->angle_deg * pi / 180;
    uint64_t seed = 7;

    assert_non_null(q);
    for (size_t i = 0; i < geometry->width_px * geometry->height_px; i++) {
        const double x = ((double)(i % geometry->width_px) + 0.5) * geometry->pixel_x_mm - drawn->x_mm;
        const double y = drawn->y_mm - ((double)(i / geometry->width_px) + 0.5) * geometry->pixel_y_mm;
        const double away = -x * sin(angle) + y * cos(angle);
        const double level = 0.1 + 0.4 * erfc(-away / (drawn->sd_mm * sqrt(2)));

        q[i] = (uint16_t)(65535 * (level + noise * (2 * test_uniform(&seed) - 1)) + 0.5);
    }
    return (fleck_edge_picture){ q, *geometry, 32767 };
}

static const struct drawn cases[] = {
    { { 200, 150, 0.02, 0.02 }, 20, 2, 1.5, 0.03 },
    { { 200, 150, 0.02, 0.03 }, 70, 1.7, 2.2, 0.04 },
    { { 150, 200, 0.03, 0.02 }, 110, 2.3, 2, 0.05 },
    { { 200, 200, 0.02, 0.02 }, 165, 2, 2.4, 0.03 },
};

static void a_line_is_found_with_its_length_and_its_sides(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const struct drawn *const drawn = &cases[i];
        const fleck_edge_picture picture = draw(drawn, 0);
        const double width_mm = (double)drawn->geometry.width_px * drawn->geometry.pixel_x_mm;
        const double height_mm = (double)drawn->geometry.height_px * drawn->geometry.pixel_y_mm;
        const double angle = drawn->angle_deg * pi / 180;
        const double right = fmin(fabs((width_mm - drawn->x_mm) / cos(angle)),
                                  (cos(angle) > 0 ? drawn->y_mm : height_mm - drawn->y_mm) / sin(angle));
        const double left = fmin(fabs(drawn->x_mm / cos(angle)),
                                 (cos(angle) > 0 ? height_mm - drawn->y_mm : drawn->y_mm) / sin(angle));
        fleck_edge_line line;

        assert_true(fleck_edge_line_fit(&picture, &line));
        check_near("angle", line.angle_deg, drawn->angle_deg, 0.03);
        check_ratio("length", line.length_mm, right + left, 0.002);
        check_near("off", line.off_mm, 0, 0.001);
        check_near("left out", line.left_out, 0, 0);
        check_near("a point of it",
                   (line.x_mm - drawn->x_mm) * sin(angle) + (line.y_mm - drawn->y_mm) * cos(angle), 0,
                   0.001);
        /* the paper lies above a line, as its angle of less than 180 degrees has it */
        check_near("normal", line.normal_x, -sin(angle), 0.001);
        check_near("normal", line.normal_y, -cos(angle), 0.001);
        free((void *)(uintptr_t)picture.q);
    }
}

static void the_profile_has_the_halves_of_the_edge_and_its_noise(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_edge_picture picture = draw(&cases[i], 0.03);
        fleck_edge_profile profile;
        fleck_edge_line line;

        assert_true(fleck_edge_line_fit(&picture, &line));
        assert_int_equal(
            fleck_edge_profile_take(&picture, &line, 2 * tenth * cases[i].sd_mm, &profile, NULL),
            FLECK_OK);
        check_ratio("ink", profile.ink_part_mm, tenth * cases[i].sd_mm, 0.05);
        check_ratio("bare", profile.bare_part_mm, tenth * cases[i].sd_mm, 0.05);
        /* of a uniform distribution of +-0.03, over the contrast */
        check_ratio("noise", profile.noise, 0.03 / sqrt(3) / 0.8, 0.03);
        free((void *)(uintptr_t)picture.q);
    }
}

static void dust_does_not_pull_the_line_and_is_counted(void **state)
{
    const fleck_edge_picture picture = draw(&cases[0], 0);
    uint16_t *const q = (uint16_t *)(uintptr_t)picture.q;
    fleck_edge_line line;

    (void)state;
    for (size_t y = 5; y < 9; y++) /* on the paper: 4 rows and 4 columns, each passed twice */
        for (size_t x = 5; x < 9; x++)
            q[y * 200 + x] = 6554;
    assert_true(fleck_edge_line_fit(&picture, &line));
    check_near("angle", line.angle_deg, 20, 0.03);
    /* the edge crosses 200 columns, and as many rows as it rises through */
    check_near("left out", line.left_out, 16.0 / (16 + 200 + floor(200 * tan(20 * pi / 180))), 0.001);
    free(q);
}

static void one_tone_has_no_line(void **state)
{
    uint16_t q[64];
    const fleck_edge_picture picture = { q, { 8, 8, 0.1, 0.1 }, 100 };
    const fleck_edge_line line = { .normal_x = 1 };
    fleck_edge_line none;
    fleck_edge_profile profile;

    (void)state;
    for (size_t i = 0; i < 64; i++)
        q[i] = 7;
    assert_false(fleck_edge_line_fit(&picture, &none));
    assert_int_equal(fleck_edge_profile_take(&picture, &line, 0.1, &profile, NULL), FLECK_OK);
    check_near("no profile", profile.ink_part_mm, NAN, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_line_is_found_with_its_length_and_its_sides),
        cmocka_unit_test(the_profile_has_the_halves_of_the_edge_and_its_noise),
        cmocka_unit_test(dust_does_not_pull_the_line_and_is_counted),
        cmocka_unit_test(one_tone_has_no_line),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
