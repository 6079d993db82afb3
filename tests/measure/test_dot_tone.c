/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/shape.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/texture.h"
#include "measure/rim_rows.h"
#include "measure/speckle.h"
#include "support/check.h"

static const double pi = 3.14159265358979323846;
static const double normal_10_to_90 = 2.5631031; /* of a normal distribution, in sd */

static fleck_phantom_options separate(double ppi, double diameter_mm, double softness_mm)
{
    fleck_phantom_options options = fleck_phantom_options_default();

    options.kind = FLECK_PHANTOM_SEPARATE;
    options.ppi = ppi;
    options.width_mm = options.height_mm = 9;
    options.coverage = 0.05;
    options.sizes = FLECK_PHANTOM_FIXED;
    options.diameter_mm = diameter_mm;
    options.softness_mm = softness_mm;
    options.gap_mm = 0.15 + 2 * softness_mm;
    return options;
}

/* Means over the whole dots. */
struct means {
    double tone_area_mm2, edge_width_mm, threshold_area_mm2;
};

static struct means means_of(const struct speckle *speckle)
{
    struct means sum = { 0, 0, 0 };
    double n = 0;

    for (size_t i = 0; i < speckle->blobs.count; i++) {
        const fleck_component *const component = &speckle->blobs.items[i].component;

        if (component->at_edge)
            continue;
        sum.tone_area_mm2 += speckle->tones[i].tone_area_mm2;
        sum.edge_width_mm += speckle->tones[i].edge_width_mm;
        sum.threshold_area_mm2 += fleck_area_mm2(&speckle->geometry, component->area_px);
        n += 1;
    }
    assert_true(n >= 4);
    return (struct means){ sum.tone_area_mm2 / n, sum.edge_width_mm / n,
                           sum.threshold_area_mm2 / n };
}

/* ---- areas ---- */

