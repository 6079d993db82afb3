/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <cjson/cJSON.h>
#include <locale.h>
#include <math.h>
#include <png.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <tiffio.h>
#include <unistd.h>

#include "core/text.h"
#include "fleck/phantom.h"
#include "fleck/tone.h"

static const double pi = 3.14159265358979323846;

/* Paper 1, ink 0, no blur, no noise: reflectance is 1 - ink. */
static fleck_phantom_options bare_options(fleck_phantom_kind kind)
{
    fleck_phantom_options options = fleck_phantom_options_default();

    options.kind = kind;
    options.width_mm = options.height_mm = 10;
    options.ppi = 254;
    options.softness_mm = 0;
    options.noise = 0;
    options.ink_reflectance = 0;
    options.paper_reflectance = 1;
    return options;
}

static fleck_phantom *drawn(const fleck_phantom_options *options)
{
    fleck_phantom *phantom = NULL;
    fleck_error err = { FLECK_OK, "" };

    if (fleck_phantom_new(options, &phantom, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    return phantom;
}

struct moments {
    double mean, sd;
};

static struct moments moments_of(const fleck_phantom *phantom)
{
    size_t width_px, height_px;
    const float *value = fleck_phantom_reflectance(phantom, &width_px, &height_px);
    const double n = (double)(width_px * height_px);
    double sum = 0, squares = 0;

    for (size_t i = 0; i < width_px * height_px; i++)
        sum += value[i];
    for (size_t i = 0; i < width_px * height_px; i++)
        squares += (value[i] - sum / n) * (value[i] - sum / n);
    return (struct moments){ sum / n, sqrt(squares / n) };
}

static cJSON *truth_of(const fleck_phantom *phantom)
{
    char *text = fleck_phantom_truth_json(phantom);
    cJSON *truth;

    assert_non_null(text);
    truth = cJSON_Parse(text);
    assert_non_null(truth);
    free(text);
    return truth;
}

static const cJSON *item(const cJSON *truth, const char *group, const char *name)
{
    const cJSON *found =
        cJSON_GetObjectItemCaseSensitive(cJSON_GetObjectItemCaseSensitive(truth, group), name);

    if (found == NULL)
        fail_msg("%s.%s is missing", group, name);
    return found;
}

static double number(const cJSON *truth, const char *group, const char *name)
{
    const cJSON *found = item(truth, group, name);

    return cJSON_IsNull(found) ? NAN : cJSON_GetNumberValue(found);
}

/* ---- coverage ---- */

/* Sets A to D of the closed forms; S(0) from the same computation gives the standard error. */
static void poisson_discs_cover_what_the_boolean_model_says(void **state)
{
    enum { SEEDS = 8 };
    static const struct {
        const char *source;
        fleck_phantom_sizes sizes;
        double diameter_mm, spread, coverage, spectrum_at_zero_mm2;
    } cases[] = {
        { "A", FLECK_PHANTOM_FIXED, 0.2, 0, 0.26959730895135436, 0.005669677795574981 },
        { "B", FLECK_PHANTOM_FIXED, 0.3, 0, 0.24628678804353288, 0.012133503227297773 },
        { "C", FLECK_PHANTOM_UNIFORM, 0.2, 0.1, 0.5729473666979169, 0.008234347036634993 },
        { "D", FLECK_PHANTOM_LOGNORMAL, 0.1, 0.3, 0.31347794480295954, 0.002574530463295659 },
        /* large discs from far outside matter here: without them it would be much too low */
        { "gsd 2.5", FLECK_PHANTOM_LOGNORMAL, 0.1, 0.9162907318741551, 0.3, 0.25 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_phantom_options options = bare_options(FLECK_PHANTOM_DISCS);
        const double side_mm = 20;
        double sum = 0;

        options.width_mm = options.height_mm = side_mm;
        options.ppi = 127;
        options.sizes = cases[i].sizes;
        options.diameter_mm = cases[i].diameter_mm;
        options.gsd = exp(cases[i].spread);
        options.diameter_half_range_mm = cases[i].spread;
        options.coverage = cases[i].coverage;
        for (options.seed = 1; options.seed <= SEEDS; options.seed++) {
            fleck_phantom *phantom = drawn(&options);

            sum += fleck_phantom_exact_coverage(phantom);
            check_near("reflectance tells the same", moments_of(phantom).mean,
                       1 - fleck_phantom_exact_coverage(phantom), 1e-7);
            fleck_phantom_free(phantom);
        }
        check_near(cases[i].source, sum / SEEDS, cases[i].coverage,
                   3 * sqrt(cases[i].spectrum_at_zero_mm2 / (SEEDS * side_mm * side_mm)));
    }
}

static void a_lattice_of_whole_cells_covers_its_share_exactly(void **state)
{
    static const double pitches[] = { 0.5, 0.25 };

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        /*
         * 40 pixels of 0.1 mm are 8 or 16 pitches. Discs of 0.3 mm overlap at a pitch of 0.25 mm:
         * the worst case, many crossings of outlines on discs of 3 pixels.
         */
        fleck_phantom_options options = bare_options(FLECK_PHANTOM_SQUARE);
        fleck_phantom *phantom;
        cJSON *truth;

        options.width_mm = options.height_mm = 4;
        options.pitch_mm = pitches[i];
        phantom = drawn(&options);
        truth = truth_of(phantom);
        check_ratio("closed form", fleck_phantom_exact_coverage(phantom),
                    number(truth, "expected", "coverage"), i == 0 ? 1e-9 : 3e-4);
        check_near("dots", number(truth, "drawn", "dots_inside"), 16 / pitches[i] / pitches[i], 0);
        cJSON_Delete(truth);
        fleck_phantom_free(phantom);
    }
}

static void separate_dots_cover_the_sum_of_their_areas(void **state)
{
    fleck_phantom_options options = bare_options(FLECK_PHANTOM_SEPARATE);
    double sum = 0, x, y, diameter;
    fleck_phantom *phantom;
    char *csv, *at;

    (void)state;
    options.keep_inside = true;
    phantom = drawn(&options);
    csv = fleck_phantom_dots_csv(phantom);
    assert_non_null(csv);
    assert_memory_equal(csv, "x_mm,y_mm,diameter_mm\n", 22);
    at = csv + 22;
    for (int used = 0; sscanf(at, "%lf,%lf,%lf\n%n", &x, &y, &diameter, &used) == 3; at += used)
        sum += pi / 4 * diameter * diameter;
    assert_true(*at == '\0' && sum > 0);
    check_ratio("areas of the list", fleck_phantom_exact_coverage(phantom), sum / 100, 1e-9);
    check_near("coverage asked for", sum / 100, 0.3, 0.03);
    free(csv);
    fleck_phantom_free(phantom);
}

static void a_field_covers_its_share(void **state)
{
    fleck_phantom_options options = bare_options(FLECK_PHANTOM_FIELD);
    double sum = 0, integral_range_mm2 = NAN;

    (void)state;
    options.coverage = 0.2;
    options.correlation_mm = 0.4;
    for (options.seed = 1; options.seed <= 8; options.seed++) {
        fleck_phantom *phantom = drawn(&options);
        cJSON *truth = truth_of(phantom);

        sum += fleck_phantom_exact_coverage(phantom);
        integral_range_mm2 = number(truth, "expected", "integral_range_mm2");
        check_near("level", number(truth, "expected", "level"), -0.8416212335729142, 1e-12);
        cJSON_Delete(truth);
        fleck_phantom_free(phantom);
    }
    check_near("Phi(u)", sum / 8, 0.2, 3 * sqrt(0.16 * integral_range_mm2 / 800));
}

static void a_plain_picture_is_flat(void **state)
{
    (void)state;
    for (int ink = 0; ink <= 1; ink++) {
        fleck_phantom_options options = bare_options(FLECK_PHANTOM_PLAIN);
        fleck_phantom *phantom;

        options.coverage = ink;
        options.softness_mm = 0.1;
        options.ink_reflectance = 0.1;
        options.paper_reflectance = 0.9;
        phantom = drawn(&options);
        check_near("coverage", fleck_phantom_exact_coverage(phantom), ink, 0);
        check_near("tone", moments_of(phantom).mean, ink ? 0.1 : 0.9, 1e-7);
        check_near("flat", moments_of(phantom).sd, 0, 1e-7);
        fleck_phantom_free(phantom);
    }
}

/* ---- tone ---- */

static void blur_keeps_the_mean_and_leaves_no_border(void **state)
{
    /* whole cells of a lattice: the blur of a periodic pattern keeps the mean of a period */
    fleck_phantom_options options = bare_options(FLECK_PHANTOM_SQUARE);
    fleck_phantom *phantom;
    double sharp_sd;

    (void)state;
    options.width_mm = options.height_mm = 4;
    options.pitch_mm = 0.5;
    options.angle_deg = 90;
    phantom = drawn(&options);
    sharp_sd = moments_of(phantom).sd;
    fleck_phantom_free(phantom);
    for (int i = 1; i <= 4; i++) {
        struct moments soft;
        const float *value;
        size_t width_px, height_px;

        options.softness_mm = 0.03 * i;
        phantom = drawn(&options);
        soft = moments_of(phantom);
        check_near("mean", soft.mean, 1 - pi * 0.0225 / 0.25, 1e-7);
        assert_true(soft.sd < sharp_sd);
        value = fleck_phantom_reflectance(phantom, &width_px, &height_px);
        for (size_t x = 0; x + 5 < width_px; x++)
            check_near("the border repeats after one pitch", value[x], value[x + 5], 1e-6);
        fleck_phantom_free(phantom);
    }
}

static void noise_has_the_deviation_asked_for_and_is_white(void **state)
{
    fleck_phantom_options options = bare_options(FLECK_PHANTOM_PLAIN);
    const float *value;
    size_t width_px, height_px;
    struct moments moments;
    double beside = 0, below = 0, n;
    fleck_phantom *phantom;

    (void)state;
    options.ppi = 1000;
    options.coverage = 0;
    options.noise = 0.02;
    options.paper_reflectance = 0.8;
    phantom = drawn(&options);
    moments = moments_of(phantom);
    value = fleck_phantom_reflectance(phantom, &width_px, &height_px);
    n = (double)(width_px * height_px);
    for (size_t y = 0; y + 1 < height_px; y++) {
        for (size_t x = 0; x + 1 < width_px; x++) {
            const double here = value[y * width_px + x] - moments.mean;

            beside += here * (value[y * width_px + x + 1] - moments.mean);
            below += here * (value[(y + 1) * width_px + x] - moments.mean);
        }
    }
    check_near("mean", moments.mean, 0.8, 4 * 0.02 / sqrt(n));
    check_ratio("sd", moments.sd, 0.02, 4 / sqrt(2 * n));
    check_near("correlation beside", beside / n / 0.0004, 0, 4 / sqrt(n));
    check_near("correlation below", below / n / 0.0004, 0, 4 / sqrt(n));
    fleck_phantom_free(phantom);
}

static void a_hard_mask_is_ink_or_paper_and_its_share_is_the_truth(void **state)
{
    static const fleck_phantom_kind kinds[] = { FLECK_PHANTOM_DISCS, FLECK_PHANTOM_FIELD };

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        fleck_phantom_options options = bare_options(kinds[i]);
        const float *value;
        size_t width_px, height_px;
        double ink = 0, n;
        fleck_phantom *phantom;

        options.antialias = false;
        phantom = drawn(&options);
        value = fleck_phantom_reflectance(phantom, &width_px, &height_px);
        n = (double)(width_px * height_px);
        for (size_t j = 0; j < width_px * height_px; j++) {
            assert_true(value[j] == 0 || value[j] == 1);
            ink += value[j] == 0;
        }
        assert_true(ink > 0 && ink < n);
        check_near("share", fleck_phantom_exact_coverage(phantom), ink / n, 1e-15);
        fleck_phantom_free(phantom);
    }
}

/* ---- seeds ---- */

static bool same_pixels(const fleck_phantom *a, const fleck_phantom *b)
{
    size_t width_px, height_px;
    const float *first = fleck_phantom_reflectance(a, &width_px, &height_px);
    const float *second = fleck_phantom_reflectance(b, &width_px, &height_px);

    return memcmp(first, second, width_px * height_px * sizeof *first) == 0;
}

static void the_same_seed_gives_the_same_pixels_and_another_one_others(void **state)
{
    (void)state;
    for (int kind = 0; kind < FLECK_PHANTOM_KINDS; kind++) {
        fleck_phantom_options options = fleck_phantom_options_default();
        fleck_phantom *first, *again, *other, *noiseless, *other_noiseless;

        options.kind = (fleck_phantom_kind)kind;
        options.width_mm = options.height_mm = 5;
        options.coverage = kind == FLECK_PHANTOM_PLAIN ? 1 : 0.3;
        first = drawn(&options);
        again = drawn(&options);
        options.noise = 0;
        noiseless = drawn(&options);
        options.seed = 2;
        other_noiseless = drawn(&options);
        options.noise = 0.01;
        other = drawn(&options);
        assert_true(same_pixels(first, again));
        assert_false(same_pixels(first, other));
        assert_false(same_pixels(first, noiseless));
        assert_int_equal(same_pixels(noiseless, other_noiseless), kind == FLECK_PHANTOM_PLAIN);
        fleck_phantom_free(first);
        fleck_phantom_free(again);
        fleck_phantom_free(other);
        fleck_phantom_free(noiseless);
        fleck_phantom_free(other_noiseless);
    }
}

/* The list of dots does not know the resolution, nor the blur. */
static void resolution_and_softness_leave_the_dots_where_they_are(void **state)
{
    static const fleck_phantom_kind kinds[] = { FLECK_PHANTOM_DISCS, FLECK_PHANTOM_SEPARATE,
                                                FLECK_PHANTOM_HEXAGONAL };

    (void)state;
    for (size_t i = 0; i < 3; i++) {
        fleck_phantom_options options = bare_options(kinds[i]);
        fleck_phantom *coarse = drawn(&options), *fine, *soft;
        char *first, *second, *third;

        options.ppi = 508;
        fine = drawn(&options);
        options.softness_mm = 0.2;
        soft = drawn(&options);
        first = fleck_phantom_dots_csv(coarse);
        second = fleck_phantom_dots_csv(fine);
        third = fleck_phantom_dots_csv(soft);
        assert_string_equal(first, second);
        assert_string_equal(first, third);
        check_near("the same ink, to the edge of a pixel", fleck_phantom_exact_coverage(coarse),
                   fleck_phantom_exact_coverage(fine), 1e-4);
        check_near("the truth is that before the blur", fleck_phantom_exact_coverage(soft),
                   fleck_phantom_exact_coverage(fine), 1e-9);
        free(first);
        free(second);
        free(third);
        fleck_phantom_free(coarse);
        fleck_phantom_free(fine);
        fleck_phantom_free(soft);
    }
}

/* ---- files ---- */

static void files_hold_the_coded_reflectance_and_the_resolution(void **state)
{
    static const struct {
        const char *ending;
        unsigned bits;
    } cases[] = { { ".png", 8 }, { ".png", 16 }, { ".tif", 8 }, { ".TIFF", 16 } };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char path[] = "/tmp/fleck-phantom-XXXXXX\0....";
        const int descriptor = mkstemp(path);
        fleck_phantom_options options = fleck_phantom_options_default();
        const double full = cases[i].bits == 8 ? 255 : 65535;
        char plain[sizeof path];
        const float *value;
        size_t width_px, height_px;
        double ppi = 0;
        uint16_t *row = malloc(200 * sizeof *row);
        FILE *file = NULL;
        TIFF *tiff = NULL;
        png_structp png = NULL;
        png_infop info = NULL;
        fleck_phantom *phantom;

        assert_true(descriptor >= 0);
        assert_non_null(row);
        close(descriptor);
        strcpy(plain, path);
        strcat(path, cases[i].ending);
        options.width_mm = 3;
        options.height_mm = 2;
        options.noise = 0.3; /* so that both ends are clipped */
        options.bits = cases[i].bits;
        phantom = drawn(&options);
        value = fleck_phantom_reflectance(phantom, &width_px, &height_px);
        assert_int_equal(width_px, 71); /* 3 mm at 600 ppi are 70.9 pixels */
        assert_int_equal(height_px, 47);
        assert_int_equal(fleck_phantom_write(phantom, path, NULL), FLECK_OK);
        if (i < 2) {
            int intent = -1;

            png = png_create_read_struct(PNG_LIBPNG_VER_STRING, NULL, NULL, NULL);
            info = png_create_info_struct(png);
            file = fopen(path, "rb");
            assert_non_null(file);
            png_init_io(png, file);
            png_read_info(png, info);
            ppi = png_get_x_pixels_per_meter(png, info) * 0.0254;
            assert_int_equal(png_get_bit_depth(png, info), cases[i].bits);
            assert_int_equal(png_get_color_type(png, info), PNG_COLOR_TYPE_GRAY);
            assert_true(png_get_sRGB(png, info, &intent) != 0);
            png_set_swap(png);
        } else {
            float stored = 0;

            tiff = TIFFOpen(path, "r");
            assert_non_null(tiff);
            TIFFGetField(tiff, TIFFTAG_XRESOLUTION, &stored);
            ppi = stored;
        }
        check_near("ppi", ppi, 600, 0.0127);
        for (size_t y = 0; y < height_px; y++) {
            if (png != NULL)
                png_read_row(png, (png_bytep)row, NULL);
            else
                assert_int_equal(TIFFReadScanline(tiff, row, (uint32_t)y, 0), 1);
            for (size_t x = 0; x < width_px; x++) {
                const double r = fmin(fmax((double)value[y * width_px + x], 0), 1);
                const double code = cases[i].bits == 8 ? ((const uint8_t *)row)[x] : (double)row[x];

                check_near("sRGB of the reflectance", code, full * fleck_tone_srgb_encode(r),
                           0.5 + 1e-9);
            }
        }
        if (png != NULL) {
            png_destroy_read_struct(&png, &info, NULL);
            fclose(file);
        } else {
            TIFFClose(tiff);
        }
        unlink(path);
        unlink(plain);
        free(row);
        fleck_phantom_free(phantom);
    }
}

