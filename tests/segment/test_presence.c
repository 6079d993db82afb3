/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The decision on whole patches. Rates of error over many are in docs/thresholds.md. */
#include "segment/presence.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "patches.h"
#include "support/check.h"

/* Decide on rows; `mask` has 1 for inside, NULL for all. */
static fleck_presence_finding decide_masked(const uint16_t *q, const uint8_t *mask, size_t width,
                                            size_t height)
{
    uint64_t *const counts = calloc(FLECK_LEVELS, sizeof *counts);
    fleck_run *const runs = malloc((width + 1) / 2 * sizeof *runs);
    fleck_presence *presence;
    fleck_presence_finding finding;
    fleck_cut cut = { 0 };

    assert_non_null(counts);
    assert_non_null(runs);
    assert_int_equal(fleck_presence_new(width, mask != NULL, &presence, NULL), FLECK_OK);
    for (size_t y = 0; y < height; y++) {
        size_t n = 0;

        for (size_t x = 0; x < width; x++) {
            const bool inside = mask == NULL || mask[y * width + x] != 0;

            counts[q[y * width + x]] += inside;
            if (inside && (x == 0 || mask == NULL || mask[y * width + x - 1] == 0) && mask != NULL)
                runs[n++].start_px = (uint32_t)x;
            if (inside && mask != NULL)
                runs[n - 1].end_px = (uint32_t)x + 1;
        }
        fleck_presence_row(presence, q + y * width, mask != NULL ? runs : NULL, n);
    }
    (void)fleck_cut_otsu(counts, FLECK_INK_DARK, &cut, NULL); /* fails for one tone */
    finding = fleck_presence_decide(presence, counts, &cut);
    fleck_presence_free(presence);
    free(runs);
    free(counts);
    return finding;
}

static fleck_presence_finding decide(const struct patch *patch, double codes)
{
    uint16_t *const q = patch_scan(patch, codes);
    const fleck_presence_finding finding =
        decide_masked(q, NULL, patch->width_px, patch->height_px);

    free(q);
    return finding;
}

static void check_present(const char *source, const fleck_presence_finding *finding, bool present)
{
    if (finding->present != present)
        print_error("statistic %g of test %d, cut %g from the main tone\n", finding->statistic,
                    (int)finding->test, finding->cut_distance);
    check_near(source, finding->present, present, 0);
    check_near("the critical value is 1", finding->critical, 1, 0);
    if (!finding->only_specks)
        check_near("the statistic says so too", finding->statistic >= 1, present, 0);
}

static void test_noise_and_uneven_light_are_no_speckle(void **state)
{
    static const struct {
        const char *source;
        double tone, sd, slope, bow, codes;
        size_t smooth_px;
    } cases[] = {
        { "paper noise", 0.8, 0.01, 0, 0, 255, 0 },
        { "strong paper noise, 16 bits", 0.8, 0.06, 0, 0, 65535, 0 },
        { "ink noise", 0.06, 0.004, 0, 0, 255, 0 },
        { "noise of a tenth of a code, half-way between two codes", 0.80346, 0.0008, 0, 0, 255, 0 },
        { "noise below a code: three codes", 0.8, 0.004, 0, 0, 255, 0 },
        { "fibres of 3 pixels", 0.8, 0.02, 0, 0, 255, 1 },
        { "fibres of 9 pixels", 0.8, 0.02, 0, 0, 65535, 4 },
        { "fibres of 15 pixels below a code", 0.8, 0.003, 0, 0, 255, 7 },
        { "an even shade of 25 %", 0.75, 0.005, 0.12, 0, 255, 0 },
        { "a bowed shade of 20 %", 0.8, 0.01, 0, -0.4, 65535, 0 },
        { "half of the noise cut off at white", 1.0, 0.02, 0, 0, 255, 0 },
        { "fibres, half of them cut off at white", 1.0, 0.02, 0, 0, 255, 2 },
        { "most of the noise cut off at black", -0.01, 0.02, 0, 0, 65535, 0 },
    };
    uint64_t seed = 1;

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct patch patch = patch_new(220, 180, cases[i].tone);
        fleck_presence_finding finding;

        patch_shade(&patch, cases[i].slope, cases[i].bow);
        patch_add_noise(&patch, cases[i].sd, cases[i].smooth_px, &seed);
        finding = decide(&patch, cases[i].codes);
        check_present(cases[i].source, &finding, false);
        patch_free(&patch);
    }
}

