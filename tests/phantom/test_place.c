/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "phantom/closed_forms.h"
#include "phantom/place.h"

static const double pi = 3.14159265358979323846;

/* A picture of 0.05 mm pixels. */
static fleck_phantom_frame frame_of(double width_mm, double height_mm)
{
    return (fleck_phantom_frame){ (size_t)lround(width_mm / 0.05), (size_t)lround(height_mm / 0.05),
                                  0.05 };
}

static fleck_dots placed(const fleck_phantom_options *options, const fleck_phantom_frame *frame,
                         double margin_mm)
{
    fleck_dots dots = { 0 };
    fleck_error err = { FLECK_OK, "" };

    if (fleck_place(options, frame, margin_mm, &dots, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    return dots;
}

/* Distance from each dot to the nearest other one, by trying all. */
static double nearest(const fleck_dots *dots, size_t of)
{
    double least = INFINITY;

    for (size_t i = 0; i < dots->count; i++) {
        if (i != of)
            least = fmin(least, hypot(dots->items[i].x_mm - dots->items[of].x_mm,
                                      dots->items[i].y_mm - dots->items[of].y_mm));
    }
    return least;
}

static void poisson_counts_have_the_mean_and_variance_of_poisson(void **state)
{
    enum { SEEDS = 400 };
    const fleck_phantom_frame frame = frame_of(5, 3);
    fleck_phantom_options options = fleck_phantom_options_default();
    const double expected = fleck_disc_intensity(&options) * 15;
    double sum = 0, squares = 0;

    (void)state;
    for (options.seed = 1; options.seed <= SEEDS; options.seed++) {
        fleck_dots dots = placed(&options, &frame, 0);
        double inside = 0;

        for (size_t i = 0; i < dots.count; i++)
            inside += fleck_dot_is_centred(&dots.items[i], &frame);
        sum += inside;
        squares += (inside - expected) * (inside - expected);
        free(dots.items);
    }
    check_near("mean count", sum / SEEDS, expected, 4 * sqrt(expected / SEEDS));
    check_ratio("variance of the count", squares / SEEDS, expected, 4 * sqrt(2.0 / SEEDS));
}

static void poisson_centres_have_the_nearest_neighbours_of_poisson(void **state)
{
    const fleck_phantom_frame frame = frame_of(20, 20);
    fleck_phantom_options options = fleck_phantom_options_default();
    const double expected = fleck_expect(&options).nn_mean_mm;
    double sum = 0, square = 0, n = 0;

    (void)state;
    for (options.seed = 1; options.seed <= 4; options.seed++) {
        fleck_dots dots = placed(&options, &frame, 2); /* neighbours outside count */

        for (size_t i = 0; i < dots.count; i++) {
            if (fleck_dot_is_centred(&dots.items[i], &frame)) {
                const double distance = nearest(&dots, i);

                sum += distance;
                square += distance * distance;
                n++;
            }
        }
        free(dots.items);
    }
    assert_true(n > 5000);
    /* the sd of one distance is 0.5227 of the mean; neighbours share distances: 5 instead of 4 */
    check_ratio("1 / (2 sqrt lambda)", sum / n, expected, 5 * 0.5227 / sqrt(n));
    check_ratio("E[d^2] = 1 / (pi lambda)", square / n, 1 / (pi * fleck_disc_intensity(&options)),
                5 / sqrt(n));
}

static void diameters_follow_their_law(void **state)
{
    static const fleck_phantom_kind kinds[] = { FLECK_PHANTOM_DISCS, FLECK_PHANTOM_SEPARATE };
    const fleck_phantom_frame frame = frame_of(40, 40);

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        fleck_phantom_options options = fleck_phantom_options_default();
        double sum = 0, squares = 0, n = 0;
        fleck_dots dots;

        options.kind = kinds[i];
        options.coverage = 0.2;
        dots = placed(&options, &frame, 0);
        for (size_t j = 0; j < dots.count; j++) {
            if (fleck_dot_is_centred(&dots.items[j], &frame)) {
                const double z = log(dots.items[j].diameter_mm / 0.3);

                sum += z;
                squares += z * z;
                n++;
            }
        }
        assert_true(n > 2000);
        check_near("mean of ln d: ln median", sum / n, 0, 4 * log(1.5) / sqrt(n));
        check_ratio("sd of ln d: ln gsd", sqrt(squares / n), log(1.5), 4 / sqrt(2 * n));
        free(dots.items);
        options.sizes = FLECK_PHANTOM_UNIFORM;
        options.diameter_half_range_mm = 0.1;
        dots = placed(&options, &frame, 0);
        sum = squares = 0;
        for (size_t j = 0; j < dots.count; j++) {
            const double z = dots.items[j].diameter_mm - 0.3;

            assert_true(fabs(z) <= 0.1);
            sum += z;
            squares += z * z;
        }
        n = (double)dots.count;
        check_near("mean of d", sum / n, 0, 0.005);
        check_ratio("variance of d: range^2 / 12", squares / n, 0.04 / 12, 0.1);
        free(dots.items);
    }
}

static bool same_dot(const fleck_dot *a, const fleck_dot *b)
{
    return fabs(a->x_mm - b->x_mm) < 1e-12 && fabs(a->y_mm - b->y_mm) < 1e-12 &&
           a->diameter_mm == b->diameter_mm;
}

/* Every dot of the small picture must be in the large one: they show one endless pattern. */
static void a_larger_picture_and_a_margin_show_the_same_pattern(void **state)
{
    static const fleck_phantom_kind kinds[] = { FLECK_PHANTOM_DISCS, FLECK_PHANTOM_SQUARE,
                                                FLECK_PHANTOM_HEXAGONAL };
    const fleck_phantom_frame small = frame_of(4, 5), large = frame_of(9, 8);

    (void)state;
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        fleck_phantom_options options = fleck_phantom_options_default();
        fleck_dots few, many;
        size_t found = 0;

        options.kind = kinds[i];
        few = placed(&options, &small, 0);
        many = placed(&options, &large, 1);
        assert_true(few.count > 20);
        for (size_t j = 0; j < few.count; j++) {
            size_t k = 0;

            while (k < many.count && !same_dot(&few.items[j], &many.items[k]))
                k++;
            found += k < many.count;
        }
        assert_int_equal(found, few.count);
        /* and nothing else of the large one touches the small picture */
        found = 0;
        for (size_t k = 0; k < many.count; k++)
            found += fleck_dot_reaches(&many.items[k], &small);
        assert_int_equal(found, few.count);
        free(few.items);
        free(many.items);
    }
}

