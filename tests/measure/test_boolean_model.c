/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/boolean_model.h"

#include <math.h>
#include <stdlib.h>

#include "measure/boolean_draw.h"
#include "measure/lags.h"
#include "support/check.h"

/* Boundary and Euler number from the closed forms with mpmath 1.2.1, two-point values likewise. */
static const struct {
    const char *name;
    fleck_disc_model model;
    double coverage, perimeter_per_mm, euler_per_mm2;
    struct {
        double lag_mm, two_point;
    } at[8];
} models[] = {
    { "10 discs of 0.2 mm",
      { 10, 0.2, 1 },
      0.26959730895135436,
      4.589255456721281,
      5.009399182125816,
      { { 0, 0.269597308951 },
        { 0.02, 0.241004665996 },
        { 0.05, 0.200785704264 },
        { 0.1, 0.142409638633 },
        { 0.15, 0.0974228649662 },
        { 0.2, 0.0726827089938 },
        { 0.25, 0.0726827089938 },
        { 0.3, 0.0726827089938 } } },
    { "4 discs of 0.3 mm",
      { 4, 0.3, 1 },
      0.24628678804353288,
      2.8414318675152046,
      2.162423287571307,
      { { 0, 0.246286788044 },
        { 0.02, 0.228426104617 },
        { 0.05, 0.202591977359 },
        { 0.1, 0.162570253952 },
        { 0.15, 0.12706379665 },
        { 0.2, 0.0969627045638 },
        { 0.25, 0.0735884629779 },
        { 0.3, 0.0606571819648 } } },
    { "40 discs, median 0.1 mm, s 0.3",
      { 40, 0.1, 1.3498588075760032 },
      0.31347794480295954,
      9.024177097198349,
      18.021341551461973,
      { { 0, 0.313477944803 },
        { 0.02, 0.258721813545 },
        { 0.05, 0.189097752113 },
        { 0.1, 0.120054401979 },
        { 0.15, 0.101539925823 },
        { 0.15, 0.101539925823 },
        { 0.15, 0.101539925823 },
        { 0.15, 0.101539925823 } } },
};
enum { MODELS = sizeof models / sizeof *models };

static void the_model_says_what_the_closed_forms_say(void **state)
{
    (void)state;
    for (size_t i = 0; i < MODELS; i++) {
        const fleck_disc_model *const model = &models[i].model;

        check_ratio(models[i].name, fleck_disc_model_covered(model), models[i].coverage, 1e-12);
        check_ratio(models[i].name, fleck_disc_model_perimeter_per_mm(model),
                    models[i].perimeter_per_mm, 1e-12);
        check_ratio(models[i].name, fleck_disc_model_euler_per_mm2(model), models[i].euler_per_mm2,
                    1e-12);
        for (size_t j = 0; j < 8; j++)
            check_near(models[i].name, fleck_disc_model_two_point(model, models[i].at[j].lag_mm),
                       models[i].at[j].two_point, 3e-5); /* the trapezia of the size law */
    }
}

/* Mean over draws of the chance that both of two pixels are ink, at each of some steps. */
enum { STEPS = 4, DRAWS = 24 };
static const fleck_step steps[STEPS] = { { 1, 0 }, { 0, 5 }, { -6, 6 }, { 12, 3 } };

