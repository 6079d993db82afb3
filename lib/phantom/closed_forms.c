/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Closed forms.
 *
 * Discs (Boolean model), lambda per mm^2, independent radii: coverage, covariance, boundary and
 * Euler density after Miles (1976) and Chiu, Stoyan, Kendall & Mecke (2013), ch. 3. With
 * Gamma(h) = E[gamma_R(h)] the covariance is (1-p)^2 (exp(lambda Gamma(h)) - 1); its integral over
 * the plane over p (1-p) is the integral range (Matheron 1971).
 *
 * Field: unit variance, covariance exp(-h^2/a^2), so the second spectral moment, the variance of
 * the slope along a line, is l2 = 2/a^2. A line crosses the level sqrt(l2)/pi exp(-u^2/2) times per
 * mm (Rice 1945), and an isotropic boundary is pi/2 as long per area as it is crossed per length.
 * The Euler number of {X >= t} is (2 pi)^(-3/2) l2 t exp(-t^2/2) per area (Adler & Taylor 2007, ch.
 * 11); ink is {X <= u}, which has the law of {X >= -u}. The probability that two points with the
 * correlation rho are both ink grows with rho as exp(-u^2/(1+rho)) / (2 pi sqrt(1-rho^2))
 * (Plackett 1954); integrating this over the plane, with the order of the two integrals exchanged,
 * gives the integral range as one integral.
 *
 * Mean chords of all: pi p over the boundary per area (Cauchy).
 */
#include "phantom/closed_forms.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

static const double pi = 3.14159265358979323846;
static const double sqrt3 = 1.73205080756887729353;

double fleck_disc_intensity(const fleck_phantom_options *options)
{
    const fleck_size_law law = fleck_size_law_of(options);
    const double mean_area = pi * fleck_size_law_mean_radius_sq(&law);

    if (options->kind == FLECK_PHANTOM_SEPARATE)
        return options->coverage / mean_area;
    return -log1p(-options->coverage) / mean_area;
}

struct boolean_model {
    const fleck_size_law *law;
    double intensity_per_mm2;
};

static double covariance_term(const struct boolean_model *model, double h_mm)
{
    return h_mm * expm1(model->intensity_per_mm2 * fleck_size_law_mean_overlap(model->law, h_mm));
}

/* The three laws end their covariance differently; each gets a variable in which it is smooth. */
static double fixed_integrand(const void *context, double angle)
{
    const struct boolean_model *model = context;
    const double diameter = model->law->median_mm;

    return covariance_term(model, diameter * sin(angle)) * diameter * cos(angle);
}

static double lognormal_integrand(const void *context, double z)
{
    const struct boolean_model *model = context;
    const double h_mm = model->law->median_mm * exp(model->law->log_gsd * z);

    return covariance_term(model, h_mm) * h_mm * model->law->log_gsd;
}

static double plain_integrand(const void *context, double h_mm)
{
    return covariance_term(context, h_mm);
}

static double boolean_integral_range_mm2(const fleck_size_law *law, double intensity_per_mm2,
                                         double coverage)
{
    const struct boolean_model model = { law, intensity_per_mm2 };
    const double smallest = law->median_mm - law->half_range_mm;
    const double largest = law->median_mm + law->half_range_mm;
    double sum;

    if (law->kind == FLECK_PHANTOM_FIXED)
        sum = fleck_simpson(fixed_integrand, &model, 0, pi / 2, 200);
    else if (law->kind == FLECK_PHANTOM_LOGNORMAL)
        sum = fleck_simpson(plain_integrand, &model, 0, law->median_mm * exp(-8 * law->log_gsd),
                            200) +
              fleck_simpson(lognormal_integrand, &model, -8, 8 + 2 * law->log_gsd, 400);
    else
        sum = fleck_simpson(plain_integrand, &model, 0, smallest, 200) +
              fleck_simpson(plain_integrand, &model, smallest, largest, 400);
    return 2 * pi * sum * (1 - coverage) / coverage;
}

static void expect_chords(fleck_expected *expected)
{
    if (expected->perimeter_per_area_per_mm > 0) {
        expected->ink_mean_chord_mm = pi * expected->coverage / expected->perimeter_per_area_per_mm;
        expected->bare_mean_chord_mm =
            pi * (1 - expected->coverage) / expected->perimeter_per_area_per_mm;
    }
}

static void expect_discs(const fleck_phantom_options *options, fleck_expected *expected)
{
    const fleck_size_law law = fleck_size_law_of(options);
    const double intensity = fleck_disc_intensity(options), bare = 1 - options->coverage;
    const double radius = fleck_size_law_mean_radius(&law);

    expected->coverage = options->coverage;
    expected->intensity_per_mm2 = intensity;
    expected->mean_radius_mm = radius;
    expected->mean_radius_sq_mm2 = fleck_size_law_mean_radius_sq(&law);
    expected->d10_mm = fleck_size_law_quantile(&law, 0.1);
    expected->d50_mm = law.median_mm;
    expected->d90_mm = fleck_size_law_quantile(&law, 0.9);
    if (options->kind == FLECK_PHANTOM_SEPARATE) {
        expected->perimeter_per_area_per_mm = 2 * pi * intensity * radius;
        expected->euler_per_cm2 = 100 * intensity;
    } else {
        expected->perimeter_per_area_per_mm = bare * 2 * pi * intensity * radius;
        expected->euler_per_cm2 = 100 * bare * intensity * (1 - intensity * pi * radius * radius);
        if (intensity > 0) {
            expected->nn_mean_mm = 1 / (2 * sqrt(intensity));
            expected->integral_range_mm2 =
                boolean_integral_range_mm2(&law, intensity, options->coverage);
        }
    }
}

