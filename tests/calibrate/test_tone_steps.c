/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "target_scan.h"

#include <gsl/gsl_interp.h>

#include "calibrate/resolution.h"

enum { STEPS = 13, STEP_PX = 60, STRIP_PX = 80 };

/* A strip of equal steps from density 0.05 by 0.15; `gap` pixels of black between them. */
struct wedge {
    size_t left_px, top_px;
    double around; /* reflectance beside the strip */
    size_t gap_px;
    bool negative, down, backwards;
    double scale[3]; /* of each colour */
};

static const struct wedge bare = { .scale = { 1, 1, 1 } };

static double density_of(size_t step)
{
    return 0.05 + 0.15 * (double)step;
}

static double wedge_reflectance(const void *context, size_t x, size_t y, unsigned c)
{
    const struct wedge *const w = context;
    const size_t along = w->down ? y - w->top_px : x - w->left_px;
    const size_t across = w->down ? x - w->left_px : y - w->top_px;
    const size_t step = along / STEP_PX;
    double r;

    if (across >= STRIP_PX || along >= STEPS * STEP_PX)
        return w->around;
    if (along % STEP_PX < w->gap_px)
        return 0.02;
    r = pow(10, -density_of(w->backwards ? STEPS - 1 - step : step)) * w->scale[c];
    return w->negative ? 1 - r : r;
}

static target strip_of(const struct wedge *wedge, double gamma, double noise)
{
    return (target){ .width_px = wedge->down ? STRIP_PX : STEPS * STEP_PX,
                     .height_px = wedge->down ? STEPS * STEP_PX : STRIP_PX,
                     .channels = 1, .bits = 8, .ppi = 254, .gamma = gamma, .noise = noise,
                     .reflectance = wedge_reflectance, .context = wedge };
}

static const char *steps_csv(void)
{
    char text[512] = "density\n";

    for (size_t i = 0; i < STEPS; i++)
        snprintf(text + strlen(text), sizeof text - strlen(text), "%.2f\n", density_of(i));
    return write_text("steps.csv", text);
}

/* Calibrate from a whole scan that is the strip. */
static void calibrate(const char *scan, fleck_calibration *cal, fleck_warnings *warnings)
{
    const fleck_tone_target t = { .steps_csv = steps_csv(), .scan = { .path = scan, .page = 1 } };

    fleck_calibration_init(cal);
    check_ok(fleck_calibrate_tone(cal, &t, warnings, err));
}

/*
 * Bounds: without noise, of Steffen's cubic through the roots of 13 steps 0.15 apart, computed apart
 * from this code (numpy: 0.0028 for gamma 1, 0.0008 or less above); with noise some more.
 */
