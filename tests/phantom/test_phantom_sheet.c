/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <cjson/cJSON.h>
#include <math.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "fleck/phantom_sheet.h"
#include "fleck/scan.h"
#include "fleck/tone.h"

static const double pi = 3.14159265358979323846;

/* ---- sheets to look at ---- */

/* A sheet without all that blurs or hides the truth. */
static fleck_phantom_sheet_options clean_options(void)
{
    fleck_phantom_sheet_options options = fleck_phantom_sheet_options_default();

    options.width_mm = 70;
    options.height_mm = 64;
    options.ppi = options.claimed_ppi = 254;
    options.fibre = options.noise = options.softness_mm = options.light = 0;
    options.steps = 4;
    return options;
}

static fleck_phantom_patch patch_at(const char *name, double x_mm, double y_mm, double tilt_deg,
                                    fleck_phantom_kind kind)
{
    fleck_phantom_patch patch = {
        .box = { x_mm, y_mm, 9.3, 7.6 },
        .tilt_deg = tilt_deg,
        .speckle = fleck_phantom_options_default(),
    };

    snprintf(patch.name, sizeof patch.name, "%s", name);
    patch.speckle.kind = kind;
    return patch;
}

static fleck_phantom_sheet *laid_out(const fleck_phantom_sheet_options *options,
                                     const fleck_phantom_patch *patches, size_t count)
{
    fleck_phantom_sheet *sheet = NULL;
    fleck_error err = { FLECK_OK, "" };

    if (fleck_phantom_sheet_new(options, patches, count, &sheet, &err) != FLECK_OK)
        fail_msg("%s", err.message);
    return sheet;
}

struct pixels {
    size_t width_px, height_px;
    size_t capacity;
    double *value;
};

static fleck_status keep_row(void *context, size_t y, const double *reflectance, size_t width_px,
                             fleck_error *err)
{
    struct pixels *pixels = context;

    (void)err;
    pixels->width_px = width_px;
    pixels->height_px = y + 1;
    if (pixels->capacity <= y) {
        pixels->capacity = 2 * y + 512;
        pixels->value =
            realloc(pixels->value, pixels->capacity * width_px * sizeof *pixels->value);
        assert_non_null(pixels->value);
    }
    memcpy(pixels->value + y * width_px, reflectance, width_px * sizeof *reflectance);
    return FLECK_OK;
}

static struct pixels drawn(fleck_phantom_sheet *sheet)
{
    struct pixels pixels = { 0, 0, 0, NULL };

    assert_int_equal(fleck_phantom_sheet_draw(sheet, keep_row, &pixels, NULL), FLECK_OK);
    return pixels;
}

static cJSON *truth_of(const fleck_phantom_sheet *sheet)
{
    char *text = fleck_phantom_sheet_truth_json(sheet);
    cJSON *truth;

    assert_non_null(text);
    truth = cJSON_Parse(text);
    assert_non_null(truth);
    free(text);
    return truth;
}

static const cJSON *member(const cJSON *group, const char *name)
{
    const cJSON *found = cJSON_GetObjectItemCaseSensitive(group, name);

    if (found == NULL)
        fail_msg("%s is missing", name);
    return found;
}

static double number(const cJSON *group, const char *name)
{
    const cJSON *found = member(group, name);

    return cJSON_IsNull(found) ? NAN : cJSON_GetNumberValue(found);
}

/* ---- patches ---- */

/* Ink pixels over all pixels in a patch's rectangle, counted from the truth's rectangle and tilt. */
static double counted_coverage(const struct pixels *pixels, const cJSON *patch, double pixel_mm,
                               double ink_below, double *outside)
{
    const double tilt = number(patch, "tilt_deg") * pi / 180;
    const double half_width = number(patch, "width_mm") / 2;
    const double half_height = number(patch, "height_mm") / 2;
    const double x_mm = number(patch, "x_mm") + half_width;
    const double y_mm = number(patch, "y_mm") + half_height;
    double ink = 0, all = 0;

    for (size_t i = 0; i < pixels->width_px * pixels->height_px; i++) {
        const double dx = ((double)(i % pixels->width_px) + 0.5) * pixel_mm - x_mm;
        const double dy = ((double)(i / pixels->width_px) + 0.5) * pixel_mm - y_mm;
        const bool is_ink = pixels->value[i] < ink_below;

        if (fabs(dx * cos(tilt) - dy * sin(tilt)) < half_width &&
            fabs(dx * sin(tilt) + dy * cos(tilt)) < half_height) {
            ink += is_ink;
            all += 1;
        } else if (fabs(dx) < half_width + 2 && fabs(dy) < half_height + 2) {
            *outside += is_ink;
        }
    }
    return ink / all;
}

