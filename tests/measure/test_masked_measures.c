/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Chords, spacing and spectrum in areas of any shape, against slow twins. */
#include "fleck/texture.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "segment/area_shapes.h"
#include "segment/mask_outline.h"
#include "support/check.h"

/* ---- chords ---- */

static fleck_chord_counts count_chords(const struct mask *ink, const fleck_mask *mask)
{
    fleck_run *runs = calloc(ink->width_px / 2 + 1, sizeof *runs);
    fleck_run *above = calloc(ink->width_px / 2 + 1, sizeof *above);
    fleck_chord_counts counts = { 0 };
    size_t above_count = 0;

    for (size_t y = 0; y < ink->height_px; y++) {
        const size_t n = mask_runs(ink, y, runs);
        fleck_run *const swapped = above;

        fleck_chord_counts_add_row(&counts, ink->width_px, mask, y, runs, n, y == 0 ? NULL : above,
                                   above_count);
        above = runs;
        above_count = n;
        runs = swapped;
    }
    free(runs);
    free(above);
    return counts;
}

static fleck_chord_counts slow_chords(const struct mask *ink, const struct mask *area)
{
    const size_t w = ink->width_px;
    fleck_chord_counts counts = { 0 };

    for (size_t y = 0; y < ink->height_px; y++) {
        for (size_t x = 0; x < w; x++) {
            const size_t at = y * w + x;

            counts.ink_px += area->ink[at] && ink->ink[at];
            counts.bare_px += area->ink[at] && !ink->ink[at];
            if (x + 1 < w && area->ink[at] && area->ink[at + 1])
                counts.changes_in_rows += ink->ink[at] != ink->ink[at + 1];
            if (y + 1 < ink->height_px && area->ink[at] && area->ink[at + w])
                counts.changes_in_columns += ink->ink[at] != ink->ink[at + w];
        }
    }
    return counts;
}

static void test_chords_count_changes_between_pixels_inside(void **state)
{
    static const size_t widths[] = { 1, 2, 63, 64, 65, 100 };
    uint64_t random = 14;

    (void)state;
    for (size_t trial = 0; trial < AREA_KINDS * 24; trial++) {
        const size_t width = widths[trial / AREA_KINDS % 6], height = 1 + test_random(&random) % 40;
        struct mask area = area_make((enum area_kind)(trial % AREA_KINDS), width, height, &random);
        struct mask ink = mask_random(width, height, test_uniform(&random), &random);
        struct mask clipped = area_clipped(&ink, &area);
        fleck_mask *mask = area_mask(&area);
        const fleck_chord_counts counts = count_chords(&clipped, mask);
        const fleck_chord_counts twin = slow_chords(&clipped, &area);

        assert_memory_equal(&counts, &twin, sizeof counts);
        fleck_mask_free(mask);
        mask_free(&area);
        mask_free(&ink);
        mask_free(&clipped);
    }
}

static void test_chords_cut_by_a_mask_count_as_at_the_border(void **state)
{
    /* the middle column is outside: left a dot in a corner, right a bar across its part */
    struct mask area = mask_from_text("##.## ##.##"), ink = mask_from_text("#..## .....");
    fleck_mask *mask = area_mask(&area);
    const fleck_geometry geometry = { 5, 2, 0.1, 0.2 };
    const fleck_chord_counts counts = count_chords(&ink, mask);

    (void)state;
    check_near("3 px of 0.3 mm; 1 change in rows, 1 + 2 in columns",
               fleck_mean_chord_mm(&counts, FLECK_PHASE_INK, &geometry), 3 * 0.3 / (4 / 2.0),
               1e-15);
    check_near("5 px of 0.3 mm", fleck_mean_chord_mm(&counts, FLECK_PHASE_BARE, &geometry),
               5 * 0.3 / (4 / 2.0), 1e-15);
    fleck_mask_free(mask);
    mask_free(&area);
    mask_free(&ink);
}

/* ---- spacing ---- */

