/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "disc_picture.h"
#include "measure/doubt_clipping.h"
#include "measure/doubt_comb.h"
#include "measure/doubt_jpeg.h"
#include "support/check.h"

static fleck_code_counts counts_of(const void *pixels, size_t count, unsigned bits,
                                   unsigned channels, bool has_alpha)
{
    const fleck_scan_info info = { .bits = bits,
                                   .sample_bytes = bits == 16 ? 2 : 1,
                                   .channels = channels,
                                   .has_alpha = has_alpha };
    fleck_code_counts counts;

    fleck_code_counts_begin(&counts, &info, count, 1);
    fleck_code_counts_add_row(&counts, pixels, count);
    return counts;
}

static void codes_are_counted_by_channel_and_alpha_is_not(void **state)
{
    static const uint8_t rgba[] = { 0, 10, 255, 255, 0, 20, 255, 0, 7, 20, 254, 0 };
    static const uint16_t wide[] = { 0, 1, 256, 257, 0xffff, 0xfffe };
    fleck_code_counts counts = counts_of(rgba, 3, 8, 3, true);

    (void)state;
    assert_int_equal(counts.channels, 3);
    assert_int_equal(counts.channel[0].darkest, 2);
    assert_int_equal(counts.channel[0].lightest, 0);
    assert_int_equal(counts.channel[1].codes[20], 2);
    assert_int_equal(counts.channel[2].lightest, 2);
    counts = counts_of(wide, 6, 16, 1, false);
    assert_int_equal(counts.channel[0].darkest, 1);
    assert_int_equal(counts.channel[0].lightest, 1);
    assert_int_equal(counts.channel[0].codes[1], 2);
    assert_int_equal(counts.channel[0].between, 2); /* 1 and 0xfffe */
}

static void of_a_large_region_an_odd_step_of_rows_is_counted(void **state)
{
    const fleck_scan_info info = { .bits = 8, .sample_bytes = 1, .channels = 1 };
    static const uint8_t row[1000];
    fleck_code_counts counts;

    (void)state;
    fleck_code_counts_begin(&counts, &info, 1000, 4000);
    for (size_t y = 0; y < 4000; y++)
        fleck_code_counts_add_row(&counts, row, 1000);
    assert_int_equal(counts.row_step, 5);
    assert_int_equal(counts.channel[0].codes[0], 800 * 1000);
}

static void clipping_is_told_from_one_pixel_in_a_thousand(void **state)
{
    static const struct {
        const char *what;
        size_t black, white;
        bool black_told, white_told;
    } cases[] = {
        { "none", 0, 0, false, false },        { "9 in 10000", 9, 9, false, false },
        { "10 in 10000", 0, 10, false, true }, { "black alone", 10, 0, true, false },
        { "half", 5000, 4000, true, true },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        uint8_t pixels[10000];
        fleck_code_counts counts;
        fleck_doubt_clipping clipping;

        for (size_t x = 0; x < sizeof pixels; x++)
            pixels[x] = x < cases[i].black                    ? 0
                        : x < cases[i].black + cases[i].white ? 255
                                                              : (uint8_t)(20 + x % 200);
        counts = counts_of(pixels, sizeof pixels, 8, 1, false);
        clipping = fleck_doubt_clipping_finish(&counts);
        check_near(cases[i].what, clipping.black.statistic, (double)cases[i].black / 10000, 1e-12);
        check_near(cases[i].what, clipping.white.statistic, (double)cases[i].white / 10000, 1e-12);
        assert_int_equal(clipping.black.exceeded, cases[i].black_told);
        assert_int_equal(clipping.white.exceeded, cases[i].white_told);
    }
}

static void two_tones_and_bilevel_scans_are_not_clipped(void **state)
{
    uint8_t pixels[1000];
    fleck_code_counts counts;

    (void)state;
    for (size_t x = 0; x < sizeof pixels; x++)
        pixels[x] = x % 3 == 0 ? 0 : 255;
    counts = counts_of(pixels, sizeof pixels, 8, 1, false);
    assert_false(fleck_doubt_clipping_finish(&counts).white.exceeded);
    assert_false(fleck_doubt_clipping_finish(&counts).black.exceeded);
    pixels[500] = 100; /* a third tone */
    counts = counts_of(pixels, sizeof pixels, 8, 1, false);
    assert_true(fleck_doubt_clipping_finish(&counts).white.exceeded);
    counts = counts_of(pixels, sizeof pixels, 4, 1, false); /* of few bits all codes are tones */
    assert_false(fleck_doubt_clipping_finish(&counts).white.exceeded);
}

