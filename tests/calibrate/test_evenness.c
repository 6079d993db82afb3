/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "target_scan.h"

enum { WIDTH_PX = 600, HEIGHT_PX = 420, SPECKS = 40 };

/* Light over a sheet: a fall-off that is no polynomial, and specks of dust. */
struct sheet {
    double reflectance;
    double depth;     /* half the range of the light */
    bool specks;
    double colour[3]; /* of the light's fall-off */
    double fine;      /* share of single dark pixels, at the right border; none at the left */
};

static double light_at(const struct sheet *sheet, double x_px, double y_px, unsigned c)
{
    const double x = (2 * x_px + 1) / WIDTH_PX - 1, y = (2 * y_px + 1) / HEIGHT_PX - 1;

    return 1 + sheet->depth * sheet->colour[c] *
                   (0.6 * cos(1.2 * x + 0.3) + 0.5 * sin(0.9 * y) + 0.3 * x * y - 0.6);
}

static bool is_speck(size_t x, size_t y)
{
    uint64_t random = 7;

    for (size_t i = 0; i < SPECKS; i++) {
        const double dx = (double)x - WIDTH_PX * test_uniform(&random);
        const double dy = (double)y - HEIGHT_PX * test_uniform(&random);
        const double radius = 1 + 8 * test_uniform(&random);

        if (dx * dx + dy * dy < radius * radius)
            return true;
    }
    return false;
}

static double sheet_reflectance(const void *context, size_t x, size_t y, unsigned c)
{
    const struct sheet *const sheet = context;
    uint64_t random = y * WIDTH_PX + x;

    if (test_uniform(&random) < sheet->fine * (double)x / WIDTH_PX)
        return 0.1;

    if (sheet->specks && is_speck(x, y))
        return 0.1;
    return sheet->reflectance * light_at(sheet, (double)x, (double)y, c);
}

static target scan_of(const struct sheet *sheet, unsigned channels, unsigned bits)
{
    return (target){ .width_px = WIDTH_PX, .height_px = HEIGHT_PX, .channels = channels,
                     .bits = bits, .ppi = 254, .gamma = 0, .noise = 0.01,
                     .reflectance = sheet_reflectance, .context = sheet };
}

/* Largest deviation from the mean of light over field, over the sheet, over their mean. */
static double left_uneven(const fleck_calibration *cal, const struct sheet *sheet, unsigned t)
{
    double least = INFINITY, most = 0;

    for (size_t y = 0; y < HEIGHT_PX; y += 6) {
        for (size_t x = 0; x < WIDTH_PX; x += 6) {
            const double ratio =
                light_at(sheet, (double)x, (double)y, t > 0 ? t - 1 : 0) /
                fleck_calibration_field(cal, (fleck_channel)t, (double)x, (double)y);

            least = fmin(least, ratio);
            most = fmax(most, ratio);
        }
    }
    return (most - least) / (most + least);
}

