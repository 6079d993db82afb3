/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fleck/random_set.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "measure/random_set_mask.h"
#include "segment/heather.h"
#include "support/check.h"

static bool is_inside(const struct mask *inside, const struct mask *ink, long x, long y)
{
    if (x < 0 || y < 0 || x >= (long)ink->width_px || y >= (long)ink->height_px)
        return false;
    return inside == NULL || inside->ink[(size_t)y * ink->width_px + (size_t)x];
}

static int ink_at(const struct mask *ink, long x, long y)
{
    return ink->ink[(size_t)y * ink->width_px + (size_t)x];
}

/* ---- slow twins, written from the definitions ---- */

struct slow_pairs {
    uint64_t pairs, both, differ;
};

static struct slow_pairs slow_pairs(const struct mask *ink, const struct mask *inside, long dx,
                                    long dy)
{
    struct slow_pairs sum = { 0, 0, 0 };

    for (long y = 0; y < (long)ink->height_px; y++) {
        for (long x = 0; x < (long)ink->width_px; x++) {
            if (!is_inside(inside, ink, x, y) || !is_inside(inside, ink, x + dx, y + dy))
                continue;
            sum.pairs++;
            sum.both += (uint64_t)(ink_at(ink, x, y) & ink_at(ink, x + dx, y + dy));
            sum.differ += (uint64_t)(ink_at(ink, x, y) != ink_at(ink, x + dx, y + dy));
        }
    }
    return sum;
}

/* Ink at a pixel, bare paper wherever there is none. */
static int ink_or_bare(const struct mask *ink, long x, long y)
{
    return is_inside(NULL, ink, x, y) ? ink_at(ink, x, y) : 0;
}

/*
 * Without a mask: bare paper all around, vertices, edges and faces of closed ink pixels, all but
 * those on the right and on the lower border.
 */
static int64_t slow_euler(const struct mask *ink)
{
    int64_t sum = 0;

    for (long y = 0; y < (long)ink->height_px; y++) {
        for (long x = 0; x < (long)ink->width_px; x++) {
            const int here = ink_or_bare(ink, x, y), left = ink_or_bare(ink, x - 1, y);
            const int above = ink_or_bare(ink, x, y - 1);
            const int corner = ink_or_bare(ink, x - 1, y - 1);

            sum += (here | left | above | corner) - (here | left) - (here | above) + here;
        }
    }
    return sum;
}

/* Chords of one phase that are not cut, by walking each line. */
static void slow_chords(const struct mask *ink, const struct mask *inside, int phase, bool columns,
                        double *whole, double *cut, double *weight, double *moment)
{
    const long lines = (long)(columns ? ink->width_px : ink->height_px);
    const long length = (long)(columns ? ink->height_px : ink->width_px);

    for (long line = 0; line < lines; line++) {
        for (long at = 0; at < length;) {
            const long start = at;
            bool is_cut;
            double places = 0;

#define X(i) (columns ? line : (i))
#define Y(i) (columns ? (i) : line)
            if (!is_inside(inside, ink, X(at), Y(at)) || ink_at(ink, X(at), Y(at)) != phase) {
                at++;
                continue;
            }
            while (is_inside(inside, ink, X(at), Y(at)) && ink_at(ink, X(at), Y(at)) == phase)
                at++;
            is_cut = !is_inside(inside, ink, X(start - 1), Y(start - 1)) ||
                     !is_inside(inside, ink, X(at), Y(at));
            if (is_cut) {
                ++*cut;
                continue;
            }
            ++*whole;
            /* places on all lines where a chord as long would not be cut */
            for (long other = 0; other < lines; other++) {
                for (long from = 1; from + (at - start) < length; from++) {
                    bool fits = true;

                    for (long i = from - 1; i <= from + (at - start) && fits; i++)
                        fits = is_inside(inside, ink, columns ? other : i, columns ? i : other);
                    places += fits;
                }
            }
            *weight += 1 / places;
            *moment += (double)(at - start) / places;
#undef X
#undef Y
        }
    }
}

static void check_series(const char *name, const fleck_two_point *series, const struct mask *ink,
                         const struct mask *inside, bool down)
{
    for (size_t i = 1; i < series->count; i++) {
        const long lag = lround(series->lag_mm[i]); /* pixels of 1 mm */
        const struct slow_pairs pairs = slow_pairs(ink, inside, down ? 0 : lag, down ? lag : 0);

        check_near(name, series->probability[i],
                   pairs.pairs > 0 ? (double)pairs.both / (double)pairs.pairs : NAN, 0);
    }
}