static void the_worst_colour_sample_counts(void **state)
{
    uint8_t pixels[3000];
    fleck_code_counts counts;

    (void)state;
    for (size_t x = 0; x < 1000; x++) {
        pixels[3 * x] = (uint8_t)(50 + x % 100);
        pixels[3 * x + 1] = (uint8_t)(60 + x % 100);
        pixels[3 * x + 2] = x % 10 == 0 ? 0 : (uint8_t)(70 + x % 100);
    }
    counts = counts_of(pixels, 1000, 8, 3, false);
    check_near("blue alone, one in ten", fleck_doubt_clipping_finish(&counts).black.statistic, 0.1,
               1e-12);
}

/* Codes of two peaks and a bridge between them, as scans have, put through a curve. */
static fleck_code_counts scan_codes(double (*curve)(double code), unsigned bits)
{
    static uint8_t narrow[100000];
    static uint16_t wide[100000];
    uint64_t random = 3;

    for (size_t i = 0; i < 100000; i++) {
        const double peak = i % 3 == 0   ? 60 + 5 * test_normal(&random)
                            : i % 7 == 1 ? 60 + 150 * test_uniform(&random)
                                         : 210 + 3 * test_normal(&random);
        const double code = fmin(fmax(curve(floor(peak + 0.5)), 0), 255);

        narrow[i] = (uint8_t)(code + 0.5);
        wide[i] = (uint16_t)(narrow[i] * 257 + (bits == 15 ? i % 256 : 0) % 65536);
    }
    return bits == 8 ? counts_of(narrow, 100000, 8, 1, false)
                     : counts_of(wide, 100000, 16, 1, false);
}

static double as_it_is(double code)
{
    return code;
}

static double stretched_5(double code)
{
    return (code - 30) * 1.05;
}

static double stretched_50(double code)
{
    return (code - 60) * 1.5;
}

static double doubled(double code)
{
    return (code - 80) * 2;
}

static double lifted(double code)
{
    return 255 * (1 - pow(1 - code / 255, 1.6));
}

static double squeezed(double code)
{
    return 20 + code * 0.8;
}

static void stretched_levels_leave_a_comb_and_others_none(void **state)
{
    static const struct {
        const char *what;
        double (*curve)(double code);
        unsigned bits; /* 15: true 16-bit data */
        double share;  /* expected, NAN when nothing can be told */
        double tolerance;
        bool told;
    } cases[] = {
        { "untouched", as_it_is, 8, 0, 0, false },
        { "1 - 1 / 1.05", stretched_5, 8, 1 - 1 / 1.05, 0.02, true },
        { "1 - 1 / 1.5", stretched_50, 8, 1.0 / 3, 0.03, true },
        { "1 - 1 / 2", doubled, 8, 0.5, 0.03, true },
        { "a curve that lifts shadows", lifted, 8, 0.15, 0.14, true },
        { "squeezed: peaks but no gaps", squeezed, 8, 0, 0, false },
        { "8 bits kept in 16", stretched_50, 16, 1.0 / 3, 0.03, true },
        { "true 16 bits", stretched_50, 15, NAN, 0, false },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_code_counts counts = scan_codes(cases[i].curve, cases[i].bits);
        const fleck_doubt_comb comb = fleck_doubt_comb_finish(&counts);

        check_near(cases[i].what, comb.doubt.statistic, cases[i].share, cases[i].tolerance);
        if (comb.doubt.exceeded != cases[i].told)
            fail_msg("%s: %u gaps", cases[i].what, comb.gaps);
    }
}

static void gaps_at_random_are_no_comb(void **state)
{
    unsigned told = 0;

    (void)state;
    for (uint64_t seed = 1; seed <= 200; seed++) {
        fleck_code_counts counts = { .channels = 1, .samples = 1, .sample_bytes = 1 };
        uint64_t random = seed;

        for (size_t code = 20; code < 220; code++)
            counts.channel[0].codes[code] = test_uniform(&random) < 0.1 ? 0 : 100;
        told += fleck_doubt_comb_finish(&counts).doubt.exceeded;
    }
    assert_in_range(told, 0, 2);
}

