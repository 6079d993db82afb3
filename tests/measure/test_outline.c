/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/shape.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "fleck/texture.h"
#include "measure/blobs.h"
#include "support/check.h"

static const double pi = 3.14159265358979323846;

static fleck_geometry pixels_of(double x_mm, double y_mm)
{
    return (fleck_geometry){ 1, 1, x_mm, y_mm };
}

/* The outline of the largest component of a phase. */
static fleck_outline outline_of(const struct mask *mask, fleck_phase phase,
                                const fleck_geometry *geometry)
{
    struct blobs blobs = blobs_from_mask(mask, phase, 1);
    fleck_outline outline[1];
    size_t largest = 0;

    assert_true(blobs.count > 0);
    for (size_t i = 1; i < blobs.count; i++)
        if (blobs.items[i].component.area_px > blobs.items[largest].component.area_px)
            largest = i;
    assert_int_equal(fleck_outlines(&blobs.items[largest], 1, phase, geometry, outline, NULL),
                     FLECK_OK);
    blobs_free(&blobs);
    return outline[0];
}

static fleck_outline outline_of_text(const char *text, double x_mm, double y_mm)
{
    struct mask mask = mask_from_text(text);
    const fleck_geometry geometry = pixels_of(x_mm, y_mm);
    const fleck_outline outline = outline_of(&mask, FLECK_PHASE_INK, &geometry);

    mask_free(&mask);
    return outline;
}

/* ---- values from outside ---- */

struct shape {
    char name[64];
    size_t width, height;
    double area, perimeter, euler, feret_max, feret_min, solidity, orientation, other_feret;
};

static void check_shape(const struct shape *shape, const struct mask *mask)
{
    const fleck_geometry geometry = pixels_of(0.25, 0.25);
    const fleck_outline outline = outline_of(mask, FLECK_PHASE_INK, &geometry);

    check_ratio(shape->name, outline.perimeter_mm, 0.25 * shape->perimeter, 1e-12);
    check_near(shape->name, outline.holes, 1 - shape->euler, 0);
    check_ratio(shape->name, outline.feret_max_mm, 0.25 * shape->feret_max, 1e-12);
    check_ratio(shape->name, outline.feret_min_mm, 0.25 * shape->feret_min, 1e-12);
    check_ratio(shape->name, outline.solidity, shape->solidity, 1e-12);
    check_near(shape->name, outline.orientation_deg, shape->orientation, 1e-9);
    check_near(shape->name, outline.aspect, shape->feret_min / shape->feret_max, 1e-12);
    check_near(shape->name, outline.circularity,
               fmin(1, sqrt(4 * pi * shape->area) / shape->perimeter), 1e-12);
    /* measured between the middles of pixel edges instead of corners: a pixel's diagonal at most */
    check_near(shape->name, outline.feret_max_mm, 0.25 * shape->other_feret, 0.25 * 1.4143);
}

static void test_outlines_are_those_of_scikit_image_and_qhull(void **state)
{
    FILE *const file = fopen(FLECK_TEST_DATA "/shapes/shapes.txt", "r");
    char line[256];
    size_t shapes = 0;

    (void)state;
    assert_non_null(file);
    while (fgets(line, sizeof line, file) != NULL) {
        struct shape shape;
        struct mask mask;
        char *at = line;
        double *const numbers[8] = { &shape.area,      &shape.perimeter, &shape.euler,
                                     &shape.feret_max, &shape.feret_min, &shape.solidity,
                                     &shape.orientation, &shape.other_feret };

        if (line[0] == '#' && line[1] == ' ')
            continue;
        assert_int_equal(sscanf(line, "%63s %zu %zu", shape.name, &shape.width, &shape.height), 3);
        assert_non_null(fgets(line, sizeof line, file));
        for (int i = 0; i < 8; i++)
            *numbers[i] = strtod(at, &at);
        mask = mask_new(shape.width, shape.height);
        for (size_t y = 0; y < shape.height; y++) {
            assert_non_null(fgets(line, sizeof line, file));
            for (size_t x = 0; x < shape.width; x++)
                mask.ink[y * shape.width + x] = line[x] == '#';
        }
        check_shape(&shape, &mask);
        mask_free(&mask);
        shapes++;
    }
    assert_int_equal(shapes, 28);
    fclose(file);
}