enum { MOST_POINTS = 60 };

struct pattern {
    size_t n;
    fleck_point_mm points[MOST_POINTS];
    double distance_mm[MOST_POINTS];
};

/* Points in pixels that are inside. */
static void strew(const struct mask *area, const fleck_geometry *geometry, struct pattern *pattern,
                  uint64_t *random)
{
    pattern->n = 0;
    for (int tries = 0; tries < 2000 && pattern->n < MOST_POINTS; tries++) {
        const double x = test_uniform(random) * (double)geometry->width_px;
        const double y = test_uniform(random) * (double)geometry->height_px;

        if (area->ink[(size_t)y * area->width_px + (size_t)x])
            pattern->points[pattern->n++] =
                (fleck_point_mm){ x * geometry->pixel_x_mm, y * geometry->pixel_y_mm };
    }
    for (size_t i = 0; i < pattern->n; i++) {
        pattern->distance_mm[i] = pattern->n > 1 ? INFINITY : NAN;
        for (size_t j = 0; j < pattern->n; j++) {
            if (j != i)
                pattern->distance_mm[i] =
                    fmin(pattern->distance_mm[i],
                         hypot(pattern->points[i].x_mm - pattern->points[j].x_mm,
                               pattern->points[i].y_mm - pattern->points[j].y_mm));
        }
    }
}

/* Border distances of all pixels, each with every pixel outside. */
static double *slow_borders(const struct mask *area, const fleck_geometry *geometry)
{
    const long w = (long)area->width_px, h = (long)area->height_px;
    const double px = geometry->pixel_x_mm, py = geometry->pixel_y_mm;
    double *const border = malloc((size_t)(w * h) * sizeof *border);

    for (long at = 0; at < w * h; at++) {
        const long x = at % w, y = at / w;
        double nearest = INFINITY;

        for (long v = -1; v <= h; v++)
            for (long u = -1; u <= w; u++)
                if (u < 0 || v < 0 || u == w || v == h || !area->ink[v * w + u])
                    nearest = fmin(nearest, hypot((double)(u - x) * px, (double)(v - y) * py));
        border[at] = nearest - fmax(px, py) / 2;
    }
    return border;
}

struct weighted {
    double distance_mm, weight;
};

static int by_distance(const void *left, const void *right)
{
    const struct weighted *const a = left, *const b = right;

    return (a->distance_mm > b->distance_mm) - (a->distance_mm < b->distance_mm);
}

static fleck_spacing slow_spacing(const struct mask *area, const fleck_geometry *geometry,
                                  const fleck_mask *mask, const struct pattern *pattern)
{
    const size_t w = area->width_px, pixels = w * area->height_px;
    const double px = geometry->pixel_x_mm, py = geometry->pixel_y_mm, n = (double)pattern->n;
    double *const border = slow_borders(area, geometry);
    fleck_spacing out = { 0, NAN, NAN, NAN, NAN, NAN, NAN };
    struct weighted kept[MOST_POINTS];
    double total = 0, moment = 0, spread = 0, share = 0, area_mm2 = 0, outline_mm, expected, sd;
    size_t count = 0;

    for (size_t i = 0; i < pixels; i++)
        area_mm2 += area->ink[i] ? px * py : 0;
    for (size_t i = 0; i < pattern->n; i++) {
        const double d = pattern->distance_mm[i];
        const size_t x = (size_t)(pattern->points[i].x_mm / px);
        const size_t y = (size_t)(pattern->points[i].y_mm / py);
        double beyond_mm2 = 0;

        out.nn_mean_raw_mm += d / n;
        if (!(border[y * w + x] > d))
            continue;
        for (size_t k = 0; k < pixels; k++)
            beyond_mm2 += border[k] > d ? px * py : 0;
        kept[count++] = (struct weighted){ d, 1 / beyond_mm2 };
        total += 1 / beyond_mm2;
        moment += d / beyond_mm2;
    }
    out.nn_mean_mm = count > 0 ? moment / total : NAN;
    for (size_t i = 0; i < count; i++)
        spread += kept[i].weight * pow(kept[i].distance_mm - out.nn_mean_mm, 2);
    out.nn_cv = count > 0 ? sqrt(spread / total) / out.nn_mean_mm : NAN;
    qsort(kept, count, sizeof *kept, by_distance);
    for (size_t i = 0; i < count && !(share >= total / 2 * (1 - 1e-9)); i++) {
        share += kept[i].weight;
        out.nn_median_mm = kept[i].distance_mm;
    }
    outline_mm = fleck_mask_outline_mm(mask, px, py);
    expected = 0.5 * sqrt(area_mm2 / n) + (0.0514 + 0.0412 / sqrt(n)) * outline_mm / n;
    sd = sqrt(0.0703 * area_mm2 / (n * n) + 0.037 * outline_mm * sqrt(area_mm2 / pow(n, 5)));
    out.clark_evans = out.nn_mean_raw_mm / expected;
    out.clark_evans_z = (out.nn_mean_raw_mm - expected) / sd;
    out.clark_evans_p = erfc(fabs(out.clark_evans_z) / sqrt(2.0));
    free(border);
    return out;
}

