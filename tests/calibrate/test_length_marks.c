/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "target_scan.h"

static const double white = 0.8;

static const char *ruler(double ppi)
{
    const target scan = { .width_px = 2000, .height_px = 1500, .channels = 1, .bits = 8,
                          .ppi = ppi, .reflectance = plain, .context = &white };

    return draw("ruler.tif", &scan);
}

/*
 * Along x two lengths of 600 and 1203 pixels, along y one of 602:
 *   px = (600 * 25.4 + 1203 * 50.8) / (600^2 + 1203^2) = 76352.4 / 1807209 = 0.0422488... mm
 *   py = 25.4 / 602; residuals in mm: 600 px - 25.4, 1203 px - 50.8, 0; one degree of freedom
 */
static void ppi_and_standard_errors_are_those_worked_by_hand(void **state)
{
    const fleck_length_mark marks[] = { { 25.4, 10, 20, 610, 20, 0 },
                                        { 50.8, 10, 40, 1213, 40, 0 },
                                        { 25.4, 50, 10, 50, 612, 0 } };
    const double px = (600 * 25.4 + 1203 * 50.8) / (600.0 * 600 + 1203.0 * 1203);
    const double r0 = 600 * px - 25.4, r1 = 1203 * px - 50.8;
    const double s = sqrt(r0 * r0 + r1 * r1);
    const fleck_scan_area scan = { .path = ruler(600), .page = 1 };
    fleck_calibration cal;
    fleck_warnings warnings = { 0 };

    (void)state;
    fleck_calibration_init(&cal);
    check_ok(fleck_calibrate_length(&cal, marks, 3, &scan, &warnings, err));
    check_ratio("25.4 / px", cal.length.ppi_x, 25.4 / px, 1e-12);
    check_ratio("602 px are 25.4 mm", cal.length.ppi_y, 602, 1e-12);
    check_near("residual", cal.length.marks[0].residual_mm, r0, 1e-11);
    check_near("residual", cal.length.marks[1].residual_mm, r1, 1e-11);
    check_near("residual", cal.length.marks[2].residual_mm, 0, 1e-11);
    check_ratio("ppi^2 / 25.4 * s / sqrt(sum dx^2)", cal.length.ppi_x_se,
                25.4 / (px * px) * s / sqrt(600.0 * 600 + 1203.0 * 1203), 1e-6);
    check_ratio("the same along y", cal.length.ppi_y_se, 602.0 * 602 / 25.4 * s / 602, 1e-6);
    assert_int_equal(cal.bits, 8);
    assert_int_equal(warnings.count, 0);
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

static void slanted_lengths_give_the_true_ppi_of_both_axes(void **state)
{
    const double px = 25.4 / 590, py = 25.4 / 612;
    const double ends[][4] = { { 100, 100, 1900, 130 }, { 300, 200, 350, 1400 },
                               { 100, 1400, 1500, 100 }, { 200, 100, 1500, 1400 } };
    const fleck_scan_area scan = { .path = ruler(600), .page = 1 };
    fleck_length_mark marks[COUNT(ends)] = { { 0 } };
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;

    (void)state;
    for (size_t i = 0; i < COUNT(ends); i++) {
        marks[i] = (fleck_length_mark){ hypot((ends[i][2] - ends[i][0]) * px,
                                              (ends[i][3] - ends[i][1]) * py),
                                        ends[i][0], ends[i][1], ends[i][2], ends[i][3], 0 };
    }
    fleck_calibration_init(&cal);
    check_ok(fleck_calibrate_length(&cal, marks, COUNT(ends), &scan, &warnings, err));
    check_ratio("drawn at 590", cal.length.ppi_x, 590, 1e-10);
    check_ratio("drawn at 612", cal.length.ppi_y, 612, 1e-10);
    assert_true(fleck_warnings_has(&warnings, "resolution-differs"));
    assert_non_null(strstr(warnings.items[0].message, "600"));
    assert_non_null(strstr(warnings.items[0].message, "590"));
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

static void doubts_about_lengths_are_said(void **state)
{
    static const struct {
        const char *code;
        double ppi;
        size_t count;
        fleck_length_mark marks[3];
    } cases[] = {
        { "length-exact", 600, 2, { { 25.4, 3, 0, 602.7, 1, 0 }, { 25.4, 0, 7, 2, 606.9, 0 } } },
        { "length-misfit", 0, 3,
          { { 25.4, 0, 0, 600, 0, 0 }, { 26.4, 0, 9, 600, 9, 0 }, { 25.4, 0, 0, 0, 600, 0 } } },
        { "resolution-differs", 590, 3,
          { { 25.4, 0, 0, 600, 0, 0 }, { 25.4, 0, 9, 600, 9, 0 }, { 25.4, 0, 0, 0, 600, 0 } } },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const fleck_scan_area scan = { .path = ruler(cases[i].ppi), .page = 1 };
        fleck_warnings warnings = { 0 };
        fleck_calibration cal;

        fleck_calibration_init(&cal);
        check_ok(fleck_calibrate_length(&cal, cases[i].marks, cases[i].count, &scan, &warnings, err));
        if (warnings.count != 1 || !fleck_warnings_has(&warnings, cases[i].code))
            fail_msg("%s is not the one warning", cases[i].code);
        assert_int_equal(isnan(cal.length.ppi_x_se), cases[i].count == 2);
        assert_int_equal(isnan(cal.length.ppi_y_se), cases[i].count == 2);
        fleck_warnings_clear(&warnings);
        fleck_calibration_clear(&cal);
    }
}

static void lengths_that_tell_nothing_are_refused(void **state)
{
    static const struct {
        const char *says;
        size_t count;
        fleck_length_mark marks[3];
    } cases[] = {
        { "one length", 1, { { 25.4, 0, 0, 600, 0, 0 } } },
        { "same point 5,7", 2, { { 25.4, 5, 7, 5, 7, 0 }, { 25.4, 0, 0, 0, 600, 0 } } },
        { "length of 0 mm", 2, { { 0, 0, 0, 600, 0, 0 }, { 25.4, 0, 0, 0, 600, 0 } } },
        { "length of -3 mm", 2, { { -3, 0, 0, 600, 0, 0 }, { 25.4, 0, 0, 0, 600, 0 } } },
        { "not both in the scan", 2, { { 25.4, 0, 0, 2001, 0, 0 }, { 25.4, 0, 0, 0, 600, 0 } } },
        { "not both in the scan", 2, { { 25.4, -1, 0, 600, 0, 0 }, { 25.4, 0, 0, 0, 600, 0 } } },
        { "along y", 2, { { 25.4, 0, 0, 600, 0, 0 }, { 50.8, 0, 5, 1200, 9, 0 } } },
        { "along x", 2, { { 25.4, 0, 0, 0, 600, 0 }, { 50.8, 5, 0, 9, 1200, 0 } } },
        { "the same way", 3,
          { { 25.4, 0, 0, 400, 400, 0 }, { 50.8, 0, 0, 800, 800, 0 }, { 50.8, 800, 0, 0, 800, 0 } } },
    };
    const fleck_scan_area scan = { .path = ruler(600), .page = 1 };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        fleck_warnings warnings = { 0 };
        fleck_calibration cal;

        fleck_calibration_init(&cal);
        check_fails(fleck_calibrate_length(&cal, cases[i].marks, cases[i].count, &scan, &warnings, err),
                    FLECK_BAD_CALL, cases[i].says);
        assert_int_equal(cal.length.mark_count, 0);
        fleck_warnings_clear(&warnings);
        fleck_calibration_clear(&cal);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(ppi_and_standard_errors_are_those_worked_by_hand),
        cmocka_unit_test(slanted_lengths_give_the_true_ppi_of_both_axes),
        cmocka_unit_test(doubts_about_lengths_are_said),
        cmocka_unit_test(lengths_that_tell_nothing_are_refused),
    };

    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