static void on_a_hard_sheet_the_truth_is_the_count_of_ink_pixels(void **state)
{
    static const double sheet_tilts_deg[] = { 0, 1.7 };

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        fleck_phantom_sheet_options options = clean_options();
        fleck_phantom_patch patches[] = {
            patch_at("discs", 18, 14, 0, FLECK_PHANTOM_DISCS),
            patch_at("separate", 31.123, 14.456, 3, FLECK_PHANTOM_SEPARATE),
            patch_at("square", 45.5, 15, -8, FLECK_PHANTOM_SQUARE),
            patch_at("field", 20, 28, 20, FLECK_PHANTOM_FIELD),
            patch_at("solid", 35, 28, 0.3, FLECK_PHANTOM_PLAIN),
        };
        fleck_phantom_sheet *sheet;
        struct pixels pixels;
        cJSON *truth;
        const cJSON *patch;
        size_t seen = 0;

        patches[4].speckle.coverage = 1;
        patches[3].speckle.coverage = 0.4;
        options.antialias = false;
        options.tilt_deg = sheet_tilts_deg[i];
        options.writing = options.crosses = options.rulers = false;
        options.steps = 0;
        sheet = laid_out(&options, patches, 5);
        pixels = drawn(sheet);
        truth = truth_of(sheet);
        cJSON_ArrayForEach(patch, member(truth, "patches")) {
            double outside = 0;
            const double coverage = counted_coverage(&pixels, patch, 0.1, 0.4, &outside);

            assert_string_equal(cJSON_GetStringValue(member(patch, "patch")), patches[seen].name);
            check_near("tilts add up", number(patch, "tilt_deg"),
                       patches[seen].tilt_deg + sheet_tilts_deg[i], 1e-12);
            /* the truth's rectangle is rounded to 1e-4 mm, which may move one pixel of 7000 */
            check_near(patches[seen].name, number(patch, "exact_coverage"), coverage, 2e-4);
            check_near("ink outside a straight edge", outside, 0, 1);
            assert_true(coverage > 0.1);
            seen++;
        }
        assert_int_equal(seen, 5);
        cJSON_Delete(truth);
        free(pixels.value);
        fleck_phantom_sheet_free(sheet);
    }
}

/* The same dots, whichever way they lie. */
static void a_turned_patch_keeps_its_coverage_and_its_dots(void **state)
{
    double coverage[2], inside[2], d50[2];

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        fleck_phantom_sheet_options options = clean_options();
        const fleck_phantom_patch patch =
            patch_at("a", 30, 20, i == 0 ? 0 : 13, FLECK_PHANTOM_DISCS);
        fleck_phantom_sheet *sheet = laid_out(&options, &patch, 1);
        struct pixels pixels = drawn(sheet);
        cJSON *truth = truth_of(sheet);
        const cJSON *entry = cJSON_GetArrayItem(member(truth, "patches"), 0);

        coverage[i] = number(entry, "exact_coverage");
        inside[i] = number(entry, "dots_inside");
        d50[i] = number(entry, "d50_mm");
        cJSON_Delete(truth);
        free(pixels.value);
        fleck_phantom_sheet_free(sheet);
    }
    check_near("coverage", coverage[1], coverage[0], 5e-4);
    check_near("dots inside", inside[1], inside[0], 0);
    check_near("d50", d50[1], d50[0], 0);
    assert_true(inside[0] > 100);
}

static void a_patch_is_the_tile_that_the_same_options_draw(void **state)
{
    fleck_phantom_sheet_options options = clean_options();
    fleck_phantom_options tile_options = fleck_phantom_options_default();
    fleck_phantom_patch patch = patch_at("a", 30, 20, 0, FLECK_PHANTOM_DISCS);
    fleck_phantom *tile = NULL;
    fleck_phantom_sheet *sheet;
    struct pixels pixels;
    const float *value;
    size_t width_px, height_px;

    (void)state;
    patch.box.width_mm = patch.box.height_mm = 8;
    tile_options.width_mm = tile_options.height_mm = 8;
    tile_options.ppi = 254;
    tile_options.noise = tile_options.softness_mm = 0;
    tile_options.paper_reflectance = options.paper_reflectance;
    assert_int_equal(fleck_phantom_new(&tile_options, &tile, NULL), FLECK_OK);
    value = fleck_phantom_reflectance(tile, &width_px, &height_px);
    assert_int_equal(width_px, 80);
    sheet = laid_out(&options, &patch, 1);
    pixels = drawn(sheet);
    for (size_t i = 0; i < width_px * height_px; i++)
        check_near("tile", pixels.value[(200 + i / 80) * pixels.width_px + 300 + i % 80],
                   (double)value[i], 1e-6);
    free(pixels.value);
    fleck_phantom_sheet_free(sheet);
    fleck_phantom_free(tile);
}

