/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/contact.h"
#include "io/picture.h"
#include "study/run_files.h"

enum { WIDTH = 203, HEIGHT = 101 }; /* no multiple of any number of bands below */

static bool is_ink(size_t x, size_t y)
{
    return x >= 20 && x < 130 && (x / 7 + y / 9) % 2 == 0;
}

static bool is_none(size_t x, size_t y)
{
    (void)x;
    (void)y;
    return false;
}

/* A trace at 254 ppi: a pixel is 0.1 mm. */
static void put_trace(const char *path, bool (*ink)(size_t x, size_t y))
{
    static uint8_t samples[HEIGHT][WIDTH];
    const fleck_picture picture = {
        .format = FLECK_PICTURE_TIFF,
        .width_px = WIDTH,
        .height_px = HEIGHT,
        .channels = 1,
        .bits = 8,
        .ppi_x = 254,
        .ppi_y = 254,
    };
    uint64_t seed = 3;

    for (size_t y = 0; y < HEIGHT; y++) {
        for (size_t x = 0; x < WIDTH; x++)
            samples[y][x] = (uint8_t)((ink(x, y) ? 40 : 230) + test_random(&seed) % 5);
    }
    assert_int_equal(fleck_picture_write_samples(path, &picture, samples, NULL), FLECK_OK);
}

static fleck_contact measured(const char *path, const fleck_contact_options *options)
{
    fleck_contact contact;
    fleck_error err = { 0 };
    const fleck_status status = fleck_contact_measure(path, options, &contact, &err);

    if (status != FLECK_OK)
        print_error("%s\n", err.message);
    assert_int_equal(status, FLECK_OK);
    return contact;
}

/* From the definition, pixel by pixel. */
static size_t count_ink(size_t left, size_t top, size_t right, size_t bottom)
{
    size_t count = 0;

    for (size_t y = top; y < bottom; y++) {
        for (size_t x = left; x < right; x++)
            count += is_ink(x, y);
    }
    return count;
}

static void contact_is_the_area_of_ink_and_pressure_the_load_over_it(void **state)
{
    fleck_contact_options options = fleck_contact_options_default();
    const double ink = (double)count_ink(0, 0, WIDTH, HEIGHT);
    fleck_contact contact;

    (void)state;
    options.load_kg = 5;
    contact = measured("trace.tif", &options);
    check_ratio("0.01 mm2 a pixel", contact.whole.contact_mm2, ink * 0.01, 1e-12);
    check_ratio("all pixels", contact.whole.area_mm2, WIDTH * HEIGHT * 0.01, 1e-12);
    check_ratio("share", contact.whole.contact_fraction, ink / (WIDTH * HEIGHT), 1e-12);
    check_ratio("5 kg * 9.80665 m/s2 / area", contact.whole.mean_pressure_kpa,
                5 * 9.80665 / (ink * 0.01 * 1e-6) / 1000, 1e-12);
    assert_int_equal(contact.band_count, 5);
    assert_string_equal(contact.channel, "grey");
    fleck_contact_clear(&contact);
}

static void bands_follow_the_definition_and_add_up_to_the_whole(void **state)
{
    static const size_t numbers[] = { 1, 2, 3, 7, 101 };

    (void)state;
    for (size_t n = 0; n < sizeof numbers / sizeof *numbers; n++) {
        const size_t bands = numbers[n];

        for (int across_y = 0; across_y <= 1; across_y++) {
            fleck_contact_options options = fleck_contact_options_default();
            const size_t length = across_y ? HEIGHT : WIDTH;
            fleck_contact contact;
            double sum_mm2 = 0, load_kg = 0, area_mm2 = 0;

            options.load_kg = 3;
            options.bands = bands;
            options.across_y = across_y;
            contact = measured("trace.tif", &options);
            for (size_t i = 0; i < bands; i++) {
                const fleck_contact_part *const band = &contact.bands[i];
                const size_t from = (size_t)lround((double)i * (double)length / (double)bands);
                const size_t to = (size_t)lround((double)(i + 1) * (double)length / (double)bands);
                const size_t ink =
                    across_y ? count_ink(0, from, WIDTH, to) : count_ink(from, 0, to, HEIGHT);

                check_near("pixel by pixel", band->contact_mm2, (double)ink * 0.01, 1e-9);
                check_near("its border", band->from_mm, (double)from * 0.1, 1e-9);
                check_near("an equal part", band->load_kg, 3 / (double)bands, 1e-12);
                if (ink == 0)
                    check_near("no contact", band->mean_pressure_kpa, NAN, 0);
                else
                    check_ratio("pressure", band->mean_pressure_kpa,
                                3 / (double)bands * 9.80665 / ((double)ink * 0.01) * 1000, 1e-12);
                sum_mm2 += band->contact_mm2;
                area_mm2 += band->area_mm2;
                load_kg += band->load_kg;
            }
            check_near("sum", sum_mm2, contact.whole.contact_mm2, 1e-9);
            check_near("sum", area_mm2, contact.whole.area_mm2, 1e-9);
            check_near("sum", load_kg, 3, 1e-12);
            fleck_contact_clear(&contact);
        }
    }
}

