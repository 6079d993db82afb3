/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * False alarms and hits of the doubts about a scan, from phantoms that are coded as a scanner would
 * and then damaged. Prints one line for each damage: how often each warning came.
 *
 *     doubt_rates [PICTURES [SIDE_MM [DAMAGE [each]]]]    of all damages whose name starts so; with
 *                                                         `each`, a line for each picture too
 *     doubt_rates time                                    nanoseconds for each pixel
 *
 * Source of the damages: unsharp mask as in common image programs (code + amount (code - blurred)),
 * levels stretched by a straight line and rounded, enlarging by 2 with the triangle or Keys' (1981)
 * cubic kernel, JPEG by libjpeg.
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include <jpeglib.h>

#include "core/memory.h"
#include "fleck/phantom.h"
#include "fleck/segment.h"
#include "fleck/tone.h"
#include "measure/code_counts.h"
#include "measure/doubt_clipping.h"
#include "measure/doubt_comb.h"
#include "measure/doubt_rows.h"

/* A grey picture as code values of 8 or 16 bits. */
struct picture {
    size_t width_px, height_px;
    unsigned bits;
    double ppi;
    double *code; /* 0 to full scale, not yet rounded */
};

enum { HALO, UPSAMPLED, GRID, RIM, BARE, WANDER, WHITE, BLACK, COMB, TESTS };
static const char *const test_names[TESTS] = { "halo",   "upsampled", "grid",  "rim", "bare",
                                               "wander", "white",     "black", "comb" };

/* Outcome of one picture: whether each test warned and what its statistic was. */
struct outcome {
    bool told[TESTS], warned[TESTS];
    double statistic[TESTS];
};

static uint64_t next_random(uint64_t *state)
{
    uint64_t z = (*state += UINT64_C(0x9e3779b97f4a7c15));

    z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
    return z ^ (z >> 31);
}

static double uniform(uint64_t *state, double low, double high)
{
    return low + (high - low) * (double)(next_random(state) >> 11) * 0x1p-53;
}

static double full_scale(const struct picture *picture)
{
    return picture->bits == 8 ? 255 : 65535;
}

static void round_codes(struct picture *picture)
{
    const double top = full_scale(picture);

    for (size_t i = 0; i < picture->width_px * picture->height_px; i++)
        picture->code[i] = fmin(fmax(floor(picture->code[i] + 0.5), 0), top);
}

static void note(struct outcome *outcome, int test, fleck_doubt doubt)
{
    outcome->told[test] = !isnan(doubt.statistic);
    outcome->warned[test] = doubt.exceeded;
    outcome->statistic[test] = doubt.statistic;
}

static void measure(const struct picture *picture, struct outcome *outcome)
{
    const size_t w = picture->width_px, h = picture->height_px;
    const double pixel_mm = 25.4 / picture->ppi;
    const fleck_geometry geometry = { w, h, pixel_mm, pixel_mm };
    const fleck_scan_info info = { .channels = 1,
                                   .bits = picture->bits,
                                   .sample_bytes = picture->bits / 8 };
    uint16_t *q = fleck_alloc_array(w, sizeof *q), *wide = fleck_alloc_array(w, sizeof *wide);
    uint8_t *narrow = fleck_alloc_array(w, 1);
    fleck_run *runs = fleck_alloc_array(w / 2 + 1, sizeof *runs);
    uint64_t *counts = fleck_alloc_zeroed(FLECK_LEVELS, sizeof *counts);
    fleck_code_counts codes;
    fleck_doubt_rows *rows = NULL;
    fleck_scan_doubts found;
    fleck_doubt_clipping clipping;
    fleck_cut cut;
    fleck_error err;

    static uint16_t table[2][FLECK_LEVELS];
    static bool made[2];
    uint16_t *const to_q = table[picture->bits == 16];

    if (!made[picture->bits == 16]) {
        for (size_t c = 0; c <= (size_t)full_scale(picture); c++)
            to_q[c] =
                (uint16_t)(65535 * fleck_tone_srgb_decode((double)c / full_scale(picture)) + 0.5);
        made[picture->bits == 16] = true;
    }
    fleck_code_counts_begin(&codes, &info, w, h);
    for (size_t y = 0; y < h; y++) {
        for (size_t x = 0; x < w; x++) {
            wide[x] = (uint16_t)picture->code[y * w + x];
            narrow[x] = (uint8_t)wide[x];
            counts[to_q[wide[x]]]++;
        }
        fleck_code_counts_add_row(&codes, picture->bits == 8 ? (void *)narrow : (void *)wide, w);
    }
    if (fleck_cut_otsu(counts, FLECK_INK_DARK, &cut, &err) != FLECK_OK ||
        fleck_doubt_rows_new(&geometry, cut.ink_reflectance, cut.bare_reflectance, &rows, &err) !=
            FLECK_OK) {
        fprintf(stderr, "%s\n", err.message);
        exit(1);
    }
    for (size_t y = 0; y < h; y++) {
        for (size_t x = 0; x < w; x++)
            q[x] = to_q[(size_t)picture->code[y * w + x]];
        fleck_doubt_rows_add(rows, q, runs, fleck_runs_from_row(q, w, cut.k, FLECK_INK_DARK, runs));
    }
    fleck_doubt_rows_finish(rows, &found);
    clipping = fleck_doubt_clipping_finish(&codes);
    note(outcome, HALO, found.halo.doubt);
    note(outcome, UPSAMPLED, found.upsampled);
    note(outcome, GRID, found.jpeg_grid.doubt);
    note(outcome, RIM, found.rim.coverage);
    outcome->warned[RIM] = outcome->warned[RIM] || found.rim.tone.exceeded;
    note(outcome, BARE, found.rim.bare);
    note(outcome, WANDER, found.wander.doubt);
    note(outcome, WHITE, clipping.white);
    note(outcome, BLACK, clipping.black);
    note(outcome, COMB, fleck_doubt_comb_finish(&codes).doubt);
    fleck_doubt_rows_free(rows);
    free(q);
    free(wide);
    free(narrow);
    free(runs);
    free(counts);
}