static void a_ragged_edge_is_made_of_whole_dots(void **state)
{
    fleck_phantom_sheet_options options = clean_options();
    fleck_phantom_patch patch = patch_at("a", 30, 20, 4, FLECK_PHANTOM_SEPARATE);
    fleck_phantom_sheet *sheet;
    struct pixels pixels;
    cJSON *truth;
    const cJSON *entry;
    char *dots, *line;
    double area_mm2 = 0, ink_mm2 = 0, outside = 0;

    (void)state;
    patch.ragged = true;
    patch.speckle.coverage = 0.2;
    options.writing = false;
    sheet = laid_out(&options, &patch, 1);
    pixels = drawn(sheet);
    truth = truth_of(sheet);
    entry = cJSON_GetArrayItem(member(truth, "patches"), 0);
    check_near("touching is inside", number(entry, "dots_touching"), number(entry, "dots_inside"),
               0);
    dots = fleck_phantom_sheet_dots_csv(sheet);
    assert_non_null(dots);
    for (line = strchr(dots, '\n') + 1; *line != '\0'; line = strchr(line, '\n') + 1) {
        double x_mm, y_mm, diameter_mm;

        assert_int_equal(sscanf(line, "a,%lf,%lf,%lf", &x_mm, &y_mm, &diameter_mm), 3);
        area_mm2 += pi * diameter_mm * diameter_mm / 4;
    }
    for (size_t y = 180; y < 300; y++) {
        for (size_t x = 280; x < 420; x++)
            ink_mm2 += (0.8 - pixels.value[y * pixels.width_px + x]) / 0.75 * 0.01;
    }
    check_ratio("areas of separate discs", ink_mm2, area_mm2, 1e-6);
    (void)counted_coverage(&pixels, entry, 0.1, 0.4, &outside);
    assert_true(outside > 20);
    free(dots);
    cJSON_Delete(truth);
    free(pixels.value);
    fleck_phantom_sheet_free(sheet);
}

static void solid_and_no_patches_leave_all_else_as_it_was(void **state)
{
    fleck_phantom_sheet_options options = clean_options();
    const fleck_phantom_patch patch = patch_at("a", 30, 20, 0, FLECK_PHANTOM_DISCS);
    fleck_phantom_sheet *sheet;
    struct pixels pixels, without;

    (void)state;
    options.solid = true;
    options.writing = false;
    sheet = laid_out(&options, &patch, 1);
    pixels = drawn(sheet);
    fleck_phantom_sheet_free(sheet);
    options.patches = false;
    sheet = laid_out(&options, &patch, 1);
    without = drawn(sheet);
    fleck_phantom_sheet_free(sheet);
    assert_int_equal(pixels.width_px, without.width_px);
    assert_int_equal(pixels.height_px, without.height_px);
    for (size_t i = 0; i < pixels.width_px * pixels.height_px; i++) {
        const size_t x = i % pixels.width_px, y = i / pixels.width_px;
        const bool inside = x >= 300 && x < 393 && y >= 200 && y < 276;

        if (inside) {
            check_near("ink", pixels.value[i], 0.05, 1e-9);
            check_near("paper", without.value[i], 0.8, 1e-9);
        } else {
            check_near("the same", pixels.value[i], without.value[i], 1e-9);
        }
    }
    free(pixels.value);
    free(without.value);
}

/* ---- marks ---- */

/*
 * Middle between the edges of a dark line along a row or a column. From the middle of its darkest
 * pixel an edge lies as far away as there is darkness on that side, in dark pixels.
 */
static double line_middle(const struct pixels *pixels, bool along_x, size_t line, double around)
{
    const size_t middle = (size_t)around;
    double before = 0, behind = 0;

    for (size_t i = middle - 8; i <= middle + 8; i++) {
        const double dark =
            (0.8 -
             pixels->value[along_x ? line * pixels->width_px + i : i * pixels->width_px + line]) /
            0.74;

        before += i < middle ? dark : i == middle ? dark / 2 : 0;
        behind += i > middle ? dark : i == middle ? dark / 2 : 0;
    }
    return (double)middle + 0.5 + (behind - before) / 2;
}