static void a_lattice_has_its_pitch_its_neighbours_and_its_turn(void **state)
{
    static const struct {
        fleck_phantom_kind kind;
        double angle_deg;
        int neighbours;
    } cases[] = {
        { FLECK_PHANTOM_SQUARE, 0, 4 },
        { FLECK_PHANTOM_SQUARE, 15, 4 },
        { FLECK_PHANTOM_HEXAGONAL, 0, 6 },
        { FLECK_PHANTOM_HEXAGONAL, -40, 6 },
    };
    const fleck_phantom_frame frame = frame_of(6, 4);

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_phantom_options options = fleck_phantom_options_default();
        fleck_dots dots;
        double inside = 0;

        options.kind = cases[i].kind;
        options.diameter_mm = 0.2;
        options.pitch_mm = 0.35;
        options.angle_deg = cases[i].angle_deg;
        dots = placed(&options, &frame, 1);
        for (size_t j = 0; j < dots.count; j++) {
            int at_pitch = 0, turned = 0;

            if (!fleck_dot_is_centred(&dots.items[j], &frame))
                continue;
            inside++;
            for (size_t k = 0; k < dots.count; k++) {
                const double dx = dots.items[k].x_mm - dots.items[j].x_mm;
                const double up = dots.items[j].y_mm - dots.items[k].y_mm;
                const double distance = hypot(dx, up);

                assert_true(k == j || distance > 0.35 - 1e-9);
                if (k != j && distance < 0.35 + 1e-9) {
                    at_pitch++;
                    turned +=
                        fabs(remainder(atan2(up, dx) * 180 / pi - cases[i].angle_deg, 360)) < 1e-6;
                }
            }
            assert_int_equal(at_pitch, cases[i].neighbours);
            assert_int_equal(turned, 1);
        }
        check_near("count, to half a pitch along the border of 20 mm", inside,
                   24 * fleck_expect(&options).intensity_per_mm2,
                   20 * 0.35 / 2 * fleck_expect(&options).intensity_per_mm2);
        free(dots.items);
    }
}

