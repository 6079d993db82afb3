/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "target_scan.h"

#include "io/picture.h"

enum { SIDE_PX = 120 };

static target sheet_of(const double *reflectance)
{
    return (target){ .width_px = SIDE_PX, .height_px = SIDE_PX, .channels = 1, .bits = 16,
                     .ppi = 254, .noise = 0.004, .reflectance = plain, .context = reflectance };
}

/* Mean of q / 65535 of a whole grey or RGB scan, as a measurement sees it. */
static double seen(const fleck_calibration *cal, const char *path, fleck_channel channel)
{
    fleck_scan *scan = NULL;
    fleck_tone *tone = NULL;
    fleck_warnings warnings = { 0 };
    uint16_t q[SIDE_PX];
    unsigned char row[SIDE_PX * 6];
    double sum = 0;

    check_ok(fleck_scan_open(path, 1, &scan, err));
    check_ok(fleck_tone_new(fleck_scan_get_info(scan), cal, &tone, &warnings, err));
    for (size_t y = 0; y < SIDE_PX; y++) {
        check_ok(fleck_scan_read_row(scan, row, err));
        fleck_tone_row_at(tone, channel, row, SIDE_PX, 0, y, q);
        for (size_t x = 0; x < SIDE_PX; x++)
            sum += q[x];
    }
    fleck_tone_free(tone);
    fleck_scan_close(scan);
    fleck_warnings_clear(&warnings);
    return sum / 65535 / (SIDE_PX * SIDE_PX);
}

static void calibrate(fleck_calibration *cal, const char *paper, const char *ink,
                      fleck_warnings *warnings)
{
    const fleck_scan_area white = { .path = paper, .page = 1 }, black = { .path = ink, .page = 1 };

    fleck_calibration_init(cal);
    check_ok(fleck_calibrate_paper(cal, &white, warnings, err));
    check_ok(fleck_calibrate_ink(cal, &black, &white, warnings, err));
}

/* From dot_gain.csv, computed with mpmath from the two formulas. */
static void dot_area_has_the_values_of_murray_davies_and_yule_nielsen(void **state)
{
    static const struct {
        double paper_density, solid_density, tint_density, n, area;
    } cases[] = {
        { 0.08, 1.50, 0.35, 1, 0.48126540397029 },   { 0.08, 1.50, 0.35, 1.7, 0.35870604154454 },
        { 0.08, 1.50, 0.35, 2, 0.33188858298694 },   { 0.08, 1.50, 0.10, 1, 0.046786174731288 },
        { 0.08, 1.50, 0.10, 1.5, 0.034088954166833 }, { 0.00, 1.40, 0.30, 1, 0.51949420310441 },
        { 0.00, 1.40, 0.30, 2, 0.36485170046484 },   { 0.05, 1.80, 0.70, 1, 0.79017948523139 },
        { 0.05, 1.80, 0.70, 1.7, 0.64572752165614 }, { 0.10, 0.95, 0.50, 1, 0.70089718886586 },
        { 0.10, 0.95, 0.50, 2, 0.59126044728632 },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const double paper = pow(10, -cases[i].paper_density), ink = pow(10, -cases[i].solid_density);
        const double tint = pow(10, -cases[i].tint_density);

        check_near("dot_gain.csv", fleck_tone_dot_area(paper, ink, tint, cases[i].n), cases[i].area,
                   1e-12);
        if (cases[i].n == 1) { /* the same seen relative to the paper */
            fleck_calibration cal;

            fleck_calibration_init(&cal);
            cal.channels = 1;
            cal.paper = (fleck_calibration_area){ .present = true, .reflectance = { paper },
                                                  .quantised = { 1 } };
            cal.ink = (fleck_calibration_area){ .present = true, .reflectance = { ink },
                                                .quantised = { ink / paper } };
            check_near("dot_gain.csv, relative to paper",
                       fleck_calibration_optical_coverage(&cal, FLECK_CHANNEL_LUMINANCE, tint / paper),
                       cases[i].area, 1e-12);
        }
    }
}

