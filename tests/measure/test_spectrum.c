/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "support/check.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/spill.h"
#include "fleck/texture.h"
#include "measure/rings.h"

static const double PI = 3.14159265358979323846;

/* A patch in memory: q and ink (0 or 1), row by row. */
struct patch {
    fleck_geometry geometry;
    uint16_t *q;
    uint8_t *ink;
};

static struct patch new_patch(size_t width_px, size_t height_px, double pixel_x_mm,
                              double pixel_y_mm)
{
    const struct patch patch = { { width_px, height_px, pixel_x_mm, pixel_y_mm },
                                 calloc(width_px * height_px, sizeof(uint16_t)),
                                 calloc(width_px * height_px, 1) };

    assert_non_null(patch.q);
    assert_non_null(patch.ink);
    return patch;
}

static struct patch random_patch(size_t width_px, size_t height_px, double pixel_x_mm,
                                 double pixel_y_mm, uint64_t seed)
{
    const struct patch patch = new_patch(width_px, height_px, pixel_x_mm, pixel_y_mm);

    for (size_t i = 0; i < width_px * height_px; i++) {
        patch.q[i] = (uint16_t)test_random(&seed);
        patch.ink[i] = test_uniform(&seed) < 0.3;
    }
    return patch;
}

static void free_patch(struct patch *patch)
{
    free(patch->q);
    free(patch->ink);
}

static fleck_spectrum_maker *start(const struct patch *patch, size_t tile_px, bool with_ink,
                                   unsigned threads)
{
    fleck_spectrum_maker *maker;
    fleck_error err = { 0 };

    assert_int_equal(
        fleck_spectrum_maker_new(&patch->geometry, NULL, tile_px, with_ink, threads, &maker, &err),
        FLECK_OK);
    return maker;
}

/* The ink runs of a row; room for (width + 1) / 2. */
static size_t row_runs(const struct patch *patch, size_t y, fleck_run *runs)
{
    const size_t width = patch->geometry.width_px;
    const uint8_t *const ink = patch->ink + y * width;
    size_t count = 0;

    for (size_t x = 0; x < width; x++) {
        if (ink[x] && (x == 0 || !ink[x - 1]))
            runs[count++].start_px = (uint32_t)x;
        if (ink[x])
            runs[count - 1].end_px = (uint32_t)x + 1;
    }
    return count;
}

static void give_rows(fleck_spectrum_maker *maker, const struct patch *patch, size_t rows)
{
    const size_t width = patch->geometry.width_px;
    fleck_run *const runs = malloc((width + 1) / 2 * sizeof *runs);
    fleck_error err = { 0 };

    assert_non_null(runs);
    for (size_t y = 0; y < rows; y++) {
        const size_t count = row_runs(patch, y, runs);

        assert_int_equal(fleck_spectrum_maker_row(maker, patch->q + y * width, runs, count, &err),
                         FLECK_OK);
    }
    free(runs);
}

static fleck_spectrum finish(fleck_spectrum_maker *maker)
{
    fleck_spectrum spectrum;
    fleck_error err = { 0 };

    assert_int_equal(fleck_spectrum_maker_finish(maker, &spectrum, &err), FLECK_OK);
    fleck_spectrum_maker_free(maker);
    return spectrum;
}

static fleck_spectrum measure(const struct patch *patch, size_t tile_px, unsigned threads)
{
    fleck_spectrum_maker *const maker = start(patch, tile_px, true, threads);

    give_rows(maker, patch, patch->geometry.height_px);
    return finish(maker);
}

/* ---- the slow twin, from the definitions ---- */

static double hann(size_t i, size_t side)
{
    return 0.5 * (1 - cos(2 * PI * (double)i / (double)side));
}

/* Power on the whole plane by the sum that defines a DFT; the window may be left out. */
static void slow_plane(const double *values, size_t side, double pixel_mm2, bool windowed,
                       double *power_mm2)
{
    double *const weighted = malloc(side * side * sizeof *weighted);
    double *const cosine = malloc(side * sizeof *cosine);
    double *const sine = malloc(side * sizeof *sine);
    double mean = 0, squares = 0;

    assert_true(weighted != NULL && cosine != NULL && sine != NULL);
    for (size_t i = 0; i < side * side; i++)
        mean += values[i] / (double)(side * side);
    for (size_t y = 0; y < side; y++) {
        for (size_t x = 0; x < side; x++) {
            const double weight = windowed ? hann(x, side) * hann(y, side) : 1;

            weighted[y * side + x] = weight * (values[y * side + x] - mean);
            squares += weight * weight;
        }
    }
    for (size_t i = 0; i < side; i++) {
        cosine[i] = cos(2 * PI * (double)i / (double)side);
        sine[i] = sin(2 * PI * (double)i / (double)side);
    }
    for (size_t ky = 0; ky < side; ky++) {
        for (size_t kx = 0; kx < side; kx++) {
            double re = 0, im = 0;

            for (size_t y = 0; y < side; y++) {
                for (size_t x = 0; x < side; x++) {
                    const size_t phase = (kx * x + ky * y) % side;

                    re += weighted[y * side + x] * cosine[phase];
                    im -= weighted[y * side + x] * sine[phase];
                }
            }
            power_mm2[ky * side + kx] = (re * re + im * im) * pixel_mm2 / squares;
        }
    }
    free(weighted);
    free(cosine);
    free(sine);
}

