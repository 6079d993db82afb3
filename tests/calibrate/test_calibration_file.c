/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "target_scan.h"

static fleck_calibration calibration; /* of all parts, RGB */

/* Grey bars of falling tone, each 40 pixels wide, a little uneven. */
static double bars(const void *context, size_t x, size_t y, unsigned c)
{
    (void)context;
    return pow(10, -0.1 - 0.2 * (double)(x / 40)) * (1 - 0.05 * (double)c) * (1 + 1e-4 * (double)y);
}

static double sheet(const void *context, size_t x, size_t y, unsigned c)
{
    return *(const double *)context * (1 + 2e-4 * (double)x - 1e-4 * (double)y) * (1 - 0.05 * c);
}

static target scan_of(double (*reflectance)(const void *, size_t, size_t, unsigned),
                      const double *context)
{
    return (target){ .width_px = 400, .height_px = 300, .channels = 3, .bits = 8, .ppi = 254,
                     .gamma = 2.2, .noise = 0.01, .reflectance = reflectance, .context = context };
}

static int make_all(void **state)
{
    static const double white = 0.7, black = 0.06;
    const target scale = scan_of(bars, NULL), paper = scan_of(sheet, &white);
    const target ink = scan_of(sheet, &black);
    const fleck_length_mark marks[] = { { 10, 10, 10, 110, 11, 0 }, { 20, 10, 10, 10, 211, 0 },
                                        { 30, 1, 1, 301, 2, 0 } };
    fleck_scan_area scale_area = { .page = 1 }, paper_area = { .page = 1 }, ink_area = { .page = 1 };
    fleck_tone_target t;
    fleck_warnings warnings = { 0 };

    if (make_folder(state) != 0)
        return -1;
    scale_area.path = draw("scale.tif", &scale);
    paper_area.path = draw("paper.tif", &paper);
    ink_area.path = draw("ink.tif", &ink);
    t = (fleck_tone_target){
        .steps_csv = write_text("steps.csv", "density\n.1\n.3\n.5\n.7\n.9\n1.1\n1.3\n1.5\n1.7\n1.9\n"),
        .scan = scale_area,
    };
    fleck_calibration_init(&calibration);
    check_ok(fleck_calibrate_length(&calibration, marks, 3, &scale_area, &warnings, err));
    check_ok(fleck_calibrate_tone(&calibration, &t, &warnings, err));
    check_ok(fleck_calibrate_evenness(&calibration, &paper_area, &warnings, err));
    check_ok(fleck_calibrate_paper(&calibration, &paper_area, &warnings, err));
    check_ok(fleck_calibrate_ink(&calibration, &ink_area, &paper_area, &warnings, err));
    calibration.blank = (fleck_calibration_blank){
        .boxes = 9, .area_cm2 = 1.5, .cutoff_mm = 0.1, .coverage_mean = { 1e-4, 2e-4, NAN, 0 },
        .coverage_sd = { 1e-5, 2e-5, NAN, 0 }, .coverage_limit = { 1.3e-4, 2.6e-4, NAN, 0 },
        .per_cm2_mean = { 0.1, 0.2, NAN, 0 }, .per_cm2_sd = { 0.1, 1 / 3.0, NAN, 0 },
        .per_cm2_limit = { 0.4, 1.2, NAN, 0 },
    };
    calibration.blur = (fleck_calibration_blur){
        .present = true, .edge_width_mm = { 0.085, 0.09, 0.08, NAN }, .edge_count = 1,
        .edges = calloc(1, sizeof *calibration.blur.edges),
    };
    assert_non_null(calibration.blur.edges);
    calibration.blur.edges[0] = (fleck_blur_edge){ 44.5, 12.25, { 0.085, 0.09, 0.08, NAN } };
    fleck_warnings_clear(&warnings);
    return 0;
}

static int end_all(void **state)
{
    fleck_calibration_clear(&calibration);
    return remove_folder(state);
}