static void bare_paper_covers_nothing_and_solid_ink_all(void **state)
{
    static const struct {
        double paper, ink;
        bool relative;
    } cases[] = { { 0.82, 0.04, true }, { 0.995, 0.30, true }, { 0.10, 0.60, false } };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const target white = sheet_of(&cases[i].paper), black = sheet_of(&cases[i].ink);
        const char *const paper = draw("paper.tif", &white);
        const char *const ink = draw("ink.tif", &black);
        fleck_warnings warnings = { 0 };
        fleck_calibration cal;

        calibrate(&cal, paper, ink, &warnings);
        check_near("paper as drawn", cal.paper.reflectance[0], cases[i].paper, 0.002);
        check_near("ink as drawn", cal.ink.reflectance[0], cases[i].ink, 0.002);
        assert_true(cal.paper.sd[0] > 0.0002 && cal.paper.sd[0] < 0.01);
        assert_int_equal(cal.relative_to_paper, cases[i].relative);
        assert_int_equal(fleck_warnings_has(&warnings, "not-relative-to-paper"), !cases[i].relative);
        check_near("paper's own pixels; grey has one channel whatever is asked for",
                   fleck_calibration_optical_coverage(&cal, FLECK_CHANNEL_BLUE,
                                                      seen(&cal, paper, FLECK_CHANNEL_LUMINANCE)),
                   0, 1e-12);
        check_near("ink's own pixels",
                   fleck_calibration_optical_coverage(&cal, FLECK_CHANNEL_LUMINANCE,
                                                      seen(&cal, ink, FLECK_CHANNEL_LUMINANCE)),
                   1, 1e-12);
        if (cases[i].relative) {
            /* half of the noise is above the paper's mean and cut off, so a little below 1 */
            const double white_seen = seen(&cal, paper, FLECK_CHANNEL_LUMINANCE);

            assert_true(white_seen < 1 && white_seen > 0.99);
            check_ratio("relative to the paper", seen(&cal, ink, FLECK_CHANNEL_LUMINANCE),
                        cal.ink.reflectance[0] / cal.paper.reflectance[0], 1e-4);
        }
        fleck_warnings_clear(&warnings);
        fleck_calibration_clear(&cal);
    }
}

/* Yellow paper, and ink that is dark in blue only. */
static double tinted(const void *context, size_t x, size_t y, unsigned c)
{
    const double *const rgb = context;

    (void)x;
    (void)y;
    return rgb[c];
}