/* ---- damages ---- */

static void blur(const struct picture *picture, double sigma_px, double *out)
{
    const size_t w = picture->width_px, h = picture->height_px;
    const int reach = (int)ceil(4 * sigma_px);
    double *kernel = fleck_alloc_array((size_t)(2 * reach + 1), sizeof *kernel);
    double *between = fleck_alloc_array(w * h, sizeof *between), sum = 0;

    for (int i = -reach; i <= reach; i++)
        sum += kernel[i + reach] = exp(-i * i / (2 * sigma_px * sigma_px));
    for (int i = 0; i <= 2 * reach; i++)
        kernel[i] /= sum;
    for (size_t y = 0; y < h; y++) {
        for (size_t x = 0; x < w; x++) {
            double value = 0;

            for (int i = -reach; i <= reach; i++) {
                long at = (long)x + i;

                at = at < 0 ? 0 : at >= (long)w ? (long)w - 1 : at;
                value += kernel[i + reach] * picture->code[y * w + (size_t)at];
            }
            between[y * w + x] = value;
        }
    }
    memset(out, 0, w * h * sizeof *out);
    for (size_t y = 0; y < h; y++) {
        for (int i = -reach; i <= reach; i++) {
            long at = (long)y + i;

            at = at < 0 ? 0 : at >= (long)h ? (long)h - 1 : at;
            for (size_t x = 0; x < w; x++)
                out[y * w + x] += kernel[i + reach] * between[(size_t)at * w + x];
        }
    }
    free(kernel);
    free(between);
}

static void sharpen(struct picture *picture, double amount, double sigma_px)
{
    const size_t n = picture->width_px * picture->height_px;
    double *smooth = fleck_alloc_array(n, sizeof *smooth);

    blur(picture, sigma_px, smooth);
    for (size_t i = 0; i < n; i++)
        picture->code[i] += amount * (picture->code[i] - smooth[i]);
    free(smooth);
    round_codes(picture);
}

/* Levels: from black to white becomes from 0 to full scale. */
static void stretch(struct picture *picture, double black, double white)
{
    const double top = full_scale(picture);

    for (size_t i = 0; i < picture->width_px * picture->height_px; i++)
        picture->code[i] = (picture->code[i] / top - black) / (white - black) * top;
    round_codes(picture);
}

static double kernel_at(double x, bool cubic)
{
    x = fabs(x);
    if (!cubic)
        return x < 1 ? 1 - x : 0;
    if (x < 1)
        return (1.5 * x - 2.5) * x * x + 1;
    return x < 2 ? ((-0.5 * x + 2.5) * x - 4) * x + 2 : 0;
}