static void test_digital_discs_have_the_perimeters_of_crofton(void **state)
{
    /* scikit-image 0.19.3, perimeter_crofton with 4 directions, of discs (i-cx)^2+(j-cy)^2 <= R^2 */
    static const struct {
        double radius, centre_x, centre_y;
        double pixels, perimeter;
    } cases[] = {
        { 1, 0, 0, 5, 8.0445511840 },
        { 2, 0, 0, 13, 13.4075853067 },
        { 3, 0, 0, 29, 20.9920608984 },
        { 5, 0, 0, 81, 33.9395706128 },
        { 20, 0, 0, 1257, 127.7137312673 },
        { 100, 0, 0, 31417, 630.0640295605 },
        { 5, 0.5, 0.5, 80, 32.3687742860 },
        { 10, 0.5, 0.5, 316, 63.6268278375 },
        { 10.25, 0.25, 0.4, 327, 63.6268278375 },
        { 3.7, 0.1, 0.3, 41, 22.1027816330 },
    };
    const fleck_geometry geometry = pixels_of(1, 1);

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const long reach = (long)cases[i].radius + 2;
        struct mask mask = mask_new((size_t)(2 * reach + 1), (size_t)(2 * reach + 1));
        fleck_outline outline;

        for (long y = -reach; y <= reach; y++)
            for (long x = -reach; x <= reach; x++)
                mask.ink[(y + reach) * (2 * reach + 1) + x + reach] =
                    pow((double)x - cases[i].centre_x, 2) + pow((double)y - cases[i].centre_y, 2) <=
                    cases[i].radius * cases[i].radius;
        outline = outline_of(&mask, FLECK_PHASE_INK, &geometry);
        check_near("digital disc", outline.perimeter_mm, cases[i].perimeter, 1e-9);
        check_near("digital disc", outline.circularity,
                   fmin(1, sqrt(4 * pi * cases[i].pixels) / cases[i].perimeter), 1e-10);
        mask_free(&mask);
    }
}

/* ---- by hand ---- */

static void test_oblong_pixels_stretch_the_shape(void **state)
{
    /* one pixel of 3 x 4: the diagonal is 5, the shares of the angles by atan2(4, 3) */
    const fleck_outline one = outline_of_text("#", 3, 4);
    const double phi = atan2(4, 3);
    /* 2 x 3 pixels of 3 x 2 are a square */
    const fleck_outline square = outline_of_text("## ## ##", 3, 2);
    const fleck_outline diagonal = outline_of_text("#.. .#. ..#", 3, 4);

    (void)state;
    check_near("corners of 3 x 4", one.feret_max_mm, 5, 1e-12);
    check_near("shorter side", one.feret_min_mm, 3, 1e-12);
    check_near("a box fills its hull", one.solidity, 1, 0);
    check_near("longer along y", one.orientation_deg, 90, 0);
    check_near("one pixel, two changes in each direction", one.perimeter_mm,
               0.5 * (phi * 4 * 2 + (pi / 2 - phi) * 3 * 2 + pi / 4 * (12.0 / 5) * 4), 1e-12);
    check_near("a square has no longest axis", square.orientation_deg, NAN, 0);
    check_near("its diagonal", square.feret_max_mm, 6 * sqrt(2), 1e-12);
    check_near("its side", square.feret_min_mm, 6, 1e-12);
    check_near("downward to the right", diagonal.orientation_deg,
               /* moments 3/4 of 9 and 16, mixed 2/3 of 12 */
               180 - 0.5 * atan2(2 * 8, 6.75 - 12) * 180 / pi, 1e-9);
}