static void check_chords(const fleck_chord_lengths *chords, const struct mask *ink,
                         const struct mask *inside, int phase)
{
    double whole = 0, cut = 0, weight = 0, moment = 0, sum = 0;

    slow_chords(ink, inside, phase, false, &whole, &cut, &weight, &moment);
    slow_chords(ink, inside, phase, true, &whole, &cut, &weight, &moment);
    check_near("whole chords", chords->chords, whole, 0);
    check_near("cut chords", chords->cut, cut, 0);
    check_near("mean chord", chords->mean_mm, whole > 0 ? moment / weight : NAN, 1e-9);
    for (size_t i = 0; i < chords->classes; i++)
        sum += chords->share[i];
    check_near("shares", sum, chords->classes > 0 ? 1 : 0, 1e-12);
}

static void counts_of_any_mask_agree_with_the_slow_twins(void **state)
{
    static const double coverages[] = { 0.0, 0.05, 0.4, 0.9, 1.0 };
    static const size_t widths[] = { 1, 2, 31, 63, 64, 65, 90, 129 };
    uint64_t random = 5;

    (void)state;
    for (size_t trial = 0; trial < 80; trial++) {
        struct mask ink = mask_random(widths[trial % 8], 1 + test_random(&random) % 24,
                                      coverages[trial / 8 % 5], &random);
        const bool masked = trial >= 40;
        struct mask region =
            masked ? mask_speckle(ink.width_px, ink.height_px, 6, 0.8, &random) : mask_new(1, 1);
        const struct mask *const inside = masked ? &region : NULL;
        fleck_random_set set;
        struct slow_pairs pairs;

        for (size_t i = 0; masked && i < ink.width_px * ink.height_px; i++)
            ink.ink[i] &= region.ink[i];
        set = random_set_of(&ink, inside, 1, 1);
        pairs = slow_pairs(&ink, inside, 0, 0);
        assert_int_equal(set.inside_px, pairs.pairs);
        assert_int_equal(set.ink_px, pairs.both);
        assert_int_equal(set.crossings.deg0, slow_pairs(&ink, inside, 1, 0).differ);
        assert_int_equal(set.crossings.deg90, slow_pairs(&ink, inside, 0, 1).differ);
        assert_int_equal(set.crossings.deg45, slow_pairs(&ink, inside, 1, -1).differ);
        assert_int_equal(set.crossings.deg135, slow_pairs(&ink, inside, 1, 1).differ);
        check_series("along x", &set.along_x, &ink, inside, false);
        check_series("along y", &set.along_y, &ink, inside, true);
        if (!masked)
            assert_int_equal(set.euler, slow_euler(&ink));
        check_chords(&set.ink_chords, &ink, inside, 1);
        check_chords(&set.bare_chords, &ink, inside, 0);
        fleck_random_set_clear(&set);
        mask_free(&ink);
        mask_free(&region);
    }
}

static void a_region_that_is_all_inside_is_no_mask(void **state)
{
    uint64_t random = 8;
    struct mask ink = mask_speckle(150, 90, 4, 0.4, &random), all = mask_new(150, 90);
    fleck_random_set plain, masked;

    (void)state;
    memset(all.ink, 1, 150 * 90);
    plain = random_set_of(&ink, NULL, 0.05, 0.04);
    masked = random_set_of(&ink, &all, 0.05, 0.04);
    assert_int_equal(plain.euler, masked.euler);
    check_near("perimeter", masked.perimeter_per_area_per_mm, plain.perimeter_per_area_per_mm, 0);
    for (size_t i = 0; i < plain.radial.count; i++)
        check_near("radial", masked.radial.probability[i], plain.radial.probability[i], 0);
    check_near("openings", masked.granulometry.median_mm, plain.granulometry.median_mm, 0);
    check_near("grain", masked.grain.mean_diameter_mm, plain.grain.mean_diameter_mm, 0);
    check_near("chords", masked.bare_chords.median_mm, plain.bare_chords.median_mm, 0);
    fleck_random_set_clear(&plain);
    fleck_random_set_clear(&masked);
    mask_free(&ink);
    mask_free(&all);
}

/* Chances that both of two pixels are heather; source: numpy, tests/data/heather/README.md. */
static const struct {
    const char *axis;
    size_t lag_px;
    double probability[HEATHER_IMAGES];
} heather_pairs[] = {
    { "x", 1, { 0.48502405954635247, 0.4695082720588235, 0.43954545454545446 } },
    { "y", 1, { 0.4849420242126941, 0.4694609222113503, 0.443467336683417 } },
    { "x", 2, { 0.47758306520454374, 0.4470349409448819, 0.38295918367346937 } },
    { "y", 2, { 0.4776302069671054, 0.44701286764705883, 0.3886868686868687 } },
    { "x", 5, { 0.4553134862105618, 0.38219777141434264, 0.2751578947368421 } },
    { "y", 5, { 0.45554588237226595, 0.3832901873767258, 0.2867692307692308 } },
    { "x", 10, { 0.4186778463375795, 0.2986375762195122, 0.2455555555555555 } },
    { "y", 10, { 0.4195249159580779, 0.3041272410358566, 0.252578947368421 } },
    { "x", 20, { 0.3520125035712483, 0.2419971530720339, 0.25325 } },
    { "y", 20, { 0.3545973961356662, 0.251953125, 0.2551666666666666 } },
    { "x", 50, { 0.25078742913137814, 0.24874848300970873, NAN } },
    { "y", 50, { 0.2613034433770801, 0.2462543966450216, NAN } },
};

