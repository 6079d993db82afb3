/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/pattern.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/phantom.h"
#include "fleck/texture.h"
#include "measure/pattern_draws.h"
#include "measure/random_set_mask.h"
#include "support/check.h"

static const double px = 25.4 / 600, pi = 3.14159265358979323846;

/* What a verdict needs. */
struct patch {
    fleck_geometry geometry;
    struct components phases[2];
    fleck_disc_model grains;
};

static void patch_free(struct patch *patch)
{
    components_free(&patch->phases[0]);
    components_free(&patch->phases[1]);
}

/* Frees the mask. */
static struct patch patch_of(struct mask *ink, const fleck_mask *area)
{
    struct patch patch = { .geometry = { ink->width_px, ink->height_px, px, px } };
    fleck_random_set_options how = fleck_random_set_options_default();
    fleck_random_set set;

    how.simulations = 0;
    how.longest_lag_mm = 1.2;
    how.window_px = 64 * 64;
    set = random_set_with(ink, NULL, px, px, &how, 0);
    patch.grains = set.grain.model;
    fleck_random_set_clear(&set);
    mask_label_in(ink, area, patch.phases);
    mask_free(ink);
    return patch;
}

static struct mask phantom(fleck_phantom_kind kind, double side_mm, double coverage, uint64_t seed)
{
    fleck_phantom_options options = fleck_phantom_options_default();
    fleck_phantom *drawn = NULL;
    size_t width_px, height_px;
    const float *value;
    struct mask mask;

    options.kind = kind;
    options.width_mm = options.height_mm = side_mm;
    options.ppi = 600;
    options.coverage = coverage;
    options.sizes = FLECK_PHANTOM_FIXED;
    options.diameter_mm = 0.3;
    options.angle_deg = 20;
    options.antialias = false;
    options.softness_mm = options.noise = 0;
    options.ink_reflectance = 0;
    options.paper_reflectance = 1;
    options.seed = seed;
    assert_int_equal(fleck_phantom_new(&options, &drawn, NULL), FLECK_OK);
    value = fleck_phantom_reflectance(drawn, &width_px, &height_px);
    mask = mask_new(width_px, height_px);
    for (size_t i = 0; i < width_px * height_px; i++)
        mask.ink[i] = value[i] < 0.5f;
    fleck_phantom_free(drawn);
    return mask;
}

static void add_disc(struct mask *mask, double x_px, double y_px, double radius_px)
{
    for (size_t y = 0; y < mask->height_px; y++) {
        if (fabs((double)y - y_px) > radius_px)
            continue;
        for (size_t x = 0; x < mask->width_px; x++)
            if (hypot((double)x - x_px, (double)y - y_px) <= radius_px)
                mask->ink[y * mask->width_px + x] = 1;
    }
}

static double normal(uint64_t *state)
{
    return sqrt(-2 * log(1 - test_uniform(state))) * cos(2 * pi * test_uniform(state));
}

/* A square lattice of equal discs, each moved by a normal law. */
static struct mask jittered(double coverage, double jitter, uint64_t seed)
{
    const double radius_px = 3.5, pitch = radius_px * sqrt(pi / coverage);
    struct mask mask = mask_new(350, 300);

    for (double y = -pitch; y < 300 + pitch; y += pitch)
        for (double x = -pitch; x < 350 + pitch; x += pitch) {
            const double x_px = x + jitter * pitch * normal(&seed);

            add_disc(&mask, x_px, y + jitter * pitch * normal(&seed), radius_px);
        }
    return mask;
}

/* Thomas (1949): children around parents by a normal law. */
static struct mask clusters(size_t parents, int children, double sd_px, uint64_t seed)
{
    struct mask mask = mask_new(350, 300);

    for (size_t i = 0; i < parents; i++) {
        const double x = 350 * test_uniform(&seed), y = 300 * test_uniform(&seed);

        for (int j = 0; j < children; j++) {
            const double x_px = x + sd_px * normal(&seed);

            add_disc(&mask, x_px, y + sd_px * normal(&seed), 3.5);
        }
    }
    return mask;
}