static void a_name_without_a_known_ending_is_refused(void **state)
{
    fleck_phantom_options options = bare_options(FLECK_PHANTOM_PLAIN);
    fleck_error err = { FLECK_OK, "" };
    fleck_phantom *phantom;

    (void)state;
    options.coverage = 0;
    phantom = drawn(&options);
    assert_int_equal(fleck_phantom_write(phantom, "/tmp/fleck-phantom.jpg", &err), FLECK_BAD_CALL);
    assert_string_equal(err.message,
                        "the name tells no kind of picture; end it in .png, .tif or .tiff");
    fleck_phantom_free(phantom);
}

/* ---- truth ---- */

static void the_truth_reads_back_to_the_last_digit(void **state)
{
    fleck_phantom_options options = bare_options(FLECK_PHANTOM_DISCS);
    fleck_phantom *phantom;
    cJSON *truth;
    char *text;

    (void)state;
    options.seed = UINT64_MAX;
    options.noise = 0.1 + 0.2;
    phantom = drawn(&options);
    text = fleck_phantom_truth_json(phantom);
    assert_non_null(strstr(text, "18446744073709551615"));
    assert_true(text[strlen(text) - 1] == '\n');
    free(text);
    truth = truth_of(phantom);
    assert_string_equal(cJSON_GetObjectItem(truth, "schema")->valuestring, "fleck-phantom-truth");
    assert_string_equal(item(truth, "options", "kind")->valuestring, "discs");
    assert_string_equal(item(truth, "options", "sizes")->valuestring, "lognormal");
    assert_true(cJSON_IsTrue(item(truth, "options", "antialias")));
    check_near("noise", number(truth, "options", "noise"), 0.1 + 0.2, 0);
    check_near("gap is not used", number(truth, "options", "gap_mm"), NAN, 0);
    check_near("pixel", number(truth, "picture", "pixel_mm"), 25.4 / 254, 0);
    check_near("width", number(truth, "picture", "width_px"), 100, 0);
    check_near("coverage", number(truth, "drawn", "exact_coverage"),
               fleck_phantom_exact_coverage(phantom), 0);
    check_near("a field has no such number", number(truth, "expected", "level"), NAN, 0);
    assert_true(number(truth, "drawn", "dots_whole") < number(truth, "drawn", "dots_inside"));
    assert_true(number(truth, "drawn", "dots_inside") < number(truth, "drawn", "dots_touching"));
    check_ratio("1 cm2", number(truth, "drawn", "dots_per_cm2"),
                number(truth, "drawn", "dots_inside"), 1e-12);
    cJSON_Delete(truth);
    fleck_phantom_free(phantom);
}