static void uneven_light_is_taken_out_to_half_a_percent_through_noise_and_dust(void **state)
{
    static const struct {
        struct sheet sheet;
        unsigned channels, bits;
    } cases[] = {
        { { 0.75, 0.22, true, { 1, 1, 1 }, 0 }, 1, 8 },
        { { 0.75, 0.22, true, { 1, 1, 1 }, 0.1 }, 1, 16 },
        { { 0.75, 0.22, true, { 1, 0.5, -0.4 }, 0 }, 3, 8 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const target scan = scan_of(&cases[i].sheet, cases[i].channels, cases[i].bits);
        const fleck_scan_area blank = { .path = draw("blank.tif", &scan), .page = 1 };
        fleck_warnings warnings = { 0 };
        fleck_calibration flat, cal;

        fleck_calibration_init(&cal);
        fleck_calibration_init(&flat);
        check_ok(fleck_calibrate_evenness(&cal, &blank, &warnings, err));
        for (unsigned t = cases[i].channels == 1 ? 0 : 1; t < fleck_calibration_channels(&cal); t++) {
            const double before = left_uneven(&flat, &cases[i].sheet, t);

            assert_true(before > 0.04);
            check_near("light over field", left_uneven(&cal, &cases[i].sheet, t), 0, 0.005);
            assert_true(cal.evenness.before_sd[t] > 0.01);
            assert_true(cal.evenness.after_sd[t] < 0.004);
            assert_true(cal.evenness.after_sd[t] < cal.evenness.before_sd[t] / 10);
        }
        if (i == 0)
            check_near("twenty percent up and down", left_uneven(&flat, &cases[i].sheet, 0), 0.2, 0.01);
        assert_true(cal.evenness.blocks_left_out[0] > 0);
        fleck_warnings_clear(&warnings);
        fleck_calibration_clear(&cal);
    }
}

/* Any stretch of any row, and both ways through the tone. */
static void a_scan_is_divided_by_the_light_at_its_place(void **state)
{
    static const struct sheet sheet = { 0.6, 0.3, false, { 1, 1, 1 }, 0 };
    target scan = scan_of(&sheet, 1, 16);
    const fleck_scan_area blank = { .path = draw("blank.tif", &scan), .page = 1 };
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;
    fleck_scan *reader = NULL;
    fleck_tone *tone = NULL;
    uint16_t row[WIDTH_PX], q[WIDTH_PX], part[WIDTH_PX];
    double mean_light = 0;

    (void)state;
    for (size_t i = 0; i < (size_t)WIDTH_PX * HEIGHT_PX; i++)
        mean_light += light_at(&sheet, (double)(i % WIDTH_PX), (double)(i / WIDTH_PX), 0) /
                      (WIDTH_PX * HEIGHT_PX);
    fleck_calibration_init(&cal);
    check_ok(fleck_calibrate_evenness(&cal, &blank, &warnings, err));
    check_ok(fleck_scan_open(blank.path, 1, &reader, err));
    check_ok(fleck_tone_new(fleck_scan_get_info(reader), &cal, &tone, &warnings, err));
    for (size_t y = 0; y < HEIGHT_PX; y++) {
        double row_mean = 0;

        check_ok(fleck_scan_read_row(reader, row, err));
        fleck_tone_row_at(tone, FLECK_CHANNEL_LUMINANCE, row, WIDTH_PX, 0, y, q);
        fleck_tone_row_at(tone, FLECK_CHANNEL_LUMINANCE, row + 37, WIDTH_PX - 37, 37, y, part);
        assert_memory_equal(part, q + 37, (WIDTH_PX - 37) * sizeof *q);
        for (size_t x = 0; x < WIDTH_PX; x += 13) {
            const double r = fleck_tone_srgb_decode(row[x] / 65535.0) /
                             fleck_calibration_field(&cal, FLECK_CHANNEL_LUMINANCE, (double)x,
                                                     (double)y);

            check_near("R / field", q[x] / 65535.0, r, 0.6 / 65535);
        }
        for (size_t x = 0; x < WIDTH_PX; x++)
            row_mean += q[x] / 65535.0 / WIDTH_PX;
        check_near("each row has the sheet's mean", row_mean, 0.6 * mean_light, 0.002);
    }
    fleck_tone_free(tone);
    fleck_scan_close(reader);
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

static void a_scan_of_another_size_is_refused(void **state)
{
    static const struct sheet sheet = { 0.6, 0.1, false, { 1, 1, 1 }, 0 };
    const target scan = scan_of(&sheet, 1, 8);
    const fleck_scan_area blank = { .path = draw("blank.tif", &scan), .page = 1 };
    fleck_scan_info info = { .width_px = WIDTH_PX, .height_px = HEIGHT_PX, .bits = 8,
                             .sample_bytes = 1, .channels = 1, .ppi_x = 254, .ppi_y = 254,
                             .page = 1, .pages = 1 };
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;
    fleck_tone *tone = NULL;

    (void)state;
    fleck_calibration_init(&cal);
    check_ok(fleck_calibrate_evenness(&cal, &blank, &warnings, err));
    info.width_px = WIDTH_PX + WIDTH_PX / 100;
    check_ok(fleck_tone_new(&info, &cal, &tone, &warnings, err));
    fleck_tone_free(tone);
    info.width_px = WIDTH_PX / 2;
    check_fails(fleck_tone_new(&info, &cal, &tone, &warnings, err), FLECK_BAD_INPUT,
                "for scans of 600 x 420 px, this one has 300 x 420");
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

static void sheets_that_tell_no_evenness_are_refused_or_doubted(void **state)
{
    static const struct sheet black = { 0.001, 0, false, { 1, 1, 1 }, 0 };
    static const struct sheet steep = { 0.5, 2.4, false, { 1, 1, 1 }, 0 };
    static const struct sheet clipped = { 1.2, 0.1, false, { 1, 1, 1 }, 0 };
    static const struct sheet even = { 0.6, 0, false, { 1, 1, 1 }, 0 };
    target scan = scan_of(&black, 1, 8);
    fleck_scan_area blank = { .page = 1 };
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;

    (void)state;
    fleck_calibration_init(&cal);
    scan.noise = 0;
    blank.path = draw("black.tif", &scan);
    check_fails(fleck_calibrate_evenness(&cal, &blank, &warnings, err), FLECK_BAD_INPUT,
                "a blank white sheet");
    scan.context = &steep;
    blank.path = draw("steep.tif", &scan);
    check_fails(fleck_calibrate_evenness(&cal, &blank, &warnings, err), FLECK_BAD_INPUT,
                "less than a fifth");
    scan.width_px = 40;
    blank.path = draw("small.tif", &scan);
    check_fails(fleck_calibrate_evenness(&cal, &blank, &warnings, err), FLECK_BAD_INPUT, "too small");
    blank.has_box = true;
    check_fails(fleck_calibrate_evenness(&cal, &blank, &warnings, err), FLECK_BAD_CALL,
                "without a box");
    blank.has_box = false;
    scan.width_px = WIDTH_PX;
    scan.context = &clipped;
    blank.path = draw("clipped.tif", &scan);
    check_ok(fleck_calibrate_evenness(&cal, &blank, &warnings, err));
    assert_true(fleck_warnings_has(&warnings, "evenness-clipped"));
    scan.context = &even; /* without noise: every block is the same */
    blank.path = draw("even.tif", &scan);
    check_ok(fleck_calibrate_evenness(&cal, &blank, &warnings, err));
    check_near("even light", cal.evenness.after_sd[0], 0, 1e-9);
    check_near("even light", fleck_calibration_field(&cal, FLECK_CHANNEL_LUMINANCE, 0, 0), 1, 1e-9);
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(uneven_light_is_taken_out_to_half_a_percent_through_noise_and_dust),
        cmocka_unit_test(a_scan_is_divided_by_the_light_at_its_place),
        cmocka_unit_test(a_scan_of_another_size_is_refused),
        cmocka_unit_test(sheets_that_tell_no_evenness_are_refused_or_doubted),
    };

    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