static fleck_pattern_options quick(void)
{
    fleck_pattern_options options = fleck_pattern_options_default();

    options.simulations = 39;
    return options;
}

static fleck_pattern find(const struct patch *patch, const fleck_mask *area,
                          const fleck_pattern_options *options)
{
    fleck_pattern pattern;
    fleck_error err = { FLECK_OK, "" };

    if (fleck_pattern_find(patch->phases[FLECK_PHASE_INK].items,
                           patch->phases[FLECK_PHASE_INK].count, &patch->geometry, area,
                           &patch->grains, NAN, options, &pattern, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    return pattern;
}

/* Frees the mask. */
static fleck_order order_of(struct mask *mask)
{
    const fleck_pattern_options options = quick();
    struct patch patch = patch_of(mask, NULL);
    fleck_pattern pattern = find(&patch, NULL, &options);
    const fleck_order order = pattern.order;

    assert_true((order == FLECK_ORDER_RANDOM) == (pattern.order_p > 0.05));
    assert_null(pattern.why);
    patch_free(&patch);
    fleck_pattern_clear(&pattern);
    return order;
}

/* Of 20, 2 or more are called otherwise once in 4 times: 5 or more once in 400. */
static void overlapping_discs_are_random(void **state)
{
    static const double coverages[] = { 0.05, 0.2, 0.4 };

    (void)state;
    for (size_t c = 0; c < 3; c++) {
        size_t random = 0;

        for (uint64_t seed = 1; seed <= 20; seed++) {
            struct mask mask = phantom(FLECK_PHANTOM_DISCS, 10, coverages[c], seed);

            random += order_of(&mask) == FLECK_ORDER_RANDOM;
        }
        if (random < 17)
            fail_msg("%zu of 20 are random at %g", random, coverages[c]);
    }
}

static void lattices_are_regular(void **state)
{
    struct mask mask;

    (void)state;
    for (uint64_t seed = 1; seed <= 3; seed++) {
        mask = jittered(0.08, 0.15, seed);
        assert_string_equal(fleck_order_name(order_of(&mask)), "regular");
        mask = jittered(0.2, 0.2, seed);
        assert_string_equal(fleck_order_name(order_of(&mask)), "regular");
        mask = jittered(0.4, 0.1, seed);
        assert_string_equal(fleck_order_name(order_of(&mask)), "regular");
    }
    mask = phantom(FLECK_PHANTOM_SQUARE, 12, 0.15, 1);
    assert_string_equal(fleck_order_name(order_of(&mask)), "regular");
    mask = phantom(FLECK_PHANTOM_HEXAGONAL, 12, 0.3, 1);
    assert_string_equal(fleck_order_name(order_of(&mask)), "regular");
}

static void clusters_are_clustered(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 4; seed++) {
        struct mask mask = clusters(40, 6, 14, seed);

        assert_string_equal(fleck_order_name(order_of(&mask)), "clustered");
        mask = clusters(60, 10, 20, seed);
        assert_string_equal(fleck_order_name(order_of(&mask)), "clustered");
    }
}

static void discs_at_random_places_keep_apart_and_only_near_by(void **state)
{
    enum { PATCHES = 150, DISTANCES = 8 };
    const fleck_disc_model grains = { 2.5, 0.3, 1.2 };
    const fleck_geometry geometry = { 220, 200, px, px };
    const fleck_pattern_window window = { { 20, 20, 180, 160 }, { 0, 0, 220, 200 } };
    double r[DISTANCES], *curves = calloc((PATCHES + 1) * DISTANCES, sizeof *curves);
    const fleck_pattern_null null = { &geometry, &window, &grains, 0.01, 5, r, DISTANCES };
    double sum = 0;

    (void)state;
    assert_non_null(curves);
    for (size_t k = 0; k < DISTANCES; k++)
        r[k] = 0.2 * ((double)k + 1);
    assert_int_equal(fleck_pattern_draw_curves(&null, PATCHES, 7, 1, curves, NULL), FLECK_OK);
    /* a pair of touching discs is one dot: L(r) - r lies below 0 near by and comes back */
    for (size_t i = 0; i < PATCHES; i++)
        sum += curves[i * DISTANCES + 1] / PATCHES;
    assert_true(sum < -0.1);
    sum = 0;
    for (size_t i = 0; i < PATCHES; i++)
        sum += curves[i * DISTANCES + DISTANCES - 1] / PATCHES;
    check_near("far off", sum, -0.04, 0.04);
    free(curves);
}

/* Their fit has dots of many sizes, small ones among them that come nearer than these can. */
static void clusters_that_merge_are_not_called_regular(void **state)
{
    (void)state;
    for (uint64_t seed = 1; seed <= 4; seed++) {
        struct mask mask = clusters(120, 4, 10, seed);

        assert_string_equal(fleck_order_name(order_of(&mask)), "clustered");
    }
}

static void threads_and_the_order_of_dots_change_no_digit(void **state)
{
    struct mask mask = phantom(FLECK_PHANTOM_DISCS, 8, 0.2, 5);
    fleck_pattern_options options = quick();
    struct patch patch = patch_of(&mask, NULL);
    struct components *const dots = &patch.phases[FLECK_PHASE_INK];
    fleck_pattern one = find(&patch, NULL, &options), other;

    (void)state;
    options.threads = 3;
    for (size_t i = 0; i < dots->count / 2; i++) {
        const fleck_component moved = dots->items[i];

        dots->items[i] = dots->items[dots->count - 1 - i];
        dots->items[dots->count - 1 - i] = moved;
    }
    other = find(&patch, NULL, &options);
    assert_true(one.order_p == other.order_p && one.dots == other.dots);
    assert_memory_equal(one.l_mm, other.l_mm, one.count * sizeof *one.l_mm);
    assert_memory_equal(one.l_lo_mm, other.l_lo_mm, one.count * sizeof *one.l_lo_mm);
    assert_memory_equal(one.l_hi_mm, other.l_hi_mm, one.count * sizeof *one.l_hi_mm);
    assert_memory_equal(one.g, other.g, one.count * sizeof *one.g);
    assert_memory_equal(one.nn_g, other.nn_g, one.count * sizeof *one.nn_g);
    assert_memory_equal(one.empty_f, other.empty_f, one.count * sizeof *one.empty_f);
    fleck_pattern_clear(&other);
    options.seed = 2;
    other = find(&patch, NULL, &options);
    assert_true(memcmp(one.l_lo_mm, other.l_lo_mm, one.count * sizeof *one.l_lo_mm) != 0);
    fleck_pattern_clear(&one);
    fleck_pattern_clear(&other);
    patch_free(&patch);
}

/* The curves are those of the public functions, for the dots of the window. */
static void a_pattern_holds_the_functions_of_its_window(void **state)
{
    struct mask mask = phantom(FLECK_PHANTOM_DISCS, 12, 0.1, 9);
    fleck_pattern_options options = quick();
    struct patch patch = patch_of(&mask, NULL);
    const struct components *const dots = &patch.phases[FLECK_PHASE_INK];
    fleck_point_mm *points = calloc(dots->count, sizeof *points);
    double values[100];
    fleck_pattern pattern;
    size_t n = 0;

    (void)state;
    assert_non_null(points);
    options.window_dots = 100;
    pattern = find(&patch, NULL, &options);
    assert_true(pattern.dots > 70 && pattern.dots < 130 && pattern.count <= 100);
    check_near("in the middle", pattern.window_x_mm + pattern.window_width_mm / 2, 6, 2 * px);
    for (size_t i = 0; i < dots->count; i++) {
        fleck_point_mm at = fleck_component_centroid(&dots->items[i], &patch.geometry);

        at.x_mm -= pattern.window_x_mm;
        at.y_mm -= pattern.window_y_mm;
        if (at.x_mm >= 0 && at.y_mm >= 0 && at.x_mm <= pattern.window_width_mm &&
            at.y_mm <= pattern.window_height_mm)
            points[n++] = at;
    }
    assert_int_equal(n, pattern.dots);
    assert_int_equal(fleck_pattern_ripley_k(points, n, pattern.window_width_mm,
                                            pattern.window_height_mm, pattern.r_mm, pattern.count,
                                            values, NULL),
                     FLECK_OK);
    for (size_t k = 0; k < pattern.count; k++) {
        check_near("L(r) - r", pattern.l_mm[k], sqrt(values[k] / pi) - pattern.r_mm[k], 1e-9);
        assert_true(isnan(pattern.l_lo_mm[k]) == (pattern.r_mm[k] < 0.39) ||
                    pattern.r_mm[k] < 0.55); /* grains of 0.3 mm, and pairs of them */
        assert_true(pattern.nn_g[k] >= 0 && pattern.nn_g[k] <= 1 && pattern.empty_f[k] <= 1);
    }
    assert_int_equal(fleck_pattern_pair_correlation(points, n, pattern.window_width_mm,
                                                    pattern.window_height_mm, 0, pattern.r_mm,
                                                    pattern.count, values, NULL),
                     FLECK_OK);
    for (size_t k = 0; k < pattern.count; k++)
        check_near("g", pattern.g[k], values[k], 1e-9);
    free(points);
    fleck_pattern_clear(&pattern);
    patch_free(&patch);
}

/* A disc of the region: the dots that its border cuts are not looked at. */
static void a_mask_leaves_a_window_inside(void **state)
{
    struct mask mask = phantom(FLECK_PHANTOM_DISCS, 16, 0.15, 4);
    const size_t side = mask.width_px;
    const fleck_pattern_options options = quick();
    fleck_mask *area = NULL;
    struct patch patch;
    fleck_pattern pattern;

    (void)state;
    assert_int_equal(fleck_mask_new(side, side, &area, NULL), FLECK_OK);
    for (size_t y = 0; y < side; y++) {
        const double up = ((double)y + 0.5) / (double)side - 0.5;
        const size_t half = (size_t)((double)side * sqrt(0.25 - up * up));

        fleck_mask_add_run(area, y, side / 2 - half, side / 2 + half);
        for (size_t x = 0; x < side; x++)
            if (x < side / 2 - half || x >= side / 2 + half)
                mask.ink[y * side + x] = 0;
    }
    patch = patch_of(&mask, area);
    pattern = find(&patch, area, &options);
    assert_string_equal(fleck_order_name(pattern.order), "random");
    /* the square in a circle of 16 mm has 11.3 mm */
    assert_true(pattern.window_width_mm > 7 && pattern.window_width_mm < 11.3);
    fleck_pattern_clear(&pattern);
    patch_free(&patch);
    fleck_mask_free(area);
}

static void what_cannot_be_told_has_its_reason(void **state)
{
    static const fleck_disc_model none = { NAN, NAN, NAN };
    struct mask mask = phantom(FLECK_PHANTOM_DISCS, 6, 0.2, 2);
    fleck_pattern_options options = quick();
    struct patch patch = patch_of(&mask, NULL);
    const fleck_component *const dots = patch.phases[FLECK_PHASE_INK].items;
    const size_t n = patch.phases[FLECK_PHASE_INK].count, side = patch.geometry.width_px;
    fleck_pattern_options no_simulations = options;
    fleck_mask *area = NULL, *empty = NULL;
    struct {
        const char *why;
        size_t n;
        const fleck_mask *area;
        const fleck_disc_model *grains;
        double blur_sd_mm;
        const fleck_pattern_options *options;
    } cases[] = {
        { "no-simulations", n, NULL, &patch.grains, 0, &no_simulations },
        { "few-dots", 29, NULL, &patch.grains, 0, &options },
        { "few-dots", 1, NULL, &patch.grains, 0, &options },
        { "few-dots", 0, NULL, &patch.grains, 0, &options },
        { "no-grains", n, NULL, &none, 0, &options },
        { "too-soft", n, NULL, &patch.grains, 0.1, &options },
        { "no-window", n, NULL, &patch.grains, 0, &options },
        { "no-window", n, NULL, &none, 0, &options },
    };

    (void)state;
    no_simulations.simulations = 0;
    assert_int_equal(fleck_mask_new(side, side, &area, NULL), FLECK_OK);
    assert_int_equal(fleck_mask_new(side, side, &empty, NULL), FLECK_OK);
    for (size_t y = 40; y < 80; y++)
        fleck_mask_add_run(area, y, 40, 80);
    cases[6].area = area;
    cases[7].area = empty;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_pattern pattern;

        assert_int_equal(fleck_pattern_find(dots, cases[i].n, &patch.geometry, cases[i].area,
                                            cases[i].grains, cases[i].blur_sd_mm, cases[i].options,
                                            &pattern, NULL),
                         FLECK_OK);
        assert_non_null(pattern.why);
        assert_string_equal(pattern.why, cases[i].why);
        assert_non_null(pattern.why_text);
        assert_int_equal(pattern.order, FLECK_ORDER_NONE);
        assert_null(fleck_order_name(pattern.order));
        check_near(cases[i].why, pattern.order_p, NAN, 0);
        if (pattern.count > 0) { /* the functions are there all the same */
            check_near(cases[i].why, pattern.l_lo_mm[pattern.count - 1], NAN, 0);
            assert_true(isfinite(pattern.l_mm[pattern.count - 1]));
            assert_true(isfinite(pattern.empty_f[pattern.count - 1]));
        } else {
            assert_true(pattern.dots < 2 && pattern.r_mm == NULL);
        }
        fleck_pattern_clear(&pattern);
    }
    fleck_mask_free(area);
    fleck_mask_free(empty);
    patch_free(&patch);
}

