/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/shape.h"

#include <math.h>

#include "fleck/texture.h"
#include "support/check.h"

enum { DOTS = 5 };

/* Areas by tone and weights so that half the weight is reached in the fourth dot. */
static void fill(fleck_blob blobs[DOTS], fleck_dot_shape shapes[DOTS], double weights[DOTS])
{
    static const double tone_area[DOTS] = { 0.3, 0.1, NAN, 0.2, 0.4 };
    static const double circularity[DOTS] = { 0.9, 0.8, 0.7, NAN, 0.5 };
    static const double weight[DOTS] = { 1, 2, 1, 4, 0 };
    static const double edge[DOTS] = { 0.02, NAN, 0.05, 0.08, NAN };
    static const double gap[DOTS] = { 0.1, 0.1, 0.4, NAN, 0.2 };

    for (size_t i = 0; i < DOTS; i++) {
        blobs[i] = (fleck_blob){ .component = { .area_px = 10 + i * 5, .first_x_px = (uint32_t)i } };
        shapes[i] = (fleck_dot_shape){ .outline = { .circularity = circularity[i] },
                                       .tone = { .tone_area_mm2 = tone_area[i],
                                                 .edge_width_mm = edge[i] },
                                       .gap_mm = gap[i] };
        weights[i] = weight[i];
    }
}

static void test_means_leave_out_what_is_missing(void **state)
{
    fleck_blob blobs[DOTS];
    fleck_dot_shape shapes[DOTS];
    double weights[DOTS];
    fleck_shape_summary summary;

    (void)state;
    fill(blobs, shapes, weights);
    assert_int_equal(fleck_shapes_summarise(blobs, shapes, weights, DOTS, 200, &summary, NULL),
                     FLECK_OK);
    check_near("weights 1, 2, 1", summary.mean_circularity, (0.9 + 2 * 0.8 + 0.7) / 4, 1e-15);
    check_near("plain, three of five", summary.mean_edge_width_mm, 0.05, 1e-15);
    check_near("plain, four of five", summary.gap_mean_mm, 0.2, 1e-15);
    check_near("30 of 200 pixels", summary.largest_share, 0.15, 1e-15);
    /* by area: 0.1 (2), 0.2 (4), 0.3 (1): half of 7 is reached at 0.2; 0.4 is at the edge */
    check_near("median of areas by tone", summary.tone_d50_mm, fleck_equivalent_diameter_mm(0.2),
               1e-15);
}

static void test_a_share_that_falls_on_a_dot_belongs_to_it(void **state)
{
    fleck_blob blobs[DOTS];
    fleck_dot_shape shapes[DOTS];
    double weights[DOTS];
    fleck_shape_summary summary;

    (void)state;
    fill(blobs, shapes, weights);
    weights[0] = weights[1] = weights[3] = weights[4] = 0.1;
    weights[2] = 0;
    assert_int_equal(fleck_shapes_summarise(blobs, shapes, weights, DOTS, 200, &summary, NULL),
                     FLECK_OK);
    check_near("second of four equal weights", summary.tone_d50_mm,
               fleck_equivalent_diameter_mm(0.2), 1e-15);
}

/* Half of 2 n equal weights is reached with the n-th, however their sum is rounded. */
static void test_rounding_moves_no_median(void **state)
{
    enum { MOST = 40 };
    static fleck_blob blobs[MOST];
    static fleck_dot_shape shapes[MOST];
    double weights[MOST];
    fleck_shape_summary summary;

    (void)state;
    for (size_t i = 0; i < MOST; i++)
        shapes[i].tone.tone_area_mm2 = (double)(i + 1);
    for (size_t n = 2; n <= MOST; n += 2)
        for (int places = 3; places < 400; places += 7) {
            for (size_t i = 0; i < n; i++)
                weights[i] = 1.0 / places;
            assert_int_equal(fleck_shapes_summarise(blobs, shapes, weights, n, 1, &summary, NULL),
                             FLECK_OK);
            check_near("equal weights", summary.tone_d50_mm,
                       fleck_equivalent_diameter_mm((double)(n / 2)), 0);
        }
}

static void test_dots_at_the_edge_alone_have_no_median(void **state)
{
    fleck_blob blobs[DOTS];
    fleck_dot_shape shapes[DOTS];
    double weights[DOTS] = { 0 };
    fleck_shape_summary summary;

    (void)state;
    fill(blobs, shapes, weights);
    for (size_t i = 0; i < DOTS; i++)
        weights[i] = 0;
    assert_int_equal(fleck_shapes_summarise(blobs, shapes, weights, DOTS, 200, &summary, NULL),
                     FLECK_OK);
    check_near("no weight", summary.tone_d50_mm, NAN, 0);
    check_near("no weight", summary.mean_circularity, NAN, 0);
    check_near("plain means stay", summary.gap_mean_mm, 0.2, 1e-15);
}

static void test_no_dots_give_no_numbers(void **state)
{
    fleck_shape_summary summary;
    const double *const numbers = &summary.mean_circularity;

    (void)state;
    assert_int_equal(fleck_shapes_summarise(NULL, NULL, NULL, 0, 0, &summary, NULL), FLECK_OK);
    for (size_t i = 0; i < sizeof summary / sizeof(double); i++)
        check_near("no dots", numbers[i], NAN, 0);
    assert_int_equal(fleck_shapes_summarise(NULL, NULL, NULL, 0, 50, &summary, NULL), FLECK_OK);
    check_near("ink below the cutoff alone", summary.largest_share, 0, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_means_leave_out_what_is_missing),
        cmocka_unit_test(test_a_share_that_falls_on_a_dot_belongs_to_it),
        cmocka_unit_test(test_rounding_moves_no_median),
        cmocka_unit_test(test_dots_at_the_edge_alone_have_no_median),
        cmocka_unit_test(test_no_dots_give_no_numbers),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