static void test_holes_are_counted_by_the_other_connectivity(void **state)
{
    static const struct {
        const char *text;
        fleck_phase phase;
        double holes;
    } cases[] = {
        { "### #.# ###", FLECK_PHASE_INK, 1 },
        { ".#. #.# .#.", FLECK_PHASE_INK, 1 }, /* corners close the ring */
        { "##### #.#.# #####", FLECK_PHASE_INK, 2 },
        { "#### #..# #.## ####", FLECK_PHASE_INK, 1 },
        { "##### #.#.# ##.## #.#.# #####", FLECK_PHASE_INK, 5 }, /* corners do not join bare paper */
        { "##### #...# #.#.# #...# #####", FLECK_PHASE_BARE, 1 },
        { "...... .##... ...##. ......", FLECK_PHASE_BARE, 1 }, /* one dot, by corners */
        { ".... .#.. .... ....", FLECK_PHASE_BARE, 1 },
        { "#.#. ##.. ....", FLECK_PHASE_BARE, 0 }, /* open at a corner only: not one phase's hole */
    };
    const fleck_geometry geometry = pixels_of(0.1, 0.1);

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct mask mask = mask_from_text(cases[i].text);
        const fleck_outline outline = outline_of(&mask, cases[i].phase, &geometry);

        check_near(cases[i].text, outline.holes, cases[i].holes, 0);
        mask_free(&mask);
    }
}

static void test_a_blob_without_runs_has_no_numbers(void **state)
{
    const fleck_blob blob = { .component = { .area_px = 7 } };
    const fleck_geometry geometry = pixels_of(1, 1);
    fleck_outline outline = { 0 };
    const double *const numbers = &outline.perimeter_mm;

    (void)state;
    assert_int_equal(fleck_outlines(&blob, 1, FLECK_PHASE_INK, &geometry, &outline, NULL),
                     FLECK_OK);
    for (size_t i = 0; i < sizeof outline / sizeof(double); i++)
        check_near("no runs", numbers[i], NAN, 0);
    assert_int_equal(fleck_outlines(NULL, 0, FLECK_PHASE_INK, &geometry, NULL, NULL), FLECK_OK);
}

/* ---- against the definitions ---- */

struct corners {
    double x[4096], y[4096];
    size_t count;
};

static void add_corners(struct corners *corners, const fleck_blob *blob,
                        const fleck_geometry *geometry)
{
    corners->count = 0;
    for (size_t i = 0; i < blob->run_count; i++)
        for (int corner = 0; corner < 4; corner++) {
            const uint32_t x = corner < 2 ? blob->runs[i].start_px : blob->runs[i].end_px;
            const uint32_t y = blob->runs[i].y_px + (uint32_t)corner % 2;

            assert_true(corners->count < 4096);
            corners->x[corners->count] = x * geometry->pixel_x_mm;
            corners->y[corners->count++] = y * geometry->pixel_y_mm;
        }
}

/* Changes from ink to bare and back along all lines of one direction, this blob alone being ink. */
static uint64_t changes(const uint8_t *ink, long width, long height, long dx, long dy)
{
    uint64_t count = 0;

    for (long y = -2; y <= height + 1; y++)
        for (long x = -2; x <= width + 1; x++) {
            const bool a = x >= 0 && y >= 0 && x < width && y < height && ink[y * width + x];
            const long u = x + dx, v = y + dy;
            const bool b = u >= 0 && v >= 0 && u < width && v < height && ink[v * width + u];

            count += a != b;
        }
    return count;
}