static void test_speckle_of_few_and_of_many_dots_is_present(void **state)
{
    static const struct {
        const char *source;
        double coverage, contrast, sd, radius_px, slope, codes;
        size_t smooth_px;
    } cases[] = {
        { "2 %, 10 times the noise", 0.02, 0.3, 0.03, 4, 0, 255, 0 },
        { "5 %, 5 times the noise", 0.05, 0.2, 0.04, 3, 0, 255, 0 },
        { "10 %, 5 times the noise of fibres", 0.1, 0.2, 0.04, 5, 0, 255, 1 },
        { "30 %, 5 times the noise", 0.3, 0.1, 0.02, 3, 0, 65535, 0 },
        { "50 %, 5 times the noise, shaded", 0.5, 0.1, 0.02, 4, 0.1, 255, 0 },
        { "70 %, 5 times the noise", 0.7, 0.2, 0.04, 5, 0, 255, 0 },
        { "90 %, 5 times the noise", 0.9, 0.3, 0.06, 4, 0, 255, 0 },
        { "98 %, 10 times the noise", 0.98, 0.6, 0.06, 4, 0, 65535, 0 },
        { "large dots", 0.4, 0.5, 0.02, 35, 0, 255, 0 },
        { "no noise at all", 0.1, 0.7, 0, 3, 0, 255, 0 },
    };
    uint64_t seed = 2;

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct patch patch = patch_new(220, 180, 0.8);
        fleck_presence_finding finding;

        patch_add_discs(&patch, cases[i].radius_px, cases[i].coverage, cases[i].contrast, &seed);
        patch_shade(&patch, cases[i].slope, 0);
        patch_add_noise(&patch, cases[i].sd, cases[i].smooth_px, &seed);
        finding = decide(&patch, cases[i].codes);
        check_present(cases[i].source, &finding, true);
        patch_free(&patch);
    }
}

/* Noise with the grain of the dots, which no averaging over cells takes away. */
static void test_speckle_in_noise_of_its_own_grain_is_present(void **state)
{
    static const struct {
        const char *source;
        size_t side_px;
        double coverage, contrast, sd, radius_px;
        size_t smooth_px;
    } cases[] = {
        { "3 % in a small patch", 120, 0.03, 0.2, 0.04, 5, 1 },
        { "30 % in a small patch", 120, 0.3, 0.2, 0.04, 5, 3 },
        { "97 % in a small patch", 120, 0.97, 0.2, 0.04, 5, 1 },
        { "30 % in a larger one", 400, 0.3, 0.2, 0.04, 6, 3 },
        { "70 % in a larger one", 400, 0.7, 0.2, 0.04, 6, 3 },
    };
    uint64_t seed = 8;

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        for (int repeat = 0; repeat < 10; repeat++) {
            struct patch patch = patch_new(cases[i].side_px, cases[i].side_px, 0.8);
            fleck_presence_finding finding;

            patch_add_discs(&patch, cases[i].radius_px, cases[i].coverage, cases[i].contrast, &seed);
            patch_add_noise(&patch, cases[i].sd, cases[i].smooth_px, &seed);
            finding = decide(&patch, 255);
            check_present(cases[i].source, &finding, true);
            patch_free(&patch);
        }
    }
}

static void test_small_patches_of_paper_are_no_speckle(void **state)
{
    static const struct {
        const char *source;
        double slope, bow;
        size_t side_px, smooth_px;
    } cases[] = {
        { "fibres of 3 pixels", 0, 0, 64, 1 },
        { "fibres of 9 pixels", 0, 0, 100, 4 },
        { "fibres of 9 pixels in slanting light", 0.3, 0, 100, 4 },
        { "fibres of 5 pixels in bowed light", 0, -0.4, 200, 2 },
    };
    uint64_t seed = 9;

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        for (int repeat = 0; repeat < 20; repeat++) {
            struct patch patch = patch_new(cases[i].side_px, cases[i].side_px, 0.7);
            fleck_presence_finding finding;

            patch_shade(&patch, cases[i].slope, cases[i].bow);
            patch_add_noise(&patch, 0.03, cases[i].smooth_px, &seed);
            finding = decide(&patch, 255);
            check_present(cases[i].source, &finding, false);
            patch_free(&patch);
        }
    }
}

/* What a surface of second order does not follow is left, and smooth: no speckle. */
static void test_a_wave_of_light_on_a_small_patch_is_no_speckle(void **state)
{
    uint64_t seed = 11;

    (void)state;
    for (int i = 0; i < 8; i++) {
        struct patch patch = patch_new(100, 64, 0.8);
        fleck_presence_finding finding;

        for (size_t k = 0; k < 100 * 64; k++) {
            const double x = (double)(k % 100) / 50 - 1, y = (double)k / 100.0 / 32 - 1;

            patch.tone[k] *= 0.8 + 0.2 * cos(0.8 * i + 1.5708 * (0.8 * x + 0.6 * y));
        }
        patch_add_noise(&patch, 0.0005, 0, &seed);
        finding = decide(&patch, 65535);
        check_present("half a wave of 20 %", &finding, false);
        patch_free(&patch);
    }
}