static void test_spacing_in_any_area_is_that_of_the_slow_twin(void **state)
{
    static const double pixels[][2] = { { 0.1, 0.1 }, { 0.05, 0.08 } };
    uint64_t random = 41;
    size_t given = 0;

    (void)state;
    for (size_t trial = 0; trial < AREA_KINDS * 4; trial++) {
        const char *const name = area_names[trial % AREA_KINDS];
        const fleck_geometry geometry = { 30 + test_random(&random) % 40,
                                          30 + test_random(&random) % 30, pixels[trial % 2][0],
                                          pixels[trial % 2][1] };
        struct mask area = area_make((enum area_kind)(trial % AREA_KINDS), geometry.width_px,
                                     geometry.height_px, &random);
        fleck_mask *mask = area_mask(&area);
        struct pattern pattern;
        fleck_spacing out, twin;
        fleck_error err;

        strew(&area, &geometry, &pattern, &random);
        assert_int_equal(fleck_spacing_summarise_in(pattern.points, pattern.distance_mm, pattern.n,
                                                    &geometry, mask, &out, &err),
                         FLECK_OK);
        if (pattern.n < 2) {
            check_near(name, out.nn_mean_raw_mm, NAN, 0);
            check_near(name, out.clark_evans, NAN, 0);
        } else if (trial % AREA_KINDS != AREA_FULL) {
            twin = slow_spacing(&area, &geometry, mask, &pattern);
            check_near(name, out.nn_mean_raw_mm, twin.nn_mean_raw_mm, 1e-13);
            check_near(name, out.nn_mean_mm, twin.nn_mean_mm, 1e-12);
            check_near(name, out.nn_median_mm, twin.nn_median_mm, 0);
            check_near(name, out.nn_cv, twin.nn_cv, 1e-12);
            check_near(name, out.clark_evans, twin.clark_evans, 1e-12);
            check_near(name, out.clark_evans_z, twin.clark_evans_z, 1e-10);
            check_near(name, out.clark_evans_p, twin.clark_evans_p, 1e-11);
            given += isfinite(out.nn_mean_mm);
        }
        fleck_mask_free(mask);
        mask_free(&area);
    }
    assert_true(given > 10);
}

/*
 * A disc of radius 4 mm cut from a random pattern of 4 points per mm2: the mean distance of a plane
 * without a border is 1 / (2 sqrt density). Source: Clark & Evans (1954).
 */