static void the_curve_between_steps_is_right_for_every_gamma(void **state)
{
    static const struct {
        double gamma, noise, bound;
    } cases[] = { { 1.0, 0, 0.005 },    { 1.8, 0, 0.002 },    { 2.2, 0, 0.002 },    { 2.6, 0, 0.002 },
                  { 1.0, 0.01, 0.005 }, { 1.8, 0.01, 0.003 }, { 2.2, 0.01, 0.003 }, { 2.6, 0.01, 0.003 } };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        target scan = strip_of(&bare, cases[i].gamma, cases[i].noise);
        fleck_warnings warnings = { 0 };
        fleck_calibration cal;
        const fleck_tone_curve *curve;
        double before = -1, worst = 0;

        scan.bits = cases[i].noise > 0 ? 8 : 16; /* noise makes means finer than the steps of 8 bits */
        calibrate(draw("strip.tif", &scan), &cal, &warnings);
        assert_int_equal(warnings.count, 0);
        curve = &cal.tone.curves[0];
        assert_int_equal(curve->count, STEPS);
        check_near("the darkest step less its noise", curve->low_code,
                   fmax(0, curve->code[0] - 3 * cal.tone.steps[STEPS - 1].code_sd[0]), 1e-12);
        check_near("the lightest step and its noise", curve->high_code,
                   fmin(1, curve->code[STEPS - 1] + 3 * cal.tone.steps[0].code_sd[0]), 1e-12);
        for (unsigned code = 0; code < 65536; code++) {
            const double r = fleck_tone_curve_at(curve, code / 65535.0);

            assert_true(r >= before); /* monotone at every code */
            before = r;
            /* no overshoot: within the steps, whatever the code */
            assert_true(r >= curve->reflectance[0] && r <= curve->reflectance[curve->count - 1]);
            if (code / 65535.0 >= curve->code[0] && code / 65535.0 <= curve->code[curve->count - 1])
                worst = fmax(worst, fabs(r - pow(code / 65535.0, cases[i].gamma)));
        }
        check_near("error between the steps", worst, 0, cases[i].bound);
        for (size_t s = 0; s < cal.tone.step_count; s++) {
            const double residual = cal.tone.steps[s].residual_density[0];

            assert_true(s == 0 || s + 1 == cal.tone.step_count ? isnan(residual)
                                                               : fabs(residual) < 0.05);
        }
        fleck_warnings_clear(&warnings);
        fleck_calibration_clear(&cal);
    }
}

static void the_curve_is_that_of_gsl_between_roots(void **state)
{
    double code[] = { 0.1, 0.12, 0.3, 0.31, 0.7, 0.95 };
    double reflectance[] = { 0.01, 0.02, 0.021, 0.3, 0.31, 0.9 };
    const fleck_tone_curve curve = { .code = code, .reflectance = reflectance, .count = COUNT(code) };
    double root[COUNT(code)];
    gsl_interp *const twin = gsl_interp_alloc(gsl_interp_steffen, COUNT(code));

    (void)state;
    assert_non_null(twin);
    for (size_t i = 0; i < COUNT(code); i++)
        root[i] = sqrt(reflectance[i]);
    gsl_interp_init(twin, code, root, COUNT(code));
    for (int i = 100; i <= 950; i++) {
        const double at = fmin(fmax(i / 1000.0, 0.1), 0.95);
        const double r = gsl_interp_eval(twin, code, root, at, NULL);

        check_near("gsl_interp_steffen, squared", fleck_tone_curve_at(&curve, at), r * r, 1e-12);
    }
    check_near("held below", fleck_tone_curve_at(&curve, 0), 0.01, 0);
    check_near("held above", fleck_tone_curve_at(&curve, 1), 0.9, 0);
    check_near("a missing code", fleck_tone_curve_at(&curve, NAN), 0.01, 0);
    gsl_interp_free(twin);
}