/* A lattice in units of its pitch: each disc has `neighbours` at the distance 1. */
struct lattice {
    double cell;        /* area that belongs to one disc */
    double full_radius; /* from here on everything is covered */
    int neighbours;
};

static struct lattice lattice_of(fleck_phantom_kind kind)
{
    if (kind == FLECK_PHANTOM_SQUARE)
        return (struct lattice){ 1, sqrt(0.5), 4 };
    return (struct lattice){ sqrt3 / 2, 1 / sqrt3, 6 };
}

/* Three discs have no point in common before everything is covered, so lenses are all there is. */
static double lattice_coverage(const struct lattice *lattice, double radius)
{
    if (radius >= lattice->full_radius)
        return 1;
    return (pi * radius * radius - lattice->neighbours / 2.0 * fleck_disc_overlap(radius, 1)) /
           lattice->cell;
}

double fleck_lattice_pitch_mm(const fleck_phantom_options *options)
{
    const struct lattice lattice = lattice_of(options->kind);
    double low = 0, high = lattice.full_radius, radius;

    if (options->pitch_mm > 0)
        return options->pitch_mm;
    radius = sqrt(options->coverage * lattice.cell / pi);
    if (radius <= 0.5)
        return options->diameter_mm / (2 * radius);
    for (int i = 0; i < 100; i++) {
        radius = (low + high) / 2;
        if (lattice_coverage(&lattice, radius) < options->coverage)
            low = radius;
        else
            high = radius;
    }
    return options->diameter_mm / (2 * radius);
}

static void expect_lattice(const fleck_phantom_options *options, fleck_expected *expected)
{
    const struct lattice lattice = lattice_of(options->kind);
    const double pitch = fleck_lattice_pitch_mm(options);
    const double radius = options->diameter_mm / (2 * pitch);
    const double intensity = 1 / (lattice.cell * pitch * pitch);

    expected->coverage = lattice_coverage(&lattice, radius);
    expected->intensity_per_mm2 = intensity;
    expected->mean_radius_mm = options->diameter_mm / 2;
    expected->mean_radius_sq_mm2 = options->diameter_mm * options->diameter_mm / 4;
    expected->d10_mm = expected->d50_mm = expected->d90_mm = options->diameter_mm;
    expected->nn_mean_mm = pitch;
    expected->pitch_mm = pitch;
    expected->first_peak_per_mm =
        options->kind == FLECK_PHANTOM_SQUARE ? 1 / pitch : 2 / (sqrt3 * pitch);
    if (radius >= lattice.full_radius) {
        expected->perimeter_per_area_per_mm = 0;
    } else if (radius > 0.5) {
        /* each neighbour hides an arc of twice acos(a / 2r), and closes half a bridge */
        expected->perimeter_per_area_per_mm =
            intensity * options->diameter_mm / 2 *
            (2 * pi - lattice.neighbours * 2 * acos(1 / (2 * radius)));
        expected->euler_per_cm2 = 100 * intensity * (1 - lattice.neighbours / 2.0);
    } else {
        expected->perimeter_per_area_per_mm = intensity * pi * options->diameter_mm;
        expected->euler_per_cm2 = 100 * intensity;
    }
}

double fleck_field_level(const fleck_phantom_options *options)
{
    return gsl_cdf_ugaussian_Pinv(options->coverage);
}

/* exp(-u^2/(1+r)) (-ln r) over r = sin t, and t = pi/2 exp(-w), which takes the corner at r = 0. */
static double field_integrand(const void *context, double w)
{
    const double level = *(const double *)context;
    const double angle = pi / 2 * exp(-w), r = sin(angle);

    return exp(-level * level / (1 + r)) * -log(r) * angle;
}

static void expect_field(const fleck_phantom_options *options, fleck_expected *expected)
{
    const double a = options->correlation_mm, p = options->coverage;
    const double level = fleck_field_level(options);
    const double slope = 2 / (a * a);

    expected->coverage = p;
    expected->level = level;
    expected->perimeter_per_area_per_mm = sqrt(slope) / 2 * exp(-level * level / 2);
    expected->euler_per_cm2 = -100 * pow(2 * pi, -1.5) * slope * level * exp(-level * level / 2);
    expected->integral_range_mm2 =
        a * a / (2 * p * (1 - p)) * fleck_simpson(field_integrand, &level, 0, 40, 2000);
}

fleck_expected fleck_expect(const fleck_phantom_options *options)
{
    fleck_expected expected = { NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN,
                                NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN };

    switch (options->kind) {
    case FLECK_PHANTOM_DISCS:
    case FLECK_PHANTOM_SEPARATE:
        expect_discs(options, &expected);
        break;
    case FLECK_PHANTOM_SQUARE:
    case FLECK_PHANTOM_HEXAGONAL:
        expect_lattice(options, &expected);
        break;
    case FLECK_PHANTOM_FIELD:
        expect_field(options, &expected);
        break;
    case FLECK_PHANTOM_PLAIN:
        expected.coverage = options->coverage;
        expected.perimeter_per_area_per_mm = 0;
        break;
    }
    expect_chords(&expected);
    return expected;
}
