/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdio.h>

#include "phantom/closed_forms.h"

static const double pi = 3.14159265358979323846;

/*
 * Values computed with mpmath (25 digits) from the formulas of Chiu, Stoyan, Kendall & Mecke
 * (2013), Stochastic Geometry and its Applications, ch. 3; A fixed r = 0.1, B fixed r = 0.15, C
 * uniform 0.05 to 0.15, D lognormal median 0.05, s = 0.3.
 */
static const struct boolean_case {
    const char *source;
    double intensity_per_mm2;
    fleck_phantom_sizes sizes;
    double diameter_mm, spread; /* s, or half range of the diameter */
    double mean_radius, mean_radius_sq, coverage, boundary, euler_per_mm2, pore_chord, ink_chord;
    double integral_range;
} booleans[] = {
    { "Boolean model A", 10, FLECK_PHANTOM_FIXED, 0.2, 0, 0.1, 0.01, 0.26959730895135436,
      4.589255456721281, 5.009399182125816, 0.5, 0.18455388531242345, 0.028792571992109498 },
    { "Boolean model B", 4, FLECK_PHANTOM_FIXED, 0.3, 0, 0.15, 0.0225, 0.24628678804353288,
      2.8414318675152046, 2.162423287571307, 0.8333333333333334, 0.2723038242934921,
      0.06536405201523446 },
    { "Boolean model C", 25, FLECK_PHANTOM_UNIFORM, 0.2, 0.1, 0.1, 0.010833333333333334,
      0.5729473666979169, 6.70812707739, 2.2911569858145766, 0.2, 0.2683263476296762,
      0.033653716701832384 },
    { "Boolean model D", 40, FLECK_PHANTOM_LOGNORMAL, 0.1, 0.3, 0.05230139299543585,
      0.0029930434078045253, 0.31347794480295954, 9.024177097198349, 18.021341551461973,
      0.238999370458275, 0.10913128120692046, 0.011962902144400055 },
};

static fleck_phantom_options boolean_options(const struct boolean_case *one)
{
    fleck_phantom_options options = fleck_phantom_options_default();

    options.kind = FLECK_PHANTOM_DISCS;
    options.sizes = one->sizes;
    options.diameter_mm = one->diameter_mm;
    options.gsd = exp(one->spread);
    options.diameter_half_range_mm = one->spread;
    options.coverage = -expm1(-one->intensity_per_mm2 * pi * one->mean_radius_sq);
    return options;
}

static void poisson_discs_follow_the_boolean_model(void **state)
{
    (void)state;
    for (size_t i = 0; i < sizeof booleans / sizeof *booleans; i++) {
        const struct boolean_case *one = &booleans[i];
        const fleck_phantom_options options = boolean_options(one);
        const fleck_expected expected = fleck_expect(&options);

        check_ratio(one->source, expected.coverage, one->coverage, 1e-12);
        check_ratio(one->source, expected.intensity_per_mm2, one->intensity_per_mm2, 1e-12);
        check_ratio(one->source, expected.mean_radius_mm, one->mean_radius, 1e-12);
        check_ratio(one->source, expected.mean_radius_sq_mm2, one->mean_radius_sq, 1e-12);
        check_ratio(one->source, expected.perimeter_per_area_per_mm, one->boundary, 1e-12);
        check_ratio(one->source, expected.euler_per_cm2, 100 * one->euler_per_mm2, 1e-12);
        check_ratio(one->source, expected.bare_mean_chord_mm, one->pore_chord, 1e-12);
        check_ratio(one->source, expected.ink_mean_chord_mm, one->ink_chord, 1e-12);
        check_ratio(one->source, expected.integral_range_mm2, one->integral_range, 1e-8);
        check_ratio(one->source, expected.nn_mean_mm, 0.5 / sqrt(one->intensity_per_mm2), 1e-12);
    }
}