static void a_comma_for_a_decimal_point_changes_no_byte(void **state)
{
    static const char *const names[] = { "de_DE.UTF-8", "de_DE.utf8", "fr_FR.UTF-8", "de_DE" };
    fleck_phantom_options options = bare_options(FLECK_PHANTOM_HEXAGONAL);
    fleck_phantom *phantom = drawn(&options);
    char *before = fleck_phantom_truth_json(phantom), *after;
    size_t i = 0;

    (void)state;
    while (i < 4 && setlocale(LC_NUMERIC, names[i]) == NULL)
        i++;
    after = fleck_phantom_truth_json(phantom);
    setlocale(LC_NUMERIC, "C");
    assert_string_equal(before, after);
    free(before);
    free(after);
    fleck_phantom_free(phantom);
    if (i == 4)
        skip(); /* no such locale on this machine */
}

/* ---- calls ---- */

static void options_out_of_range_are_named_with_their_range(void **state)
{
    enum option {
        COVERAGE,
        WIDTH,
        PPI,
        DIAMETER,
        GSD,
        RANGE,
        GAP,
        PITCH,
        ANGLE,
        CORRELATION,
        SOFTNESS,
        NOISE,
        INK,
        PAPER,
        BITS,
        KIND,
        SIZES
    };
    static const struct {
        const char *message;
        fleck_phantom_kind kind;
        enum option option;
        double value;
    } cases[] = {
        { "coverage is 1.2; give 0 to 0.99", FLECK_PHANTOM_DISCS, COVERAGE, 1.2 },
        { "coverage is -0.1; give 0 to 0.99", FLECK_PHANTOM_DISCS, COVERAGE, -0.1 },
        { "coverage is not a number; give 0 to 0.99", FLECK_PHANTOM_DISCS, COVERAGE, NAN },
        { "coverage is 0.6; give 0 to 0.5", FLECK_PHANTOM_SEPARATE, COVERAGE, 0.6 },
        { "coverage is 0; give 0.001 to 0.99", FLECK_PHANTOM_SQUARE, COVERAGE, 0 },
        { "coverage is 1; give 0.001 to 0.99", FLECK_PHANTOM_HEXAGONAL, COVERAGE, 1 },
        { "coverage is 1; give 0.001 to 0.999", FLECK_PHANTOM_FIELD, COVERAGE, 1 },
        { "coverage is 0.5; give 0 or 1 for a plain picture, paper or solid ink",
          FLECK_PHANTOM_PLAIN, COVERAGE, 0.5 },
        { "width_mm is 0; give 0.001 to 10000", FLECK_PHANTOM_DISCS, WIDTH, 0 },
        { "width_mm is not a number; give 0.001 to 10000", FLECK_PHANTOM_DISCS, WIDTH, INFINITY },
        { "width_mm, height_mm and ppi give 0 x 100 pixels; give sides of 1 to 1000000 pixels and "
          "at most 2^31 in all",
          FLECK_PHANTOM_DISCS, WIDTH, 0.01 },
        { "ppi is 0; give 1 to 100000", FLECK_PHANTOM_DISCS, PPI, 0 },
        { "width_mm, height_mm and ppi give 39370 x 78740 pixels; give sides of 1 to 1000000 "
          "pixels and at most 2^31 in all",
          FLECK_PHANTOM_DISCS, PPI, 100000 },
        { "diameter_mm is 0; give 0.0001 to 1000", FLECK_PHANTOM_DISCS, DIAMETER, 0 },
        { "gsd is 0.9; give 1 to 3", FLECK_PHANTOM_DISCS, GSD, 0.9 },
        { "diameter_half_range_mm is 0.4; give 0 to 0.3", FLECK_PHANTOM_DISCS, RANGE, 0.4 },
        { "gap_mm is -1; give 0 to 1000", FLECK_PHANTOM_SEPARATE, GAP, -1 },
        { "pitch_mm is -1; give 0.0001 to 10000", FLECK_PHANTOM_SQUARE, PITCH, -1 },
        { "angle_deg is 400; give -360 to 360", FLECK_PHANTOM_SQUARE, ANGLE, 400 },
        { "correlation_mm is 0.1; give 0.2 to 1000", FLECK_PHANTOM_FIELD, CORRELATION, 0.1 },
        { "softness_mm is 0.6; give 0 to 0.5", FLECK_PHANTOM_DISCS, SOFTNESS, 0.6 },
        { "noise is -0.1; give 0 to 1", FLECK_PHANTOM_DISCS, NOISE, -0.1 },
        { "ink_reflectance is 2; give 0 to 1", FLECK_PHANTOM_DISCS, INK, 2 },
        { "paper_reflectance is -1; give 0 to 1", FLECK_PHANTOM_DISCS, PAPER, -1 },
        { "bits is 12; give 8 or 16", FLECK_PHANTOM_DISCS, BITS, 12 },
        { "kind is 6; give 0 to 5", FLECK_PHANTOM_DISCS, KIND, 6 },
        { "sizes is 3; give 0 to 2", FLECK_PHANTOM_DISCS, SIZES, 3 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_phantom_options options = bare_options(cases[i].kind);
        fleck_phantom *phantom = (fleck_phantom *)&options; /* must become NULL */
        fleck_error err = { FLECK_OK, "" };
        double *const numbers[] = {
            [COVERAGE] = &options.coverage,
            [WIDTH] = &options.width_mm,
            [PPI] = &options.ppi,
            [DIAMETER] = &options.diameter_mm,
            [GSD] = &options.gsd,
            [RANGE] = &options.diameter_half_range_mm,
            [GAP] = &options.gap_mm,
            [PITCH] = &options.pitch_mm,
            [ANGLE] = &options.angle_deg,
            [CORRELATION] = &options.correlation_mm,
            [SOFTNESS] = &options.softness_mm,
            [NOISE] = &options.noise,
            [INK] = &options.ink_reflectance,
            [PAPER] = &options.paper_reflectance,
        };

        if (cases[i].option == BITS)
            options.bits = (unsigned)cases[i].value;
        else if (cases[i].option == KIND)
            options.kind = (fleck_phantom_kind)cases[i].value;
        else if (cases[i].option == SIZES)
            options.sizes = (fleck_phantom_sizes)cases[i].value;
        else
            *numbers[cases[i].option] = cases[i].value;
        if (cases[i].option == PPI)
            options.height_mm = 20;
        if (cases[i].option == RANGE)
            options.sizes = FLECK_PHANTOM_UNIFORM;
        assert_int_equal(fleck_phantom_new(&options, &phantom, &err), FLECK_BAD_CALL);
        assert_string_equal(err.message, cases[i].message);
        assert_null(phantom);
    }
}

static void one_pixel_and_no_ink_are_pictures_too(void **state)
{
    static const fleck_phantom_kind kinds[] = { FLECK_PHANTOM_DISCS, FLECK_PHANTOM_SEPARATE };

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        fleck_phantom_options options = bare_options(kinds[i]);
        fleck_phantom *phantom;
        char *csv;

        options.width_mm = options.height_mm = 0.1;
        options.softness_mm = 0.1;
        options.coverage = 0;
        phantom = drawn(&options);
        check_near("no ink", fleck_phantom_exact_coverage(phantom), 0, 0);
        csv = fleck_phantom_dots_csv(phantom);
        assert_string_equal(csv, "x_mm,y_mm,diameter_mm\n");
        free(csv);
        fleck_phantom_free(phantom);
    }
    fleck_phantom_free(NULL);
}