/* Phantoms hold the truth; paper 0.85, ink 0.05. */
static void test_areas_by_summed_tone_are_those_drawn(void **state)
{
    static const struct {
        double ppi, diameter_mm, noise, fibre;
        fleck_ink_tone_from from;
        double tolerance;
    } cases[] = {
        { 600, 0.15, 0, 0, FLECK_INK_TONE_DISCS, 0.02 },
        { 600, 0.2, 0.01, 0, FLECK_INK_TONE_DISCS, 0.02 },
        { 600, 0.4, 0.01, 0.02, FLECK_INK_TONE_CORES, 0.005 },
        { 1200, 0.1, 0, 0, FLECK_INK_TONE_DISCS, 0.005 },
        { 1200, 0.1, 0.02, 0, FLECK_INK_TONE_DISCS, 0.02 },
        { 1200, 0.15, 0.01, 0.01, FLECK_INK_TONE_DISCS, 0.01 },
        { 1200, 0.25, 0.01, 0.02, FLECK_INK_TONE_CORES, 0.005 },
        { 2400, 0.1, 0, 0, FLECK_INK_TONE_DISCS, 0.005 },
        { 2400, 0.1, 0.02, 0, FLECK_INK_TONE_DISCS, 0.02 },
        { 2400, 0.2, 0.01, 0.02, FLECK_INK_TONE_CORES, 0.005 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_phantom_options options = separate(cases[i].ppi, cases[i].diameter_mm, 0.02);
        struct speckle speckle;
        char text[128];

        options.noise = cases[i].noise;
        options.fibre = cases[i].fibre;
        speckle = speckle_from_phantom(&options);
        speckle_measure(&speckle);
        snprintf(text, sizeof text, "%g ppi, %g mm, noise %g, fibre %g", cases[i].ppi,
                 cases[i].diameter_mm, cases[i].noise, cases[i].fibre);
        check_ratio(text, means_of(&speckle).tone_area_mm2,
                    pi / 4 * cases[i].diameter_mm * cases[i].diameter_mm, cases[i].tolerance);
        check_near(text, speckle.patch.bare_reflectance, 0.85, 0.002);
        check_near(text, speckle.patch.ink_reflectance, 0.05, 0.8 * cases[i].tolerance + 0.002);
        assert_int_equal(speckle.patch.ink_from, cases[i].from);
        assert_false(speckle.patch.rim_is_cut);
        assert_false(speckle.patch.ink_is_beyond);
        speckle_free(&speckle);
    }
}

/*
 * A phantom of 600 ppi blurs with a kernel of half a pixel, which has the right variance and tails far longer
 * than a Gaussian's (excess kurtosis 2.3 with the pixel's own). Discs of 2.4 pixels then look as if their
 * ink were 1.3 times as dark as it is, and black is taken for it: areas come out at 0.8 / 0.85, the ink's
 * own reflectance over that of the paper. Three sums cannot tell tails from tone. A fourth moment would, but
 * paper off by a thousandth of the contrast moves it by more than these tails do. So the doubt is told.
 */
static void test_discs_too_small_to_tell_their_tone_are_told_of(void **state)
{
    fleck_phantom_options options = separate(600, 0.1, 0.02);
    struct speckle speckle;

    (void)state;
    speckle = speckle_from_phantom(&options);
    speckle_measure(&speckle);
    assert_int_equal(speckle.patch.ink_from, FLECK_INK_TONE_DISCS);
    assert_true(speckle.patch.ink_is_beyond);
    check_near("black", speckle.patch.ink_reflectance, 0, 0);
    check_ratio("0.8 / 0.85", means_of(&speckle).tone_area_mm2, pi / 4 * 0.01 * 0.8 / 0.85, 0.005);
    speckle_free(&speckle);
}

/* A disc blurred by a Gaussian, at a distance from its centre (Bessel I0 by its series or large terms). */
static double blurred_disc(double distance, double radius, double sd)
{
    enum { STEPS = 400 };
    double sum = 0;

    for (int i = 0; i < STEPS; i++) {
        const double t = radius * (i + 0.5) / STEPS, z = distance * t / (sd * sd);
        double bessel = 0; /* exp(-z) I0(z) as the mean of exp(z (cos a - 1)) */

        for (int j = 0; j < 64; j++)
            bessel += exp(z * (cos(pi * (j + 0.5) / 64) - 1)) / 64;
        sum += t * exp(-(distance - t) * (distance - t) / (2 * sd * sd)) * bessel;
    }
    return sum * radius / STEPS / (sd * sd);
}

/*
 * Discs of 0.1 mm 0.5 mm apart at random phases, blurred before the pixels sample them, each pixel the
 * mean of 8 x 8 points; paper 0.9, ink 0.1, or ink on dark paper.
 */
static struct speckle sampled_discs(double ppi, double pixel_y_per_x, fleck_ink ink)
{
    enum { TABLE = 600 };
    const double px = 25.4 / ppi, py = px * pixel_y_per_x, pitch_mm = 0.5;
    const fleck_geometry geometry = { (size_t)(7 / px), (size_t)(7 / py), px, py };
    uint16_t *q = calloc(geometry.width_px * geometry.height_px, sizeof *q);
    double *depth = calloc(geometry.width_px * geometry.height_px, sizeof *depth);
    double table[TABLE + 1];
    uint64_t seed = 4;

    assert_true(q != NULL && depth != NULL);
    for (int i = 0; i <= TABLE; i++)
        table[i] = blurred_disc(0.18 * i / TABLE, 0.05, 0.02);
    for (double cy = 0.3; cy < 6.8; cy += pitch_mm)
        for (double cx = 0.3; cx < 6.8; cx += pitch_mm) {
            const double x = cx + px * test_uniform(&seed), y = cy + py * test_uniform(&seed);

            for (size_t v = (size_t)((y - 0.2) / py); v <= (size_t)((y + 0.2) / py); v++)
                for (size_t u = (size_t)((x - 0.2) / px); u <= (size_t)((x + 0.2) / px); u++)
                    for (int s = 0; s < 64; s++) {
                        const double dx = ((double)u + (s % 8 + 0.5) / 8) * px - x;
                        const double dy = ((double)v + (s / 8 + 0.5) / 8) * py - y;
                        const double at = hypot(dx, dy) / 0.18 * TABLE;

                        if (at < TABLE && u < geometry.width_px && v < geometry.height_px)
                            depth[v * geometry.width_px + u] +=
                                (table[(int)at] +
                                 (at - (int)at) * (table[(int)at + 1] - table[(int)at])) /
                                64;
                    }
        }
    for (size_t i = 0; i < geometry.width_px * geometry.height_px; i++) {
        q[i] = (uint16_t)floor(65535 * (0.9 - 0.8 * depth[i]) + 0.5);
        if (ink == FLECK_INK_LIGHT)
            q[i] = (uint16_t)(65535 - q[i]);
    }
    free(depth);
    return speckle_from_q(q, &geometry, ink, FLECK_PHASE_INK);
}

/*
 * What a half-way threshold takes from a disc of 0.1 mm through 20 um of blur: 18 % at 2400 ppi, 23 % at
 * 600. No pixel shows the ink's tone here.
 */
static void test_discs_of_a_tenth_of_a_millimetre_keep_their_area(void **state)
{
    static const struct {
        double ppi, y_per_x, tolerance;
    } cases[] = {
        { 600, 1, 0.01 }, { 1200, 1, 0.002 }, { 2400, 1, 0.002 }, { 1200, 1.5, 0.005 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct speckle speckle = sampled_discs(cases[i].ppi, cases[i].y_per_x, FLECK_INK_DARK);

        speckle_measure(&speckle);
        assert_int_equal(speckle.patch.ink_from, FLECK_INK_TONE_DISCS);
        assert_false(speckle.patch.ink_is_beyond);
        check_ratio("summed tone", means_of(&speckle).tone_area_mm2, pi / 4 * 0.01,
                    cases[i].tolerance);
        speckle_free(&speckle);
    }
}

static void test_a_known_ink_tone_makes_areas_exact(void **state)
{
    static const double ppi[] = { 600, 1200 };

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct speckle speckle = sampled_discs(ppi[i], 1, FLECK_INK_DARK);
        fleck_dot_tone_input input = speckle_input(&speckle);

        input.ink_reflectance = 0.1;
        assert_int_equal(fleck_dot_tones(&input, speckle.tones, &speckle.patch, NULL), FLECK_OK);
        assert_int_equal(speckle.patch.ink_from, FLECK_INK_TONE_GIVEN);
        check_ratio("ink tone given", means_of(&speckle).tone_area_mm2, pi / 4 * 0.01, 0.0005);
        speckle_free(&speckle);
    }
}

/* Of soft edges, which take more than one round; at 0.6 dots merge, and one spans all bands. */
static void test_threads_change_no_tone(void **state)
{
    static const double coverages[] = { 0.2, 0.6 };

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        fleck_phantom_options options = fleck_phantom_options_default();
        struct speckle speckle;
        fleck_dot_tone_input input;
        fleck_dot_tone *again;
        fleck_patch_tone patch;

        options.coverage = coverages[i];
        options.softness_mm = 0.05;
        speckle = speckle_from_phantom(&options);
        assert_true(fleck_rim_bands(&speckle.geometry, 3) == 3);
        speckle_measure(&speckle);
        assert_true(speckle.blobs.count > 50);
        again = calloc(speckle.blobs.count, sizeof *again);
        assert_non_null(again);
        input = speckle_input(&speckle);
        input.threads = 3;
        assert_int_equal(fleck_dot_tones(&input, again, &patch, NULL), FLECK_OK);
        assert_memory_equal(again, speckle.tones, speckle.blobs.count * sizeof *again);
        check_near("ink", patch.ink_reflectance, speckle.patch.ink_reflectance, 0);
        check_near("bare", patch.bare_reflectance, speckle.patch.bare_reflectance, 0);
        check_near("rim", patch.rim_mm, speckle.patch.rim_mm, 0);
        free(again);
        speckle_free(&speckle);
    }
}