/* Mean overlap of a disc with itself moved by h, from the same computation. */
static void discs_overlap_their_copies_as_geometry_says(void **state)
{
    static const struct {
        size_t set;
        double h_mm, overlap_mm2, tolerance;
    } cases[] = {
        { 0, 0, 0.0314159265359, 1e-11 },     { 0, 0.05, 0.0215210922503, 1e-11 },
        { 0, 0.15, 0.00453311753978, 1e-11 }, { 0, 0.25, 0, 0 },
        { 1, 0.2, 0.0154874104006, 1e-11 },   { 2, 0, 0.0340339204139, 1e-11 },
        { 2, 0.02, 0.0300412624166, 1e-11 },  { 2, 0.05, 0.0241501893472, 1e-11 },
        { 2, 0.2, 0.00297952298024, 1e-11 },  { 2, 0.25, 0.000552698221851, 1e-11 },
        { 3, 0, 0.00940292318183, 1e-11 },    { 3, 0.02, 0.0073249381898, 1e-11 },
        { 3, 0.1, 0.0011296887976, 1e-11 },   { 3, 0.3, 3.31234603716e-7, 1e-11 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_phantom_options options = boolean_options(&booleans[cases[i].set]);
        const fleck_size_law law = fleck_size_law_of(&options);

        check_near(booleans[cases[i].set].source, fleck_size_law_mean_overlap(&law, cases[i].h_mm),
                   cases[i].overlap_mm2, cases[i].tolerance);
    }
}

/* A narrow lognormal is nearly a fixed size, a narrow range too: three ways to one number. */
static void the_integral_range_is_continuous_in_the_spread(void **state)
{
    fleck_phantom_options options = boolean_options(&booleans[0]);
    double fixed;

    (void)state;
    fixed = fleck_expect(&options).integral_range_mm2;
    options.sizes = FLECK_PHANTOM_LOGNORMAL;
    options.gsd = 1.0001;
    check_ratio("narrow lognormal", fleck_expect(&options).integral_range_mm2, fixed, 1e-6);
    options.sizes = FLECK_PHANTOM_UNIFORM;
    options.diameter_half_range_mm = 0.0001;
    check_ratio("narrow range", fleck_expect(&options).integral_range_mm2, fixed, 1e-6);
    options.coverage = 1e-9;
    options.sizes = FLECK_PHANTOM_FIXED;
    check_ratio("few discs: the area of one", fleck_expect(&options).integral_range_mm2, pi * 0.01,
                1e-6);
}

static void lattices_follow_their_geometry(void **state)
{
    static const struct {
        const char *source;
        fleck_phantom_kind kind;
        double pitch, radius, intensity, coverage, peak;
    } cases[] = {
        { "square", FLECK_PHANTOM_SQUARE, 0.2, 0.05, 25, 0.19634954084936207, 5 },
        { "hexagonal", FLECK_PHANTOM_HEXAGONAL, 0.2, 0.05, 28.867513459481287, 0.22672492052927723,
          5.773502691896257 },
        { "square", FLECK_PHANTOM_SQUARE, 0.127, 0.04, 62.000124000248, 0.31164661452933656,
          7.874015748031496 },
        { "hexagonal", FLECK_PHANTOM_HEXAGONAL, 0.127, 0.04, 71.59157656266672, 0.359858513581096,
          9.092130223458673 },
        { "square, touching: pi/4", FLECK_PHANTOM_SQUARE, 1, 0.5, 1, 0.7853981633974483, 1 },
        { "hexagonal, touching: pi/(2 sqrt 3)", FLECK_PHANTOM_HEXAGONAL, 1, 0.5, 1.1547005383792515,
          0.9068996821171089, 1.1547005383792515 },
        { "square, covered", FLECK_PHANTOM_SQUARE, 1, 0.75, 1, 1, 1 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_phantom_options options = fleck_phantom_options_default();
        fleck_expected expected;

        options.kind = cases[i].kind;
        options.diameter_mm = 2 * cases[i].radius;
        options.pitch_mm = cases[i].pitch;
        expected = fleck_expect(&options);
        check_ratio(cases[i].source, expected.coverage, cases[i].coverage, 1e-12);
        check_ratio(cases[i].source, expected.intensity_per_mm2, cases[i].intensity, 1e-12);
        check_ratio(cases[i].source, expected.nn_mean_mm, cases[i].pitch, 1e-12);
        check_ratio(cases[i].source, expected.first_peak_per_mm, cases[i].peak, 1e-12);
    }
}

static void a_pitch_from_the_coverage_gives_that_coverage(void **state)
{
    static const double coverages[] = { 0.001, 0.1, 0.5, 0.78, 0.8, 0.9, 0.92, 0.99 };

    (void)state;
    for (size_t i = 0; i < 2 * sizeof coverages / sizeof *coverages; i++) {
        fleck_phantom_options options = fleck_phantom_options_default();

        options.kind = i % 2 == 0 ? FLECK_PHANTOM_SQUARE : FLECK_PHANTOM_HEXAGONAL;
        options.coverage = coverages[i / 2];
        check_ratio(fleck_phantom_kind_name(options.kind), fleck_expect(&options).coverage,
                    options.coverage, 1e-12);
    }
}

static void sizes_have_the_quantiles_of_their_law(void **state)
{
    /* ISO 9276-5: median exp(-+ 1.2815515655446004 ln gsd) */
    static const struct {
        const char *source;
        fleck_phantom_sizes sizes;
        double diameter, gsd, half_range, d10, d90;
    } cases[] = {
        { "lognormal", FLECK_PHANTOM_LOGNORMAL, 0.1, 1.5, 9, 0.0594743865619, 0.168139607284 },
        { "lognormal, gsd 2", FLECK_PHANTOM_LOGNORMAL, 0.05, 2, 9, 0.0205676437872,
          0.121550140884 },
        { "lognormal, gsd 1", FLECK_PHANTOM_LOGNORMAL, 0.3, 1, 9, 0.3, 0.3 },
        { "fixed", FLECK_PHANTOM_FIXED, 0.3, 1.5, 9, 0.3, 0.3 },
        { "uniform", FLECK_PHANTOM_UNIFORM, 0.3, 1.5, 0.1, 0.22, 0.38 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_phantom_options options = fleck_phantom_options_default();
        fleck_expected expected;

        options.sizes = cases[i].sizes;
        options.diameter_mm = cases[i].diameter;
        options.gsd = cases[i].gsd;
        options.diameter_half_range_mm = cases[i].half_range;
        expected = fleck_expect(&options);
        check_ratio(cases[i].source, expected.d10_mm, cases[i].d10, 1e-8);
        check_ratio(cases[i].source, expected.d50_mm, cases[i].diameter, 1e-8);
        check_ratio(cases[i].source, expected.d90_mm, cases[i].d90, 1e-8);
    }
}

static void a_field_cut_in_half_has_the_known_integral_range(void **state)
{
    fleck_phantom_options options = fleck_phantom_options_default();
    fleck_expected expected;

    (void)state;
    options.kind = FLECK_PHANTOM_FIELD;
    options.correlation_mm = 0.7;
    options.coverage = 0.5;
    expected = fleck_expect(&options);
    check_near("level", expected.level, 0, 1e-15);
    /* covariance asin(rho)/(2 pi); integral of asin(exp(-h^2/a^2)) over the plane pi^2 a^2 ln2 / 2
     */
    check_ratio("pi ln 2 a^2", expected.integral_range_mm2, pi * log(2) * 0.49, 1e-8);
    check_ratio("Rice: sqrt(2) / (2 a)", expected.perimeter_per_area_per_mm, sqrt(0.5) / 0.7,
                1e-12);
    check_near("no Euler number at the median", expected.euler_per_cm2, 0, 1e-12);
    options.coverage = 0.15865525393145707; /* Phi(-1) */
    check_ratio("level", fleck_expect(&options).level, -1, 1e-12);
}

static void nothing_drawn_gives_no_numbers(void **state)
{
    fleck_phantom_options options = fleck_phantom_options_default();
    fleck_expected expected;

    (void)state;
    options.coverage = 0;
    expected = fleck_expect(&options);
    check_near("coverage", expected.coverage, 0, 0);
    check_near("no neighbour", expected.nn_mean_mm, NAN, 0);
    check_near("no chord", expected.ink_mean_chord_mm, NAN, 0);
    check_near("no integral range", expected.integral_range_mm2, NAN, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(poisson_discs_follow_the_boolean_model),
        cmocka_unit_test(discs_overlap_their_copies_as_geometry_says),
        cmocka_unit_test(the_integral_range_is_continuous_in_the_spread),
        cmocka_unit_test(lattices_follow_their_geometry),
        cmocka_unit_test(a_pitch_from_the_coverage_gives_that_coverage),
        cmocka_unit_test(sizes_have_the_quantiles_of_their_law),
        cmocka_unit_test(a_field_cut_in_half_has_the_known_integral_range),
        cmocka_unit_test(nothing_drawn_gives_no_numbers),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
