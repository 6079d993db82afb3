/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/random_set.h"

#include <math.h>
#include <stdlib.h>

#include "measure/random_set_mask.h"
#include "support/check.h"

static const double pi = 3.14159265358979323846;

/* A disc or an ellipse, upright, of pixels whose centre is inside; px is the width of a pixel. */
static struct mask ellipse(size_t width_px, size_t height_px, double px, double py, double a_mm,
                           double b_mm)
{
    struct mask mask = mask_new(width_px, height_px);

    for (size_t y = 0; y < height_px; y++) {
        for (size_t x = 0; x < width_px; x++) {
            const double u = ((double)x + 0.5 - (double)width_px / 2) * px / a_mm;
            const double v = ((double)y + 0.5 - (double)height_px / 2) * py / b_mm;

            mask.ink[y * width_px + x] = u * u + v * v <= 1;
        }
    }
    return mask;
}

static double length_of(const struct mask *mask, double px, double py)
{
    fleck_random_set set = random_set_of(mask, NULL, px, py);
    const double length_mm = fleck_crossings_length_mm(&set.crossings, px, py);

    fleck_random_set_clear(&set);
    return length_mm;
}

static void digital_discs_have_the_perimeter_of_scikit_image(void **state)
{
    /* skimage.measure.perimeter_crofton(disc, directions=4), scikit-image 0.19.3, of the pixels
       with (i - c)^2 + (j - c)^2 <= R^2, c a pixel's centre */
    static const struct {
        size_t radius_px;
        double crofton_px;
    } cases[] = { { 1, 8.044551184003463 },  { 2, 13.407585306672441 }, { 3, 20.992060898420593 },
                  { 5, 33.93957061283773 },  { 10, 65.19762416434098 }, { 20, 127.71373126734744 },
                  { 100, 630.0640295604785 } };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const size_t side = 2 * cases[i].radius_px + 3;
        struct mask disc =
            ellipse(side, side, 1, 1, (double)cases[i].radius_px, (double)cases[i].radius_px);

        check_ratio("scikit-image", length_of(&disc, 1, 1), cases[i].crofton_px, 1e-13);
        mask_free(&disc);
    }
}

static void oblong_pixels_leave_the_length_of_a_disc(void **state)
{
    /* 2 pi R; the error of four directions, each with its share of the angles, for a disc is nought
       up to the pixels' steps. Counting all directions alike would be off by 3 % and more. */
    static const struct {
        double px, py;
    } cases[] = {
        { 0.01, 0.01 }, { 0.01, 0.02 }, { 0.02, 0.01 }, { 0.01, 0.015 }, { 0.012, 0.01 }
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct mask disc = ellipse((size_t)(2.4 / cases[i].px), (size_t)(2.4 / cases[i].py),
                                   cases[i].px, cases[i].py, 1, 1);

        check_ratio("2 pi", length_of(&disc, cases[i].px, cases[i].py), 2 * pi, 0.008);
        mask_free(&disc);
    }
}

static void for_square_pixels_it_is_the_formula(void **state)
{
    const fleck_crossings crossings = { 11, 7, 5, 3 };

    (void)state;
    check_ratio("(pi/8) px (c0 + c90 + (c45 + c135) / sqrt 2)",
                fleck_crossings_length_mm(&crossings, 0.05, 0.05),
                pi / 8 * 0.05 * (11 + 7 + (5 + 3) / sqrt(2)), 1e-15);
}

static void turning_the_picture_changes_nothing(void **state)
{
    uint64_t random = 3;
    struct mask mask = mask_speckle(60, 45, 4, 0.3, &random), turned = mask_turned(&mask);

    (void)state;
    check_ratio("x for y", length_of(&turned, 0.03, 0.02), length_of(&mask, 0.02, 0.03), 1e-14);
    mask_free(&mask);
    mask_free(&turned);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(digital_discs_have_the_perimeter_of_scikit_image),
        cmocka_unit_test(oblong_pixels_leave_the_length_of_a_disc),
        cmocka_unit_test(for_square_pixels_it_is_the_formula),
        cmocka_unit_test(turning_the_picture_changes_nothing),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