static void test_the_corrected_distance_is_that_of_the_whole_plane(void **state)
{
    enum { TRIALS = 60, MOST = 600 };
    const fleck_geometry geometry = { 160, 160, 0.05, 0.05 };
    uint64_t random = 19;
    struct mask area = area_make(AREA_RING, 160, 160, &random);
    fleck_mask *mask = area_mask(&area);
    double corrected = 0, squares = 0, raw = 0, index = 0;

    (void)state;
    for (int trial = 0; trial < TRIALS; trial++) {
        fleck_point_mm points[MOST];
        double distance_mm[MOST];
        fleck_spacing out;
        fleck_error err;
        size_t n = 0;

        for (int i = 0; i < 256; i++) {
            const double x = test_uniform(&random) * 160, y = test_uniform(&random) * 160;

            if (area.ink[(size_t)y * 160 + (size_t)x])
                points[n++] = (fleck_point_mm){ x * 0.05, y * 0.05 };
        }
        assert_int_equal(fleck_nearest_neighbours(points, n, 8, 8, distance_mm, &err), FLECK_OK);
        assert_int_equal(
            fleck_spacing_summarise_in(points, distance_mm, n, &geometry, mask, &out, &err),
            FLECK_OK);
        corrected += out.nn_mean_mm / TRIALS;
        squares += out.nn_mean_mm * out.nn_mean_mm / TRIALS;
        raw += out.nn_mean_raw_mm / TRIALS;
        index += out.clark_evans / TRIALS;
    }
    check_near("1 / (2 sqrt 4)", corrected, 0.25,
               3 * sqrt((squares - corrected * corrected) / TRIALS));
    assert_true(raw > 0.25 * 1.01); /* without a correction it is too long */
    check_near("Donnelly: random points have the index 1", index, 1, 0.02);
    fleck_mask_free(mask);
    mask_free(&area);
}

/* ---- spectrum ---- */

static uint16_t *random_q(size_t count, uint64_t *random)
{
    uint16_t *const q = malloc(count * sizeof *q);

    assert_non_null(q);
    for (size_t i = 0; i < count; i++)
        q[i] = (uint16_t)test_random(random);
    return q;
}

/* Spectrum of a part of a picture; ink is what is below half. */
static fleck_spectrum spectrum_of(const uint16_t *q, size_t stride, const fleck_geometry *geometry,
                                  const fleck_mask *mask, size_t tile_px, unsigned threads)
{
    fleck_run *const runs = malloc((geometry->width_px / 2 + 1) * sizeof *runs);
    fleck_spectrum_maker *maker;
    fleck_spectrum spectrum;
    fleck_error err;

    assert_int_equal(fleck_spectrum_maker_new(geometry, mask, tile_px, true, threads, &maker, &err),
                     FLECK_OK);
    for (size_t y = 0; y < geometry->height_px; y++) {
        const size_t n =
            fleck_runs_from_row(q + y * stride, geometry->width_px, 32767, FLECK_INK_DARK, runs);

        assert_int_equal(fleck_spectrum_maker_row(maker, q + y * stride, runs, n, &err), FLECK_OK);
    }
    assert_int_equal(fleck_spectrum_maker_finish(maker, &spectrum, &err), FLECK_OK);
    fleck_spectrum_maker_free(maker);
    free(runs);
    return spectrum;
}

static bool tile_inside(const struct mask *area, size_t left, size_t top, size_t side)
{
    if (left + side > area->width_px || top + side > area->height_px)
        return false;
    for (size_t y = top; y < top + side; y++)
        for (size_t x = left; x < left + side; x++)
            if (!area->ink[y * area->width_px + x])
                return false;
    return true;
}

/* Tiles of the grid that begins at an offset, tried one by one. */
static size_t slow_tiles(const struct mask *area, size_t side, size_t dx, size_t dy)
{
    size_t tiles = 0;

    for (size_t y = dy; y < area->height_px; y += side / 2)
        for (size_t x = dx; x < area->width_px; x += side / 2)
            tiles += tile_inside(area, x, y, side);
    return tiles;
}