/* Adds a plane to the sums of its rings, 1 to side / 2, and counts the points. */
static void slow_rings(const double *power_mm2, size_t side, double pixel_x_mm, double pixel_y_mm,
                       double *sums, uint64_t *points)
{
    const long half = (long)side / 2;
    const double step = 1 / ((double)side * fmax(pixel_x_mm, pixel_y_mm));

    for (long ky = -half; ky < half; ky++) {
        for (long kx = -half; kx < half; kx++) {
            const double frequency = hypot((double)kx / ((double)side * pixel_x_mm),
                                           (double)ky / ((double)side * pixel_y_mm));

            for (size_t r = 1; r <= side / 2; r++) {
                if ((double)r - 0.5 <= frequency / step && frequency / step < (double)r + 0.5) {
                    sums[r] += power_mm2[(size_t)(ky + (long)side) % side * side +
                                         (size_t)(kx + (long)side) % side];
                    points[r]++;
                }
            }
        }
    }
}

static void agrees_with_twin(const char *source, const struct patch *patch, size_t side,
                             double tolerance)
{
    const size_t width = patch->geometry.width_px, height = patch->geometry.height_px;
    const double px = patch->geometry.pixel_x_mm, py = patch->geometry.pixel_y_mm;
    double *const sums = calloc(2 * (side / 2 + 1), sizeof *sums);
    uint64_t *const points = calloc(2 * (side / 2 + 1), sizeof *points);
    double *const values = malloc(side * side * sizeof *values);
    double *const power = malloc(side * side * sizeof *power);
    fleck_spectrum spectrum = measure(patch, side, 2);
    size_t tiles = 0;

    assert_true(sums != NULL && points != NULL && values != NULL && power != NULL);
    for (size_t top = 0; top + side <= height; top += side / 2) {
        for (size_t left = 0; left + side <= width; left += side / 2) {
            for (size_t field = 0; field < 2; field++) {
                for (size_t i = 0; i < side * side; i++) {
                    const size_t at = (top + i / side) * width + left + i % side;

                    values[i] = field == 0 ? patch->q[at] / 65535.0 : patch->ink[at];
                }
                slow_plane(values, side, px * py, true, power);
                slow_rings(power, side, px, py, sums + field * (side / 2 + 1),
                           points + field * (side / 2 + 1));
            }
            tiles++;
        }
    }
    assert_int_equal(spectrum.tile_px, side);
    assert_int_equal(spectrum.tiles, tiles);
    assert_int_equal(spectrum.rings, side / 2);
    for (size_t r = 1; r <= side / 2; r++) {
        assert_int_equal(spectrum.samples[r - 1] * tiles, points[r]);
        check_ratio(source, spectrum.frequency_per_mm[r - 1],
                    (double)r / ((double)side * fmax(px, py)), 1e-14);
        check_ratio(source, spectrum.tone_power_mm2[r - 1], sums[r] / (double)points[r],
                    tolerance);
        check_ratio(source, spectrum.ink_power_mm2[r - 1],
                    sums[side / 2 + 1 + r] / (double)points[r], tolerance);
    }
    fleck_spectrum_clear(&spectrum);
    free(sums);
    free(points);
    free(values);
    free(power);
}

static void the_twin_gives_a_published_table(void **state)
{
    /* numpy, no window, mean removed, pitch 0.05 mm; points and radial means of rings 1 to 4 */
    static const double values[64] = {
        3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5, 8, 9, 7, 9, 3, 2, 3, 8, 4, 6, 2,
        6, 4, 3, 3, 8, 3, 2, 7, 9, 5, 0, 2, 8, 8, 4, 1, 9, 7, 1, 6, 9, 3,
        9, 9, 3, 7, 5, 1, 0, 5, 8, 2, 0, 9, 7, 4, 9, 4, 4, 5, 9, 2,
    };
    static const uint64_t published_points[] = { 8, 12, 16, 22 };
    static const double published_means[] = { 0.01224083751277711, 0.024277086337765055,
                                              0.016282816305597764, 0.02551790735963999 };
    double power[64], sums[5] = { 0 };
    uint64_t points[5] = { 0 };
    fleck_rings rings;
    fleck_error err;

    (void)state;
    slow_plane(values, 8, 0.05 * 0.05, false, power);
    slow_rings(power, 8, 0.05, 0.05, sums, points);
    assert_int_equal(fleck_rings_new(8, 0.05, 0.05, &rings, &err), FLECK_OK);
    for (size_t r = 1; r <= 4; r++) {
        assert_int_equal(points[r], published_points[r - 1]);
        assert_int_equal(rings.samples[r], published_points[r - 1]);
        check_ratio("numpy, 8 x 8", sums[r] / (double)points[r], published_means[r - 1], 1e-12);
    }
    fleck_rings_clear(&rings);
}