static void ticks_lie_where_the_truth_says(void **state)
{
    static const double tilts_deg[] = { 0, 2, -1 };

    (void)state;
    for (size_t i = 0; i < sizeof tilts_deg / sizeof *tilts_deg; i++) {
        fleck_phantom_sheet_options options = clean_options();
        fleck_phantom_sheet *sheet;
        struct pixels pixels;
        cJSON *truth;

        options.width_mm = 71.03; /* no tick on a pixel's border */
        options.ppi = 600;
        options.tilt_deg = tilts_deg[i];
        sheet = laid_out(&options, NULL, 0);
        pixels = drawn(sheet);
        truth = truth_of(sheet);
        for (int axis = 0; axis < 2; axis++) {
            const bool along_x = axis == 0;
            const cJSON *ruler = member(member(truth, "rulers"), along_x ? "along_x" : "along_y");
            const cJSON *tick;
            size_t seen = 0;

            cJSON_ArrayForEach(tick, member(ruler, "ticks")) {
                const double at = number(tick, along_x ? "x_px" : "y_px");
                const double across = number(tick, along_x ? "y_px" : "x_px");
                const double line = floor(across);
                /* from the point along the turned tick to the middle of the line of pixels */
                const double slope = tan(tilts_deg[i] * pi / 180) * (along_x ? 1 : -1);
                const double expected = at + (line + 0.5 - across) * slope;

                check_near("tick, in pixels: 0.004 are 0.0002 mm",
                           line_middle(&pixels, along_x, (size_t)line, at), expected, 0.004);
                check_near("mm", number(tick, "mm"), (double)seen, 0);
                seen++;
            }
            assert_int_equal(seen, along_x ? 41 : 31);
        }
        cJSON_Delete(truth);
        free(pixels.value);
        fleck_phantom_sheet_free(sheet);
    }
}

static void lengths_agree_with_the_resolution(void **state)
{
    fleck_phantom_sheet_options options = clean_options();
    fleck_phantom_sheet *sheet;
    cJSON *truth;

    (void)state;
    options.ppi = 1200;
    options.tilt_deg = 3;
    sheet = laid_out(&options, NULL, 0);
    truth = truth_of(sheet);
    for (int axis = 0; axis < 2; axis++) {
        const cJSON *ruler = member(member(truth, "rulers"), axis == 0 ? "along_x" : "along_y");
        const cJSON *length;
        int seen = 0;

        cJSON_ArrayForEach(length, member(ruler, "lengths")) {
            double mm, x1, y1, x2, y2;

            assert_int_equal(sscanf(cJSON_GetStringValue(length), "%lf:%lf,%lf,%lf,%lf", &mm, &x1,
                                    &y1, &x2, &y2),
                             5);
            check_near("px", hypot(x2 - x1, y2 - y1) * 25.4 / 1200, mm, 1e-5);
            seen++;
        }
        assert_int_equal(seen, 3);
    }
    cJSON_Delete(truth);
    fleck_phantom_sheet_free(sheet);
}

/* Write a sheet and read its pixels as codes from 0 to 1. */
static struct pixels written(fleck_phantom_sheet *sheet, const char *ending, fleck_scan_info *info)
{
    char folder[] = "/tmp/fleck-sheet-XXXXXX", path[64];
    struct pixels pixels;
    fleck_scan *scan = NULL;
    uint16_t *row;

    assert_non_null(mkdtemp(folder));
    snprintf(path, sizeof path, "%s/sheet%s", folder, ending);
    assert_int_equal(fleck_phantom_sheet_write(sheet, path, NULL), FLECK_OK);
    assert_int_equal(fleck_scan_open(path, 1, &scan, NULL), FLECK_OK);
    *info = *fleck_scan_get_info(scan);
    pixels.width_px = info->width_px;
    pixels.height_px = info->height_px;
    pixels.value = malloc(pixels.width_px * pixels.height_px * sizeof *pixels.value);
    row = malloc(fleck_scan_row_bytes(scan));
    assert_non_null(pixels.value);
    assert_non_null(row);
    for (size_t y = 0; y < pixels.height_px; y++) {
        assert_int_equal(fleck_scan_read_row(scan, row, NULL), FLECK_OK);
        for (size_t x = 0; x < pixels.width_px; x++)
            pixels.value[y * pixels.width_px + x] =
                info->sample_bytes == 1 ? ((uint8_t *)row)[x] / 255.0 : row[x] / 65535.0;
    }
    free(row);
    fleck_scan_close(scan);
    assert_int_equal(unlink(path), 0);
    assert_int_equal(rmdir(folder), 0);
    return pixels;
}