static void draw_pairs(const fleck_disc_model *model, double px, double py, double blur_sd_mm,
                       uint64_t seed, double probability[STEPS + 1])
{
    enum { WIDTH = 300, HEIGHT = 280 };
    fleck_boolean_canvas canvas;
    fleck_bit_rows ink;
    fleck_pairs pairs[STEPS] = { { 0, 0, 0 } };
    uint64_t ink_px = 0;

    assert_int_equal(fleck_bit_rows_init(&ink, WIDTH, HEIGHT, 16, NULL), FLECK_OK);
    assert_int_equal(fleck_boolean_canvas_init(&canvas, WIDTH, HEIGHT, px, py, blur_sd_mm, NULL),
                     FLECK_OK);
    fleck_boolean_draw(&canvas, model, seed, &ink);
    for (size_t y = 0; y < HEIGHT; y++) {
        ink_px += fleck_bit_rows_set_before(&ink, y, WIDTH);
        for (size_t i = 0; i < STEPS; i++)
            fleck_pairs_add_row(&pairs[i], steps[i], &ink, NULL, y);
    }
    probability[STEPS] = (double)ink_px / WIDTH / HEIGHT;
    for (size_t i = 0; i < STEPS; i++)
        probability[i] = (double)pairs[i].both / (double)pairs[i].pairs;
    fleck_boolean_canvas_clear(&canvas);
    fleck_bit_rows_clear(&ink);
}

static void draws_have_the_covariance_of_the_model(void **state)
{
    const double px = 0.02, py = 0.03;

    (void)state;
    for (size_t m = 0; m < MODELS; m++) {
        double sum[STEPS + 1] = { 0 }, squares[STEPS + 1] = { 0 };

        for (uint64_t seed = 1; seed <= DRAWS; seed++) {
            double probability[STEPS + 1];

            draw_pairs(&models[m].model, px, py, 0, seed, probability);
            for (size_t i = 0; i <= STEPS; i++) {
                sum[i] += probability[i];
                squares[i] += probability[i] * probability[i];
            }
        }
        for (size_t i = 0; i <= STEPS; i++) {
            const double mean = sum[i] / DRAWS;
            const double se = sqrt((squares[i] / DRAWS - mean * mean) / (DRAWS - 1));
            const double lag_mm = i < STEPS ? hypot(steps[i].dx_px * px, steps[i].dy_px * py) : 0;

            check_near(models[m].name, mean, fleck_disc_model_two_point(&models[m].model, lag_mm),
                       3 * se);
        }
    }
}

static void blur_takes_from_lone_discs_what_theory_says(void **state)
{
    /* few overlaps: a disc of radius R cut half-way through a Gaussian of deviation b keeps a
       radius of about R - b^2 / (2 R) (motion by curvature), here 0.15 - 0.003 mm: 4 % less area */
    const fleck_disc_model model = { 0.4, 0.3, 1 };
    const double expected = 1 - exp(-0.4 * 3.14159265358979323846 * 0.147 * 0.147);
    double sharp = 0, soft = 0;

    (void)state;
    for (uint64_t seed = 1; seed <= DRAWS; seed++) {
        double probability[STEPS + 1];

        draw_pairs(&model, 0.02, 0.03, 0, seed, probability);
        sharp += probability[STEPS] / DRAWS;
        draw_pairs(&model, 0.02, 0.03, 0.03, seed, probability);
        soft += probability[STEPS] / DRAWS;
    }
    /* not the same discs: the generator runs over another height */
    check_ratio("area", soft / sharp, expected / fleck_disc_model_covered(&model), 0.15);
    check_ratio("area", soft, expected, 0.06);
}

static void the_same_seed_draws_the_same(void **state)
{
    double first[STEPS + 1], again[STEPS + 1], other[STEPS + 1];

    (void)state;
    for (int soft = 0; soft <= 1; soft++) {
        draw_pairs(&models[2].model, 0.02, 0.03, 0.02 * soft, 7, first);
        draw_pairs(&models[2].model, 0.02, 0.03, 0.02 * soft, 7, again);
        draw_pairs(&models[2].model, 0.02, 0.03, 0.02 * soft, 8, other);
        assert_memory_equal(first, again, sizeof first);
        assert_memory_not_equal(first, other, sizeof first);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_model_says_what_the_closed_forms_say),
        cmocka_unit_test(draws_have_the_covariance_of_the_model),
        cmocka_unit_test(blur_takes_from_lone_discs_what_theory_says),
        cmocka_unit_test(the_same_seed_draws_the_same),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