static void spectra_are_those_of_the_definition(void **state)
{
    static const struct {
        const char *what;
        size_t side, width, height;
        double pixel_x, pixel_y;
    } cases[] = {
        { "one tile of 16", 16, 16, 16, 0.05, 0.05 },
        { "one tile of 64", 64, 64, 64, 25.4 / 600, 25.4 / 600 },
        { "many tiles and a rest on both sides", 16, 45, 63, 0.1, 0.1 },
        { "a side that is no power of two", 22, 44, 35, 0.1, 0.1 },
        { "columns that fill whole blocks", 30, 30, 47, 0.1, 0.1 },
        { "pixels twice as wide as high", 16, 40, 32, 0.2, 0.1 },
        { "pixels half again as high as wide", 16, 33, 32, 0.125, 0.1875 },
        { "pixels of 600 x 1200 per inch", 64, 64, 64, 25.4 / 600, 25.4 / 1200 },
        { "pixels of 1200 x 600 per inch", 22, 30, 60, 25.4 / 1200, 25.4 / 600 },
        { "pixels in no simple ratio", 16, 32, 32, 0.1, 0.1 * 1.7320508 },
        { "pixels ten times as wide as high", 20, 30, 50, 1, 0.1 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        struct patch patch =
            random_patch(cases[i].width, cases[i].height, cases[i].pixel_x, cases[i].pixel_y, i);

        agrees_with_twin(cases[i].what, &patch, cases[i].side, 1e-11);
        free_patch(&patch);
    }
}

/* A step of an 8-bit scan is 257 levels, here it is one, far from the middle of the scale. */
static void faint_texture_keeps_its_digits(void **state)
{
    static const uint16_t tones[] = { 5, 65530 };

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        struct patch patch = random_patch(45, 63, 0.1, 0.1, 20 + i);

        for (size_t j = 0; j < 45 * 63; j++)
            patch.q[j] = (uint16_t)(tones[i] + patch.q[j] % 4);
        agrees_with_twin("one level of 65535", &patch, 16, 1e-9);
        free_patch(&patch);
    }
}

static void a_point_between_two_rings_goes_to_the_upper(void **state)
{
    /* ppi 300 and 200: (kx, 0) is 1.5 kx steps out, a border for odd kx, whatever rounding says */
    static const double scales[] = { 1, 25.4, 0.1, 1.0 / 3, 1e-3 };
    fleck_rings rings;
    fleck_error err;

    (void)state;
    for (size_t i = 0; i < sizeof scales / sizeof *scales; i++) {
        assert_int_equal(fleck_rings_new(32, scales[i] / 300, scales[i] / 200, &rings, &err),
                         FLECK_OK);
        for (size_t kx = 1; kx <= 10; kx++)
            assert_int_equal(rings.number[kx * 17], kx + (kx + 1) / 2);
        fleck_rings_clear(&rings);
    }
}

static void the_plane_is_that_of_the_definition(void **state)
{
    static const size_t sides[] = { 2, 4, 10, 14, 16, 18, 22, 64 };

    (void)state;
    for (size_t k = 0; k < sizeof sides / sizeof *sides; k++) {
        const size_t side = sides[k], count = side * side;
        double *const values = malloc(3 * count * sizeof *values);
        double *const power = values + count, *const slow = values + 2 * count;
        double largest = 0;
        uint64_t seed = k;
        fleck_error err;

        assert_non_null(values);
        for (size_t i = 0; i < count; i++)
            values[i] = 5 + test_uniform(&seed);
        assert_int_equal(fleck_spectrum_plane(values, side, 0.2, 0.3, power, &err), FLECK_OK);
        slow_plane(values, side, 0.06, true, slow);
        for (size_t i = 0; i < count; i++)
            largest = fmax(largest, slow[i]);
        for (size_t i = 0; i < count; i++)
            check_near("direct DFT", power[i], slow[i], 1e-12 * largest);
        free(values);
    }
}

static void the_plane_holds_the_variance(void **state)
{
    static const size_t sides[] = { 16, 64, 256 };

    (void)state;
    for (size_t k = 0; k < sizeof sides / sizeof *sides; k++) {
        const size_t side = sides[k], count = side * side;
        const double cell = 1 / ((double)side * 0.04) / ((double)side * 0.05);
        double *const values = malloc(2 * count * sizeof *values);
        double *const power = values + count;
        double mean = 0, variance = 0, squares = 0, integral = 0;
        uint64_t seed = k + 10;
        fleck_error err;

        assert_non_null(values);
        for (size_t i = 0; i < count; i++) {
            values[i] = test_uniform(&seed);
            mean += values[i] / (double)count;
        }
        for (size_t i = 0; i < count; i++) {
            const double weight = hann(i % side, side) * hann(i / side, side);

            variance += weight * weight * (values[i] - mean) * (values[i] - mean);
            squares += weight * weight;
        }
        assert_int_equal(fleck_spectrum_plane(values, side, 0.04, 0.05, power, &err), FLECK_OK);
        for (size_t i = 0; i < count; i++)
            integral += power[i] * cell;
        check_ratio("Parseval", integral, variance / squares, 1e-12);
        free(values);
    }
}