static void steps_are_coded_as_their_density_and_curve_say(void **state)
{
    static const struct {
        fleck_phantom_curve curve;
        double gamma;
        unsigned bits;
        const char *ending;
        bool chunk;
    } cases[] = {
        { FLECK_PHANTOM_SRGB, 0, 8, ".png", true },   { FLECK_PHANTOM_SRGB, 0, 16, ".tif", true },
        { FLECK_PHANTOM_GAMMA, 1, 16, ".png", false }, { FLECK_PHANTOM_GAMMA, 1.8, 8, ".png", false },
        { FLECK_PHANTOM_GAMMA, 2.6, 16, ".png", true },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_phantom_sheet_options options = clean_options();
        fleck_phantom_sheet *sheet;
        fleck_scan_info info;
        struct pixels pixels;
        char *csv, *line;
        int seen = 0;

        options.steps = 6;
        options.curve = cases[i].curve;
        options.gamma = cases[i].gamma;
        options.bits = cases[i].bits;
        options.srgb_chunk = cases[i].chunk;
        options.claimed_ppi = 300; /* a lie: boxes are in true mm */
        sheet = laid_out(&options, NULL, 0);
        pixels = written(sheet, cases[i].ending, &info);
        assert_int_equal(info.srgb, cases[i].chunk && info.format == FLECK_SCAN_PNG);
        check_near("claimed", info.ppi_x, 300, 0.01);
        csv = fleck_phantom_sheet_steps_csv(sheet);
        assert_non_null(csv);
        for (line = strchr(csv, '\n') + 1; *line != '\0'; line = strchr(line, '\n') + 1) {
            const double full = cases[i].bits == 8 ? 255 : 65535;
            double density, x_mm, y_mm, width_mm, height_mm, reflectance, code, sum = 0;
            size_t count = 0;

            assert_int_equal(sscanf(line, "%lf,%lf,%lf,%lf,%lf", &density, &x_mm, &y_mm, &width_mm,
                                    &height_mm),
                             5);
            check_near("even steps", density, 0.05 + seen * 0.39, 1e-9);
            /* all of the box but its outermost pixels, which may belong to two steps */
            for (size_t y = (size_t)ceil(y_mm * 10) + 1; (double)y + 2 < (y_mm + height_mm) * 10; y++) {
                for (size_t x = (size_t)ceil(x_mm * 10) + 1; (double)x + 2 < (x_mm + width_mm) * 10;
                     x++, count++)
                    sum += pixels.value[y * pixels.width_px + x];
            }
            reflectance = pow(10, -density);
            code = cases[i].curve == FLECK_PHANTOM_SRGB ? fleck_tone_srgb_encode(reflectance)
                                                        : pow(reflectance, 1 / cases[i].gamma);
            assert_true(count > 3000);
            check_near("mean code", sum / (double)count, round(code * full) / full, 1e-9);
            seen++;
        }
        assert_int_equal(seen, 6);
        free(csv);
        free(pixels.value);
        fleck_phantom_sheet_free(sheet);
    }
}

static void no_paper_shows_between_two_steps(void **state)
{
    fleck_phantom_sheet_options options = clean_options();
    fleck_phantom_sheet *sheet;
    struct pixels pixels;
    const size_t y = 420;

    (void)state;
    options.tilt_deg = 1.3;
    sheet = laid_out(&options, NULL, 0);
    pixels = drawn(sheet);
    /* from the first step to the last the tone only falls */
    for (size_t x = 220; x < 470; x++)
        assert_true(pixels.value[y * pixels.width_px + x + 1] <=
                    pixels.value[y * pixels.width_px + x] + 1e-12);
    check_near("first", pixels.value[y * pixels.width_px + 220], pow(10, -0.05), 1e-9);
    check_near("last", pixels.value[y * pixels.width_px + 470], pow(10, -2), 1e-9);
    free(pixels.value);
    fleck_phantom_sheet_free(sheet);
}

static void writing_keeps_clear_of_patches_and_marks(void **state)
{
    /* below b there is room for a note; below a lies c, and below c the grey scale */
    fleck_phantom_patch patches[] = { patch_at("a", 20, 14, 0, FLECK_PHANTOM_PLAIN),
                                      patch_at("b", 34, 14, 6, FLECK_PHANTOM_PLAIN),
                                      patch_at("c", 20, 25, 0, FLECK_PHANTOM_PLAIN) };
    struct pixels with, without;
    size_t changed = 0, below_b = 0;

    (void)state;
    for (int i = 0; i < 3; i++)
        patches[i].speckle.coverage = 1;
    for (int i = 0; i < 2; i++) {
        fleck_phantom_sheet_options options = clean_options();
        fleck_phantom_sheet *sheet;

        options.writing = i == 0;
        sheet = laid_out(&options, patches, 3);
        *(i == 0 ? &with : &without) = drawn(sheet);
        fleck_phantom_sheet_free(sheet);
    }
    for (size_t i = 0; i < with.width_px * with.height_px; i++) {
        const size_t x = i % with.width_px, y = i / with.width_px;

        if (with.value[i] == without.value[i])
            continue;
        check_near("only paper is written on", without.value[i], 0.8, 1e-12);
        assert_true(y > 40 && y < 100 ? x >= 200 : x >= 340 && x < 406 && y > 225 && y < 262);
        changed++;
        below_b += y > 225;
    }
    assert_true(below_b > 100 && changed > 2 * below_b);
    free(with.value);
    free(without.value);
}