static double at_lag(const fleck_two_point *series, size_t lag_px)
{
    for (size_t i = 0; i < series->count; i++) {
        if ((size_t)lround(series->lag_mm[i]) == lag_px)
            return series->probability[i];
    }
    return NAN;
}

static void heather_has_the_numbers_of_numpy_and_scikit_image(void **state)
{
    /* changes along both diagonals and the four-direction length, which is scikit-image's
       perimeter_crofton up to the picture's border */
    static const struct {
        uint64_t diagonal_a, diagonal_b;
        double crofton_px;
    } expected[HEATHER_IMAGES] = { { 26844, 27112, 29420.87912502154 },
                                   { 8408, 8486, 9352.859821173519 },
                                   { 3298, 3389, 3700.569576542072 } };

    (void)state;
    for (size_t i = 0; i < HEATHER_IMAGES; i++) {
        struct mask ink = heather_read(&heather_images[i]), framed = mask_framed(&ink);
        const double area = (double)(ink.width_px * ink.height_px);
        fleck_random_set set = random_set_of(&ink, NULL, 1, 1);
        fleck_random_set in_frame = random_set_of(&framed, NULL, 1, 1);
        const uint64_t a = set.crossings.deg45, b = set.crossings.deg135;

        assert_int_equal(set.crossings.deg0, heather_images[i].changes_in_rows);
        assert_int_equal(set.crossings.deg90, heather_images[i].changes_in_columns);
        assert_int_equal(a < b ? a : b, expected[i].diagonal_a);
        assert_int_equal(a < b ? b : a, expected[i].diagonal_b);
        check_ratio(heather_images[i].name, set.perimeter_per_area_per_mm * area,
                    expected[i].crofton_px, 1e-13);
        assert_int_equal(in_frame.euler, heather_images[i].euler_8_framed);
        for (size_t j = 0; j < sizeof heather_pairs / sizeof *heather_pairs; j++) {
            const fleck_two_point *const series =
                heather_pairs[j].axis[0] == 'x' ? &set.along_x : &set.along_y;

            if (isfinite(heather_pairs[j].probability[i]))
                check_ratio(heather_pairs[j].axis, at_lag(series, heather_pairs[j].lag_px),
                            heather_pairs[j].probability[i], 1e-12);
        }
        check_near("coverage at lag 0", set.radial.probability[0], heather_images[i].coverage,
                   1e-15);
        fleck_random_set_clear(&set);
        fleck_random_set_clear(&in_frame);
        mask_free(&ink);
        mask_free(&framed);
    }
}