static void warnings_have_their_codes_and_come_with_a_doubt_only(void **state)
{
    fleck_code_counts counts = scan_codes(as_it_is, 8);
    fleck_doubt_comb comb = fleck_doubt_comb_finish(&counts);
    fleck_doubt_clipping clipping = fleck_doubt_clipping_finish(&counts);
    fleck_warnings warnings = { 0 };

    (void)state;
    assert_int_equal(fleck_doubt_comb_warn(&comb, &warnings, NULL), FLECK_OK);
    assert_int_equal(fleck_doubt_clipping_warn(&clipping, &warnings, NULL), FLECK_OK);
    assert_int_equal(warnings.count, 0);
    counts = scan_codes(doubled, 8); /* and clips at both ends */
    comb = fleck_doubt_comb_finish(&counts);
    clipping = fleck_doubt_clipping_finish(&counts);
    assert_int_equal(fleck_doubt_comb_warn(&comb, &warnings, NULL), FLECK_OK);
    assert_int_equal(fleck_doubt_clipping_warn(&clipping, &warnings, NULL), FLECK_OK);
    assert_true(fleck_warnings_has(&warnings, "histogram-gaps"));
    assert_true(fleck_warnings_has(&warnings, "clipped-black"));
    assert_true(fleck_warnings_has(&warnings, "clipped-white"));
    fleck_warnings_clear(&warnings);
}

static void a_jpeg_is_named_with_its_quality_and_its_colour(void **state)
{
    fleck_scan_info info = { .format = FLECK_SCAN_PNG, .jpeg_quality = 0 };
    fleck_warnings warnings = { 0 };

    (void)state;
    assert_int_equal(fleck_doubt_jpeg_warn(&info, &warnings, NULL), FLECK_OK);
    assert_int_equal(warnings.count, 0);
    info = (fleck_scan_info){ .format = FLECK_SCAN_JPEG, .jpeg_quality = 83 };
    assert_int_equal(fleck_doubt_jpeg_warn(&info, &warnings, NULL), FLECK_OK);
    assert_int_equal(warnings.count, 1);
    assert_string_equal(warnings.items[0].code, "jpeg");
    assert_non_null(strstr(warnings.items[0].message, "quality 83"));
    info.jpeg_halved_colour = true;
    assert_int_equal(fleck_doubt_jpeg_warn(&info, &warnings, NULL), FLECK_OK);
    assert_true(fleck_warnings_has(&warnings, "jpeg-halved-colour"));
    fleck_warnings_clear(&warnings);
}

/* The files' names say how they keep colour. Source: tests/data/scan/make_scans.py */
static void the_reader_tells_halved_colour(void **state)
{
    static const struct {
        const char *name;
        bool halved;
    } cases[] = {
        { "444.jpg", false },  { "422.jpg", true },
        { "420.jpg", true },   { "420-progressive.jpg", true },
        { "grey.jpg", false }, { "grey8-adam7.png", false },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char path[512];
        fleck_scan *scan;

        snprintf(path, sizeof path, "%s/scan/%s", FLECK_TEST_DATA, cases[i].name);
        assert_int_equal(fleck_scan_open(path, 1, &scan, NULL), FLECK_OK);
        assert_int_equal(fleck_scan_get_info(scan)->jpeg_halved_colour, cases[i].halved);
        fleck_scan_close(scan);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(codes_are_counted_by_channel_and_alpha_is_not),
        cmocka_unit_test(of_a_large_region_an_odd_step_of_rows_is_counted),
        cmocka_unit_test(clipping_is_told_from_one_pixel_in_a_thousand),
        cmocka_unit_test(two_tones_and_bilevel_scans_are_not_clipped),
        cmocka_unit_test(the_worst_colour_sample_counts),
        cmocka_unit_test(stretched_levels_leave_a_comb_and_others_none),
        cmocka_unit_test(gaps_at_random_are_no_comb),
        cmocka_unit_test(warnings_have_their_codes_and_come_with_a_doubt_only),
        cmocka_unit_test(a_jpeg_is_named_with_its_quality_and_its_colour),
        cmocka_unit_test(the_reader_tells_halved_colour),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