static char *read_file(const char *path, size_t *size)
{
    FILE *const stream = fopen(path, "rb");
    char *const text = malloc(1 << 20);

    assert_non_null(stream);
    assert_non_null(text);
    *size = fread(text, 1, (1 << 20) - 1, stream);
    text[*size] = '\0';
    fclose(stream);
    return text;
}

static void a_file_read_and_written_again_has_the_same_bytes(void **state)
{
    const char *const path = target_path("cal.json"), *const again = target_path("again.json");
    fleck_calibration read;
    size_t size, size_again;
    char *text, *text_again;

    (void)state;
    check_ok(fleck_calibration_write(&calibration, path, err));
    check_ok(fleck_calibration_read(path, &read, err));
    assert_int_equal(strlen(read.sha256), 64);
    assert_string_equal(read.sha256, calibration.sha256);
    check_ok(fleck_calibration_write(&read, again, err));
    assert_string_equal(read.sha256, calibration.sha256);
    check_ok(fleck_calibration_write(&read, again, err)); /* its own kind may be replaced */
    text = read_file(path, &size);
    text_again = read_file(again, &size_again);
    assert_int_equal(size, size_again);
    assert_memory_equal(text, text_again, size);
    free(text);
    free(text_again);

    check_near("ppi", read.length.ppi_x, calibration.length.ppi_x, 0);
    assert_int_equal(read.tone.step_count, 10);
    for (size_t c = 0; c < 3; c++) {
        check_near("low code", read.tone.curves[c].low_code, calibration.tone.curves[c].low_code, 0);
        check_near("high code", read.tone.curves[c].high_code, calibration.tone.curves[c].high_code, 0);
        for (int i = 0; i <= 1000; i++)
            check_near("curve", fleck_tone_curve_at(&read.tone.curves[c], i / 1000.0),
                       fleck_tone_curve_at(&calibration.tone.curves[c], i / 1000.0), 0);
    }
    for (unsigned t = 0; t < FLECK_CHANNELS; t++) {
        check_near("field", fleck_calibration_field(&read, (fleck_channel)t, 17, 230),
                   fleck_calibration_field(&calibration, (fleck_channel)t, 17, 230), 0);
        check_near("coverage",
                   fleck_calibration_optical_coverage(&read, (fleck_channel)t, 0.3),
                   fleck_calibration_optical_coverage(&calibration, (fleck_channel)t, 0.3), 0);
        check_near("blank", read.blank.per_cm2_sd[t], calibration.blank.per_cm2_sd[t], 0);
    }
    assert_int_equal(read.blur.edge_count, 1);
    check_near("angle", read.blur.edges[0].angle_deg, 44.5, 0);
    check_near("length", read.blur.edges[0].length_mm, 12.25, 0);
    for (unsigned t = 0; t < FLECK_CHANNELS; t++) {
        check_near("blur", fleck_calibration_edge_width_mm(&read, (fleck_channel)t),
                   calibration.blur.edge_width_mm[t], 0);
        check_near("edge", read.blur.edges[0].edge_width_mm[t], calibration.blur.edge_width_mm[t], 0);
    }
    assert_true(read.relative_to_paper);
    assert_false(read.has_tone_from);
    assert_int_equal(read.scan_count, calibration.scan_count);
    fleck_calibration_clear(&read);
}

static void parts_that_are_not_there_stay_away(void **state)
{
    fleck_calibration only, read;
    fleck_warnings warnings = { 0 };
    const fleck_scan_area paper = { .path = target_path("paper.tif"), .page = 1 };
    char *text;

    (void)state;
    fleck_calibration_init(&only);
    check_ok(fleck_calibrate_paper(&only, &paper, &warnings, err));
    text = fleck_calibration_to_json(&only);
    assert_non_null(text);
    assert_null(strstr(text, "\"length\""));
    assert_null(strstr(text, "\"blur\""));
    check_ok(fleck_calibration_read_memory(text, strlen(text), &read, err));
    assert_int_equal(read.tone.step_count + read.length.mark_count + read.evenness.width_px, 0);
    assert_true(read.has_tone_from);
    assert_int_equal(read.tone_from, FLECK_TONE_ASSUMED_SRGB);
    check_near("no blur", fleck_calibration_edge_width_mm(&read, FLECK_CHANNEL_LUMINANCE), NAN, 0);
    free(text);
    fleck_calibration_clear(&read);
    fleck_calibration_clear(&only);
    fleck_warnings_clear(&warnings);
}