static void test_two_hard_tones_are_present_however_few_their_pixels(void **state)
{
    static const uint16_t two[] = { 0, 65535 }, column[] = { 65535, 65535, 9000 };
    static const uint16_t soft[] = { 60000, 59000, 61000, 9000, 8500, 9200, 60500, 60100 };
    uint16_t half[64 * 64], noise[60 * 50];
    uint64_t seed = 3;
    fleck_presence_finding finding;

    (void)state;
    finding = decide_masked(two, NULL, 2, 1);
    check_present("two pixels", &finding, true);
    finding = decide_masked(column, NULL, 1, 3);
    check_present("three pixels in a column", &finding, true);
    finding = decide_masked(soft, NULL, 8, 1);
    check_present("eight pixels of two tones with noise", &finding, true);
    for (size_t i = 0; i < 64 * 64; i++)
        half[i] = i % 64 < 20 ? 4000 : 50000;
    finding = decide_masked(half, NULL, 64, 64);
    check_present("one straight edge", &finding, true);
    assert_true(finding.cut_distance > 10);
    assert_false(finding.cut_in_noise);
    for (size_t i = 0; i < 60 * 50; i++)
        noise[i] = test_random(&seed) % 5 < 2 ? 0 : 65535;
    finding = decide_masked(noise, NULL, 60, 50);
    check_present("1 bit: ink pixels at random", &finding, true);
}

static void test_no_pixels_and_one_tone_are_not_present(void **state)
{
    static const uint16_t one[] = { 777, 777, 777, 777 };
    static const uint8_t nothing[] = { 0, 0, 0, 0 };
    fleck_presence_finding finding = decide_masked(one, NULL, 2, 2);

    (void)state;
    check_present("one tone", &finding, false);
    check_near("one tone has no statistic", finding.statistic, 0, 0);
    check_near("one tone has no cut", finding.cut_distance, NAN, 0);
    finding = decide_masked(one, nothing, 2, 2);
    check_present("no pixels", &finding, false);
}

/* Blocks of 8 x 8 pixels at two tones: what is left of paper noise in a JPEG of low quality. */
static void test_blocks_of_a_jpeg_are_no_speckle(void **state)
{
    const size_t width = 203, height = 160;
    struct patch patch = patch_new(width, height, 0.8);
    fleck_presence_finding finding;
    bool raised[26 * 20];
    uint64_t seed = 4;

    (void)state;
    for (size_t i = 0; i < 26 * 20; i++)
        raised[i] = test_random(&seed) % 5 < 2;
    for (size_t i = 0; i < width * height; i++)
        patch.tone[i] += raised[(i / width) / 8 * 26 + (i % width + 3) / 8] ? 0.026 : 0;
    finding = decide(&patch, 255);
    check_present("blocks of 3.4 codes", &finding, false);
    for (size_t i = 0; i < width * height; i++)
        patch.tone[i] += raised[(i / width) / 8 * 26 + (i % width + 3) / 8] ? -0.4 : 0;
    finding = decide(&patch, 255);
    check_present("squares of 8 pixels that are print", &finding, true);
    patch_free(&patch);
}

/* Half a code from block to block hides no dots of 6 codes. */
static void test_pale_dots_among_faint_blocks_are_present(void **state)
{
    const size_t width = 203, height = 160;
    struct patch patch = patch_new(width, height, 0.8);
    fleck_presence_finding finding;
    bool raised[26 * 20];
    uint64_t seed = 10;

    (void)state;
    for (size_t i = 0; i < 26 * 20; i++)
        raised[i] = test_random(&seed) % 2 == 0;
    for (size_t i = 0; i < width * height; i++)
        patch.tone[i] += raised[(i / width) / 8 * 26 + i % width / 8] ? 0.008 : 0;
    finding = decide(&patch, 255);
    check_present("blocks of one code", &finding, false);
    patch_add_discs(&patch, 6, 0.03, 0.045, &seed);
    finding = decide(&patch, 255);
    check_present("with dots", &finding, true);
    patch_free(&patch);
}