static void test_tiles_lie_on_the_grid_that_holds_most_of_them(void **state)
{
    static const enum area_kind kinds[] = { AREA_DISC, AREA_RING, AREA_COMB, AREA_BLOBS,
                                            AREA_HOLES };
    enum { SIDE = 16 };
    uint64_t random = 29;
    size_t checked = 0, shifted = 0;

    (void)state;
    for (size_t trial = 0; trial < 25; trial++) {
        const fleck_geometry geometry = { 40 + test_random(&random) % 60,
                                          40 + test_random(&random) % 60, 0.05, 0.05 };
        const fleck_geometry one = { SIDE, SIDE, 0.05, 0.05 };
        const size_t width = geometry.width_px;
        struct mask area = area_make(kinds[trial % 5], width, geometry.height_px, &random);
        fleck_mask *mask = area_mask(&area);
        uint16_t *const q = random_q(width * geometry.height_px, &random);
        size_t most = 0, best_x = 0, best_y = 0, tile_px;
        double tone[SIDE / 2] = { 0 }, ink[SIDE / 2] = { 0 };
        fleck_spectrum spectrum;
        fleck_error err;

        for (size_t dy = 0; dy < SIDE / 2; dy++) {
            for (size_t dx = 0; dx < SIDE / 2; dx++) {
                const size_t tiles = slow_tiles(&area, SIDE, dx, dy);

                if (tiles > most) {
                    most = tiles;
                    best_x = dx;
                    best_y = dy;
                }
            }
        }
        assert_int_equal(fleck_spectrum_choose_tile(&geometry, mask, SIDE, &tile_px, &err),
                         FLECK_OK);
        assert_int_equal(tile_px, most > 0 ? SIDE : 0);
        if (most > 0) {
            for (size_t y = best_y; y < geometry.height_px; y += SIDE / 2) {
                for (size_t x = best_x; x < width; x += SIDE / 2) {
                    if (!tile_inside(&area, x, y, SIDE))
                        continue;
                    spectrum = spectrum_of(q + y * width + x, width, &one, NULL, SIDE, 1);
                    for (size_t r = 0; r < SIDE / 2; r++) {
                        tone[r] += spectrum.tone_power_mm2[r] / (double)most;
                        ink[r] += spectrum.ink_power_mm2[r] / (double)most;
                    }
                    fleck_spectrum_clear(&spectrum);
                }
            }
            spectrum = spectrum_of(q, width, &geometry, mask, SIDE, 1 + (unsigned)trial % 3);
            assert_int_equal(spectrum.tiles, most);
            for (size_t r = 0; r < SIDE / 2; r++) {
                check_ratio("mean of its tiles", spectrum.tone_power_mm2[r], tone[r], 1e-12);
                check_ratio("mean of its tiles", spectrum.ink_power_mm2[r], ink[r], 1e-12);
            }
            fleck_spectrum_clear(&spectrum);
            checked++;
            shifted += best_x > 0 || best_y > 0;
        }
        free(q);
        fleck_mask_free(mask);
        mask_free(&area);
    }
    assert_true(checked >= 10 && shifted >= 5);
}

static void test_tiles_are_halved_until_one_fits(void **state)
{
    /* 600 ppi: the rule gives 256 where there is room */
    static const struct {
        size_t side_px; /* of the square inside, at 5, 7 of a region of 300 x 300 */
        size_t asked_px, tile_px;
    } cases[] = {
        { 290, 0, 256 }, { 256, 0, 256 }, { 255, 0, 128 },   { 128, 0, 128 }, { 127, 0, 64 },
        { 64, 0, 64 },   { 63, 0, 0 },    { 100, 100, 100 }, { 99, 100, 0 },  { 40, 32, 32 },
    };
    const fleck_geometry geometry = { 300, 300, 25.4 / 600, 25.4 / 600 };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        fleck_spectrum_maker *maker;
        fleck_mask *mask;
        size_t tile_px;
        fleck_error err;

        assert_int_equal(fleck_mask_new(300, 300, &mask, &err), FLECK_OK);
        for (size_t y = 7; y < 7 + cases[i].side_px; y++)
            fleck_mask_add_run(mask, y, 5, 5 + cases[i].side_px);
        assert_int_equal(
            fleck_spectrum_choose_tile(&geometry, mask, cases[i].asked_px, &tile_px, &err),
            FLECK_OK);
        assert_int_equal(tile_px, cases[i].tile_px);
        if (tile_px == 0)
            assert_int_equal(fleck_spectrum_maker_new(&geometry, mask,
                                                      64 + cases[i].asked_px / 2 * 2, true, 1,
                                                      &maker, &err),
                             FLECK_BAD_CALL);
        fleck_mask_free(mask);
    }
}

