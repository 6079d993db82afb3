/* SPDX-License-Identifier: GPL-3.0-or-later */
/* All doubts together, and the one between scans. */
#include <math.h>
#include <string.h>

#include "disc_picture.h"
#include "measure/doubt_rows.h"
#include "measure/paper_outliers.h"
#include "support/check.h"

static fleck_scan_doubts measure(disc_picture *picture)
{
    const fleck_geometry geometry = { picture->width_px, picture->height_px, 25.4 / 600,
                                      25.4 / 600 };
    fleck_doubt_rows *rows;
    fleck_scan_doubts doubts;

    assert_int_equal(fleck_doubt_rows_new(&geometry, 0.1, 0.8, &rows, NULL), FLECK_OK);
    for (size_t y = 0; y < picture->height_px; y++) {
        const size_t count = disc_picture_row(picture, y);

        fleck_doubt_rows_add(rows, picture->q + y * picture->width_px, picture->runs, count);
    }
    fleck_doubt_rows_finish(rows, &doubts);
    fleck_doubt_rows_free(rows);
    return doubts;
}

static void clean_pictures_give_no_warning(void **state)
{
    static const struct {
        size_t width_px, height_px;
        double softness_px, noise, levels;
    } cases[] = {
        { 500, 400, 0, 0, 0 },        { 500, 400, 0.5, 0, 255 },   { 400, 500, 0.5, 0.01, 255 },
        { 500, 400, 1.2, 0.02, 255 }, { 500, 400, 1.2, 0.005, 0 }, { 1, 1, 0, 0, 0 },
        { 3, 200, 0.5, 0.01, 0 },     { 200, 2, 0.5, 0.01, 0 },    { 64, 64, 0.5, 0.01, 255 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        disc_picture picture = disc_picture_new(cases[i].width_px, cases[i].height_px,
                                                cases[i].softness_px, cases[i].noise, 50 + i);
        fleck_scan_doubts doubts;
        fleck_warnings warnings = { 0 };

        disc_picture_code(&picture, cases[i].levels);
        doubts = measure(&picture);
        assert_int_equal(fleck_scan_doubts_warn(&doubts, false, &warnings, NULL), FLECK_OK);
        assert_int_equal(warnings.count, 0);
        disc_picture_free(&picture);
    }
}

static void each_doubt_has_its_own_warning(void **state)
{
    static const struct {
        size_t at; /* of `exceeded` */
        const char *code;
    } cases[] = {
        { offsetof(fleck_scan_doubts, halo.doubt.exceeded), "sharpening-halo" },
        { offsetof(fleck_scan_doubts, upsampled.exceeded), "upsampled" },
        { offsetof(fleck_scan_doubts, jpeg_grid.doubt.exceeded), "former-jpeg" },
        { offsetof(fleck_scan_doubts, rim.coverage.exceeded), "ink-rim" },
        { offsetof(fleck_scan_doubts, rim.tone.exceeded), "ink-rim" },
        { offsetof(fleck_scan_doubts, rim.bare.exceeded), "bare-rim" },
        { offsetof(fleck_scan_doubts, wander.doubt.exceeded), "ink-tone-wanders" },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_scan_doubts doubts = { 0 };
        fleck_warnings warnings = { 0 };

        doubts.rim.bare_side = "left";
        *(bool *)((char *)&doubts + cases[i].at) = true;
        assert_int_equal(fleck_scan_doubts_warn(&doubts, false, &warnings, NULL), FLECK_OK);
        assert_int_equal(warnings.count, 1);
        assert_string_equal(warnings.items[0].code, cases[i].code);
        fleck_warnings_clear(&warnings);
    }
}

static void jpeg_explains_its_grid_and_a_grid_explains_missing_noise(void **state)
{
    fleck_scan_doubts doubts = { 0 };
    fleck_warnings warnings = { 0 };

    (void)state;
    doubts.upsampled.exceeded = doubts.jpeg_grid.doubt.exceeded = true;
    assert_int_equal(fleck_scan_doubts_warn(&doubts, true, &warnings, NULL), FLECK_OK);
    assert_int_equal(warnings.count, 0);
    doubts.jpeg_grid.doubt.exceeded = false;
    assert_int_equal(fleck_scan_doubts_warn(&doubts, true, &warnings, NULL), FLECK_OK);
    assert_int_equal(warnings.count, 0);
    doubts.jpeg_grid.doubt.exceeded = true;
    assert_int_equal(fleck_scan_doubts_warn(&doubts, false, &warnings, NULL), FLECK_OK);
    assert_int_equal(warnings.count, 1);
    assert_true(fleck_warnings_has(&warnings, "former-jpeg"));
    fleck_warnings_clear(&warnings);
}

static void scans_whose_paper_differs_stand_apart(void **state)
{
    static const struct {
        const char *what;
        size_t n;
        double level[8];
        bool apart[8];
    } cases[] = {
        { "none", 0, { 0 }, { 0 } },
        { "two cannot tell who is right", 2, { 0.8, 0.6 }, { 0 } },
        { "one of three", 3, { 0.8, 0.7, 0.801 }, { 0, 1, 0 } },
        { "within 0.03 of the median 0.8", 5, { 0.8, 0.8, 0.8, 0.829, 0.771 }, { 0 } },
        { "beyond it", 5, { 0.8, 0.8, 0.8, 0.831, 0.769 }, { 0, 0, 0, 1, 1 } },
        { "no paper in one", 4, { 0.8, NAN, 0.8, 0.7 }, { 0, 0, 0, 1 } },
        /* median 0.8, absolute deviations 0.04 0.04 0.05 0 0.04: 3.5 * 1.4826 * 0.04 = 0.208 */
        { "papers that scatter", 5, { 0.76, 0.84, 0.75, 0.8, 0.84 }, { 0 } },
        { "and one beyond their scatter",
          6,
          { 0.76, 0.84, 0.75, 0.8, 0.84, 0.5 },
          { 0, 0, 0, 0, 0, 1 } },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        bool apart[8] = { true, true, true, true, true, true, true, true };
        fleck_paper_outliers outliers;
        size_t count = 0;

        assert_int_equal(
            fleck_paper_outliers_find(cases[i].level, cases[i].n, apart, &outliers, NULL),
            FLECK_OK);
        for (size_t j = 0; j < cases[i].n; j++) {
            if (apart[j] != cases[i].apart[j])
                fail_msg("%s: scan %zu", cases[i].what, j);
            count += apart[j];
        }
        assert_int_equal(outliers.count, count);
        assert_int_equal(isnan(outliers.median), cases[i].n < 3);
    }
}

static void the_paper_level_is_the_upper_quartile_of_bare_pixels(void **state)
{
    static uint64_t counts[FLECK_LEVELS];

    (void)state;
    counts[100] = 50; /* ink */
    counts[40000] = 30;
    counts[50000] = 45;
    counts[52000] = 25;
    check_near("25 of 100 lie at 52000", fleck_paper_level(counts, 20000, FLECK_INK_DARK),
               52000.0 / 65535, 1e-12);
    counts[52000] = 24;
    check_near("24 of 99 are fewer than a quarter",
               fleck_paper_level(counts, 20000, FLECK_INK_DARK), 50000.0 / 65535, 1e-12);
    check_near("light ink: the darkest quarter", fleck_paper_level(counts, 45000, FLECK_INK_LIGHT),
               100.0 / 65535, 1e-12);
    check_near("no bare pixel", fleck_paper_level(counts, 60000, FLECK_INK_DARK), NAN, 0);
}

static void the_warning_names_both_papers(void **state)
{
    const fleck_paper_outliers outliers = { .median = 0.8, .tolerance = 0.03, .count = 1 };
    fleck_warnings warnings = { 0 };

    (void)state;
    assert_int_equal(fleck_paper_outliers_warn(&outliers, 0.7, &warnings, NULL), FLECK_OK);
    assert_string_equal(warnings.items[0].code, "paper-differs");
    assert_non_null(strstr(warnings.items[0].message, "0.700"));
    assert_non_null(strstr(warnings.items[0].message, "0.800"));
    fleck_warnings_clear(&warnings);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(clean_pictures_give_no_warning),
        cmocka_unit_test(each_doubt_has_its_own_warning),
        cmocka_unit_test(jpeg_explains_its_grid_and_a_grid_explains_missing_noise),
        cmocka_unit_test(scans_whose_paper_differs_stand_apart),
        cmocka_unit_test(the_paper_level_is_the_upper_quartile_of_bare_pixels),
        cmocka_unit_test(the_warning_names_both_papers),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