static void enlarge(struct picture *picture, bool cubic)
{
    const size_t w = picture->width_px, h = picture->height_px;
    double *across = fleck_alloc_array(2 * w * h, sizeof *across);
    double *both = fleck_alloc_array(4 * w * h, sizeof *both);

    for (int pass = 0; pass < 2; pass++) {
        const size_t lines = pass == 0 ? h : 2 * w, length = pass == 0 ? w : h;

        for (size_t line = 0; line < lines; line++) {
            for (size_t i = 0; i < 2 * length; i++) {
                const double at = ((double)i + 0.5) / 2 - 0.5;
                double value = 0, sum = 0;

                for (long j = (long)floor(at) - 1; j <= (long)floor(at) + 2; j++) {
                    const double k = kernel_at(at - (double)j, cubic);
                    const size_t from = j < 0 ? 0 : j >= (long)length ? length - 1 : (size_t)j;

                    value += k * (pass == 0 ? picture->code[line * w + from]
                                            : across[from * 2 * w + line]);
                    sum += k;
                }
                if (pass == 0)
                    across[line * 2 * w + i] = value / sum;
                else
                    both[i * 2 * w + line] = value / sum;
            }
        }
    }
    free(picture->code);
    free(across);
    picture->code = both;
    picture->width_px = 2 * w;
    picture->height_px = 2 * h;
    picture->ppi *= 2;
    round_codes(picture);
}

/* Through JPEG and back, then cut by a few pixels so that blocks do not start at the corner. */
static void through_jpeg(struct picture *picture, int quality, size_t cut_px)
{
    const size_t w = picture->width_px, h = picture->height_px;
    struct jpeg_compress_struct in;
    struct jpeg_decompress_struct out;
    struct jpeg_error_mgr errors;
    unsigned char *bytes = NULL;
    unsigned long size = 0;
    JSAMPLE *row = fleck_alloc_array(w, 1);

    in.err = out.err = jpeg_std_error(&errors);
    jpeg_create_compress(&in);
    jpeg_mem_dest(&in, &bytes, &size);
    in.image_width = (JDIMENSION)w;
    in.image_height = (JDIMENSION)h;
    in.input_components = 1;
    in.in_color_space = JCS_GRAYSCALE;
    jpeg_set_defaults(&in);
    jpeg_set_quality(&in, quality, TRUE);
    jpeg_start_compress(&in, TRUE);
    for (size_t y = 0; y < h; y++) {
        for (size_t x = 0; x < w; x++)
            row[x] = (JSAMPLE)picture->code[y * w + x];
        jpeg_write_scanlines(&in, &row, 1);
    }
    jpeg_finish_compress(&in);
    jpeg_destroy_compress(&in);
    jpeg_create_decompress(&out);
    jpeg_mem_src(&out, bytes, size);
    jpeg_read_header(&out, TRUE);
    jpeg_start_decompress(&out);
    for (size_t y = 0; y < h; y++) {
        jpeg_read_scanlines(&out, &row, 1);
        for (size_t x = cut_px; y >= cut_px && x < w; x++)
            picture->code[(y - cut_px) * (w - cut_px) + x - cut_px] = row[x];
    }
    jpeg_finish_decompress(&out);
    jpeg_destroy_decompress(&out);
    picture->width_px -= cut_px;
    picture->height_px -= cut_px;
    free(bytes);
    free(row);
}

/* ---- pictures ---- */

struct recipe {
    const char *name;
    void (*damage)(struct picture *picture, uint64_t *random);
    unsigned bits;      /* 0: 8 or 16 by turns */
    double rim_mm, rim; /* extra ink along the border: width, share of bare area it takes */
    double bare_mm;     /* no ink within so much of the border */
    bool bare_left;     /* along the left side alone */
    double slope;       /* ink tone: range from left to right, as a share of the contrast */
    double rim_tone;    /* ink stronger along the border by this share of the contrast */
    bool half_ppi;      /* drawn at half the resolution, to be enlarged */
};

static void unsharp_50(struct picture *picture, uint64_t *random)
{
    sharpen(picture, 0.5, uniform(random, 0.7, 2));
}

static void unsharp_100(struct picture *picture, uint64_t *random)
{
    sharpen(picture, 1, uniform(random, 0.7, 2));
}

static void unsharp_150(struct picture *picture, uint64_t *random)
{
    sharpen(picture, 1.5, uniform(random, 0.7, 2));
}