static void check_against_definitions(const struct mask *mask, const fleck_blob *blob,
                                      const fleck_outline *outline,
                                      const fleck_geometry *geometry)
{
    static struct corners corners;
    const double px = geometry->pixel_x_mm, py = geometry->pixel_y_mm;
    const double phi = atan2(py, px);
    uint8_t *const ink = calloc(mask->width_px * mask->height_px, 1);
    const long w = (long)mask->width_px, h = (long)mask->height_px;
    double longest = 0, narrowest = INFINITY, tilted = NAN, least = INFINITY;
    double sum_x = 0, sum_y = 0, n = 0;

    assert_non_null(ink);
    add_corners(&corners, blob, geometry);
    for (size_t i = 0; i < corners.count; i++)
        for (size_t j = 0; j < corners.count; j++) {
            const double x = corners.x[j] - corners.x[i], y = corners.y[j] - corners.y[i];
            const double length = hypot(x, y);
            double low = INFINITY, high = -INFINITY;

            longest = fmax(longest, length);
            if (!(length > 0) || corners.count > 160)
                continue;
            for (size_t k = 0; k < corners.count; k++) {
                const double away = (x * corners.y[k] - y * corners.x[k]) / length;

                low = fmin(low, away);
                high = fmax(high, away);
            }
            narrowest = fmin(narrowest, high - low);
        }
    check_ratio("longest pair of corners", outline->feret_max_mm, longest, 1e-12);
    if (corners.count <= 160)
        check_ratio("narrowest over all pairs as sides", outline->feret_min_mm, narrowest, 1e-9);
    for (size_t i = 0; i < blob->run_count; i++)
        for (size_t x = blob->runs[i].start_px; x < blob->runs[i].end_px; x++) {
            ink[blob->runs[i].y_px * mask->width_px + x] = 1;
            sum_x += ((double)x + 0.5) * px;
            sum_y += (blob->runs[i].y_px + 0.5) * py;
            n += 1;
        }
    check_ratio("crossings by going along every line", outline->perimeter_mm,
                0.5 * (phi * py * (double)changes(ink, w, h, 1, 0) +
                       (pi / 2 - phi) * px * (double)changes(ink, w, h, 0, 1) +
                       pi / 4 * px * py / hypot(px, py) *
                           (double)(changes(ink, w, h, 1, 1) + changes(ink, w, h, 1, -1))),
                1e-12);
    /* the longest axis is the line with the least moment about it, tried by degrees */
    for (int degree = 0; degree < 180; degree++) {
        const double c = cos(degree * pi / 180), s = sin(degree * pi / 180);
        double moment = 0;

        for (long y = 0; y < h; y++)
            for (long x = 0; x < w; x++)
                if (ink[y * w + x]) {
                    const double u = ((double)x + 0.5) * px - sum_x / n;
                    const double v = -(((double)y + 0.5) * py - sum_y / n);

                    moment += pow(u * s - v * c, 2) + (px * s * px * s + py * c * py * c) / 12;
                }
        if (moment < least) {
            least = moment;
            tilted = degree;
        }
    }
    if (!isnan(outline->orientation_deg)) {
        const double off = fabs(remainder(outline->orientation_deg - tilted, 180));

        check_near("line of least moment", off, 0, 0.51);
    }
    free(ink);
}

static void test_random_blobs_agree_with_the_definitions(void **state)
{
    uint64_t seed = 11;

    (void)state;
    for (int i = 0; i < 12; i++) {
        const fleck_geometry geometry = pixels_of(0.02, i % 3 == 0 ? 0.02 : 0.007 * (i + 1));
        struct mask mask = i % 2 == 0 ? mask_speckle(48, 40, 4 + i % 4, 0.12, &seed)
                                      : mask_random(24, 30, 0.35, &seed);
        struct blobs blobs = blobs_from_mask(&mask, FLECK_PHASE_INK, 1);
        fleck_outline *outlines = calloc(blobs.count, sizeof *outlines);

        assert_non_null(outlines);
        assert_int_equal(fleck_outlines(blobs.items, blobs.count, FLECK_PHASE_INK, &geometry,
                                        outlines, NULL),
                         FLECK_OK);
        for (size_t j = 0; j < blobs.count; j++)
            check_against_definitions(&mask, &blobs.items[j], &outlines[j], &geometry);
        free(outlines);
        blobs_free(&blobs);
        mask_free(&mask);
    }
}