static void steps_are_found_wherever_they_lie(void **state)
{
    static const struct {
        const char *how;
        struct wedge wedge;
        size_t width_px, height_px;
        bool has_strip;
        double strip_mm[4];
        const char *warning;
    } cases[] = {
        { "whole scan, across", { .scale = { 1, 1, 1 } }, STEPS *STEP_PX, STRIP_PX, false, { 0 }, NULL },
        { "whole scan, down", { .down = true, .scale = { 1, 1, 1 } }, STRIP_PX, STEPS *STEP_PX, false,
          { 0 }, NULL },
        { "with dark gaps", { .gap_px = 5, .scale = { 1, 1, 1 } }, STEPS *STEP_PX, STRIP_PX, false,
          { 0 }, NULL },
        { "the other way round", { .backwards = true, .scale = { 1, 1, 1 } }, STEPS *STEP_PX, STRIP_PX,
          false, { 0 }, "steps-reversed" },
        { "in a larger scan", { .left_px = 50, .top_px = 70, .around = 0.8, .scale = { 1, 1, 1 } }, 900,
          300, true, { 5, 11, 83, 11 }, NULL },
        { "there from the right",
          { .left_px = 50, .top_px = 70, .around = 0.8, .backwards = true, .scale = { 1, 1, 1 } }, 900,
          300, true, { 83, 11, 5, 11 }, NULL },
        { "there a little slanted",
          { .left_px = 50, .top_px = 70, .around = 0.8, .scale = { 1, 1, 1 } }, 900, 300, true,
          { 5, 10, 83, 12 }, NULL },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const target scan = { .width_px = cases[i].width_px, .height_px = cases[i].height_px,
                              .channels = i % 2 == 0 ? 1 : 3, .bits = 16, .ppi = 254, .gamma = 2.2,
                              .noise = 0.004,
                              .reflectance = wedge_reflectance, .context = &cases[i].wedge };
        fleck_tone_target t = { .steps_csv = steps_csv(),
                                .scan = { .path = draw("strip.tif", &scan), .page = 1 },
                                .has_strip = cases[i].has_strip };
        fleck_warnings warnings = { 0 };
        fleck_calibration cal;

        memcpy(t.strip_mm, cases[i].strip_mm, sizeof t.strip_mm);
        fleck_calibration_init(&cal);
        check_ok(fleck_calibrate_tone(&cal, &t, &warnings, err));
        if (warnings.count != (cases[i].warning != NULL))
            fail_msg("%s: %s", cases[i].how, warnings.items[0].message);
        assert_true(cases[i].warning == NULL || fleck_warnings_has(&warnings, cases[i].warning));
        for (size_t s = 0; s < STEPS; s++) {
            for (size_t c = 0; c < scan.channels; c++)
                check_near(cases[i].how, cal.tone.steps[s].code[c], pow(10, -density_of(s) / 2.2),
                           0.0005);
        }
        fleck_warnings_clear(&warnings);
        fleck_calibration_clear(&cal);
    }
}