static void test_pale_ink_on_dark_paper_is_the_mirror_image(void **state)
{
    struct speckle dark = sampled_discs(1200, 1, FLECK_INK_DARK);
    struct speckle light = sampled_discs(1200, 1, FLECK_INK_LIGHT);
    fleck_dot_tone_input input = speckle_input(&light);

    (void)state;
    input.ink = FLECK_INK_LIGHT;
    speckle_measure(&dark);
    assert_int_equal(fleck_dot_tones(&input, light.tones, &light.patch, NULL), FLECK_OK);
    check_near("ink", light.patch.ink_reflectance, 1 - dark.patch.ink_reflectance, 1e-4);
    check_near("bare", light.patch.bare_reflectance, 1 - dark.patch.bare_reflectance, 1e-4);
    assert_int_equal(light.blobs.count, dark.blobs.count);
    for (size_t i = 0; i < dark.blobs.count; i++) {
        check_ratio("area", light.tones[i].tone_area_mm2, dark.tones[i].tone_area_mm2, 1e-3);
        check_ratio("edge", light.tones[i].edge_width_mm, dark.tones[i].edge_width_mm, 5e-3);
        check_near("mean", light.tones[i].mean_reflectance, 1 - dark.tones[i].mean_reflectance,
                   1e-4);
    }
    speckle_free(&dark);
    speckle_free(&light);
}