static void separate_dots_keep_their_distance(void **state)
{
    static const struct {
        double coverage, gsd, gap_mm;
        bool keep_inside;
    } cases[] = { { 0.3, 1.5, 0.1, false },
                  { 0.3, 1.5, 0.1, true },
                  { 0.45, 1, 0, false },
                  { 0.1, 2, 0.3, true } };
    const fleck_phantom_frame frame = frame_of(12, 9);

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_phantom_options options = fleck_phantom_options_default();
        fleck_dots dots;
        size_t whole = 0;

        options.kind = FLECK_PHANTOM_SEPARATE;
        options.coverage = cases[i].coverage;
        options.gsd = cases[i].gsd;
        options.gap_mm = cases[i].gap_mm;
        options.keep_inside = cases[i].keep_inside;
        dots = placed(&options, &frame, 0);
        for (size_t j = 0; j < dots.count; j++) {
            whole += fleck_dot_is_whole(&dots.items[j], &frame);
            for (size_t k = 0; k < j; k++)
                assert_true(hypot(dots.items[j].x_mm - dots.items[k].x_mm,
                                  dots.items[j].y_mm - dots.items[k].y_mm) >
                            (dots.items[j].diameter_mm + dots.items[k].diameter_mm) / 2 +
                                cases[i].gap_mm);
        }
        if (cases[i].keep_inside) {
            check_near("number asked for", (double)dots.count,
                       round(fleck_disc_intensity(&options) * 12 * 9), 0);
            assert_int_equal(whole, dots.count);
        } else {
            assert_true(whole < dots.count);
        }
        free(dots.items);
    }
}

static void separate_dots_are_as_many_at_the_border_as_in_the_middle(void **state)
{
    const fleck_phantom_frame frame = frame_of(10, 10), middle = frame_of(6, 6);
    fleck_phantom_options options = fleck_phantom_options_default();
    double all = 0, inner = 0;

    (void)state;
    options.kind = FLECK_PHANTOM_SEPARATE;
    for (options.seed = 1; options.seed <= 40; options.seed++) {
        fleck_dots dots = placed(&options, &frame, 0);

        for (size_t i = 0; i < dots.count; i++) {
            const fleck_dot moved = { dots.items[i].x_mm - 2, dots.items[i].y_mm - 2, 0.3 };

            all += fleck_dot_is_centred(&dots.items[i], &frame);
            inner += fleck_dot_is_centred(&moved, &middle);
        }
        free(dots.items);
    }
    check_ratio("number density asked for", all / 4000, fleck_disc_intensity(&options), 0.01);
    check_ratio("36 of 100", inner / all, 0.36, 0.02);
}

static void what_cannot_be_placed_is_told(void **state)
{
    static const struct {
        const char *message;
        fleck_phantom_kind kind;
        double coverage, diameter_mm, gap_mm;
        bool keep_inside;
    } cases[] = {
        { "coverage 0.4 with gap_mm 0.5 leaves no room for separate dots; give a lower coverage or "
          "a smaller gap",
          FLECK_PHANTOM_SEPARATE, 0.4, 0.3, 0.5, false },
        { "diameter_mm gives a dot that does not fit into the picture; give smaller dots or a "
          "larger "
          "picture",
          FLECK_PHANTOM_SEPARATE, 0.5, 9, 0, true },
        { "about 4692118296 dots would be drawn, at most 50000000 can be; give larger dots or a "
          "smaller "
          "picture",
          FLECK_PHANTOM_DISCS, 0.9, 0.0002, 0, false },
        { "about 11076404780 dots would be drawn, at most 50000000 can be; give larger dots or a "
          "smaller "
          "picture",
          FLECK_PHANTOM_SQUARE, 0.99, 0.0001, 0, false },
    };
    const fleck_phantom_frame frame = frame_of(8, 8);

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_phantom_options options = fleck_phantom_options_default();
        fleck_dots dots = { 0 };
        fleck_error err = { FLECK_OK, "" };

        options.kind = cases[i].kind;
        options.coverage = cases[i].coverage;
        options.diameter_mm = cases[i].diameter_mm;
        options.gsd = 1;
        options.gap_mm = cases[i].gap_mm;
        options.keep_inside = cases[i].keep_inside;
        assert_int_equal(fleck_place(&options, &frame, 0, &dots, &err), FLECK_BAD_CALL);
        assert_string_equal(err.message, cases[i].message);
        free(dots.items);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(poisson_counts_have_the_mean_and_variance_of_poisson),
        cmocka_unit_test(poisson_centres_have_the_nearest_neighbours_of_poisson),
        cmocka_unit_test(diameters_follow_their_law),
        cmocka_unit_test(a_larger_picture_and_a_margin_show_the_same_pattern),
        cmocka_unit_test(a_lattice_has_its_pitch_its_neighbours_and_its_turn),
        cmocka_unit_test(separate_dots_keep_their_distance),
        cmocka_unit_test(separate_dots_are_as_many_at_the_border_as_in_the_middle),
        cmocka_unit_test(what_cannot_be_placed_is_told),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