static void pictures_worked_by_hand_have_their_numbers(void **state)
{
    static const struct {
        const char *source, *picture;
        uint64_t deg0, deg90, diagonals;
        long euler;
    } cases[] = {
        { "one dot", "... .#. ...", 2, 2, 4, 1 },
        { "a dot on the left and upper border counts", "#.. ... ...", 1, 1, 1, 1 },
        { "a dot on the right border does not", "... ..# ...", 1, 2, 2, 0 },
        { "nor one on the lower border", "... ... .#.", 2, 1, 2, 0 },
        { "a ring has no Euler number; 5 diagonals cross it, one its hole",
          "..... .###. .#.#. .###. .....", 8, 8, 24, 0 },
        { "corners touch", ".... .#.. ..#. ....", 4, 4, 6, 1 },
        { "all ink", "### ### ###", 0, 0, 0, 0 },
        { "all bare", "... ... ...", 0, 0, 0, 0 },
        { "one pixel of ink", "#", 0, 0, 0, 0 },
        { "one row", "#.#", 2, 0, 0, 0 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct mask ink = mask_from_text(cases[i].picture);
        const double area_mm2 = (double)(ink.width_px * ink.height_px) * 0.01;
        fleck_random_set set = random_set_of(&ink, NULL, 0.1, 0.1);
        const double diagonals = (double)(set.crossings.deg45 + set.crossings.deg135);

        check_near(cases[i].source, (double)set.crossings.deg0, (double)cases[i].deg0, 0);
        check_near(cases[i].source, (double)set.crossings.deg90, (double)cases[i].deg90, 0);
        check_near(cases[i].source, diagonals, (double)cases[i].diagonals, 0);
        check_near(cases[i].source, (double)set.euler, (double)cases[i].euler, 0);
        check_near(cases[i].source, set.euler_per_cm2, 100 * (double)cases[i].euler / area_mm2,
                   1e-9);
        check_near(
            cases[i].source, set.perimeter_per_area_per_mm,
            3.14159265358979323846 / 8 * 0.1 *
                ((double)(cases[i].deg0 + cases[i].deg90) + (double)cases[i].diagonals / sqrt(2)) /
                area_mm2,
            1e-12);
        check_near("no grain can be fitted", set.grain.mean_diameter_mm, NAN, 0);
        check_near("nor tested", set.grain.fit_p, NAN, 0);
        fleck_random_set_clear(&set);
        mask_free(&ink);
    }
}

static void chord_lengths_of_a_striped_picture_are_its_stripes(void **state)
{
    /* rows of 10 px: ink of 2 px, bare of 3 px, the first and last stretch cut; no column is cut
       by a change. 2 px at 0.1 mm are 0.2 mm, class 10^(-7/10) = 0.1995 to 0.2512 mm */
    struct mask ink = mask_from_text(".##...##.. .##...##..");
    fleck_random_set set = random_set_of(&ink, NULL, 0.1, 0.1);

    (void)state;
    check_near("ink", set.ink_chords.mean_mm, 0.2, 1e-15);
    check_near("ink", set.ink_chords.sd_mm, 0, 1e-8);
    check_near("ink chords", set.ink_chords.chords, 4, 0);
    check_near("columns of ink are cut", set.ink_chords.cut, 4, 0);
    check_near("classes", (double)set.ink_chords.classes, 1, 0);
    check_near("R10", set.ink_chords.from_mm[0], 0.19952623149688797, 1e-15);
    check_near("R10", set.ink_chords.from_mm[1], 0.25118864315095801, 1e-15);
    check_near("bare", set.bare_chords.median_mm, 0.3, 1e-15);
    check_near("bare chords", set.bare_chords.chords, 2, 0);
    check_near("cut: 4 ends of rows, 6 columns", set.bare_chords.cut, 10, 0);
    fleck_random_set_clear(&set);
    mask_free(&ink);
}

static void calls_that_make_no_sense_are_refused(void **state)
{
    const fleck_geometry geometry = { 10, 2, 0.1, 0.1 };
    static const fleck_run beyond = { 5, 11 }, touching[] = { { 1, 3 }, { 3, 4 } };
    static const fleck_run ink = { 2, 6 }, part = { 3, 9 };
    fleck_random_set_options options = fleck_random_set_options_default();
    fleck_random_set_maker *maker;
    fleck_random_set set;
    fleck_error err;

    (void)state;
    options.threads = 0;
    assert_int_equal(fleck_random_set_maker_new(&geometry, false, &options, &maker, &err),
                     FLECK_BAD_CALL);
    options.threads = 1;
    options.longest_lag_mm = NAN;
    assert_int_equal(fleck_random_set_maker_new(&geometry, false, &options, &maker, &err),
                     FLECK_BAD_CALL);
    assert_null(maker);
    options.longest_lag_mm = 1;
    assert_int_equal(fleck_random_set_maker_new(&geometry, true, &options, &maker, &err), FLECK_OK);
    assert_int_equal(fleck_random_set_maker_row(maker, &beyond, 1, &beyond, 1, &err),
                     FLECK_BAD_CALL);
    assert_int_equal(fleck_random_set_maker_row(maker, touching, 2, &part, 1, &err),
                     FLECK_BAD_CALL);
    assert_int_equal(fleck_random_set_maker_row(maker, &ink, 1, &part, 1, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_random_set_maker_finish(maker, 0, &set, &err), FLECK_BAD_CALL);
    for (int y = 0; y < 2; y++)
        assert_int_equal(fleck_random_set_maker_row(maker, &part, 1, &part, 1, &err), FLECK_OK);
    assert_int_equal(fleck_random_set_maker_row(maker, NULL, 0, NULL, 0, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_random_set_maker_finish(maker, 0, &set, &err), FLECK_OK);
    fleck_random_set_clear(&set);
    assert_int_equal(fleck_random_set_maker_finish(maker, 0, &set, &err), FLECK_BAD_CALL);
    fleck_random_set_maker_free(maker);
    fleck_random_set_maker_free(NULL);
    fleck_random_set_clear(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(counts_of_any_mask_agree_with_the_slow_twins),
        cmocka_unit_test(a_region_that_is_all_inside_is_no_mask),
        cmocka_unit_test(heather_has_the_numbers_of_numpy_and_scikit_image),
        cmocka_unit_test(pictures_worked_by_hand_have_their_numbers),
        cmocka_unit_test(chord_lengths_of_a_striped_picture_are_its_stripes),
        cmocka_unit_test(calls_that_make_no_sense_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