static void white_noise_is_flat(void **state)
{
    enum { SIDE = 64, SIZE = 1024 };
    struct patch patch = new_patch(SIZE, SIZE, 0.05, 0.04);
    const double ink_variance = 0.25 * 0.75;
    /* of q, even over 40000 levels */
    const double tone_variance = (40000.0 * 40000.0 - 1) / 12 / (65535.0 * 65535.0);
    uint64_t seed = 21;
    fleck_spectrum spectrum;

    (void)state;
    patch.geometry.pixel_y_mm = patch.geometry.pixel_x_mm;
    for (size_t i = 0; i < SIZE * SIZE; i++) {
        patch.q[i] = (uint16_t)(10000 + test_random(&seed) % 40000);
        patch.ink[i] = test_random(&seed) % 4 == 0;
    }
    spectrum = measure(&patch, SIDE, 2);
    for (size_t r = 1; r <= spectrum.rings; r++) {
        /*
         * Taking the mean off costs a point k the share |W(k)|^2 / (n sum w^2) of its power: 1/9 at
         * (1, 0), 1/36 at (1, 1), nothing from (2, 0) on; ring 1 holds four points of each kind.
         */
        const double level = r == 1 ? 1 - 5.0 / 72 : 1;
        /*
         * Half of the points are mirror images; by Hann's window neighbours go together, which
         * counts (35/18)^2 times, and overlapping tiles less than 1.2 times.
         */
        const double error = sqrt(35.0 / 18 * 35 / 18 * 1.2 /
                                  ((double)spectrum.samples[r - 1] / 2 * (double)spectrum.tiles));

        check_ratio("variance times pixel area", spectrum.tone_power_mm2[r - 1],
                    level * tone_variance * 0.05 * 0.05, 4 * error);
        check_ratio("variance times pixel area", spectrum.ink_power_mm2[r - 1],
                    level * ink_variance * 0.05 * 0.05, 4 * error);
    }
    fleck_spectrum_clear(&spectrum);
    free_patch(&patch);
}

static void a_wave_lies_in_its_ring(void **state)
{
    /*
     * A cosine of amplitude A at (8, 0): Hann's window gives (8, 0) and (-8, 0) each A^2 N^2 a / 9,
     * a the pixel area, a quarter of it to each of the four next points and a sixteenth to the four
     * in the corners. (8, +-1) lies in ring 8, (7, +-1) in ring 7, (9, +-1) in ring 9.
     */
    enum { SIDE = 64 };
    struct patch patch = new_patch(SIDE, SIDE, 0.05, 0.05);
    const double amplitude = 20000 / 65535.0;
    const double peak = amplitude * amplitude * SIDE * SIDE * 0.05 * 0.05 / 9;
    double values[SIDE * SIDE], power[SIDE * SIDE];
    fleck_spectrum spectrum;
    fleck_error err;

    (void)state;
    for (size_t i = 0; i < SIDE * SIDE; i++) {
        const double wave = cos(2 * PI * 8 * (double)(i % SIDE) / SIDE + 0.3);

        patch.q[i] = (uint16_t)lround(32768 + 20000 * wave);
        values[i] = 7 + amplitude * wave;
    }
    spectrum = measure(&patch, SIDE, 1);
    for (size_t r = 1; r <= spectrum.rings; r++) {
        const double sum = r == 8 ? 3 * peak : r == 7 || r == 9 ? 0.75 * peak : 0;

        /* steps of 1/65535 keep it from being exact */
        check_near("hand-worked", spectrum.tone_power_mm2[r - 1] * (double)spectrum.samples[r - 1],
                   sum, 1e-4 * peak);
    }
    assert_int_equal(fleck_spectrum_plane(values, SIDE, 0.05, 0.05, power, &err), FLECK_OK);
    check_ratio("A^2 N^2 a / 9", power[8], peak, 1e-11);
    check_ratio("its mirror image", power[SIDE - 8], peak, 1e-11);
    check_ratio("a quarter", power[7], peak / 4, 1e-11);
    check_ratio("a quarter", power[SIDE + 8], peak / 4, 1e-11);
    check_ratio("a sixteenth", power[(SIDE - 1) * SIDE + 9], peak / 16, 1e-11);
    check_near("nothing else", power[6], 0, 1e-25 + 1e-20 * peak);
    fleck_spectrum_clear(&spectrum);
    free_patch(&patch);
}

/* Adds a disc, its rim by the share of 5 x 5 places in a pixel that it covers. */
static void add_disc(const struct patch *patch, double x, double y, double radius, double height)
{
    const double width_px = (double)patch->geometry.width_px;
    const double height_px = (double)patch->geometry.height_px;
    const size_t left = (size_t)fmax(x - radius - 1, 0), top = (size_t)fmax(y - radius - 1, 0);
    const size_t right = (size_t)fmax(fmin(x + radius + 2, width_px), 0);
    const size_t bottom = (size_t)fmax(fmin(y + radius + 2, height_px), 0);

    for (size_t j = top; j < bottom; j++) {
        for (size_t i = left; i < right; i++) {
            int covered = 0;

            for (int k = 0; k < 25; k++)
                covered += hypot((double)i + 0.1 + 0.2 * (k % 5) - x,
                                 (double)j + 0.1 + 0.2 * (k / 5) - y) < radius;
            patch->q[j * patch->geometry.width_px + i] += (uint16_t)lround(height * covered / 25);
        }
    }
}