/* ---- paper and scanner ---- */

static fleck_phantom_sheet_options blank_options(void)
{
    fleck_phantom_sheet_options options = clean_options();

    options.rulers = options.crosses = options.writing = false;
    options.steps = 0;
    return options;
}

static void the_light_goes_from_less_to_more_by_what_was_asked(void **state)
{
    fleck_phantom_sheet_options options = blank_options();
    fleck_phantom_sheet *sheet;
    struct pixels pixels;
    cJSON *truth;
    double least = INFINITY, most = -INFINITY, low, high;

    (void)state;
    options.light = 0.2;
    sheet = laid_out(&options, NULL, 0);
    pixels = drawn(sheet);
    truth = truth_of(sheet);
    low = number(member(truth, "light"), "low");
    high = number(member(truth, "light"), "high");
    for (size_t i = 0; i < pixels.width_px * pixels.height_px; i++) {
        const double u = 2 * ((double)(i % pixels.width_px) + 0.5) / (double)pixels.width_px - 1;
        const double v = 2 * ((double)(i / pixels.width_px) + 0.5) / (double)pixels.height_px - 1;
        const double s = 0.7 * sin(0.9 * u + 0.4) + 0.5 * cos(1.1 * v - 0.3);

        check_near("the truth's formula", pixels.value[i],
                   0.8 * (1 + 0.2 * (2 * (s - low) / (high - low) - 1)), 1e-9);
        least = fmin(least, pixels.value[i]);
        most = fmax(most, pixels.value[i]);
    }
    check_near("0.8 x 0.8", least, 0.64, 0.002);
    check_near("0.8 x 1.2", most, 0.96, 0.002);
    check_near("nothing is cut", number(member(truth, "picture"), "clipped_share"), 0, 0);
    cJSON_Delete(truth);
    free(pixels.value);
    fleck_phantom_sheet_free(sheet);
}

static double covariance(const struct pixels *pixels, double mean, size_t dx, size_t dy)
{
    double sum = 0;

    for (size_t y = 0; y + dy < pixels->height_px; y++) {
        for (size_t x = 0; x + dx < pixels->width_px; x++)
            sum += (pixels->value[y * pixels->width_px + x] - mean) *
                   (pixels->value[(y + dy) * pixels->width_px + x + dx] - mean);
    }
    return sum / (double)((pixels->height_px - dy) * (pixels->width_px - dx));
}

static void fibre_has_its_spread_and_its_length_and_noise_is_white(void **state)
{
    fleck_phantom_sheet_options options = blank_options();
    fleck_phantom_sheet *sheet;
    struct pixels pixels;

    (void)state;
    options.fibre = 0.02;
    options.fibre_length_mm = 0.5;
    sheet = laid_out(&options, NULL, 0);
    pixels = drawn(sheet);
    check_ratio("variance", covariance(&pixels, 0.8, 0, 0), 4e-4, 0.06);
    check_near("exp(-1) at one length", covariance(&pixels, 0.8, 5, 0) / 4e-4, 0.3679, 0.03);
    check_near("exp(-1) at one length", covariance(&pixels, 0.8, 0, 5) / 4e-4, 0.3679, 0.03);
    free(pixels.value);
    fleck_phantom_sheet_free(sheet);
    options.fibre = 0;
    options.noise = 0.02;
    sheet = laid_out(&options, NULL, 0);
    pixels = drawn(sheet);
    check_ratio("variance", covariance(&pixels, 0.8, 0, 0), 4e-4, 0.02);
    check_near("white", covariance(&pixels, 0.8, 1, 0) / 4e-4, 0, 0.01);
    check_near("white", covariance(&pixels, 0.8, 0, 1) / 4e-4, 0, 0.01);
    free(pixels.value);
    fleck_phantom_sheet_free(sheet);
}