/* Holes in ink: the same picture with both tones and both phases exchanged. */
static void test_flecks_are_measured_as_dots_are(void **state)
{
    fleck_phantom_options options = separate(1200, 0.25, 0.02);
    struct speckle dots = speckle_from_phantom(&options);
    const size_t n = dots.geometry.width_px * dots.geometry.height_px;
    uint16_t *const q = calloc(n, sizeof *q);
    struct speckle flecks;
    fleck_dot_tone_input input;

    (void)state;
    assert_non_null(q);
    for (size_t i = 0; i < n; i++)
        q[i] = (uint16_t)(65535 - dots.q[i]);
    flecks = speckle_from_q(q, &dots.geometry, FLECK_INK_DARK, FLECK_PHASE_BARE);
    input = speckle_input(&flecks);
    input.phase = FLECK_PHASE_BARE;
    speckle_measure(&dots);
    assert_int_equal(fleck_dot_tones(&input, flecks.tones, &flecks.patch, NULL), FLECK_OK);
    check_ratio("area", means_of(&flecks).tone_area_mm2, means_of(&dots).tone_area_mm2, 2e-3);
    check_ratio("edge", means_of(&flecks).edge_width_mm, means_of(&dots).edge_width_mm, 5e-3);
    speckle_free(&dots);
    speckle_free(&flecks);
}

/*
 * On wet paper: 0.4 mm dots through 0.1 mm of blur are all edge, which at first makes them look harder
 * than they are. Area, width of the rim and tone of ink come out about right all the same.
 */
static void test_dots_softer_than_they_are_wide_are_seen_through(void **state)
{
    fleck_phantom_options options = separate(1200, 0.4, 0.1);
    struct speckle speckle;
    struct means means;

    (void)state;
    options.width_mm = options.height_mm = 14;
    speckle = speckle_from_phantom(&options);
    speckle_measure(&speckle);
    means = means_of(&speckle);
    assert_int_equal(speckle.patch.ink_from, FLECK_INK_TONE_DISCS);
    assert_true(speckle.patch.rim_mm > 0.28);
    check_ratio("area", means.tone_area_mm2, pi / 4 * 0.16, 0.02);
    assert_true(means.threshold_area_mm2 > 1.3 * pi / 4 * 0.16);
    check_ratio("edge", means.edge_width_mm, normal_10_to_90 * 0.1, 0.15);
    speckle_free(&speckle);
}

/* Dots of 0.1 mm at 30 %, 0.07 mm apart, leave no paper that the blur does not reach: said, and near. */
static void test_dots_that_leave_no_plain_paper_are_told_of(void **state)
{
    fleck_phantom_options options = separate(1200, 0.1, 0.02);
    struct speckle speckle;

    (void)state;
    options.kind = FLECK_PHANTOM_HEXAGONAL;
    options.coverage = 0.3;
    options.angle_deg = 17;
    options.width_mm = options.height_mm = 4;
    speckle = speckle_from_phantom(&options);
    speckle_measure(&speckle);
    assert_true(speckle.patch.rim_is_cut);
    assert_int_equal(speckle.patch.ink_from, FLECK_INK_TONE_DARKEST);
    check_ratio("all the same", means_of(&speckle).tone_area_mm2, pi / 4 * 0.01, 0.05);
    speckle_free(&speckle);
}

/* ---- edges ---- */