/* Bessel's integral; by steps over a period it is exact to the last digits. */
static double bessel_j1(double x)
{
    double sum = 0;

    for (int i = 0; i < 64; i++)
        sum += cos(2 * PI * i / 64 - x * sin(2 * PI * i / 64)) / 64;
    return sum;
}

static void random_discs_that_add_have_a_known_spectrum(void **state)
{
    /*
     * S = lambda h^2 (pi D^2 / 4)^2 (2 J1(x) / x)^2, x = pi f D; first zero f D = 1.2196698913,
     * half power f D = 0.5144969850 (Stoyan, Kendall & Mecke; zeros of J1 from tables).
     */
    enum { SIZE = 1024, SIDE = 256, DISCS = 3000, DIAMETER = 20, HEIGHT = 3000 };
    struct patch patch = new_patch(SIZE, SIZE, 0.05, 0.05);
    const double spread = SIZE + 2 * DIAMETER; /* discs beyond the border reach into it */
    const double area_mm2 = PI / 4 * DIAMETER * 0.05 * DIAMETER * 0.05;
    const double at_0 = DISCS / (spread * spread * 0.05 * 0.05) * area_mm2 * area_mm2 *
                        (HEIGHT / 65535.0) * (HEIGHT / 65535.0);
    double lowest = INFINITY, zero = 0, inside = 0, expected = 0;
    uint64_t seed = 4;
    fleck_spectrum spectrum;

    (void)state;
    for (int i = 0; i < DISCS; i++) {
        const double x = test_uniform(&seed) * spread - DIAMETER;
        const double y = test_uniform(&seed) * spread - DIAMETER;

        add_disc(&patch, x, y, DIAMETER / 2.0, HEIGHT);
    }
    spectrum = measure(&patch, SIDE, 2);
    for (size_t r = 1; r <= 25; r++) {
        const double x = PI * spectrum.frequency_per_mm[r - 1] * DIAMETER * 0.05;

        if (r >= 3 && r <= 10) { /* the main lobe, far from the mean and from the zero */
            inside += spectrum.tone_power_mm2[r - 1] / pow(2 * bessel_j1(x) / x, 2);
            expected += at_0;
        }
        if (spectrum.tone_power_mm2[r - 1] < lowest) {
            lowest = spectrum.tone_power_mm2[r - 1];
            zero = spectrum.frequency_per_mm[r - 1];
        }
    }
    /* scatter from seed to seed 4 %; the window's blur takes 1 % */
    check_ratio("level of the main lobe", inside, expected, 0.1);
    check_near("first zero, f D", zero * DIAMETER * 0.05, 1.2196698913,
               0.5 * DIAMETER / (double)SIDE + 1e-9);
    /* (0.0516 per step)^2 times the blur of the window, of the ring and the place of the zero */
    check_near("the bottom of the first zero", lowest / at_0, 1.5e-3, 0.7e-3);
    fleck_spectrum_clear(&spectrum);
    free_patch(&patch);
}

static void same_values(const fleck_spectrum *a, const fleck_spectrum *b, double tolerance)
{
    assert_int_equal(a->rings, b->rings);
    assert_int_equal(a->tiles, b->tiles);
    for (size_t i = 0; i < a->rings; i++) {
        assert_int_equal(a->samples[i], b->samples[i]);
        check_ratio("tone", a->tone_power_mm2[i], b->tone_power_mm2[i], tolerance);
        check_ratio("ink", a->ink_power_mm2[i], b->ink_power_mm2[i], tolerance);
        check_ratio("frequency", a->frequency_per_mm[i], b->frequency_per_mm[i], tolerance);
    }
}

static void threads_change_no_digit(void **state)
{
    static const unsigned threads[] = { 2, 3, 4, 1000 };
    struct patch patch = random_patch(300, 200, 0.05, 0.06, 7);
    fleck_spectrum one = measure(&patch, 32, 1);

    (void)state;
    for (size_t i = 0; i < sizeof threads / sizeof *threads; i++) {
        fleck_spectrum many = measure(&patch, 32, threads[i]);

        same_values(&many, &one, 0);
        fleck_spectrum_clear(&many);
    }
    fleck_spectrum_clear(&one);
    free_patch(&patch);
}

/* As many bands at once as memory allows, and threads that come and go; also of an odd half tile. */
static void bands_at_once_change_no_digit(void **state)
{
    static const size_t sides[] = { 32, 34 };
    struct patch patch = random_patch(400, 500, 0.05, 0.06, 10);

    (void)state;
    for (size_t i = 0; i < 2; i++) {
        fleck_spectrum many = measure(&patch, sides[i], 1), few;
        fleck_spectrum_maker *maker = start(&patch, sides[i], true, 3);
        const size_t most = fleck_spectrum_maker_rows_at_once(maker);
        fleck_run runs[201];
        fleck_error err;

        fleck_spectrum_maker_free(maker);
        assert_int_equal(most, 8 * sides[i] / 2);
        fleck_spill_begin(1 << 18);
        maker = start(&patch, sides[i], true, 3);
        fleck_spill_end();
        assert_int_equal(fleck_spectrum_maker_rows_at_once(maker), sides[i] / 2);
        for (size_t y = 0; y < 500; y++) {
            const size_t count = row_runs(&patch, y, runs);

            fleck_spectrum_maker_set_threads(maker, (unsigned)(y / 50 % 5));
            assert_int_equal(
                fleck_spectrum_maker_row(maker, patch.q + y * 400, runs, count, &err), FLECK_OK);
        }
        few = finish(maker);
        assert_true(many.tiles > 600);
        same_values(&few, &many, 0);
        fleck_spectrum_clear(&few);
        fleck_spectrum_clear(&many);
    }
    free_patch(&patch);
}