static void each_channel_has_its_own_white_and_none_without_contrast(void **state)
{
    static const double paper_rgb[3] = { 0.9, 0.8, 0.5 }, ink_rgb[3] = { 0.901, 0.7, 0.1 };
    target white = sheet_of(NULL), black = sheet_of(NULL);
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;
    const char *paper, *ink;

    (void)state;
    white.channels = black.channels = 3;
    white.reflectance = black.reflectance = tinted;
    white.context = paper_rgb;
    black.context = ink_rgb;
    paper = draw("paper.tif", &white);
    ink = draw("ink.tif", &black);
    calibrate(&cal, paper, ink, &warnings);
    check_near("luminance weights of IEC 61966-2-1", cal.paper.reflectance[FLECK_CHANNEL_LUMINANCE],
               0.2126 * 0.9 + 0.7152 * 0.8 + 0.0722 * 0.5, 0.001);
    check_near("blue", cal.ink.reflectance[FLECK_CHANNEL_BLUE], 0.1, 0.001);
    for (unsigned t = 0; t < FLECK_CHANNELS; t++) {
        const fleck_channel channel = (fleck_channel)t;

        check_near("ink's own pixels",
                   fleck_calibration_optical_coverage(&cal, channel, seen(&cal, ink, channel)),
                   channel == FLECK_CHANNEL_RED ? NAN : 1, 1e-12);
        check_near("paper is white in each channel", seen(&cal, paper, channel), 1, 0.01);
    }
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

static void coverage_is_missing_without_paper_or_ink(void **state)
{
    static const double white = 0.8;
    const target sheet = sheet_of(&white);
    const fleck_scan_area paper = { .path = draw("paper.tif", &sheet), .page = 1 };
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;

    (void)state;
    fleck_calibration_init(&cal);
    check_near("nothing known",
               fleck_calibration_optical_coverage(&cal, FLECK_CHANNEL_LUMINANCE, 0.5), NAN, 0);
    check_ok(fleck_calibrate_paper(&cal, &paper, &warnings, err));
    check_near("no ink", fleck_calibration_optical_coverage(&cal, FLECK_CHANNEL_LUMINANCE, 0.5), NAN, 0);
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

static void areas_that_are_no_paper_or_no_ink_are_refused(void **state)
{
    static const double white = 0.8, black = 0.0;
    const target light = sheet_of(&white), dark = sheet_of(&black);
    target other = light;
    const fleck_scan_area paper = { .path = draw("paper.tif", &light), .page = 1 };
    const fleck_scan_area lid = { .path = draw("lid.tif", &dark), .page = 1 };
    const fleck_scan_area outside = { .path = paper.path, .page = 1, .has_box = true,
                                      .box = { 5, 5, 10, 3 } };
    fleck_scan_area narrow = { .page = 1 };
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;

    (void)state;
    other.bits = 8;
    narrow.path = draw("narrow.tif", &other);
    fleck_calibration_init(&cal);
    check_fails(fleck_calibrate_ink(&cal, &lid, &paper, &warnings, err), FLECK_BAD_CALL,
                "calibrate the paper");
    check_fails(fleck_calibrate_paper(&cal, &lid, &warnings, err), FLECK_BAD_INPUT, "the paper has");
    check_fails(fleck_calibrate_paper(&cal, &outside, &warnings, err), FLECK_BAD_INPUT,
                "reaches outside the scan, which is 12 x 12 mm");
    check_ok(fleck_calibrate_paper(&cal, &paper, &warnings, err));
    check_fails(fleck_calibrate_ink(&cal, &paper, &paper, &warnings, err), FLECK_BAD_INPUT,
                "does not differ");
    check_fails(fleck_calibrate_ink(&cal, &narrow, &paper, &warnings, err), FLECK_BAD_INPUT,
                "made for 16-bit grey at 254 ppi, this scan is 8-bit grey");
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

/* Paper seen by the sRGB curve says nothing of a scan that brings a curve of its own. */
static void a_white_without_a_curve_holds_for_the_same_curve_only(void **state)
{
    static const double white = 0.8;
    const target sheet = sheet_of(&white);
    const fleck_scan_area paper = { .path = draw("paper.tif", &sheet), .page = 1 };
    const fleck_scan_info info = { .width_px = 9, .height_px = 9, .bits = 16, .sample_bytes = 2,
                                   .channels = 1, .ppi_x = 254, .ppi_y = 254, .gamma = 0.5,
                                   .page = 1, .pages = 1 };
    fleck_warnings warnings = { 0 };
    fleck_tone *tone = NULL;
    fleck_calibration cal;

    (void)state;
    fleck_calibration_init(&cal);
    check_ok(fleck_calibrate_paper(&cal, &paper, &warnings, err));
    check_fails(fleck_tone_new(&info, &cal, &tone, &warnings, err), FLECK_BAD_INPUT,
                "made with the curve srgb-assumed, this scan brings the curve png-gama");
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(dot_area_has_the_values_of_murray_davies_and_yule_nielsen),
        cmocka_unit_test(bare_paper_covers_nothing_and_solid_ink_all),
        cmocka_unit_test(each_channel_has_its_own_white_and_none_without_contrast),
        cmocka_unit_test(coverage_is_missing_without_paper_or_ink),
        cmocka_unit_test(areas_that_are_no_paper_or_no_ink_are_refused),
        cmocka_unit_test(a_white_without_a_curve_holds_for_the_same_curve_only),
    };

    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