/* Paper with a texture; under the ink it does not show. The sum of independent variances holds as well. */
static void bare_paper_has_the_texture_asked_for(void **state)
{
    static const struct {
        const char *source;
        double coverage, fibre, softness_mm, noise, sd;
    } cases[] = {
        { "fibre", 0, 0.03, 0, 0, 0.03 },
        /* a Gaussian blur of sd s leaves l^2 / (l^2 + 4 s^2) of the variance */
        { "fibre, blurred: 0.03 sqrt(0.25 / (0.25 + 0.16))", 0, 0.03, 0.2, 0, 0.0234261 },
        { "fibre and noise: sqrt(0.03^2 + 0.04^2)", 0, 0.03, 0, 0.04, 0.05 },
        { "solid ink", 1, 0.03, 0.2, 0, 0 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_phantom_options options = bare_options(FLECK_PHANTOM_PLAIN);
        fleck_phantom *phantom;
        struct moments moments;

        options.width_mm = options.height_mm = 60;
        options.coverage = cases[i].coverage;
        options.fibre = cases[i].fibre;
        options.fibre_length_mm = 0.5;
        options.softness_mm = cases[i].softness_mm;
        options.noise = cases[i].noise;
        phantom = drawn(&options);
        moments = moments_of(phantom);
        check_near(cases[i].source, moments.mean, 1 - cases[i].coverage, 5e-4);
        check_near(cases[i].source, moments.sd, cases[i].sd, 0.03 * cases[i].sd + 1e-9);
        fleck_phantom_free(phantom);
    }
}

/* Both come from the phantom's seed; paper whose texture showed where the ink lies would be odd. */
static void the_texture_is_another_field_than_the_speckle(void **state)
{
    fleck_phantom_options options = bare_options(FLECK_PHANTOM_FIELD);
    fleck_phantom *speckle, *paper;
    const float *ink, *texture;
    size_t width_px, height_px;
    double product = 0;

    (void)state;
    options.coverage = 0.5;
    options.width_mm = options.height_mm = 40;
    speckle = drawn(&options);
    options.kind = FLECK_PHANTOM_PLAIN;
    options.coverage = 0;
    options.fibre = 0.05;
    options.fibre_length_mm = options.correlation_mm;
    paper = drawn(&options);
    ink = fleck_phantom_reflectance(speckle, &width_px, &height_px);
    texture = fleck_phantom_reflectance(paper, &width_px, &height_px);
    for (size_t i = 0; i < width_px * height_px; i++)
        product += ((double)ink[i] - 0.5) * ((double)texture[i] - 1);
    /* the same field would give 0.05 / 2 x 0.8 = 0.02 */
    check_near("uncorrelated", product / (double)(width_px * height_px), 0, 0.002);
    fleck_phantom_free(speckle);
    fleck_phantom_free(paper);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(poisson_discs_cover_what_the_boolean_model_says),
        cmocka_unit_test(a_lattice_of_whole_cells_covers_its_share_exactly),
        cmocka_unit_test(separate_dots_cover_the_sum_of_their_areas),
        cmocka_unit_test(a_field_covers_its_share),
        cmocka_unit_test(a_plain_picture_is_flat),
        cmocka_unit_test(blur_keeps_the_mean_and_leaves_no_border),
        cmocka_unit_test(noise_has_the_deviation_asked_for_and_is_white),
        cmocka_unit_test(a_hard_mask_is_ink_or_paper_and_its_share_is_the_truth),
        cmocka_unit_test(the_same_seed_gives_the_same_pixels_and_another_one_others),
        cmocka_unit_test(resolution_and_softness_leave_the_dots_where_they_are),
        cmocka_unit_test(files_hold_the_coded_reflectance_and_the_resolution),
        cmocka_unit_test(a_name_without_a_known_ending_is_refused),
        cmocka_unit_test(the_truth_reads_back_to_the_last_digit),
        cmocka_unit_test(a_comma_for_a_decimal_point_changes_no_byte),
        cmocka_unit_test(options_out_of_range_are_named_with_their_range),
        cmocka_unit_test(one_pixel_and_no_ink_are_pictures_too),
        cmocka_unit_test(bare_paper_has_the_texture_asked_for),
        cmocka_unit_test(the_texture_is_another_field_than_the_speckle),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