static void test_edge_widths_are_those_of_the_blur_over_a_tenfold_range(void **state)
{
    static const struct {
        double softness_mm, diameter_mm, coverage;
    } cases[] = {
        { 0.005, 0.3, 0.1 }, { 0.01, 0.3, 0.1 }, { 0.02, 0.3, 0.1 },
        { 0.04, 0.4, 0.1 },  { 0.07, 0.5, 0.1 }, { 0.1, 0.6, 0.1 },
    };
    static const double ppi[] = { 1200, 2400 };

    (void)state;
    for (size_t r = 0; r < 2; r++) {
        double width_mm[6];

        for (size_t i = 0; i < 6; i++) {
            fleck_phantom_options options =
                separate(ppi[r], cases[i].diameter_mm, cases[i].softness_mm);
            const double pixel_mm = 25.4 / ppi[r];
            /* a pixel's own width blurs as well: its variance is a twelfth of its square */
            const double sd_mm =
                sqrt(cases[i].softness_mm * cases[i].softness_mm + pixel_mm * pixel_mm / 12);
            struct speckle speckle;
            char text[64];

            options.width_mm = options.height_mm = ppi[r] > 2000 ? 6 : 9;
            options.noise = 0.01;
            speckle = speckle_from_phantom(&options);
            speckle_measure(&speckle);
            width_mm[i] = means_of(&speckle).edge_width_mm;
            snprintf(text, sizeof text, "%g ppi, softness %g mm", ppi[r], cases[i].softness_mm);
            /* below a pixel neither the phantom's edge nor the pixel's is Gaussian */
            check_ratio(text, width_mm[i], normal_10_to_90 * sd_mm,
                        cases[i].softness_mm < pixel_mm ? 0.15 : 0.08);
            assert_true(i == 0 || width_mm[i] > 1.2 * width_mm[i - 1]);
            speckle_free(&speckle);
        }
        assert_true(width_mm[5] > 10 * width_mm[0]);
    }
}

/* Half a picture of ink: its outline but for one straight edge is the region's border. */
static void test_a_dot_cut_by_the_border_has_the_edge_that_is_left(void **state)
{
    const fleck_geometry geometry = { 200, 160, 0.01, 0.01 };
    uint16_t *q = calloc(200 * 160, sizeof *q);
    struct speckle speckle;

    (void)state;
    assert_non_null(q);
    for (size_t y = 0; y < 160; y++)
        for (size_t x = 0; x < 200; x++) {
            /* an edge turned by atan(1/2), blurred by 3 pixels */
            const double away = ((double)x - 100 + ((double)y - 80) / 2) * 0.894427191;

            q[y * 200 + x] = (uint16_t)(65535 * (0.1 + 0.4 * erfc(-away / 3 / sqrt(2))));
        }
    speckle = speckle_from_q(q, &geometry, FLECK_INK_DARK, FLECK_PHASE_INK);
    speckle_measure(&speckle);
    assert_int_equal(speckle.blobs.count, 1);
    /* four directions find 5 % too much or too little of a straight outline */
    check_ratio("3 pixels of 0.01 mm", speckle.tones[0].edge_width_mm, normal_10_to_90 * 0.03,
                0.06);
    check_near("ink", speckle.patch.ink_reflectance, 0.1, 1e-3);
    check_near("bare", speckle.patch.bare_reflectance, 0.9, 1e-3);
    speckle_free(&speckle);
}

static void test_the_scanners_own_edge_is_taken_off_in_squares(void **state)
{
    fleck_phantom_options options = separate(1200, 0.3, 0.03);
    struct speckle speckle = speckle_from_phantom(&options);
    fleck_dot_tone_input input = speckle_input(&speckle);
    fleck_dot_tone *sharp = calloc(speckle.blobs.count, sizeof *sharp);

    (void)state;
    assert_non_null(sharp);
    speckle_measure(&speckle);
    input.scanner_edge_width_mm = 0.05;
    assert_int_equal(fleck_dot_tones(&input, sharp, &speckle.patch, NULL), FLECK_OK);
    for (size_t i = 0; i < speckle.blobs.count; i++) {
        const double width_mm = speckle.tones[i].edge_width_mm;

        check_near("in squares", sharp[i].edge_width_mm, sqrt(width_mm * width_mm - 0.05 * 0.05),
                   1e-12);
    }
    input.scanner_edge_width_mm = 1;
    assert_int_equal(fleck_dot_tones(&input, sharp, &speckle.patch, NULL), FLECK_OK);
    check_near("no dot is sharper than hard", sharp[0].edge_width_mm, 0, 0);
    free(sharp);
    speckle_free(&speckle);
}

