/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/spectrum_features.h"

#include <math.h>
#include <stdlib.h>

#include "fleck/phantom.h"
#include "phantom/closed_forms.h"
#include "support/check.h"

static const double PI = 3.14159265358979323846;

/* Values of reflectance, row by row, and the features of their spectrum; ink below 0.5. */
static fleck_spectrum_features features_of(const float *values, const fleck_geometry *geometry,
                                           size_t tile_px, bool with_ink, unsigned threads)
{
    const size_t width = geometry->width_px;
    fleck_spectrum_maker *maker = NULL;
    fleck_spectrum spectrum;
    fleck_spectrum_features features;
    fleck_error err = { FLECK_OK, "" };
    uint16_t *const q = calloc(width, sizeof *q);
    fleck_run *const runs = calloc(width / 2 + 1, sizeof *runs);

    assert_true(q != NULL && runs != NULL);
    assert_int_equal(
        fleck_spectrum_maker_new(geometry, NULL, tile_px, with_ink, threads, &maker, &err),
        FLECK_OK);
    for (size_t y = 0; y < geometry->height_px; y++) {
        size_t count;

        for (size_t x = 0; x < width; x++)
            q[x] = (uint16_t)(65535 * (double)values[y * width + x] + 0.5);
        count = fleck_runs_from_row(q, width, 32767, FLECK_INK_DARK, runs);
        assert_int_equal(fleck_spectrum_maker_row(maker, q, runs, count, &err), FLECK_OK);
    }
    assert_int_equal(fleck_spectrum_maker_finish(maker, &spectrum, &err), FLECK_OK);
    fleck_spectrum_maker_free(maker);
    fleck_spectrum_features_find(&spectrum, &features);
    fleck_spectrum_clear(&spectrum);
    free(q);
    free(runs);
    return features;
}

static fleck_phantom_options hard(fleck_phantom_kind kind, double coverage, uint64_t seed)
{
    fleck_phantom_options options = fleck_phantom_options_default();

    options.kind = kind;
    options.width_mm = options.height_mm = 20;
    options.ppi = 300;
    options.coverage = coverage;
    options.sizes = FLECK_PHANTOM_FIXED;
    options.diameter_mm = 0.5;
    options.antialias = false;
    options.softness_mm = options.noise = options.fibre = 0;
    options.ink_reflectance = 0;
    options.paper_reflectance = 1;
    options.seed = seed;
    return options;
}