static void fields_can_come_one_after_the_other(void **state)
{
    struct patch patch = random_patch(150, 130, 0.05, 0.06, 9);
    fleck_spectrum together = measure(&patch, 32, 1), apart;
    fleck_spectrum_maker *const maker = start(&patch, 32, true, 2);
    fleck_run runs[76];
    fleck_error err;

    (void)state;
    for (size_t y = 0; y < 130; y++)
        assert_int_equal(fleck_spectrum_maker_tone_row(maker, patch.q + y * 150, &err), FLECK_OK);
    for (size_t y = 0; y < 130; y++) {
        if (y == 129)
            assert_int_equal(fleck_spectrum_maker_finish(maker, &apart, &err), FLECK_BAD_CALL);
        assert_int_equal(
            fleck_spectrum_maker_ink_row(maker, runs, row_runs(&patch, y, runs), &err), FLECK_OK);
    }
    apart = finish(maker);
    same_values(&apart, &together, 0);
    fleck_spectrum_clear(&apart);
    fleck_spectrum_clear(&together);
    free_patch(&patch);
}

static void turned_pictures_have_the_same_spectrum(void **state)
{
    enum { WIDTH = 96, HEIGHT = 64 };
    struct patch patch = random_patch(WIDTH, HEIGHT, 0.05, 0.08, 1);
    struct patch turned = new_patch(HEIGHT, WIDTH, 0.08, 0.05);
    fleck_spectrum spectrum = measure(&patch, 32, 1), again;

    (void)state;
    for (size_t y = 0; y < HEIGHT; y++) {
        for (size_t x = 0; x < WIDTH; x++) {
            turned.q[x * HEIGHT + y] = patch.q[y * WIDTH + x];
            turned.ink[x * HEIGHT + y] = patch.ink[y * WIDTH + x];
        }
    }
    again = measure(&turned, 32, 1);
    same_values(&again, &spectrum, 1e-12);
    fleck_spectrum_clear(&spectrum);
    fleck_spectrum_clear(&again);
    free_patch(&patch);
    free_patch(&turned);
}

static void mirrored_tiles_have_the_same_spectrum(void **state)
{
    /* about pixel 32, the middle of a periodic window */
    enum { SIDE = 64 };
    struct patch patch = random_patch(SIDE, SIDE, 0.05, 0.05, 2);
    struct patch mirrored = new_patch(SIDE, SIDE, 0.05, 0.05);
    fleck_spectrum spectrum = measure(&patch, SIDE, 1), again;

    (void)state;
    for (size_t y = 0; y < SIDE; y++) {
        for (size_t x = 0; x < SIDE; x++) {
            mirrored.q[y * SIDE + (SIDE - x) % SIDE] = patch.q[y * SIDE + x];
            mirrored.ink[y * SIDE + (SIDE - x) % SIDE] = patch.ink[y * SIDE + x];
        }
    }
    again = measure(&mirrored, SIDE, 1);
    same_values(&again, &spectrum, 1e-12);
    fleck_spectrum_clear(&spectrum);
    fleck_spectrum_clear(&again);
    free_patch(&patch);
    free_patch(&mirrored);
}

static void resolution_scales_frequency_and_power(void **state)
{
    struct patch patch = random_patch(80, 80, 0.05, 0.05, 3);
    fleck_spectrum fine = measure(&patch, 32, 1), coarse;

    (void)state;
    patch.geometry.pixel_x_mm = patch.geometry.pixel_y_mm = 0.15;
    coarse = measure(&patch, 32, 1);
    for (size_t i = 0; i < fine.rings; i++) {
        check_ratio("a third", coarse.frequency_per_mm[i], fine.frequency_per_mm[i] / 3, 1e-14);
        check_ratio("nine times", coarse.tone_power_mm2[i], fine.tone_power_mm2[i] * 9, 1e-13);
        check_ratio("nine times", coarse.ink_power_mm2[i], fine.ink_power_mm2[i] * 9, 1e-13);
    }
    fleck_spectrum_clear(&fine);
    fleck_spectrum_clear(&coarse);
    free_patch(&patch);
}