static void stretch_5(struct picture *picture, uint64_t *random)
{
    (void)random;
    stretch(picture, 0.02, 0.972);
}

static void stretch_10(struct picture *picture, uint64_t *random)
{
    (void)random;
    stretch(picture, 0.04, 0.949);
}

static void stretch_30(struct picture *picture, uint64_t *random)
{
    (void)random;
    stretch(picture, 0.2, 0.96);
}

static void levels_clip(struct picture *picture, uint64_t *random)
{
    (void)random;
    stretch(picture, 0.25, 0.92);
}

static void triangle(struct picture *picture, uint64_t *random)
{
    (void)random;
    enlarge(picture, false);
}

static void cubic(struct picture *picture, uint64_t *random)
{
    (void)random;
    enlarge(picture, true);
}

static void jpeg_95(struct picture *picture, uint64_t *random)
{
    through_jpeg(picture, 95, next_random(random) % 8);
}

static void jpeg_90(struct picture *picture, uint64_t *random)
{
    through_jpeg(picture, 90, next_random(random) % 8);
}

static void jpeg_75(struct picture *picture, uint64_t *random)
{
    through_jpeg(picture, 75, next_random(random) % 8);
}

static void jpeg_50(struct picture *picture, uint64_t *random)
{
    through_jpeg(picture, 50, next_random(random) % 8);
}

static const struct recipe recipes[] = {
    { .name = "clean" },
    { .name = "unsharp 50 %", .damage = unsharp_50 },
    { .name = "unsharp 100 %", .damage = unsharp_100 },
    { .name = "unsharp 150 %", .damage = unsharp_150 },
    { .name = "levels x1.05", .damage = stretch_5, .bits = 8 },
    { .name = "levels x1.10", .damage = stretch_10, .bits = 8 },
    { .name = "levels x1.32", .damage = stretch_30, .bits = 8 },
    { .name = "levels clip", .damage = levels_clip },
    { .name = "x2 triangle, 8 bit", .damage = triangle, .half_ppi = true, .bits = 8 },
    { .name = "x2 triangle, 16 bit", .damage = triangle, .half_ppi = true, .bits = 16 },
    { .name = "x2 cubic, 8 bit", .damage = cubic, .half_ppi = true, .bits = 8 },
    { .name = "x2 cubic, 16 bit", .damage = cubic, .half_ppi = true, .bits = 16 },
    { .name = "JPEG 95", .damage = jpeg_95, .bits = 8 },
    { .name = "JPEG 90", .damage = jpeg_90, .bits = 8 },
    { .name = "JPEG 75", .damage = jpeg_75, .bits = 8 },
    { .name = "JPEG 50", .damage = jpeg_50, .bits = 8 },
    { .name = "rim 0.3 mm", .rim_mm = 0.3, .rim = 0.8 },
    { .name = "rim 0.5 mm half", .rim_mm = 0.5, .rim = 0.5 },
    { .name = "rim tone 10 %", .rim_tone = 0.1 },
    { .name = "bare 1 mm", .bare_mm = 1 },
    { .name = "bare 0.7 mm", .bare_mm = 0.7 },
    { .name = "bare 1 mm left", .bare_mm = 1, .bare_left = true },
    { .name = "slope 6 %", .slope = 0.06 },
    { .name = "slope 10 %", .slope = 0.10 },
    { .name = "slope 20 %", .slope = 0.20 },
};
enum { RECIPES = sizeof recipes / sizeof *recipes };

/* Defects that the ink itself has: applied to the phantom's reflectance before it is coded. */
static double spoil_ink(const struct recipe *recipe, const fleck_phantom_options *o, double value,
                        double x_mm, double y_mm)
{
    const double contrast = o->paper_reflectance - o->ink_reflectance;
    const double from_edge_mm =
        fmin(fmin(x_mm, o->width_mm - x_mm), fmin(y_mm, o->height_mm - y_mm));
    double ink = fmin(fmax((o->paper_reflectance - value) / contrast, 0), 1);

    value += ink * contrast * recipe->slope * x_mm / o->width_mm;
    if (recipe->rim_tone > 0)
        value += ink * contrast * recipe->rim_tone * (from_edge_mm > 0.7);
    /* a rim that is broken up at a scale of 0.4 mm */
    if (from_edge_mm < recipe->rim_mm) {
        const uint64_t column = (uint64_t)(x_mm / 0.4), row = (uint64_t)(y_mm / 0.4);
        uint64_t state = o->seed * 1000003 + column * 1009 + row;

        if (uniform(&state, 0, 1) < recipe->rim)
            value -= (1 - ink) * contrast;
    }
    if ((recipe->bare_left ? x_mm : from_edge_mm) < recipe->bare_mm)
        value = o->paper_reflectance;
    return value;
}