static fleck_spectrum_features drawn(const fleck_phantom_options *options)
{
    fleck_phantom *phantom = NULL;
    fleck_error err = { FLECK_OK, "" };
    fleck_geometry geometry = { 0, 0, 25.4 / options->ppi, 25.4 / options->ppi };
    fleck_spectrum_features features;
    const float *values;

    if (fleck_phantom_new(options, &phantom, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    values = fleck_phantom_reflectance(phantom, &geometry.width_px, &geometry.height_px);
    features = features_of(values, &geometry, 128, true, 1);
    fleck_phantom_free(phantom);
    return features;
}

static void lattices_and_hard_cores_have_a_spacing(void **state)
{
    static const fleck_phantom_kind kinds[] = { FLECK_PHANTOM_SQUARE, FLECK_PHANTOM_HEXAGONAL };
    const double step_per_mm = 300 / 25.4 / 128;

    (void)state;
    for (size_t k = 0; k < 2; k++) {
        fleck_phantom_options options = hard(kinds[k], 0.2, 1);
        fleck_spectrum_features features;

        options.angle_deg = 17;
        features = drawn(&options);
        check_near("first peak of a lattice, one ring", features.peak_frequency_per_mm,
                   fleck_expect(&options).first_peak_per_mm, 1.01 * step_per_mm);
        check_ratio("1 / peak", features.dominant_spacing_mm, 1 / features.peak_frequency_per_mm,
                    1e-14);
        assert_true(features.peak_p < 1e-6);
    }
    {
        fleck_phantom_options options = hard(FLECK_PHANTOM_SEPARATE, 0.25, 4);
        fleck_spectrum_features features;

        options.gap_mm = 0.2;
        features = drawn(&options);
        assert_true(features.dominant_spacing_mm > 0.6 && features.dominant_spacing_mm < 1.2);
    }
}

/* 60 pictures each: at 5 % 3 expected, above 8 with a chance of 0.4 % */
static void random_discs_have_neither_spacing_nor_direction(void **state)
{
    enum { PICTURES = 60 };
    static const double coverages[] = { 0.1, 0.5, 0.9 };
    size_t small_p = 0;

    (void)state;
    for (size_t c = 0; c < 3; c++) {
        size_t peaks = 0, directions = 0;

        for (size_t i = 0; i < PICTURES; i++) {
            const fleck_phantom_options options =
                hard(FLECK_PHANTOM_DISCS, coverages[c], 100 * c + i + 1);
            const fleck_spectrum_features features = drawn(&options);

            peaks += isnan(features.dominant_spacing_mm) ? 0 : 1;
            directions += isnan(features.direction_deg) ? 0 : 1;
            small_p += features.anisotropy_p < 0.5 ? 1 : 0;
            assert_true(features.anisotropy < 0.3);
        }
        assert_true(peaks <= 8);
        assert_true(directions <= 4);
    }
    assert_in_range(small_p, 70, 112); /* half of 180, 3 standard deviations and a little */
}

static float *waves(const fleck_geometry *geometry, double per_mm, double angle_deg,
                    double amplitude, double noise, uint64_t seed)
{
    const size_t count = geometry->width_px * geometry->height_px;
    float *const values = malloc(count * sizeof *values);
    const double angle = angle_deg * PI / 180;

    assert_non_null(values);
    for (size_t i = 0; i < count; i++) {
        const double x = (double)(i % geometry->width_px) * geometry->pixel_x_mm;
        const double y = -(double)(i / geometry->width_px) * geometry->pixel_y_mm;
        const double along = 2 * PI * per_mm * (x * cos(angle) + y * sin(angle));

        values[i] =
            (float)(0.5 + amplitude * cos(along) + noise * (test_uniform(&seed) - 0.5));
    }
    return values;
}

/* A wave whose frequency points to 30 degrees has its crests along 120, y upward. */
static void grain_runs_across_its_frequency(void **state)
{
    static const fleck_geometry geometries[] = { { 320, 320, 0.1, 0.1 }, { 320, 320, 0.05, 0.1 } };
    static const double angles[] = { 0, 30, 90, 135, 170 };

    (void)state;
    for (size_t g = 0; g < 2; g++) {
        for (size_t a = 0; a < 5; a++) {
            float *const values = waves(&geometries[g], 1.5, angles[a], 0.2, 0.3, 8);
            const fleck_spectrum_features features =
                features_of(values, &geometries[g], 128, true, 1);
            const double turn = features.direction_deg - angles[a] - 90;

            check_near("crests", sin(turn * PI / 180), 0, 0.02);
            assert_true(features.direction_deg >= 0 && features.direction_deg < 180);
            assert_true(features.anisotropy > 0.5 && features.anisotropy <= 1);
            free(values);
        }
    }
}

static void a_wave_has_its_sd_in_its_octave(void **state)
{
    static const double wavelengths[] = { 0.35, 0.7, 1.4, 2.8 };
    const fleck_geometry geometry = { 512, 512, 0.05, 0.05 };

    (void)state;
    for (size_t o = 0; o < 4; o++) {
        float *const values = waves(&geometry, 1 / wavelengths[o], 20, 0.2, 0, 1);
        const fleck_spectrum_features features = features_of(values, &geometry, 256, false, 1);

        check_ratio("sd of a wave: amplitude / sqrt 2", features.octave_sd[o], 0.2 / sqrt(2), 0.02);
        check_near("mean frequency", features.mean_frequency_per_mm, 1 / wavelengths[o], 0.05);
        for (size_t other = 0; other < FLECK_SPECTRUM_OCTAVES; other++) {
            if (other != o)
                assert_true(features.octave_sd[other] < 0.02);
        }
        free(values);
    }
}

/* White noise of variance v has the power v pixel area everywhere: each octave has its area's share. */
static void white_noise_fills_octaves_by_area(void **state)
{
    static const fleck_geometry geometries[] = { { 512, 512, 0.05, 0.05 }, { 512, 512, 0.025, 0.05 } };

    (void)state;
    for (size_t g = 0; g < 2; g++) {
        const double pixel_mm2 = geometries[g].pixel_x_mm * geometries[g].pixel_y_mm;
        float *const values = waves(&geometries[g], 0, 0, 0, 0.6, 6);
        const fleck_spectrum_features features =
            features_of(values, &geometries[g], 256, true, 2);

        for (size_t o = 0; o < 4; o++) {
            const double shortest = ldexp(0.25, (int)o);
            const double area = PI * 0.75 / (shortest * shortest);

            check_ratio("variance 0.03, by area", features.octave_sd[o],
                        sqrt(0.03 * pixel_mm2 * area), o < 3 ? 0.05 : 0.15);
        }
        check_near("no spacing in noise", features.dominant_spacing_mm, NAN, 0);
        free(values);
    }
}

static void what_a_tile_does_not_hold_is_not_given(void **state)
{
    const fleck_geometry geometry = { 64, 64, 0.15, 0.15 };
    const fleck_spectrum empty = { 0 };
    float *const values = waves(&geometry, 0, 0, 0, 0.6, 6);
    float *const level = waves(&geometry, 0, 0, 0, 0, 6);
    fleck_spectrum_features features = features_of(values, &geometry, 32, true, 1);

    (void)state;
    check_near("Nyquist 3.3 below 4 / mm", features.octave_sd[0], NAN, 0);
    assert_true(features.octave_sd[1] > 0 && features.octave_sd[3] > 0);
    check_near("8 mm in a tile of 4.8 mm", features.octave_sd[4], NAN, 0);
    features = features_of(values, &geometry, 64, true, 1);
    check_near("one tile has no scatter", features.anisotropy_p, NAN, 0);
    check_near("one tile has no scatter", features.direction_deg, NAN, 0);
    features = features_of(level, &geometry, 32, true, 1);
    check_near("flat", features.peak_frequency_per_mm, NAN, 0);
    check_near("flat", features.mean_frequency_per_mm, NAN, 0);
    check_near("flat", features.anisotropy, NAN, 0);
    fleck_spectrum_features_find(&empty, &features);
    check_near("empty", features.anisotropy, NAN, 0);
    check_near("empty", features.octave_sd[2], NAN, 0);
    free(values);
    free(level);
}

static void threads_change_no_feature(void **state)
{
    const fleck_geometry geometry = { 300, 300, 0.1, 0.1 };
    float *const values = waves(&geometry, 1.1, 40, 0.1, 0.5, 2);
    const fleck_spectrum_features one = features_of(values, &geometry, 64, true, 1);
    const fleck_spectrum_features four = features_of(values, &geometry, 64, true, 4);

    (void)state;
    check_near("4 threads", four.anisotropy, one.anisotropy, 0);
    check_near("4 threads", four.anisotropy_p, one.anisotropy_p, 0);
    check_near("4 threads", four.direction_deg, one.direction_deg, 0);
    free(values);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lattices_and_hard_cores_have_a_spacing),
        cmocka_unit_test(random_discs_have_neither_spacing_nor_direction),
        cmocka_unit_test(grain_runs_across_its_frequency),
        cmocka_unit_test(a_wave_has_its_sd_in_its_octave),
        cmocka_unit_test(white_noise_fills_octaves_by_area),
        cmocka_unit_test(what_a_tile_does_not_hold_is_not_given),
        cmocka_unit_test(threads_change_no_feature),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
