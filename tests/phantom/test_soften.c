/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdlib.h>

#include "phantom/soften.h"

enum { SIDE = 41 };

/* Blur one bright pixel in the middle. */
static void blurred_point(double sd_px, double result[SIDE * SIDE])
{
    const size_t margin_px = fleck_soften_margin_px(sd_px);
    const size_t wide = SIDE + 2 * margin_px;
    double *row = malloc(wide * sizeof *row);
    fleck_soften *soften = NULL;

    assert_non_null(row);
    assert_int_equal(fleck_soften_new(sd_px, SIDE, &soften, NULL), FLECK_OK);
    for (size_t y = 0; y < wide; y++) {
        for (size_t x = 0; x < wide; x++)
            row[x] = x == wide / 2 && y == wide / 2 ? 1 : 0;
        fleck_soften_put(soften, row);
        if (y >= 2 * margin_px)
            fleck_soften_get(soften, result + (y - 2 * margin_px) * SIDE);
    }
    fleck_soften_free(soften);
    free(row);
}

static void a_point_spreads_to_the_wanted_deviation_and_keeps_its_ink(void **state)
{
    static const double sds[] = { 0, 0.05, 0.3, 0.5, 0.79, 0.8, 1, 2, 4.5 };

    (void)state;
    for (size_t i = 0; i < sizeof sds / sizeof *sds; i++) {
        double result[SIDE * SIDE];
        double sum = 0, mean_x = 0, mean_y = 0, square_x = 0, square_y = 0;

        blurred_point(sds[i], result);
        for (int y = 0; y < SIDE; y++) {
            for (int x = 0; x < SIDE; x++) {
                const double share = result[y * SIDE + x];

                sum += share;
                mean_x += share * (x - SIDE / 2);
                mean_y += share * (y - SIDE / 2);
                square_x += share * (x - SIDE / 2) * (x - SIDE / 2);
                square_y += share * (y - SIDE / 2) * (y - SIDE / 2);
            }
        }
        check_near("sum", sum, 1, 1e-12);
        check_near("centre in x", mean_x, 0, 1e-12);
        check_near("centre in y", mean_y, 0, 1e-12);
        /* cutting a Gaussian at 4 sd takes 0.1 % of its variance */
        check_ratio("variance in x", square_x, sds[i] * sds[i], 0.002);
        check_ratio("variance in y", square_y, sds[i] * sds[i], 0.002);
    }
}

static void a_wide_blur_has_the_shape_of_a_gaussian(void **state)
{
    double result[SIDE * SIDE];

    (void)state;
    blurred_point(3, result);
    for (int x = 0; x < 12; x++)
        check_ratio("exp(-x^2 / 2 sd^2)",
                    result[SIDE / 2 * SIDE + SIDE / 2 + x] / result[SIDE / 2 * SIDE + SIDE / 2],
                    exp(-x * x / 18.0), 1e-9);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_point_spreads_to_the_wanted_deviation_and_keeps_its_ink),
        cmocka_unit_test(a_wide_blur_has_the_shape_of_a_gaussian),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