static void calls_that_make_no_sense_are_refused(void **state)
{
    static const fleck_disc_model grains = { 2, 0.3, 1 };
    const fleck_geometry geometry = { 100, 100, px, px };
    fleck_pattern_options options = quick();
    fleck_mask *area = NULL;
    fleck_pattern pattern;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_mask_new(99, 100, &area, NULL), FLECK_OK);
    assert_int_equal(
        fleck_pattern_find(NULL, 0, &geometry, area, &grains, 0, &options, &pattern, &err),
        FLECK_BAD_CALL);
    fleck_mask_free(area);
    for (int i = 0; i < 3; i++) {
        options = quick();
        if (i == 0)
            options.simulations = 18;
        else if (i == 1)
            options.window_dots = 49;
        else
            options.threads = 0;
        assert_int_equal(
            fleck_pattern_find(NULL, 0, &geometry, NULL, &grains, 0, &options, &pattern, &err),
            FLECK_BAD_CALL);
        fleck_pattern_clear(&pattern);
    }
    fleck_pattern_clear(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(overlapping_discs_are_random),
        cmocka_unit_test(lattices_are_regular),
        cmocka_unit_test(clusters_are_clustered),
        cmocka_unit_test(clusters_that_merge_are_not_called_regular),
        cmocka_unit_test(discs_at_random_places_keep_apart_and_only_near_by),
        cmocka_unit_test(threads_and_the_order_of_dots_change_no_digit),
        cmocka_unit_test(a_pattern_holds_the_functions_of_its_window),
        cmocka_unit_test(a_mask_leaves_a_window_inside),
        cmocka_unit_test(what_cannot_be_told_has_its_reason),
        cmocka_unit_test(calls_that_make_no_sense_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