static void a_region_moves_the_bands(void **state)
{
    fleck_contact_options options = fleck_contact_options_default();
    fleck_measure_options measure = fleck_measure_options_default();
    fleck_contact contact;

    (void)state;
    options.load_kg = 1;
    options.bands = 2;
    options.measure = &measure;
    measure.has_region = true;
    measure.region = (fleck_box_mm){ 2, 1, 6, 8 };
    contact = measured("trace.tif", &options);
    check_near("x of the scan", contact.bands[1].from_mm, 5, 1e-9);
    check_near("second half", contact.bands[1].contact_mm2,
               (double)count_ink(50, 10, 80, 90) * 0.01, 1e-9);
    fleck_contact_clear(&contact);
}

static void a_trace_without_ink_has_no_pressure_and_says_why(void **state)
{
    fleck_contact_options options = fleck_contact_options_default();
    fleck_measure_options measure = fleck_measure_options_default();
    fleck_contact contact;
    char *json;

    (void)state;
    put_trace("blank.tif", is_none);
    options.load_kg = 5;
    contact = measured("blank.tif", &options);
    check_near("cannot be told", contact.whole.contact_mm2, NAN, 0);
    check_near("cannot be told", contact.whole.mean_pressure_kpa, NAN, 0);
    check_near("cannot be told", contact.bands[0].contact_fraction, NAN, 0);
    assert_true(fleck_warnings_has(&contact.warnings, "no-trace"));
    json = fleck_contact_to_json(&contact);
    assert_non_null(strstr(json, "\"mean_pressure_kpa\":\tnull"));
    assert_null(strstr(json, "\tnan"));
    free(json);
    fleck_contact_clear(&contact);

    options.measure = &measure;
    measure.threshold = FLECK_THRESHOLD_FIXED;
    measure.fixed_reflectance = 0.2;
    contact = measured("blank.tif", &options);
    check_near("none at this threshold", contact.whole.contact_mm2, 0, 0);
    check_near("no area, no pressure", contact.whole.mean_pressure_kpa, NAN, 0);
    assert_true(fleck_warnings_has(&contact.warnings, "no-contact"));
    fleck_contact_clear(&contact);

    measure.fixed_reflectance = 0.99;
    contact = measured("blank.tif", &options);
    check_near("all of it at this one", contact.whole.contact_fraction, 1, 0);
    check_near("all of it", contact.bands[2].contact_fraction, 1, 0);
    fleck_contact_clear(&contact);
}

static void wrong_calls_and_scans_are_refused(void **state)
{
    static const struct {
        const char *scan;
        double load_kg;
        size_t bands;
        fleck_status status;
        const char *said;
    } cases[] = {
        { "trace.tif", 0, 5, FLECK_BAD_CALL, "the load must be above 0" },
        { "trace.tif", -3, 5, FLECK_BAD_CALL, "the load must be above 0" },
        { "trace.tif", NAN, 5, FLECK_BAD_CALL, "the load must be above 0" },
        { "trace.tif", INFINITY, 5, FLECK_BAD_CALL, "the load must be above 0" },
        { "trace.tif", 5, 0, FLECK_BAD_CALL, "0 is no number of bands" },
        { "trace.tif", 5, 1001, FLECK_BAD_CALL, "1001 is no number of bands" },
        { "trace.tif", 5, 204, FLECK_BAD_INPUT, "is 203 pixels wide" },
        { "missing.tif", 5, 5, FLECK_BAD_INPUT, ";" },
        { "folder", 5, 5, FLECK_BAD_CALL, "stands for 2 scans" },
    };

    (void)state;
    run_put("folder/readme.txt", "x");
    put_trace("folder/a.tif", is_ink);
    put_trace("folder/b.tif", is_ink);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_contact_options options = fleck_contact_options_default();
        fleck_contact contact;
        fleck_error err = { 0 };

        options.load_kg = cases[i].load_kg;
        options.bands = cases[i].bands;
        assert_int_equal(fleck_contact_measure(cases[i].scan, &options, &contact, &err),
                         cases[i].status);
        if (strstr(err.message, cases[i].said) == NULL)
            print_error("%s\n", err.message);
        assert_non_null(strstr(err.message, cases[i].said));
        assert_null(contact.bands);
    }
}

static void the_table_has_a_row_for_the_whole_and_each_band(void **state)
{
    fleck_contact_options options = fleck_contact_options_default();
    fleck_contact contact;
    char *csv;
    size_t rows = 0;

    (void)state;
    options.load_kg = 5;
    contact = measured("trace.tif", &options);
    csv = fleck_contact_to_csv(&contact);
    for (const char *c = csv; *c != '\0'; c++)
        rows += *c == '\n';
    assert_int_equal(rows, 1 + 1 + 5);
    assert_non_null(strstr(csv, "trace.tif,whole,0,2"));
    assert_non_null(strstr(csv, "\ntrace.tif,band 5,"));
    free(csv);
    fleck_contact_clear(&contact);
}

static int begin(void **state)
{
    const int failed = runs_begin(state);

    if (failed == 0)
        put_trace("trace.tif", is_ink);
    return failed;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(contact_is_the_area_of_ink_and_pressure_the_load_over_it),
        cmocka_unit_test(bands_follow_the_definition_and_add_up_to_the_whole),
        cmocka_unit_test(a_region_moves_the_bands),
        cmocka_unit_test(a_trace_without_ink_has_no_pressure_and_says_why),
        cmocka_unit_test(wrong_calls_and_scans_are_refused),
        cmocka_unit_test(the_table_has_a_row_for_the_whole_and_each_band),
    };

    return cmocka_run_group_tests(tests, begin, runs_end);
}
