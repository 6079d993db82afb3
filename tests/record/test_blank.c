/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calibrate/target_scan.h"

enum { SIDE_PX = 300, CELL_PX = SIDE_PX / 3 };

static const double white = 0.8, black = 0.05;

/* Specks on blank paper, in the cells of a 3 x 3 grid. */
struct speck {
    size_t x_px, y_px, width_px, height_px;
};

static const struct speck specks[] = {
    { 20, 30, 4, 3 },    /* cell 0: 12 pixels of 0.1 mm */
    { 60, 70, 1, 1 },    /* cell 0: 1 pixel, below the cutoff */
    { 140, 110, 5, 5 },  /* cell 4 */
    { 160, 150, 5, 5 },  /* cell 4 */
    { 298, 220, 2, 10 }, /* cell 8, at the edge of the scan */
};

static double dusty(const void *context, size_t x, size_t y, unsigned c)
{
    (void)c;
    for (size_t i = 0; i < COUNT(specks); i++) {
        if (x >= specks[i].x_px && x - specks[i].x_px < specks[i].width_px &&
            y >= specks[i].y_px && y - specks[i].y_px < specks[i].height_px)
            return 0.1;
    }
    return *(const double *)context;
}

static target sheet_of(double (*reflectance)(const void *, size_t, size_t, unsigned),
                       const double *context, double ppi)
{
    return (target){ .width_px = SIDE_PX, .height_px = SIDE_PX, .channels = 1, .bits = 8, .ppi = ppi,
                     .noise = 0.01, .reflectance = reflectance, .context = context };
}

static void calibrate(fleck_calibration *cal, double ppi, fleck_warnings *warnings)
{
    const target paper = sheet_of(plain, &white, ppi), ink = sheet_of(plain, &black, ppi);
    const fleck_scan_area paper_area = { .path = draw("paper.tif", &paper), .page = 1 };
    const fleck_scan_area ink_area = { .path = draw("ink.tif", &ink), .page = 1 };

    fleck_calibration_init(cal);
    check_ok(fleck_calibrate_paper(cal, &paper_area, warnings, err));
    check_ok(fleck_calibrate_ink(cal, &ink_area, &paper_area, warnings, err));
}

/*
 * Ink of the cells, of 10000 pixels each: 13, 50 and 20. Dots away from the edge, with the weight
 * 1 / ((100 - w - 1) (100 - h - 1)) per pixel of 0.01 mm2: 4 x 3 in cell 0 and two of 5 x 5 in cell 4
 * (the speck of cell 8 is at its edge and has no weight). Cutoff 0.2 mm: 3.14 pixels.
 */
static void false_dots_of_a_sheet_cut_into_nine_are_counted_as_by_hand(void **state)
{
    const double coverage[9] = { 13e-4, 0, 0, 0, 50e-4, 0, 0, 0, 20e-4 };
    const double per_cm2[9] = { 1e4 / (95.0 * 96), 0, 0, 0, 2e4 / (94.0 * 94), 0, 0, 0, 0 };
    double mean = 0, dot_mean = 0, square = 0, dot_square = 0;
    const target blank = sheet_of(dusty, &white, 254);
    const fleck_scan_area area = { .path = draw("blank.tif", &blank), .page = 1 };
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;

    (void)state;
    for (size_t i = 0; i < 9; i++) {
        mean += coverage[i] / 9;
        dot_mean += per_cm2[i] / 9;
    }
    for (size_t i = 0; i < 9; i++) {
        square += (coverage[i] - mean) * (coverage[i] - mean);
        dot_square += (per_cm2[i] - dot_mean) * (per_cm2[i] - dot_mean);
    }
    calibrate(&cal, 254, &warnings);
    check_ok(fleck_calibrate_blank(&cal, &area, 1, 0.2, &warnings, err));
    check_near("9 boxes", cal.blank.boxes, 9, 0);
    check_near("3 cm by 3 cm", cal.blank.area_cm2, 9, 1e-9);
    check_near("mean coverage", cal.blank.coverage_mean[0], mean, 1e-12);
    check_near("sd of a sample", cal.blank.coverage_sd[0], sqrt(square / 8), 1e-12);
    check_near("mean + 3 sd", cal.blank.coverage_limit[0], mean + 3 * sqrt(square / 8), 1e-12);
    check_near("mean density", cal.blank.per_cm2_mean[0], dot_mean, 1e-9);
    check_near("sd of a sample", cal.blank.per_cm2_sd[0], sqrt(dot_square / 8), 1e-9);
    check_near("mean + 3 sd", cal.blank.per_cm2_limit[0], dot_mean + 3 * sqrt(dot_square / 8), 1e-9);
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

static void boxes_named_one_by_one_count_each_for_itself(void **state)
{
    const target blank = sheet_of(dusty, &white, 254);
    const char *const path = draw("blank.tif", &blank);
    const fleck_scan_area areas[] = {
        { .path = path, .page = 1, .has_box = true, .box = { 0, 0, 10, 10 } },
        { .path = path, .page = 1, .has_box = true, .box = { 10, 10, 10, 10 } },
    };
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;

    (void)state;
    calibrate(&cal, 254, &warnings);
    check_ok(fleck_calibrate_blank(&cal, areas, 2, 0.2, &warnings, err));
    check_near("2 boxes", cal.blank.boxes, 2, 0);
    check_near("of 1 cm2", cal.blank.area_cm2, 2, 1e-9);
    check_near("13 and 50 pixels of 10000", cal.blank.coverage_mean[0], 31.5e-4, 1e-12);
    check_near("their sd", cal.blank.coverage_sd[0], 37e-4 / sqrt(2), 1e-12);
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

static void blank_paper_needs_paper_ink_size_and_room(void **state)
{
    const target blank = sheet_of(dusty, &white, 0);
    const fleck_scan_area area = { .path = draw("unsized.tif", &blank), .page = 1 };
    const fleck_scan_area tiny = { .path = area.path, .page = 1, .has_box = true,
                                   .box = { 0, 0, 1, 1 } };
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;

    (void)state;
    fleck_calibration_init(&cal);
    check_fails(fleck_calibrate_blank(&cal, &area, 1, 0.1, &warnings, err), FLECK_BAD_CALL,
                "paper and ink");
    calibrate(&cal, 0, &warnings);
    check_fails(fleck_calibrate_blank(&cal, &area, 1, 0, &warnings, err), FLECK_BAD_CALL, "cutoff");
    check_fails(fleck_calibrate_blank(&cal, &area, 1, 0.1, &warnings, err), FLECK_BAD_INPUT,
                "no resolution");
    cal.asked_ppi_x = cal.asked_ppi_y = 254;
    check_fails(fleck_calibrate_blank(&cal, &tiny, 1, 0.1, &warnings, err), FLECK_BAD_INPUT,
                "too little");
    check_near("nothing noted", cal.blank.boxes, 0, 0);
    check_ok(fleck_calibrate_blank(&cal, &area, 1, 0.1, &warnings, err));
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(false_dots_of_a_sheet_cut_into_nine_are_counted_as_by_hand),
        cmocka_unit_test(boxes_named_one_by_one_count_each_for_itself),
        cmocka_unit_test(blank_paper_needs_paper_ink_size_and_room),
    };

    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