/* ---- what must hold for all ---- */

static void test_a_mask_that_covers_its_box_changes_no_bit(void **state)
{
    const fleck_geometry geometry = { 131, 77, 0.05, 0.07 };
    uint64_t random = 2;
    struct mask area = area_make(AREA_FULL, 131, 77, &random);
    fleck_mask *mask = area_mask(&area);
    uint16_t *const q = random_q(131 * 77, &random);
    struct pattern pattern;
    fleck_spacing full, none;
    fleck_spectrum with, without;
    size_t tile_px;
    fleck_error err;

    (void)state;
    strew(&area, &geometry, &pattern, &random);
    assert_int_equal(fleck_spacing_summarise_in(pattern.points, pattern.distance_mm, pattern.n,
                                                &geometry, mask, &full, &err),
                     FLECK_OK);
    assert_int_equal(fleck_spacing_summarise(pattern.points, pattern.distance_mm, pattern.n,
                                             131 * 0.05, 77 * 0.07, &none, &err),
                     FLECK_OK);
    assert_memory_equal(&full, &none, sizeof full);
    assert_int_equal(fleck_spectrum_choose_tile(&geometry, mask, 0, &tile_px, &err), FLECK_OK);
    assert_int_equal(tile_px, fleck_spectrum_tile_px(&geometry));
    with = spectrum_of(q, 131, &geometry, mask, 32, 2);
    without = spectrum_of(q, 131, &geometry, NULL, 32, 2);
    assert_int_equal(with.tiles, without.tiles);
    assert_memory_equal(with.tone_power_mm2, without.tone_power_mm2, 16 * sizeof(double));
    assert_memory_equal(with.ink_power_mm2, without.ink_power_mm2, 16 * sizeof(double));
    fleck_spectrum_clear(&with);
    fleck_spectrum_clear(&without);
    free(q);
    fleck_mask_free(mask);
    mask_free(&area);
}

static void test_masks_of_another_size_are_refused(void **state)
{
    const fleck_geometry geometry = { 100, 80, 0.05, 0.05 };
    fleck_spectrum_maker *maker;
    fleck_spacing spacing;
    fleck_mask *mask;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_mask_new(80, 100, &mask, &err), FLECK_OK);
    assert_int_equal(fleck_spectrum_maker_new(&geometry, mask, 64, true, 1, &maker, &err),
                     FLECK_BAD_CALL);
    assert_null(maker);
    assert_int_equal(fleck_spacing_summarise_in(NULL, NULL, 0, &geometry, mask, &spacing, &err),
                     FLECK_BAD_CALL);
    fleck_mask_free(mask);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_chords_count_changes_between_pixels_inside),
        cmocka_unit_test(test_chords_cut_by_a_mask_count_as_at_the_border),
        cmocka_unit_test(test_spacing_in_any_area_is_that_of_the_slow_twin),
        cmocka_unit_test(test_the_corrected_distance_is_that_of_the_whole_plane),
        cmocka_unit_test(test_tiles_lie_on_the_grid_that_holds_most_of_them),
        cmocka_unit_test(test_tiles_are_halved_until_one_fits),
        cmocka_unit_test(test_a_mask_that_covers_its_box_changes_no_bit),
        cmocka_unit_test(test_masks_of_another_size_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
