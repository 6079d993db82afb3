/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/tone.h"

#define COUNT(array) (sizeof(array) / sizeof *(array))

enum { PIXELS = 4096, SAMPLES = 4 }; /* of a test row: three colours and alpha */

static fleck_scan_info info_of(unsigned channels, unsigned sample_bytes, bool has_alpha)
{
    return (fleck_scan_info){ .format = FLECK_SCAN_PNG,
                              .width_px = PIXELS,
                              .height_px = 1,
                              .bits = 8 * sample_bytes,
                              .sample_bytes = sample_bytes,
                              .channels = channels,
                              .has_alpha = has_alpha,
                              .srgb = true,
                              .page = 1,
                              .pages = 1 };
}

static fleck_tone *tone_of(const fleck_scan_info *info)
{
    fleck_warnings warnings = { 0 };
    fleck_error err = { 0 };
    fleck_tone *tone = NULL;

    if (fleck_tone_new(info, NULL, &tone, &warnings, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    fleck_warnings_clear(&warnings);
    return tone;
}

/* The definitions again in long double: IEC 61966-2-1, and one rounding at the end. */
static long double twin_linear(long double code)
{
    return code <= 0.04045L ? code / 12.92L : powl((code + 0.055L) / 1.055L, 2.4L);
}

static unsigned twin_round(long double reflectance)
{
    return (unsigned)floorl(65535.0L * reflectance + 0.5L);
}

static long double twin_channel(unsigned channels, fleck_channel channel, const long double *linear)
{
    if (channels == 1)
        return linear[0];
    return channel == FLECK_CHANNEL_LUMINANCE
               ? 0.2126L * linear[0] + 0.7152L * linear[1] + 0.0722L * linear[2]
               : linear[channel - FLECK_CHANNEL_RED];
}

/* Samples of either size in one buffer, aligned for both. */
typedef union samples {
    uint8_t narrow[PIXELS * SAMPLES];
    uint16_t wide[PIXELS * SAMPLES];
} samples;

static void set_sample(samples *row, unsigned sample_bytes, size_t i, unsigned code)
{
    if (sample_bytes == 1)
        row->narrow[i] = (uint8_t)code;
    else
        row->wide[i] = (uint16_t)code;
}

static unsigned get_sample(const samples *row, unsigned sample_bytes, size_t i)
{
    return sample_bytes == 1 ? row->narrow[i] : row->wide[i];
}

static void the_srgb_curve_has_the_published_values(void **state)
{
    /* IEC 61966-2-1:1999, worked out with 30 digits */
    static const struct {
        double encoded, linear;
    } decoded[] = {
        { 0, 0 },
        { 0.02, 0.0015479876160991 },
        { 0.04045, 0.0031308049535604 },
        { 0.05, 0.003935939504089 },
        { 0.1, 0.010022825574869 },
        { 0.2, 0.033104766570885 },
        { 0.25, 0.050876088171557 },
        { 0.5, 0.21404114048223 },
        { 0.75, 0.52252155396839 },
        { 0.9, 0.78741228939562 },
        { 1, 1 },
    }, encoded[] = {
        { 0, 0 },
        { 0.01292, 0.001 },
        { 0.040449936, 0.0031308 },
        { 0.050708713977348, 0.004 },
        { 0.099852822734128, 0.01 },
        { 0.24780052799263, 0.05 },
        { 0.46135612950044, 0.18 },
        { 0.49995554934021, 0.214 },
        { 0.73535698305245, 0.5 },
        { 0.90633175334406, 0.8 },
        { 1, 1 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(decoded); i++)
        check_near("IEC 61966-2-1, code to linear", fleck_tone_srgb_decode(decoded[i].encoded),
                   decoded[i].linear, 1e-13);
    for (size_t i = 0; i < COUNT(encoded); i++)
        check_near("IEC 61966-2-1, linear to code", fleck_tone_srgb_encode(encoded[i].linear),
                   encoded[i].encoded, 1e-13);
    for (unsigned code = 0; code < 65536; code++)
        check_near("there and back", fleck_tone_srgb_encode(fleck_tone_srgb_decode(code / 65535.0)),
                   code / 65535.0, 1e-7);
}

static void lightness_is_that_of_cie_15(void **state)
{
    /* CIE 15 with the exact constants 216/24389 and 24389/27, worked out with 30 digits */
    static const struct {
        double luminance, lightness;
    } cases[] = {
        { 0, 0 },
        { 0.001, 0.9032962962963 },
        { 0.005, 4.5164814814815 },
        { 0.008, 7.2263703703704 },
        { 0.0088564516790, 7.9999999999678 },
        { 0.01, 8.9914424043699 },
        { 0.05, 26.734765384228 },
        { 0.1, 37.842430469908 },
        { 0.1841865, 49.999997788797 },
        { 0.25, 57.075420893903 },
        { 0.5, 76.069261014156 },
        { 0.75, 89.392994384264 },
        { 0.9, 95.996768614253 },
        { 1, 100 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++)
        check_near("CIE 15, L* of Y", fleck_tone_lightness(cases[i].luminance), cases[i].lightness,
                   2e-12);
}

static void density_is_that_of_iso_5(void **state)
{
    /* ISO 5-4: D = -log10 R, worked out with 30 digits; no density without light */
    static const struct {
        double reflectance, density;
    } cases[] = {
        { 1, 0 },
        { 0.9, 0.045757490560675 },
        { 0.5, 0.30102999566398 },
        { 0.18, 0.74472749489669 },
        { 0.05, 1.301029995664 },
        { 0.01, 2 },
        { 0.001, 3 },
        { 0, NAN },
        { -0.1, NAN },
        { NAN, NAN },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++)
        check_near("ISO 5-4, D = -log10 R", fleck_tone_density(cases[i].reflectance),
                   cases[i].density, 1e-13);
    assert_false(signbit(fleck_tone_density(1)));
}

static void every_grey_code_is_rounded_once_from_the_exact_curve(void **state)
{
    /* IEC 61966-2-1 at 8-bit codes, worked out with 30 digits */
    static const struct {
        unsigned code;
        double linear;
    } published[] = {
        { 1, 0.00030352698354884 }, { 10, 0.0030352698354884 }, { 11, 0.0033465357638992 },
        { 64, 0.051269458374043 },  { 118, 0.18116424424986 },  { 128, 0.2158605001139 },
        { 188, 0.50288645803257 },  { 224, 0.74540420954039 },  { 254, 0.99110209711383 },
    };
    const fleck_scan_info narrow = info_of(1, 1, false), wide = info_of(1, 2, false);
    fleck_tone *tone8 = tone_of(&narrow), *tone16 = tone_of(&wide);

    (void)state;
    for (size_t i = 0; i < COUNT(published); i++) {
        const uint8_t code = (uint8_t)published[i].code;
        uint16_t q;

        fleck_tone_row(tone8, FLECK_CHANNEL_LUMINANCE, &code, 1, &q);
        check_near("IEC 61966-2-1, 8-bit codes", q, round(65535 * published[i].linear), 0);
    }
    for (unsigned i = 0; i < 65536; i++) {
        const uint8_t code8 = (uint8_t)i;
        const uint16_t code16 = (uint16_t)i;
        uint16_t q;

        fleck_tone_row(tone16, FLECK_CHANNEL_LUMINANCE, &code16, 1, &q);
        assert_int_equal(q, twin_round(twin_linear(i / 65535.0L)));
        if (i < 256) {
            fleck_tone_row(tone8, FLECK_CHANNEL_LUMINANCE, &code8, 1, &q);
            assert_int_equal(q, twin_round(twin_linear(i / 255.0L)));
        }
    }
    fleck_tone_free(tone8);
    fleck_tone_free(tone16);
}

static void colour_becomes_each_channel_as_the_definition_says(void **state)
{
    static samples row;
    static uint16_t q[PIXELS];
    uint64_t seed = 20;

    (void)state;
    for (unsigned kind = 0; kind < 24; kind++) {
        const unsigned bytes = 1 + kind % 2;
        const unsigned channels = kind % 4 < 2 ? 3 : 1;
        const bool has_alpha = kind % 8 >= 4;
        const size_t step = channels + (has_alpha ? 1u : 0u);
        const unsigned full = bytes == 1 ? 255 : 65535;
        const fleck_scan_info info = info_of(channels, bytes, has_alpha);
        fleck_tone *tone = tone_of(&info);

        for (size_t i = 0; i < PIXELS * step; i++)
            set_sample(&row, bytes, i, (unsigned)(test_random(&seed) & full));
        for (int channel = 0; channel < FLECK_CHANNELS; channel++) {
            fleck_tone_row(tone, (fleck_channel)channel, &row, PIXELS, q);
            for (size_t i = 0; i < PIXELS; i++) {
                long double linear[3] = { 0 }, r;

                for (size_t c = 0; c < channels; c++)
                    linear[c] =
                        twin_linear((long double)get_sample(&row, bytes, i * step + c) / full);
                r = twin_channel(channels, (fleck_channel)channel, linear);
                if (has_alpha) {
                    const long double a =
                        (long double)get_sample(&row, bytes, i * step + channels) / full;

                    r = a * r + (1 - a);
                }
                assert_int_equal(q[i], twin_round(r));
            }
        }
        fleck_tone_free(tone);
    }
}

static void a_neutral_rgb_pixel_is_worth_the_same_as_grey(void **state)
{
    (void)state;
    for (unsigned bytes = 1; bytes <= 2; bytes++) {
        const fleck_scan_info grey_info = info_of(1, bytes, false);
        const fleck_scan_info rgb_info = info_of(3, bytes, false);
        fleck_tone *grey = tone_of(&grey_info), *rgb = tone_of(&rgb_info);

        for (unsigned code = 0; code < (bytes == 1 ? 256u : 65536u); code++) {
            samples pixel = { 0 };
            uint16_t of_grey, of_rgb;

            for (size_t c = 0; c < 3; c++)
                set_sample(&pixel, bytes, c, code);
            fleck_tone_row(grey, FLECK_CHANNEL_LUMINANCE, &pixel, 1, &of_grey);
            fleck_tone_row(rgb, FLECK_CHANNEL_LUMINANCE, &pixel, 1, &of_rgb);
            assert_int_equal(of_grey, of_rgb);
        }
        fleck_tone_free(grey);
        fleck_tone_free(rgb);
    }
}

static void white_is_65535_and_black_0_in_every_kind_of_scan(void **state)
{
    (void)state;
    for (unsigned kind = 0; kind < 16; kind++) {
        const unsigned bytes = 1 + kind % 2, channels = kind % 4 < 2 ? 1 : 3;
        fleck_scan_info info = info_of(channels, bytes, kind % 8 >= 4);
        fleck_tone *tone;

        info.srgb = kind >= 8;
        info.gamma = 0.45455;
        tone = tone_of(&info);
        for (int channel = 0; channel < FLECK_CHANNELS; channel++) {
            samples pixel;
            uint16_t q;

            memset(&pixel, 0xff, sizeof pixel);
            fleck_tone_row(tone, (fleck_channel)channel, &pixel, 1, &q);
            assert_int_equal(q, 65535);
            for (size_t c = 0; c < channels; c++) /* alpha stays opaque */
                set_sample(&pixel, bytes, c, 0);
            fleck_tone_row(tone, (fleck_channel)channel, &pixel, 1, &q);
            assert_int_equal(q, 0);
        }
        fleck_tone_free(tone);
    }
}

static void few_bits_widened_to_bytes_follow_the_same_curve(void **state)
{
    (void)state;
    for (unsigned bits = 1; bits <= 4; bits *= 2) {
        const unsigned full = (1u << bits) - 1;
        fleck_scan_info info = info_of(1, 1, false);
        fleck_tone *tone;

        info.bits = bits;
        tone = tone_of(&info);
        for (unsigned code = 0; code <= full; code++) {
            const uint8_t widened = (uint8_t)(code * 255 / full);
            uint16_t q;

            fleck_tone_row(tone, FLECK_CHANNEL_LUMINANCE, &widened, 1, &q);
            assert_int_equal(q, twin_round(twin_linear((long double)code / full)));
        }
        fleck_tone_free(tone);
    }
}

static void a_gamma_chunk_gives_a_power(void **state)
{
    /* PNG specification, gAMA: linear = code^(1/gamma); 1 needs no twin */
    static const double gammas[] = { 0.45455, 0.55556, 1.0, 0.1, 10 };

    (void)state;
    for (size_t g = 0; g < COUNT(gammas); g++) {
        fleck_scan_info info = info_of(1, 1, false);
        fleck_tone *tone;

        info.srgb = false;
        info.gamma = gammas[g];
        tone = tone_of(&info);
        for (unsigned i = 0; i < 256; i++) {
            const uint8_t code = (uint8_t)i;
            uint16_t q;

            fleck_tone_row(tone, FLECK_CHANNEL_LUMINANCE, &code, 1, &q);
            assert_int_equal(q, twin_round(powl(i / 255.0L, 1.0L / gammas[g])));
            if (gammas[g] == 1.0)
                assert_int_equal(q, 257 * i);
        }
        fleck_tone_free(tone);
    }
}

static void alpha_is_composited_on_white_in_linear_light(void **state)
{
    /* by hand: R' = a R + (1 - a); R of code 64 is 0.051269458374043 (IEC 61966-2-1) */
    static const struct {
        const char *source;
        uint8_t code, alpha;
        double reflectance;
    } cases[] = {
        { "black, opaque", 0, 255, 0 },
        { "black, transparent", 0, 0, 1 },
        { "black, alpha 51/255 = 0.2", 0, 51, 0.8 },
        { "white stays white", 255, 51, 1 },
        { "code 64, alpha 0.6", 64, 153, 0.6 * 0.051269458374043 + 0.4 },
    };

    (void)state;
    for (unsigned channels = 1; channels <= 3; channels += 2) {
        const fleck_scan_info info = info_of(channels, 1, true);
        fleck_tone *tone = tone_of(&info);

        for (size_t i = 0; i < COUNT(cases); i++) {
            uint8_t pixel[4] = { cases[i].code, cases[i].code, cases[i].code, cases[i].alpha };

            pixel[channels] = cases[i].alpha;
            for (int channel = 0; channel < FLECK_CHANNELS; channel++) {
                uint16_t q;

                fleck_tone_row(tone, (fleck_channel)channel, pixel, 1, &q);
                check_near(cases[i].source, q, floor(65535 * cases[i].reflectance + 0.5), 0);
            }
        }
        fleck_tone_free(tone);
    }
}

static void the_best_source_there_is_gives_the_curve(void **state)
{
    static const struct {
        bool srgb;
        double gamma;
        fleck_tone_from from;
        const char *name;
        const char *warning; /* part of the only warning, NULL for none */
    } cases[] = {
        { true, 0.45455, FLECK_TONE_FROM_SRGB_CHUNK, "png-srgb", NULL },
        { true, 0, FLECK_TONE_FROM_SRGB_CHUNK, "png-srgb", NULL },
        { false, 0.45455, FLECK_TONE_FROM_GAMMA_CHUNK, "png-gama", NULL },
        { false, 0, FLECK_TONE_ASSUMED_SRGB, "srgb-assumed", "does not say" },
        { false, 0.00001, FLECK_TONE_ASSUMED_SRGB, "srgb-assumed", "gAMA" },
        { false, 21474.8, FLECK_TONE_ASSUMED_SRGB, "srgb-assumed", "gAMA" },
        { false, NAN, FLECK_TONE_ASSUMED_SRGB, "srgb-assumed", "gAMA" },
        { false, -1, FLECK_TONE_ASSUMED_SRGB, "srgb-assumed", "gAMA" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        fleck_scan_info info = info_of(1, 1, false);
        fleck_warnings warnings = { 0 };
        fleck_tone *tone = NULL;

        info.srgb = cases[i].srgb;
        info.gamma = cases[i].gamma;
        assert_int_equal(fleck_tone_new(&info, NULL, &tone, &warnings, NULL), FLECK_OK);
        assert_int_equal(fleck_tone_get_source(tone), cases[i].from);
        assert_string_equal(fleck_tone_source_name(fleck_tone_get_source(tone)), cases[i].name);
        assert_int_equal(warnings.count, cases[i].warning != NULL ? 1 : 0);
        if (cases[i].warning != NULL) {
            const char *const message = warnings.items[0].message;

            assert_string_equal(warnings.items[0].code, "tone-assumed");
            assert_non_null(strstr(message, cases[i].warning));
            assert_non_null(strstr(message, "sRGB curve"));
            assert_non_null(strstr(message, "; embed the scanner's profile"));
            assert_non_null(strstr(message, "calibrate"));
        }
        fleck_warnings_clear(&warnings);
        fleck_tone_free(tone);
    }
}

static void alpha_brings_a_warning(void **state)
{
    const fleck_scan_info info = info_of(3, 1, true);
    fleck_warnings warnings = { 0 };
    fleck_tone *tone = NULL;

    (void)state;
    assert_int_equal(fleck_tone_new(&info, NULL, &tone, &warnings, NULL), FLECK_OK);
    assert_int_equal(warnings.count, 1);
    assert_string_equal(warnings.items[0].code, "alpha-composited");
    assert_non_null(strstr(warnings.items[0].message, "on white"));
    fleck_warnings_clear(&warnings);
    fleck_tone_free(tone);
}

static void all_channels_at_once_equal_one_by_one(void **state)
{
    static samples row;
    static uint16_t all[FLECK_CHANNELS][PIXELS], one[PIXELS];
    uint16_t *const q[FLECK_CHANNELS] = { all[0], all[1], all[2], all[3] };
    uint64_t seed = 4;

    (void)state;
    for (size_t i = 0; i < PIXELS * SAMPLES; i++)
        row.wide[i] = (uint16_t)test_random(&seed);
    for (unsigned kind = 0; kind < 8; kind++) {
        const fleck_scan_info info = info_of(kind & 1 ? 3 : 1, kind & 2 ? 2 : 1, (kind & 4) != 0);
        fleck_tone *tone = tone_of(&info);

        memset(all, 0x5a, sizeof all);
        assert_int_equal(fleck_tone_channels(tone), info.channels == 1 ? 1 : FLECK_CHANNELS);
        fleck_tone_row_all(tone, &row, PIXELS, q);
        for (unsigned t = 0; t < FLECK_CHANNELS; t++) {
            fleck_tone_row(tone, (fleck_channel)t, &row, PIXELS, one);
            if (t < fleck_tone_channels(tone))
                assert_memory_equal(all[t], one, sizeof one);
            else
                assert_memory_equal(all[0], one, sizeof one); /* grey whatever was asked for */
        }
        fleck_tone_free(tone);
    }
}

static void counted_levels_are_those_of_the_rows(void **state)
{
    static samples row;
    static uint16_t q[PIXELS];
    static uint64_t expected[FLECK_LEVELS], counts[FLECK_LEVELS];
    uint64_t seed = 11;

    (void)state;
    for (unsigned kind = 0; kind < 32; kind++) {
        const fleck_channel channel = (fleck_channel)(kind / 8);
        const fleck_scan_info info = info_of(kind & 1 ? 3 : 1, kind & 2 ? 2 : 1, (kind & 4) != 0);
        fleck_tone *tone = tone_of(&info);
        fleck_level_counter *counter;
        fleck_error err;

        memset(expected, 0, sizeof expected);
        assert_int_equal(fleck_level_counter_new(tone, channel, &counter, &err), FLECK_OK);
        for (unsigned y = 0; y < 9; y++) {
            const size_t first = test_random(&seed) % 40;
            const size_t end = first + test_random(&seed) % (PIXELS - 40);

            for (size_t i = 0; i < PIXELS * SAMPLES; i++)
                row.wide[i] = (uint16_t)(y == 0 ? 0 : test_random(&seed));
            fleck_tone_row(tone, channel, &row, PIXELS, q);
            fleck_level_counter_add(counter, &row, q, first, end);
            for (size_t x = first; x < end; x++)
                expected[q[x]]++;
            fleck_level_counter_get(counter, counts);
            assert_memory_equal(counts, expected, sizeof counts);
        }
        fleck_level_counter_free(counter);
        fleck_tone_free(tone);
    }
    fleck_level_counter_free(NULL);
}

static void no_pixels_write_nothing(void **state)
{
    const fleck_scan_info info = info_of(3, 1, false);
    fleck_tone *tone = tone_of(&info);
    uint16_t q = 4711;

    (void)state;
    fleck_tone_row(tone, FLECK_CHANNEL_LUMINANCE, &q, 0, &q);
    fleck_tone_row(tone, FLECK_CHANNEL_RED, &q, 0, &q);
    assert_int_equal(q, 4711);
    fleck_tone_free(tone);
    fleck_tone_free(NULL);
}

static void scans_that_have_no_tone_are_refused_with_advice(void **state)
{
    static const struct {
        unsigned channels, sample_bytes;
        fleck_status status;
        const char *message;
    } cases[] = {
        { 4, 1, FLECK_BAD_INPUT,
          "CMYK pixels without a colour profile do not say how light they are; embed the profile, "
          "or save the scan as RGB or grey" },
        { 2, 1, FLECK_BAD_CALL,
          "pixels of 2 samples of 1 bytes are of no known kind; give 1, 3 or 4 samples of 1 or 2 "
          "bytes" },
        { 3, 4, FLECK_BAD_CALL,
          "pixels of 3 samples of 4 bytes are of no known kind; give 1, 3 or 4 samples of 1 or 2 "
          "bytes" },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const fleck_scan_info info = info_of(cases[i].channels, cases[i].sample_bytes, true);
        fleck_warnings warnings = { 0 };
        fleck_error err = { 0 };
        fleck_tone *tone = (fleck_tone *)&err;

        assert_int_equal(fleck_tone_new(&info, NULL, &tone, &warnings, &err), cases[i].status);
        assert_int_equal(err.status, cases[i].status);
        assert_string_equal(err.message, cases[i].message);
        assert_null(tone);
        assert_int_equal(warnings.count, 0);
    }
}

static void channels_and_sources_have_names(void **state)
{
    (void)state;
    assert_string_equal(fleck_channel_name(FLECK_CHANNEL_LUMINANCE), "luminance");
    assert_string_equal(fleck_channel_name(FLECK_CHANNEL_RED), "red");
    assert_string_equal(fleck_channel_name(FLECK_CHANNEL_GREEN), "green");
    assert_string_equal(fleck_channel_name(FLECK_CHANNEL_BLUE), "blue");
    assert_string_equal(fleck_channel_name(FLECK_CHANNEL_AUTO), "auto");
    assert_string_equal(fleck_tone_source_name(FLECK_TONE_FROM_CALIBRATION), "calibration");
    assert_string_equal(fleck_tone_source_name(FLECK_TONE_FROM_ICC), "icc");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_srgb_curve_has_the_published_values),
        cmocka_unit_test(lightness_is_that_of_cie_15),
        cmocka_unit_test(density_is_that_of_iso_5),
        cmocka_unit_test(every_grey_code_is_rounded_once_from_the_exact_curve),
        cmocka_unit_test(colour_becomes_each_channel_as_the_definition_says),
        cmocka_unit_test(a_neutral_rgb_pixel_is_worth_the_same_as_grey),
        cmocka_unit_test(white_is_65535_and_black_0_in_every_kind_of_scan),
        cmocka_unit_test(few_bits_widened_to_bytes_follow_the_same_curve),
        cmocka_unit_test(a_gamma_chunk_gives_a_power),
        cmocka_unit_test(alpha_is_composited_on_white_in_linear_light),
        cmocka_unit_test(the_best_source_there_is_gives_the_curve),
        cmocka_unit_test(alpha_brings_a_warning),
        cmocka_unit_test(all_channels_at_once_equal_one_by_one),
        cmocka_unit_test(counted_levels_are_those_of_the_rows),
        cmocka_unit_test(no_pixels_write_nothing),
        cmocka_unit_test(scans_that_have_no_tone_are_refused_with_advice),
        cmocka_unit_test(channels_and_sources_have_names),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