static void ink_hides_the_fibre(void **state)
{
    fleck_phantom_sheet_options options = clean_options();
    const fleck_phantom_patch patch = patch_at("a", 30, 20, 0, FLECK_PHANTOM_DISCS);
    fleck_phantom_sheet *sheet;
    struct pixels pixels;

    (void)state;
    options.fibre = 0.05;
    options.solid = true;
    sheet = laid_out(&options, &patch, 1);
    pixels = drawn(sheet);
    for (size_t y = 201; y < 275; y++) {
        for (size_t x = 301; x < 392; x++)
            check_near("ink", pixels.value[y * pixels.width_px + x], 0.05, 1e-9);
    }
    free(pixels.value);
    fleck_phantom_sheet_free(sheet);
}

static void what_is_cut_off_is_counted(void **state)
{
    fleck_phantom_sheet_options options = blank_options();
    fleck_phantom_sheet *sheet;
    struct pixels pixels;
    cJSON *truth;

    (void)state;
    options.paper_reflectance = 1;
    options.noise = 0.01;
    sheet = laid_out(&options, NULL, 0);
    truth = truth_of(sheet);
    assert_true(isnan(number(member(truth, "picture"), "clipped_share")));
    cJSON_Delete(truth);
    pixels = drawn(sheet);
    truth = truth_of(sheet);
    check_near("half of the noise lies above white",
               number(member(truth, "picture"), "clipped_share"), 0.5, 0.005);
    cJSON_Delete(truth);
    free(pixels.value);
    fleck_phantom_sheet_free(sheet);
}

static void the_same_seed_draws_the_same_sheet(void **state)
{
    fleck_phantom_sheet_options options = fleck_phantom_sheet_options_default();
    fleck_phantom_grid grid = fleck_phantom_grid_default();
    fleck_phantom_patch *patches;
    struct pixels pixels[3];
    size_t count, bytes;

    (void)state;
    grid.rows = 1;
    grid.columns = 2;
    grid.patch_mm = 8;
    options.ppi = 200;
    options.fibre_length_mm = 0.3;
    options.rulers = false;
    options.steps = 4;
    assert_int_equal(fleck_phantom_patches_from_grid(&grid, &patches, &count, NULL), FLECK_OK);
    for (size_t i = 0; i < 3; i++) {
        fleck_phantom_sheet *sheet;

        options.seed = i < 2 ? 7 : 8;
        sheet = laid_out(&options, patches, count);
        pixels[i] = drawn(sheet);
        free(pixels[i].value);
        pixels[i] = drawn(sheet); /* a second time gives the same too */
        fleck_phantom_sheet_free(sheet);
    }
    check_near("18 + 8 + 6 + 8 + 12 mm", (double)pixels[0].width_px, round(52 * 200 / 25.4), 0);
    check_near("14 + 8 + 34 mm", (double)pixels[0].height_px, round(56 * 200 / 25.4), 0);
    bytes = pixels[0].width_px * pixels[0].height_px * sizeof *pixels[0].value;
    assert_memory_equal(pixels[0].value, pixels[1].value, bytes);
    assert_true(memcmp(pixels[0].value, pixels[2].value, bytes) != 0);
    for (size_t i = 0; i < 3; i++)
        free(pixels[i].value);
    free(patches);
}

/* ---- what cannot be drawn ---- */