static void what_no_tile_covers_changes_nothing(void **state)
{
    enum { WIDTH = 32 + 3 * 16 + 15, HEIGHT = 32 + 2 * 16 + 15 };
    struct patch patch = random_patch(WIDTH, HEIGHT, 0.05, 0.05, 4);
    fleck_spectrum spectrum = measure(&patch, 32, 1), again;

    (void)state;
    for (size_t i = 0; i < WIDTH * HEIGHT; i++) {
        if (i % WIDTH >= WIDTH - 15 || i / WIDTH >= HEIGHT - 15) {
            patch.q[i] = 0;
            patch.ink[i] = 1;
        }
    }
    again = measure(&patch, 32, 1);
    assert_int_equal(spectrum.tiles, 4 * 3);
    same_values(&again, &spectrum, 0);
    fleck_spectrum_clear(&spectrum);
    fleck_spectrum_clear(&again);
    free_patch(&patch);
}

static void flat_pictures_have_no_power(void **state)
{
    struct patch patch = new_patch(64, 64, 0.05, 0.05);
    fleck_spectrum spectrum;

    (void)state;
    for (size_t i = 0; i < 64 * 64; i++) {
        patch.q[i] = 54321;
        patch.ink[i] = 1;
    }
    spectrum = measure(&patch, 32, 1);
    for (size_t i = 0; i < spectrum.rings; i++) {
        assert_true(spectrum.tone_power_mm2[i] == 0);
        assert_true(spectrum.ink_power_mm2[i] == 0);
    }
    fleck_spectrum_clear(&spectrum);
    free_patch(&patch);
}

static void without_ink_there_is_tone_alone(void **state)
{
    struct patch patch = random_patch(70, 50, 0.05, 0.05, 5);
    fleck_spectrum both = measure(&patch, 32, 1), tone;
    fleck_spectrum_maker *const maker = start(&patch, 32, false, 2);
    fleck_error err;

    (void)state;
    for (size_t y = 0; y < 50; y++)
        assert_int_equal(fleck_spectrum_maker_row(maker, patch.q + 70 * y, NULL, 0, &err),
                         FLECK_OK);
    tone = finish(maker);
    assert_null(tone.ink_power_mm2);
    assert_int_equal(tone.tiles, both.tiles);
    assert_memory_equal(tone.tone_power_mm2, both.tone_power_mm2, 16 * sizeof(double));
    fleck_spectrum_clear(&both);
    fleck_spectrum_clear(&tone);
    assert_null(tone.tone_power_mm2);
    assert_int_equal(tone.tile_px, 0);
    fleck_spectrum_clear(NULL);
    fleck_spectrum_maker_free(NULL);
    free_patch(&patch);
}

static void too_few_rows_give_the_empty_spectrum(void **state)
{
    struct patch patch = random_patch(64, 64, 0.05, 0.05, 6);
    fleck_spectrum_maker *maker;
    fleck_spectrum spectrum;

    (void)state;
    maker = start(&patch, 32, true, 1);
    give_rows(maker, &patch, 31);
    spectrum = finish(maker);
    assert_int_equal(spectrum.tile_px, 0);
    assert_int_equal(spectrum.tiles, 0);
    assert_int_equal(spectrum.rings, 0);
    assert_null(spectrum.tone_power_mm2);
    maker = start(&patch, 32, true, 1);
    give_rows(maker, &patch, 47);
    spectrum = finish(maker);
    assert_int_equal(spectrum.tiles, 3); /* one band of them */
    fleck_spectrum_clear(&spectrum);
    free_patch(&patch);
}

static void tiles_are_near_10_8_mm(void **state)
{
    static const struct {
        const char *source;
        size_t width_px, height_px;
        double ppi_x, ppi_y;
        size_t tile_px;
    } cases[] = {
        { "the record's definition", 5000, 7000, 600, 600, 256 },
        { "the record's definition", 9000, 9000, 1200, 1200, 512 },
        { "10.8 mm are 127.6 px", 5000, 7000, 300, 300, 128 },
        { "10.8 mm are 63.8 px", 5000, 7000, 150, 150, 64 },
        { "at least 64: 10.8 mm are 31.9 px", 5000, 7000, 75, 75, 64 },
        { "geometric mean 600", 5000, 7000, 300, 1200, 256 },
        { "180.9 px, just below 256 / sqrt 2", 5000, 7000, 425.4, 425.4, 128 },
        { "181.1 px, just above 256 / sqrt 2", 5000, 7000, 425.9, 425.9, 256 },
        { "shorter side 256", 256, 7000, 600, 600, 256 },
        { "shorter side 255", 7000, 255, 600, 600, 128 },
        { "shorter side 100", 100, 100, 1200, 1200, 64 },
        { "shorter side 64", 64, 7000, 600, 600, 64 },
        { "shorter side 63", 63, 7000, 600, 600, 0 },
        { "a microscope's pixel of 1 um", 20000, 10000, 25400, 25400, 8192 },
        { "a pixel of 1e-12 mm", 70000, 70000, 2.54e13, 2.54e13, 65536 },
        { "a pixel of 0.01 um, limit of the side", 300000, 300000, 2.54e6, 2.54e6, 65536 },
    };

    (void)state;
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        const fleck_geometry geometry = { cases[i].width_px, cases[i].height_px,
                                          25.4 / cases[i].ppi_x, 25.4 / cases[i].ppi_y };

        check_near(cases[i].source, (double)fleck_spectrum_tile_px(&geometry),
                   (double)cases[i].tile_px, 0);
    }
}