static void test_a_turn_by_a_right_angle_turns_the_axis_alone(void **state)
{
    static const char *const shapes[] = { "##### ###.. #....", "#.. ### .##", "##.... .###.. ...###" };
    const fleck_geometry geometry = pixels_of(0.04, 0.04);

    (void)state;
    for (size_t i = 0; i < sizeof shapes / sizeof *shapes; i++) {
        struct mask mask = mask_from_text(shapes[i]);
        struct mask turned = mask_turned(&mask), mirrored = mask_mirrored(&mask);
        const fleck_outline as_is = outline_of(&mask, FLECK_PHASE_INK, &geometry);
        const fleck_outline other[2] = { outline_of(&turned, FLECK_PHASE_INK, &geometry),
                                         outline_of(&mirrored, FLECK_PHASE_INK, &geometry) };
        const double angle[2] = { as_is.orientation_deg + 90, 180 - as_is.orientation_deg };

        for (int j = 0; j < 2; j++) {
            check_ratio(shapes[i], other[j].perimeter_mm, as_is.perimeter_mm, 1e-14);
            check_ratio(shapes[i], other[j].feret_max_mm, as_is.feret_max_mm, 1e-14);
            check_ratio(shapes[i], other[j].feret_min_mm, as_is.feret_min_mm, 1e-14);
            check_near(shapes[i], other[j].solidity, as_is.solidity, 0);
            check_near(shapes[i], remainder(other[j].orientation_deg - angle[j], 180), 0, 1e-9);
        }
        mask_free(&mask);
        mask_free(&turned);
        mask_free(&mirrored);
    }
}

/* An ellipse of 60 x 24 pixels at any angle: what the pixels leave of the numbers' sameness. */
static void test_a_turn_by_any_angle_changes_an_ellipse_little(void **state)
{
    const fleck_geometry geometry = pixels_of(1, 1);

    (void)state;
    for (int degree = 0; degree < 180; degree += 7) {
        struct mask mask = mask_new(80, 80);
        const double c = cos(degree * pi / 180), s = sin(degree * pi / 180);
        fleck_outline outline;

        for (int y = 0; y < 80; y++)
            for (int x = 0; x < 80; x++) {
                const double u = (x - 39.7) * c - (y - 39.4) * s;
                const double v = (x - 39.7) * s + (y - 39.4) * c;

                mask.ink[y * 80 + x] = u * u / 900 + v * v / 144 <= 1;
            }
        outline = outline_of(&mask, FLECK_PHASE_INK, &geometry);
        check_near("orientation", remainder(outline.orientation_deg - degree, 180), 0, 0.5);
        check_ratio("major axis, and half a pixel at both ends", outline.feret_max_mm, 60.5, 0.015);
        check_ratio("minor axis", outline.feret_min_mm, 24.7, 0.03);
        /* the ellipse's perimeter by Ramanujan's formula: 138.6; lines of 4 directions find more or less */
        check_ratio("perimeter", outline.perimeter_mm, 138.6, 0.05);
        assert_true(outline.solidity > 0.93);
        mask_free(&mask);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_outlines_are_those_of_scikit_image_and_qhull),
        cmocka_unit_test(test_digital_discs_have_the_perimeters_of_crofton),
        cmocka_unit_test(test_oblong_pixels_stretch_the_shape),
        cmocka_unit_test(test_holes_are_counted_by_the_other_connectivity),
        cmocka_unit_test(test_a_blob_without_runs_has_no_numbers),
        cmocka_unit_test(test_random_blobs_agree_with_the_definitions),
        cmocka_unit_test(test_a_turn_by_a_right_angle_turns_the_axis_alone),
        cmocka_unit_test(test_a_turn_by_any_angle_changes_an_ellipse_little),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