static void a_sheet_that_cannot_be_is_refused_in_words(void **state)
{
    fleck_phantom_sheet_options good = clean_options(), options;
    fleck_phantom_patch two[2] = { patch_at("a", 20, 15, 0, FLECK_PHANTOM_DISCS),
                                   patch_at("b", 40, 15, 0, FLECK_PHANTOM_DISCS) };
    const struct {
        const char *message;
        double x_mm, y_mm, tilt_deg, coverage, light, ppi;
        size_t steps;
        fleck_phantom_kind kind;
        bool ragged;
        const char *name;
    } cases[] = {
        { "patch b lies partly outside the sheet", 62, 15, 0, 0.3, 0, 254, 4, 0, false, "b" },
        { "patch b lies partly outside the sheet", 40, NAN, 0, 0.3, 0, 254, 4, 0, false, "b" },
        { "patches a and b overlap", 29.2, 15, 0, 0.3, 0, 254, 4, 0, false, "b" },
        { "patches a and b overlap", 29.9, 15, 20, 0.3, 0, 254, 4, 0, false, "b" },
        { "patch b lies on the left ruler", 8, 30, 0, 0.3, 0, 254, 4, 0, false, "b" },
        { "patch b lies on the grey scale", 40, 32, 0, 0.3, 0, 254, 4, 0, false, "b" },
        { "patch b lies on a cross", 55, 5, 0, 0.3, 0, 254, 4, 0, false, "b" },
        { "there are two patches a", 40, 15, 0, 0.3, 0, 254, 4, 0, false, "a" },
        { "patch 2 has no name", 40, 15, 0, 0.3, 0, 254, 4, 0, false, "" },
        { "patch 2 has no name", 40, 15, 0, 0.3, 0, 254, 4, 0, false, "\xff" },
        { "patch b: its tilt is 60 degrees", 40, 15, 60, 0.3, 0, 254, 4, 0, false, "b" },
        { "patch b: coverage is 1.5", 40, 15, 0, 1.5, 0, 254, 4, 0, false, "b" },
        { "patch b: a ragged edge is made by whole dots and a field has none", 40, 15, 0, 0.3, 0, 254,
          4, FLECK_PHANTOM_FIELD, true, "b" },
        { "light is 2; give 0 to 0.9", 40, 15, 0, 0.3, 2, 254, 4, 0, false, "b" },
        { "ppi is not a number", 40, 15, 0, 0.3, 0, NAN, 4, 0, false, "b" },
        { "no room for a grey scale of 50 steps", 40, 15, 0, 0.3, 0, 254, 50, 0, false, "b" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_phantom_sheet *sheet = (fleck_phantom_sheet *)1;
        fleck_error err = { FLECK_OK, "" };

        options = good;
        options.light = cases[i].light;
        options.ppi = cases[i].ppi;
        options.steps = cases[i].steps;
        two[1].box.x_mm = cases[i].x_mm;
        two[1].box.y_mm = cases[i].y_mm;
        two[1].tilt_deg = cases[i].tilt_deg;
        two[1].ragged = cases[i].ragged;
        two[1].speckle.coverage = cases[i].coverage;
        two[1].speckle.kind = cases[i].kind;
        snprintf(two[1].name, sizeof two[1].name, "%s", cases[i].name);
        assert_int_equal(fleck_phantom_sheet_new(&options, two, 2, &sheet, &err), FLECK_BAD_CALL);
        assert_null(sheet);
        if (strstr(err.message, cases[i].message) == NULL || strstr(err.message, "; ") == NULL)
            fail_msg("\"%s\" holds neither \"%s\" nor advice", err.message, cases[i].message);
    }
}

static void a_sheet_without_size_or_room_is_refused(void **state)
{
    fleck_phantom_sheet_options options = clean_options();
    fleck_phantom_sheet *sheet;
    fleck_error err = { FLECK_OK, "" };

    (void)state;
    options.width_mm = 0;
    assert_int_equal(fleck_phantom_sheet_new(&options, NULL, 0, &sheet, &err), FLECK_BAD_CALL);
    assert_non_null(strstr(err.message, "neither a size"));
    options = clean_options();
    options.width_mm = 30;
    assert_int_equal(fleck_phantom_sheet_new(&options, NULL, 0, &sheet, &err), FLECK_BAD_CALL);
    assert_non_null(strstr(err.message, "no room for rulers"));
    options = clean_options();
    options.tilt_deg = 10;
    assert_int_equal(fleck_phantom_sheet_new(&options, NULL, 0, &sheet, &err), FLECK_BAD_CALL);
    assert_non_null(strstr(err.message, "would leave the sheet"));
    options = clean_options();
    sheet = laid_out(&options, NULL, 0);
    assert_int_equal(fleck_phantom_sheet_write(sheet, "sheet.gif", &err), FLECK_BAD_CALL);
    fleck_phantom_sheet_free(sheet);
    fleck_phantom_sheet_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(on_a_hard_sheet_the_truth_is_the_count_of_ink_pixels),
        cmocka_unit_test(a_turned_patch_keeps_its_coverage_and_its_dots),
        cmocka_unit_test(a_patch_is_the_tile_that_the_same_options_draw),
        cmocka_unit_test(a_ragged_edge_is_made_of_whole_dots),
        cmocka_unit_test(solid_and_no_patches_leave_all_else_as_it_was),
        cmocka_unit_test(ticks_lie_where_the_truth_says),
        cmocka_unit_test(lengths_agree_with_the_resolution),
        cmocka_unit_test(steps_are_coded_as_their_density_and_curve_say),
        cmocka_unit_test(no_paper_shows_between_two_steps),
        cmocka_unit_test(writing_keeps_clear_of_patches_and_marks),
        cmocka_unit_test(the_light_goes_from_less_to_more_by_what_was_asked),
        cmocka_unit_test(fibre_has_its_spread_and_its_length_and_noise_is_white),
        cmocka_unit_test(ink_hides_the_fibre),
        cmocka_unit_test(what_is_cut_off_is_counted),
        cmocka_unit_test(the_same_seed_draws_the_same_sheet),
        cmocka_unit_test(a_sheet_that_cannot_be_is_refused_in_words),
        cmocka_unit_test(a_sheet_without_size_or_room_is_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