/* ---- by hand, and what cannot be measured ---- */

/* A block of 8 x 6 pixels on plain paper: nothing between its two tones. */
static void test_a_hard_block_has_its_own_area_tone_and_no_edge(void **state)
{
    const fleck_geometry geometry = { 60, 50, 0.02, 0.03 };
    uint16_t *q = calloc(60 * 50, sizeof *q);
    struct speckle speckle;

    (void)state;
    assert_non_null(q);
    for (size_t i = 0; i < 60 * 50; i++)
        q[i] = i % 60 >= 20 && i % 60 < 28 && i / 60 >= 20 && i / 60 < 26 ? 6554 : 52428;
    speckle = speckle_from_q(q, &geometry, FLECK_INK_DARK, FLECK_PHASE_INK);
    speckle_measure(&speckle);
    check_ratio("48 pixels", speckle.tones[0].tone_area_mm2, 48 * 0.02 * 0.03, 1e-12);
    check_near("0.1", speckle.tones[0].mean_reflectance, 6554.0 / 65535, 1e-15);
    check_near("ISO 5-4", speckle.tones[0].density, -log10(6554.0 / 65535), 1e-12);
    check_near("hard", speckle.tones[0].edge_width_mm, 0, 1e-12);
    speckle_free(&speckle);
}

/* The left half is measured; whatever stands in the right half changes nothing. */
static void test_what_the_mask_leaves_out_changes_nothing(void **state)
{
    fleck_phantom_options options = separate(1200, 0.2, 0.02);
    struct speckle speckle = speckle_from_phantom(&options);
    const size_t width = speckle.geometry.width_px, height = speckle.geometry.height_px;
    const size_t half = width / 2, n = speckle.blobs.count;
    fleck_dot_tone_input input = speckle_input(&speckle);
    fleck_dot_tone *before = calloc(n, sizeof *before), *after = calloc(n, sizeof *after);
    fleck_patch_tone patch[2];
    fleck_mask *mask, *other;
    size_t kept = 0;

    (void)state;
    assert_true(before != NULL && after != NULL);
    assert_int_equal(fleck_mask_new(width, height, &mask, NULL), FLECK_OK);
    for (size_t y = 0; y < height; y++)
        fleck_mask_add_run(mask, y, 0, half);
    for (size_t i = 0; i < n; i++)
        if (speckle.blobs.items[i].component.max_x_px + 20 < half) {
            const fleck_outline outline = speckle.outlines[i];

            speckle.outlines[kept] = outline;
            speckle.blobs.items[kept++] = speckle.blobs.items[i];
        } else {
            free((void *)(uintptr_t)speckle.blobs.items[i].runs);
        }
    speckle.blobs.count = input.n = kept;
    assert_true(kept > 10);
    input.mask = mask;
    assert_int_equal(fleck_dot_tones(&input, before, &patch[0], NULL), FLECK_OK);
    for (size_t y = 0; y < height; y++)
        for (size_t x = half; x < width; x++)
            speckle.q[y * width + x] = (uint16_t)(x * 911 + y * 77);
    assert_int_equal(fleck_dot_tones(&input, after, &patch[1], NULL), FLECK_OK);
    for (size_t i = 0; i < kept; i++) {
        check_near("area", after[i].tone_area_mm2, before[i].tone_area_mm2, 0);
        check_near("edge", after[i].edge_width_mm, before[i].edge_width_mm, 0);
    }
    check_near("bare", patch[1].bare_reflectance, patch[0].bare_reflectance, 0);

    assert_int_equal(fleck_mask_new(width, height + 1, &other, NULL), FLECK_OK);
    input.mask = other;
    assert_int_equal(fleck_dot_tones(&input, after, &patch[1], NULL), FLECK_BAD_CALL);
    fleck_mask_free(mask);
    fleck_mask_free(other);
    free(before);
    free(after);
    speckle_free(&speckle);
}

static fleck_status fail_to_read(void *context, size_t y_px, uint16_t *q, fleck_error *err)
{
    size_t *left = context;

    if (*left == 0)
        return fleck_fail(err, FLECK_NO_RESOURCE, "row %zu is gone", y_px);
    --*left;
    memset(q, y_px % 7 == 0 ? 0 : 255, 40 * sizeof *q);
    return FLECK_OK;
}