static void draw(const struct recipe *recipe, size_t i, double side_mm, fleck_phantom_options *o,
                 struct picture *picture)
{
    static const double coverages[] = { 0.05, 0.15, 0.3, 0.45, 0.6 };
    static const double noises[] = { 0, 0.002, 0.005, 0.01, 0.02 };
    static const double softs[] = { 0, 0.01, 0.02, 0.05 };
    uint64_t random = 77 + i;
    fleck_phantom *phantom = NULL;
    const float *reflectance;
    fleck_error err;

    *o = fleck_phantom_options_default();
    o->kind = i % 4 == 3   ? FLECK_PHANTOM_FIELD
              : i % 4 == 2 ? FLECK_PHANTOM_SEPARATE
                           : FLECK_PHANTOM_DISCS;
    o->coverage = coverages[next_random(&random) % 5];
    if (o->kind == FLECK_PHANTOM_SEPARATE && o->coverage > 0.3)
        o->coverage = 0.3;
    o->noise = noises[next_random(&random) % 5];
    o->softness_mm = softs[next_random(&random) % 4];
    o->bits = recipe->bits > 0 ? recipe->bits : i % 2 == 0 ? 8 : 16;
    o->ppi = next_random(&random) % 3 == 0 ? 1200 : 600;
    if (recipe->half_ppi)
        o->ppi /= 2;
    o->width_mm = o->height_mm = side_mm;
    o->diameter_mm = uniform(&random, 0.15, 0.6);
    o->gap_mm = 0.05;
    o->correlation_mm = 0.5;
    o->antialias = next_random(&random) % 8 != 0;
    o->ink_reflectance = uniform(&random, 0.03, 0.15);
    if (o->ink_reflectance < 4 * o->noise) /* below black the scan would be clipped indeed */
        o->ink_reflectance = 4 * o->noise;
    o->paper_reflectance = uniform(&random, 0.7, 0.9);
    o->seed = 1 + i;
    if (fleck_phantom_new(o, &phantom, &err) != FLECK_OK) {
        fprintf(stderr, "%s\n", err.message);
        exit(1);
    }
    reflectance = fleck_phantom_reflectance(phantom, &picture->width_px, &picture->height_px);
    picture->bits = o->bits;
    picture->ppi = o->ppi;
    picture->code = fleck_alloc_array(picture->width_px * picture->height_px, sizeof(double));
    for (size_t y = 0; y < picture->height_px; y++) {
        for (size_t x = 0; x < picture->width_px; x++) {
            const size_t at = y * picture->width_px + x;
            const double value =
                spoil_ink(recipe, o, reflectance[at], ((double)x + 0.5) * 25.4 / o->ppi,
                          ((double)y + 0.5) * 25.4 / o->ppi);

            picture->code[at] =
                full_scale(picture) * fleck_tone_srgb_encode(fmin(fmax(value, 0), 1));
        }
    }
    round_codes(picture);
    fleck_phantom_free(phantom);
}

static int count_alarms(int count, char **words)
{
    const size_t pictures = count > 1 ? strtoul(words[1], NULL, 10) : 20;
    const double side_mm = count > 2 ? strtod(words[2], NULL) : 15;
    const char *const only = count > 3 ? words[3] : "";
    const bool loud = count > 4;

    printf("%-20s", "told/warned of");
    for (int t = 0; t < TESTS; t++)
        printf(" %11s", test_names[t]);
    printf("   (%zu pictures of %g mm)\n", pictures, side_mm);
    for (size_t r = 0; r < RECIPES; r++) {
        size_t told[TESTS] = { 0 }, warned[TESTS] = { 0 };

        if (strncmp(recipes[r].name, only, strlen(only)) != 0)
            continue;
        for (size_t i = 0; i < pictures; i++) {
            uint64_t random = i;
            fleck_phantom_options o;
            struct picture picture;
            struct outcome outcome;

            draw(&recipes[r], i, side_mm, &o, &picture);
            if (recipes[r].damage != NULL)
                recipes[r].damage(&picture, &random);
            measure(&picture, &outcome);
            free(picture.code);
            for (int t = 0; t < TESTS; t++) {
                told[t] += outcome.told[t];
                warned[t] += outcome.warned[t];
            }
            if (loud) {
                printf("%3zu k%d c%.2f n%.3f s%.2f b%u ppi%.0f d%.2f a%d", i, (int)o.kind,
                       o.coverage, o.noise, o.softness_mm, o.bits, o.ppi, o.diameter_mm,
                       (int)o.antialias);
                for (int t = 0; t < TESTS; t++)
                    printf(" %s%c%.3g", test_names[t], outcome.warned[t] ? '!' : '=',
                           outcome.statistic[t]);
                putchar('\n');
            }
        }
        printf("%-20s", recipes[r].name);
        for (int t = 0; t < TESTS; t++)
            printf(" %5zu/%5zu", warned[t], told[t]);
        putchar('\n');
        fflush(stdout);
    }
    return 0;
}