/* The text with its first `old` changed for `new`. */
static char *changed(const char *text, const char *old, const char *new)
{
    const char *const at = strstr(text, old);
    char *const out = malloc(strlen(text) + strlen(new) + 1);

    assert_non_null(at);
    assert_non_null(out);
    memcpy(out, text, (size_t)(at - text));
    strcpy(out + (at - text), new);
    strcat(out, at + strlen(old));
    return out;
}

static void a_file_that_cannot_hold_true_says_why(void **state)
{
    static const struct {
        const char *old, *new, *says;
    } cases[] = {
        { "\"version\":\t1,", "\"version\":\t2,", "is a calibration of version 2, and this fleck knows 1" },
        { "\"version\":\t1,", "\"version\":\t\"1\",", "version is not" },
        { "fleck-calibration", "fleck-record", "is no calibration file" },
        { "\"bits\":\t8", "\"bits\":\t12", "bits is not 8 or 16" },
        { "\"channels\":\t3", "\"channels\":\t2", "channels is not 1 or 3" },
        { "\"channels\":\t3", "\"channels\":\t2.5", "channels is not a whole number" },
        { "\"ppi_x\":\t", "\"ppi_x\":\t-", "ppi_x is not" },
        { "\"tone_from\":\tnull", "\"tone_from\":\t\"eye\"", "tone_from is not" },
        { "\"terms\":\t[\"1\"", "\"terms\":\t[\"2\"", "terms is not" },
        { "\"luminance\":\t[", "\"luminance\":\t[1, ", "luminance is not a list of the right" },
        { "\"luminance\":\t[", "\"lumiance\":\t[", "luminance is not a list" },
        { "\"luminance\":\t[", "\"luminance\":\t[-", "field is not" },
        { "\"code\":\t[0", "\"code\":\t[1", "code is not" },
        { "\"reflectance\":\t[0", "\"reflectance\":\t[1", "the tone curve is not rising" },
        { "\"code\":\t[0", "\"code\":\t[0.99, 0", "reflectance is not a list" },
        { "\"clipped\":\t[\"no\"", "\"clipped\":\t[\"yes\"", "clipped is not" },
        { "\"relative\":\ttrue", "\"relative\":\t1", "relative is not" },
        { "\"sha256\":\t\"", "\"sha256\":\t\"0", "sha256 is not" },
        { "\"blur\":\t{", "\"blur\":\t{\"edge_width_mm\": -1, ", "edge_width_mm is not" },
        { "\"edge_width_mm\":\t{", "\"edge_width_mm\":\t{\"luminance\": \"wide\", ", "luminance is not" },
        { "\"edges\":\t[", "\"edges\":\t3, \"more\": [", "edges is not a list" },
        { "\"angle_deg\":\t", "\"angle_deg\":\t-", "angle_deg is not" },
        { "{", "[", "no whole JSON" },
    };
    char *const text = fleck_calibration_to_json(&calibration);

    (void)state;
    assert_non_null(text);
    for (size_t i = 0; i < COUNT(cases); i++) {
        char *const bad = changed(text, cases[i].old, cases[i].new);
        fleck_calibration read;

        check_fails(fleck_calibration_read_memory(bad, strlen(bad), &read, err), FLECK_BAD_INPUT,
                    cases[i].says);
        assert_int_equal(read.bits, 0);
        free(bad);
    }
    free(text);
}