static void boxes_give_each_colour_its_own_curve(void **state)
{
    const struct wedge wedge = { .left_px = 100, .top_px = 100, .around = 0.9,
                                 .scale = { 1, 0.8, 0.5 } };
    const target scan = { .width_px = 900, .height_px = 250, .channels = 3, .bits = 8, .ppi = 254,
                          .gamma = 1.8, .reflectance = wedge_reflectance, .context = &wedge };
    fleck_tone_target t = { .scan = { .path = NULL, .page = 1 } };
    char text[1024] = "reflectance;x;y;width;height;scan\n";
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;

    (void)state;
    draw("colour.tif", &scan);
    /* every other step, out of order, with decimal commas; the scan named from the table's folder */
    for (size_t i = 0; i < STEPS; i += 2) {
        const size_t s = (i * 4) % (STEPS + 1);
        char line[128];

        snprintf(line, sizeof line, "%.6f;%.1f;10.0;6.0;8.0;colour.tif\n", pow(10, -density_of(s)),
                 10 + 6.0 * (double)s);
        for (char *at = strchr(line, '.'); at != NULL && at < strstr(line, "colour");
             at = strchr(at, '.'))
            *at = ',';
        strcat(text, line);
    }
    t.steps_csv = write_text("boxes.csv", text);
    fleck_calibration_init(&cal);
    check_ok(fleck_calibrate_tone(&cal, &t, &warnings, err));
    assert_int_equal(cal.tone.step_count, 7);
    for (size_t c = 0; c < 3; c++) {
        for (size_t s = 0; s < 7; s++) {
            const double r = cal.tone.steps[s].reflectance;

            check_near("drawn code", cal.tone.steps[s].code[c], pow(r * wedge.scale[c], 1 / 1.8), 0.002);
            check_near("reflectance of that code",
                       fleck_tone_curve_at(&cal.tone.curves[c], cal.tone.steps[s].code[c]), r, 1e-12);
        }
    }
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

/* A scanner that gives no code below 0.3 or above 0.8 of what it sees. */
static double clipping_reflectance(const void *context, size_t x, size_t y, unsigned c)
{
    const double code = wedge_reflectance(context, x, y, c);

    return (sqrt(code) - 0.2) / 0.6; /* gamma 1 follows */
}

static void clipped_ends_are_named_and_left_out(void **state)
{
    target scan = strip_of(&bare, 1, 0);
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;

    (void)state;
    scan.reflectance = clipping_reflectance;
    calibrate(draw("strip.tif", &scan), &cal, &warnings);
    /* sqrt(R) is above 0.8 up to density 0.19 and below 0.2 from 1.40 on */
    assert_int_equal(warnings.count, 2);
    assert_string_equal(warnings.items[0].code, "step-clipped");
    assert_non_null(strstr(warnings.items[0].message, "1 step of density 0.05 to 0.05 (grey)"));
    assert_non_null(strstr(warnings.items[1].message, "4 steps of density 1.4 to 1.85 (grey)"));
    assert_int_equal(cal.tone.curves[0].count, STEPS - 5);
    assert_int_equal(cal.tone.steps[0].clipped[0], FLECK_CLIP_LIGHT);
    assert_int_equal(cal.tone.steps[1].clipped[0], FLECK_CLIP_NONE);
    assert_int_equal(cal.tone.steps[STEPS - 1].clipped[0], FLECK_CLIP_DARK);
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

static void scales_that_give_no_curve_are_refused(void **state)
{
    static const struct {
        const char *says;
        const char *csv;
        fleck_status status;
        bool negative;
    } cases[] = {
        { "has 3 steps", "density\n0.1\n0.5\n1\n", FLECK_BAD_INPUT, false },
        { "only 1 different steps", "density\n0.5\n0.5\n0.5\n0.5\n0.5\n", FLECK_BAD_INPUT, false },
        { "neither density nor", "tone\n1\n2\n3\n4\n", FLECK_BAD_INPUT, false },
        { "both density and", "density,reflectance\n1,1\n", FLECK_BAD_INPUT, false },
        { "line 3: the density is no number", "density\n0.1\nx\n0.5\n1\n", FLECK_BAD_INPUT, false },
        { "line 2: a reflectance of 89", "reflectance\n89\n50\n20\n10\n", FLECK_BAD_INPUT, false },
        { "line 3: a density of -1", "density\n0\n-1\n2\n3\n", FLECK_BAD_INPUT, false },
        { "2 of the columns x, y", "density,x,y\n0,1,1\n", FLECK_BAD_INPUT, false },
        { "line 2: x, y, width or height", "density,x,y,width,height\n0,1,1,,2\n1,1,1,2,2\n2,1,1,2,2\n"
                                           "3,1,1,2,2\n", FLECK_BAD_INPUT, false },
        { "the box of step 2, 79,", "density,x,y,width,height\n0,1,1,3,3\n1,79,1,5,2\n2,1,1,2,2\n"
                                      "3,1,1,2,2\n", FLECK_BAD_INPUT, false },
        { "the same code", "density,x,y,width,height\n0,1,1,3,3\n1,1,1,3,3\n2,1,1,3,3\n3,1,1,3,3\n",
          FLECK_BAD_INPUT, false },
        /* the third box lies on a darker step than the fourth */
        { "step of density 0.65 has the code", "density,x,y,width,height\n0.05,1,1,4,6\n0.20,7,1,4,6\n"
                                              "0.50,25,1,4,6\n0.65,19,1,4,6\n", FLECK_BAD_INPUT, false },
        { "negative", "density,x,y,width,height\n0.05,1,1,4,6\n0.20,7,1,4,6\n0.35,13,1,4,6\n"
                      "0.65,25,1,4,6\n", FLECK_BAD_INPUT, true },
        { "need boxes", "density,scan\n0.1,a.tif\n0.2,b.tif\n0.3,a.tif\n0.4,a.tif\n", FLECK_BAD_INPUT,
          false },
        { "gone.tif: ", "density,scan\n0.1,gone.tif\n0.2,gone.tif\n0.3,gone.tif\n0.4,gone.tif\n",
          FLECK_BAD_INPUT, false },
    };

    (void)state;
    for (size_t i = 0; i < COUNT(cases); i++) {
        const struct wedge wedge = { .negative = cases[i].negative, .scale = { 1, 1, 1 } };
        const target scan = strip_of(&wedge, 2.2, 0);
        const fleck_tone_target t = { .steps_csv = write_text("bad.csv", cases[i].csv),
                                      .scan = { .path = draw("strip.tif", &scan), .page = 1 } };
        fleck_warnings warnings = { 0 };
        fleck_calibration cal;

        fleck_calibration_init(&cal);
        check_fails(fleck_calibrate_tone(&cal, &t, &warnings, err), cases[i].status, cases[i].says);
        assert_int_equal(cal.tone.step_count, 0);
        fleck_warnings_clear(&warnings);
        fleck_calibration_clear(&cal);
    }
}

/* Reads one row of codes 0 to 255 with a tone. */
static void tone_row(const fleck_calibration *cal, uint16_t q[256], size_t *outside)
{
    fleck_scan_info info = { .width_px = 256, .height_px = 1, .bits = 8, .sample_bytes = 1,
                             .channels = 1, .ppi_x = 254, .ppi_y = 254, .page = 1, .pages = 1 };
    fleck_warnings warnings = { 0 };
    fleck_tone *tone = NULL;
    uint8_t row[256];

    for (size_t i = 0; i < 256; i++)
        row[i] = (uint8_t)i;
    check_ok(fleck_tone_new(&info, cal, &tone, &warnings, err));
    assert_int_equal(fleck_tone_get_source(tone), FLECK_TONE_FROM_CALIBRATION);
    assert_int_equal(warnings.count, 0);
    fleck_tone_row(tone, FLECK_CHANNEL_LUMINANCE, row, 256, q);
    *outside = fleck_tone_count_outside(tone, row, 256);
    fleck_tone_free(tone);
}

static void a_scan_is_read_by_the_curve_and_codes_outside_it_are_counted(void **state)
{
    const target scan = strip_of(&bare, 2.2, 0);
    fleck_warnings warnings = { 0 };
    fleck_calibration cal;
    uint16_t q[256];
    size_t outside, expected = 0;

    (void)state;
    calibrate(draw("strip.tif", &scan), &cal, &warnings);
    tone_row(&cal, q, &outside);
    for (size_t i = 0; i < 256; i++) {
        const double code = (double)i / 255;
        const double inside = fmin(fmax(code, cal.tone.curves[0].code[0]),
                                   cal.tone.curves[0].code[STEPS - 1]);

        check_near("the drawn curve, held at its ends", q[i] / 65535.0, pow(inside, 2.2), 0.003);
        expected += code < cal.tone.curves[0].code[0] - 1e-9 ||
                    code > cal.tone.curves[0].code[STEPS - 1] + 1e-9;
    }
    assert_int_equal(outside, expected);
    assert_true(expected > 30);
    fleck_warnings_clear(&warnings);
    fleck_calibration_clear(&cal);
}

static void a_scan_of_another_kind_is_refused_by_what_differs(void **state)
{
    static const struct {
        unsigned sample_bytes, channels;
        double ppi;
        const char *says;
        bool warns;
    } cases[] = {
        { 1, 1, 254, NULL, false },
        { 1, 1, 256, NULL, false },
        { 1, 1, 0, NULL, true },
        { 2, 1, 254, "made for 8-bit grey at 254 ppi, this scan is 16-bit grey at 254 ppi", false },
        { 1, 3, 254, "this scan is 8-bit RGB at 254 ppi", false },
        { 1, 1, 300, "this scan is 8-bit grey at 300 ppi", false },
        { 2, 3, 600, "this scan is 16-bit RGB at 600 ppi", false },
    };
    const target scan = strip_of(&bare, 2.2, 0);
    fleck_warnings none = { 0 };
    fleck_calibration cal;

    (void)state;
    calibrate(draw("strip.tif", &scan), &cal, &none);
    for (size_t i = 0; i < COUNT(cases); i++) {
        const fleck_scan_info info = { .width_px = 9, .height_px = 9, .bits = 8,
                                       .sample_bytes = cases[i].sample_bytes,
                                       .channels = cases[i].channels, .ppi_x = cases[i].ppi,
                                       .ppi_y = cases[i].ppi, .page = 1, .pages = 1 };
        fleck_warnings warnings = { 0 };
        fleck_tone *tone = NULL;

        if (cases[i].says != NULL) {
            check_fails(fleck_tone_new(&info, &cal, &tone, &warnings, err), FLECK_BAD_INPUT,
                        cases[i].says);
            assert_null(tone);
        } else {
            check_ok(fleck_tone_new(&info, &cal, &tone, &warnings, err));
        }
        assert_int_equal(warnings.count, cases[i].warns);
        fleck_tone_free(tone);
        fleck_warnings_clear(&warnings);
    }
    fleck_calibration_clear(&cal);
}

static void resolution_is_the_options_then_the_calibrations_then_the_files(void **state)
{
    fleck_length_mark mark = { 25.4, 0, 0, 590, 0, 0 };
    fleck_calibration with, without;
    fleck_scan_info info = { .ppi_x = 600, .ppi_y = 600 };
    struct {
        double asked;
        const fleck_calibration *cal;
        double claim, ppi;
        const char *from, *warning;
    } cases[] = {
        { 300, &with, 600, 300, "option", NULL },     { 0, &with, 600, 590, "calibration", "resolution-differs" },
        { 0, &with, 595, 590, "calibration", NULL },  { 0, &with, 0, 590, "calibration", NULL },
        { 0, &with, 72, 590, "calibration", "resolution-differs" },
        { 0, &without, 600, 600, "file", NULL },      { 0, NULL, 600, 600, "file", NULL },
        { 0, NULL, 72, 72, "file", "resolution-placeholder" },
    };

    (void)state;
    fleck_calibration_init(&with);
    fleck_calibration_init(&without);
    with.length.ppi_x = with.length.ppi_y = 590;
    with.length.marks = &mark;
    with.length.mark_count = 1;
    for (size_t i = 0; i < COUNT(cases); i++) {
        fleck_warnings warnings = { 0 };
        fleck_resolution r;

        info.ppi_x = info.ppi_y = cases[i].claim;
        check_ok(fleck_resolution_choose(&info, cases[i].asked, cases[i].asked, cases[i].cal, &r,
                                         &warnings, err));
        check_near("order", r.ppi_x, cases[i].ppi, 0);
        check_near("order", r.ppi_y, cases[i].ppi, 0);
        assert_string_equal(r.from, cases[i].from);
        assert_int_equal(warnings.count, cases[i].warning != NULL);
        if (cases[i].warning != NULL)
            assert_string_equal(warnings.items[0].code, cases[i].warning);
        fleck_warnings_clear(&warnings);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_curve_between_steps_is_right_for_every_gamma),
        cmocka_unit_test(the_curve_is_that_of_gsl_between_roots),
        cmocka_unit_test(steps_are_found_wherever_they_lie),
        cmocka_unit_test(boxes_give_each_colour_its_own_curve),
        cmocka_unit_test(clipped_ends_are_named_and_left_out),
        cmocka_unit_test(scales_that_give_no_curve_are_refused),
        cmocka_unit_test(a_scan_is_read_by_the_curve_and_codes_outside_it_are_counted),
        cmocka_unit_test(a_scan_of_another_kind_is_refused_by_what_differs),
        cmocka_unit_test(resolution_is_the_options_then_the_calibrations_then_the_files),
    };

    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