static void wrong_calls_are_refused(void **state)
{
    static const struct {
        size_t width_px, height_px;
        double pixel_x_mm, pixel_y_mm;
        size_t tile_px;
        unsigned threads;
    } bad[] = {
        { 100, 100, 0.1, 0.1, 33, 1 },
        { 100, 100, 0.1, 0.1, 14, 1 },
        { 100, 100, 0.1, 0.1, 0, 1 },
        { 100, 90, 0.1, 0.1, 92, 1 },
        { 90, 100, 0.1, 0.1, 92, 1 },
        { 100, 100, 0.1, 0.1, 32, 0 },
        { 100, 100, 0, 0.1, 32, 1 },
        { 100, 100, 0.1, -1, 32, 1 },
        { 100, 100, NAN, 0.1, 32, 1 },
        { 100, 100, 0.1, INFINITY, 32, 1 },
        { SIZE_MAX, SIZE_MAX, 0.1, 0.1, 65538, 1 },
    };
    double values[9] = { 0 }, power[9];
    fleck_spectrum_maker *maker;
    fleck_error err;

    (void)state;
    for (size_t i = 0; i < sizeof bad / sizeof *bad; i++) {
        const fleck_geometry geometry = { bad[i].width_px, bad[i].height_px, bad[i].pixel_x_mm,
                                          bad[i].pixel_y_mm };

        err.status = FLECK_OK;
        assert_int_equal(
            fleck_spectrum_maker_new(&geometry, NULL, bad[i].tile_px, true, bad[i].threads, &maker, &err),
            FLECK_BAD_CALL);
        assert_int_equal(err.status, FLECK_BAD_CALL);
        assert_non_null(strchr(err.message, ';'));
        assert_null(maker);
    }
    assert_int_equal(fleck_spectrum_plane(values, 3, 0.1, 0.1, power, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_spectrum_plane(values, 0, 0.1, 0.1, power, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_spectrum_plane(values, 2, 0, 0.1, power, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_spectrum_plane(values, 2, 0.1, NAN, power, &err), FLECK_BAD_CALL);
}

static void sizes_that_overflow_are_no_memory(void **state)
{
    const fleck_geometry geometry = { SIZE_MAX / 2, SIZE_MAX / 2, 0.1, 0.1 };
    fleck_spectrum_maker *maker;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_spectrum_maker_new(&geometry, NULL, 64, true, 1, &maker, &err),
                     FLECK_NO_RESOURCE);
    assert_null(maker);
}

static void rows_that_do_not_fit_are_refused(void **state)
{
    struct patch patch = random_patch(32, 32, 0.05, 0.05, 8);
    const fleck_run beyond = { 30, 33 }, whole = { 0, 32 };
    fleck_spectrum_maker *const maker = start(&patch, 32, true, 1);
    fleck_spectrum spectrum;
    fleck_error err;

    (void)state;
    assert_int_equal(fleck_spectrum_maker_row(maker, patch.q, &beyond, 1, &err), FLECK_BAD_CALL);
    assert_int_equal(fleck_spectrum_maker_row(maker, patch.q, &whole, 1, &err), FLECK_OK);
    give_rows(maker, &patch, 31);
    assert_int_equal(fleck_spectrum_maker_row(maker, patch.q, NULL, 0, &err), FLECK_BAD_CALL);
    spectrum = finish(maker);
    assert_int_equal(spectrum.tiles, 1);
    fleck_spectrum_clear(&spectrum);
    free_patch(&patch);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_twin_gives_a_published_table),
        cmocka_unit_test(spectra_are_those_of_the_definition),
        cmocka_unit_test(faint_texture_keeps_its_digits),
        cmocka_unit_test(a_point_between_two_rings_goes_to_the_upper),
        cmocka_unit_test(the_plane_is_that_of_the_definition),
        cmocka_unit_test(the_plane_holds_the_variance),
        cmocka_unit_test(white_noise_is_flat),
        cmocka_unit_test(a_wave_lies_in_its_ring),
        cmocka_unit_test(random_discs_that_add_have_a_known_spectrum),
        cmocka_unit_test(threads_change_no_digit),
        cmocka_unit_test(bands_at_once_change_no_digit),
        cmocka_unit_test(fields_can_come_one_after_the_other),
        cmocka_unit_test(turned_pictures_have_the_same_spectrum),
        cmocka_unit_test(mirrored_tiles_have_the_same_spectrum),
        cmocka_unit_test(resolution_scales_frequency_and_power),
        cmocka_unit_test(what_no_tile_covers_changes_nothing),
        cmocka_unit_test(flat_pictures_have_no_power),
        cmocka_unit_test(without_ink_there_is_tone_alone),
        cmocka_unit_test(too_few_rows_give_the_empty_spectrum),
        cmocka_unit_test(tiles_are_near_10_8_mm),
        cmocka_unit_test(wrong_calls_are_refused),
        cmocka_unit_test(sizes_that_overflow_are_no_memory),
        cmocka_unit_test(rows_that_do_not_fit_are_refused),
    };

    return cmocka_run_group_tests(tests, NULL, NULL);
}