/* Of this program alone, whatever else the machine does. */
static double seconds(void)
{
    struct timespec now;

    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

/* What the rows of a usual picture cost; the runs are there for other measures already. */
static int take_time(void)
{
    fleck_phantom_options o = fleck_phantom_options_default();
    fleck_phantom *phantom = NULL;
    fleck_doubt_rows *rows = NULL;
    fleck_scan_doubts found;
    fleck_error err;
    fleck_geometry geometry = { 0, 0, 25.4 / 600, 25.4 / 600 };
    const unsigned k = (unsigned)(65535 * 0.45);
    size_t n;
    const float *reflectance;
    uint16_t *q, *codes;
    fleck_run *runs;
    double start, least[3] = { INFINITY, INFINITY, INFINITY };

    o.width_mm = o.height_mm = 100;
    if (fleck_phantom_new(&o, &phantom, &err) != FLECK_OK)
        return 1;
    reflectance = fleck_phantom_reflectance(phantom, &geometry.width_px, &geometry.height_px);
    n = geometry.width_px * geometry.height_px;
    q = fleck_alloc_array(n, sizeof *q);
    codes = fleck_alloc_zeroed(3 * geometry.width_px, sizeof *codes);
    runs = fleck_alloc_array(geometry.width_px / 2 + 1, sizeof *runs);
    for (size_t i = 0; i < n; i++)
        q[i] = (uint16_t)(65535 * fminf(fmaxf(reflectance[i], 0), 1) + 0.5f);
    for (int turn = 0; turn < 5; turn++) {
        const fleck_scan_info info = { .channels = 3, .bits = 16, .sample_bytes = 2 };
        fleck_code_counts counts;

        start = seconds();
        for (size_t y = 0; y < geometry.height_px; y++)
            fleck_runs_from_row(q + y * geometry.width_px, geometry.width_px, k, FLECK_INK_DARK,
                                runs);
        least[0] = fmin(least[0], seconds() - start);
        if (fleck_doubt_rows_new(&geometry, 0.05, 0.85, &rows, &err) != FLECK_OK)
            return 1;
        start = seconds();
        for (size_t y = 0; y < geometry.height_px; y++) {
            const uint16_t *const row = q + y * geometry.width_px;

            fleck_doubt_rows_add(
                rows, row, runs,
                fleck_runs_from_row(row, geometry.width_px, k, FLECK_INK_DARK, runs));
        }
        fleck_doubt_rows_finish(rows, &found);
        least[1] = fmin(least[1], seconds() - start);
        fleck_doubt_rows_free(rows);
        start = seconds();
        fleck_code_counts_begin(&counts, &info, geometry.width_px, geometry.height_px);
        for (size_t y = 0; y < geometry.height_px; y++)
            fleck_code_counts_add_row(&counts, codes, geometry.width_px);
        least[2] = fmin(least[2], seconds() - start);
    }
    printf(
        "%zu pixels: doubts from measured rows %.2f ns, codes of RGB in 16 bits %.2f ns a pixel\n",
        n, (least[1] - least[0]) * 1e9 / (double)n, least[2] * 1e9 / (double)n);
    fleck_phantom_free(phantom);
    free(q);
    free(codes);
    free(runs);
    return 0;
}

int main(int count, char **words)
{
    if (count == 2 && strcmp(words[1], "time") == 0)
        return take_time();
    return count_alarms(count, words);
}