static void test_a_reader_that_fails_ends_it(void **state)
{
    static const fleck_blob_run run = { 7, 0, 40 };
    static const size_t rows[] = { 0, 1, 20, 29, 31, 59, 60, 61, 89 };
    const fleck_geometry geometry = { 40, 30, 0.1, 0.1 };
    const fleck_blob blob = { { .area_px = 40, .max_x_px = 39, .min_y_px = 7, .max_y_px = 7 }, &run, 1 };
    const fleck_outline outline = { .perimeter_mm = 8 };
    fleck_dot_tone tone;
    fleck_patch_tone patch;
    size_t left;
    const fleck_dot_tone_input input = { .geometry = &geometry,
                                         .blobs = &blob,
                                         .outlines = &outline,
                                         .n = 1,
                                         .cut = { .k = 100 },
                                         .ink_reflectance = 0,
                                         .scanner_edge_width_mm = NAN,
                                         .read = fail_to_read,
                                         .context = &left };

    (void)state;
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        fleck_error err = { FLECK_OK, "" };

        left = rows[i];
        assert_int_equal(fleck_dot_tones(&input, &tone, &patch, &err), FLECK_NO_RESOURCE);
        assert_non_null(strstr(err.message, "is gone"));
    }
    left = 10000;
    assert_int_equal(fleck_dot_tones(&input, &tone, &patch, NULL), FLECK_OK);
}

static void test_dots_without_runs_and_pictures_without_dots_have_no_tones(void **state)
{
    const fleck_geometry geometry = { 12, 9, 0.02, 0.02 };
    uint16_t *q = calloc(12 * 9, sizeof *q);
    const fleck_blob bare_of_runs = { .component = { .area_px = 108, .at_edge = true } };
    struct speckle speckle;
    fleck_dot_tone_input input;
    fleck_dot_tone tone;

    (void)state;
    assert_non_null(q);
    q[0] = 60000;
    speckle = speckle_from_q(q, &geometry, FLECK_INK_DARK, FLECK_PHASE_INK);
    input = speckle_input(&speckle);
    input.blobs = &bare_of_runs;
    assert_int_equal(fleck_dot_tones(&input, &tone, &speckle.patch, NULL), FLECK_OK);
    check_near("no runs", tone.mean_reflectance, NAN, 0);
    check_near("no runs", tone.density, NAN, 0);
    check_near("no runs", tone.tone_area_mm2, NAN, 0);
    check_near("no runs", tone.edge_width_mm, NAN, 0);
    input.n = 0;
    assert_int_equal(fleck_dot_tones(&input, NULL, &speckle.patch, NULL), FLECK_OK);
    speckle_measure(&speckle); /* all ink but one pixel */
    check_near("black", speckle.tones[0].mean_reflectance, 0, 0);
    check_near("of black there is no density", speckle.tones[0].density, NAN, 0);
    speckle_free(&speckle);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_areas_by_summed_tone_are_those_drawn),
        cmocka_unit_test(test_discs_of_a_tenth_of_a_millimetre_keep_their_area),
        cmocka_unit_test(test_a_known_ink_tone_makes_areas_exact),
        cmocka_unit_test(test_discs_too_small_to_tell_their_tone_are_told_of),
        cmocka_unit_test(test_threads_change_no_tone),
        cmocka_unit_test(test_pale_ink_on_dark_paper_is_the_mirror_image),
        cmocka_unit_test(test_flecks_are_measured_as_dots_are),
        cmocka_unit_test(test_dots_softer_than_they_are_wide_are_seen_through),
        cmocka_unit_test(test_dots_that_leave_no_plain_paper_are_told_of),
        cmocka_unit_test(test_edge_widths_are_those_of_the_blur_over_a_tenfold_range),
        cmocka_unit_test(test_a_dot_cut_by_the_border_has_the_edge_that_is_left),
        cmocka_unit_test(test_the_scanners_own_edge_is_taken_off_in_squares),
        cmocka_unit_test(test_a_hard_block_has_its_own_area_tone_and_no_edge),
        cmocka_unit_test(test_what_the_mask_leaves_out_changes_nothing),
        cmocka_unit_test(test_a_reader_that_fails_ends_it),
        cmocka_unit_test(test_dots_without_runs_and_pictures_without_dots_have_no_tones),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