static void test_a_cut_in_the_noise_is_told(void **state)
{
    static const struct {
        const char *source;
        double coverage, contrast;
        bool in_noise;
    } cases[] = {
        { "3 %: Otsu parts the paper's noise", 0.03, 0.15, true },
        { "97 %: Otsu parts the ink's noise", 0.97, 0.15, true },
        { "30 % at 5 times the noise", 0.3, 0.15, false },
        { "60 % at 5 times the noise", 0.6, 0.15, false },
        { "3 % at 20 times the noise", 0.03, 0.6, false },
    };
    uint64_t seed = 5;

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct patch patch = patch_new(220, 180, 0.8);
        fleck_presence_finding finding;

        patch_add_discs(&patch, 4, cases[i].coverage, cases[i].contrast, &seed);
        patch_add_noise(&patch, 0.03, 0, &seed);
        finding = decide(&patch, 65535);
        check_present(cases[i].source, &finding, true);
        check_near(cases[i].source, finding.cut_in_noise, cases[i].in_noise, 0);
        check_near("1.5 standard deviations part the two", finding.cut_distance < 1.5,
                   cases[i].in_noise, 0);
        patch_free(&patch);
    }
}

static void test_specks_of_dust_on_blank_paper_are_no_print(void **state)
{
    struct patch patch = patch_new(300, 300, 0.8);
    fleck_presence_finding finding;
    uint64_t seed = 6;

    (void)state;
    patch_add_discs(&patch, 3, 0.0005, 0.25, &seed);
    patch_add_noise(&patch, 0.01, 0, &seed);
    finding = decide(&patch, 255);
    check_present("two specks", &finding, false);
    assert_true(finding.only_specks);
    check_near("the specks are seen, though", finding.statistic >= 1, 1, 0);
    patch_free(&patch);
}

static void test_pixels_outside_the_mask_do_not_matter(void **state)
{
    const size_t width = 181, height = 150;
    struct patch patch = patch_new(width, height, 0.8);
    uint8_t *const mask = calloc(width * height, 1);
    uint16_t *q;
    uint64_t seed = 7;
    fleck_presence_finding masked, other, whole;

    (void)state;
    assert_non_null(mask);
    patch_add_noise(&patch, 0.01, 1, &seed);
    q = patch_scan(&patch, 255);
    memset(mask, 1, width * height);
    whole = decide_masked(q, NULL, width, height);
    masked = decide_masked(q, mask, width, height);
    check_near("a mask over all is none", masked.statistic, whole.statistic, 0);
    check_near("a mask over all is none", masked.cut_distance, whole.cut_distance, 0);
    for (size_t i = 0; i < width * height; i++) {
        const double x = (double)(i % width) - 90, y = (double)(i / width) - 75;

        mask[i] = x * x + y * y < 70 * 70 && x * x + y * y > 9 * 9; /* a ring */
    }
    masked = decide_masked(q, mask, width, height);
    for (size_t i = 0; i < width * height; i++)
        q[i] = mask[i] ? q[i] : (uint16_t)test_random(&seed);
    other = decide_masked(q, mask, width, height);
    check_near("other pixels outside", other.statistic, masked.statistic, 0);
    check_present("paper in a ring, anything around", &other, false);
    whole = decide_masked(q, NULL, width, height);
    assert_true(whole.statistic != masked.statistic);
    free(q);
    free(mask);
    patch_free(&patch);
}

static void test_rows_without_pixels_are_refused(void **state)
{
    fleck_presence *presence;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_presence_new(0, false, &presence, &err), FLECK_BAD_CALL);
    assert_null(presence);
    assert_int_equal(fleck_presence_new((size_t)1 << 31, false, &presence, &err), FLECK_BAD_CALL);
    fleck_presence_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_noise_and_uneven_light_are_no_speckle),
        cmocka_unit_test(test_speckle_of_few_and_of_many_dots_is_present),
        cmocka_unit_test(test_speckle_in_noise_of_its_own_grain_is_present),
        cmocka_unit_test(test_small_patches_of_paper_are_no_speckle),
        cmocka_unit_test(test_a_wave_of_light_on_a_small_patch_is_no_speckle),
        cmocka_unit_test(test_two_hard_tones_are_present_however_few_their_pixels),
        cmocka_unit_test(test_no_pixels_and_one_tone_are_not_present),
        cmocka_unit_test(test_blocks_of_a_jpeg_are_no_speckle),
        cmocka_unit_test(test_pale_dots_among_faint_blocks_are_present),
        cmocka_unit_test(test_a_cut_in_the_noise_is_told),
        cmocka_unit_test(test_specks_of_dust_on_blank_paper_are_no_print),
        cmocka_unit_test(test_pixels_outside_the_mask_do_not_matter),
        cmocka_unit_test(test_rows_without_pixels_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