static void what_a_later_version_1_adds_is_passed_over(void **state)
{
    char *const text = fleck_calibration_to_json(&calibration);
    char *const more = changed(text, "\"version\":\t1,", "\"version\":\t1, \"grain\": {\"size\": 3},");
    fleck_calibration read;

    (void)state;
    check_ok(fleck_calibration_read_memory(more, strlen(more), &read, err));
    fleck_calibration_clear(&read);
    free(text);
    free(more);
}

/* As a resolution target, measured by other means, would give it. */
static void a_blur_written_by_hand_holds_for_all_channels(void **state)
{
    char *const text = fleck_calibration_to_json(&calibration);
    char *const hand =
        changed(text, "\"blur\":\t{", "\"blur\":\t{\"edge_width_mm\": 0.06}, \"was\": {");
    fleck_calibration read;

    (void)state;
    check_ok(fleck_calibration_read_memory(hand, strlen(hand), &read, err));
    for (unsigned t = 0; t < FLECK_CHANNELS; t++)
        check_near("by hand", fleck_calibration_edge_width_mm(&read, (fleck_channel)t), 0.06, 0);
    assert_int_equal(read.blur.edge_count, 0);
    fleck_calibration_clear(&read);
    free(text);
    free(hand);
}

/* Cut short it is refused; with another byte it is refused or still a calibration that works. */
static void damage_at_every_tenth_byte_is_survived(void **state)
{
    char *const text = fleck_calibration_to_json(&calibration);
    const size_t size = strlen(text);
    static const char bytes[] = { '\0', '9', '"', ']', '\x80', '-' };
    fleck_calibration read;

    (void)state;
    for (size_t at = 0; at < size - 1; at += 10) {
        char *const cut = malloc(at + 1); /* so that reading past its end shows */
        const char kept = text[at];

        assert_non_null(cut);
        memcpy(cut, text, at);
        check_fails(fleck_calibration_read_memory(cut, at, &read, err), FLECK_BAD_INPUT, "JSON");
        free(cut);
        text[at] = bytes[at / 10 % sizeof bytes];
        if (fleck_calibration_read_memory(text, size, &read, NULL) == FLECK_OK) {
            for (size_t c = 0; c < read.channels && read.tone.step_count > 0; c++)
                assert_true(isfinite(fleck_tone_curve_at(&read.tone.curves[c], 0.5)));
            assert_true(isfinite(fleck_calibration_field(&read, FLECK_CHANNEL_RED, 3, 3)));
            fleck_calibration_clear(&read);
        } else {
            assert_int_equal(read.bits + read.scan_count + read.length.mark_count, 0);
        }
        text[at] = kept;
    }
    free(text);
}

static void nothing_else_is_ever_replaced(void **state)
{
    static const char *const others[] = { "my notes\n", "", "{\"schema\": \"fleck-calibration\", \"version\": 2}" };

    (void)state;
    for (size_t i = 0; i < COUNT(others); i++) {
        const char *const path = write_text("other.json", others[i]);
        size_t size;
        char *text;

        check_fails(fleck_calibration_write(&calibration, path, err), FLECK_BAD_CALL,
                    "so it stays as it is");
        text = read_file(path, &size);
        assert_string_equal(text, others[i]);
        free(text);
    }
    check_fails(fleck_calibration_read(target_folder, &(fleck_calibration){ 0 }, err), FLECK_BAD_INPUT,
                "is no calibration file");
    check_fails(fleck_calibration_read("/nowhere/cal.json", &(fleck_calibration){ 0 }, err),
                FLECK_BAD_INPUT, "cannot be opened");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_file_read_and_written_again_has_the_same_bytes),
        cmocka_unit_test(parts_that_are_not_there_stay_away),
        cmocka_unit_test(a_file_that_cannot_hold_true_says_why),
        cmocka_unit_test(a_blur_written_by_hand_holds_for_all_channels),
        cmocka_unit_test(what_a_later_version_1_adds_is_passed_over),
        cmocka_unit_test(damage_at_every_tenth_byte_is_survived),
        cmocka_unit_test(nothing_else_is_ever_replaced),
    };

    return cmocka_run_group_tests(tests, make_all, end_all);
}
