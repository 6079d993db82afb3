/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The paper's tone under uneven light. In blocks of some 8 mm the 80th percentile of the cells is
 * paper unless the block is solid ink or lies beside the sheet. A smooth surface of second degree
 * goes through most of these (Tukey's biweight, from a wide scale to a narrow one), starting from
 * the commonest bright tone; near it the blocks correct the surface locally. Depth is one less the
 * ratio to that paper, in the channel where it is largest, so that yellow on cream counts by its
 * blue.
 * Source: Beaton & Tukey (1974) for the biweight.
 */
#include "segment/locate_parts.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"

enum { TERMS = 6, TONES = 512 };

struct blocks {
    size_t side; /* in cells */
    size_t columns, rows;
    double *tone;  /* 80th percentile of each */
    double *ratio; /* paper over surface, smoothed */
};

static double cell_tone(const fleck_sheet_map *map, fleck_ink ink, size_t cell, unsigned channel)
{
    const double r = map->reflectance[cell * map->channels + channel] / 65535.0;

    /* paper must be the bright one and never 0 */
    return (ink == FLECK_INK_LIGHT ? 1 - r : r) + 1e-4;
}

static void find_block_tones(const fleck_sheet_map *map, fleck_ink ink, unsigned channel,
                             struct blocks *blocks)
{
    enum { LEVELS = 4096 };
    uint16_t counts[LEVELS]; /* a block has at most 65 x 65 cells */

    for (size_t b = 0; b < blocks->columns * blocks->rows; b++) {
        const size_t left = b % blocks->columns * blocks->side;
        const size_t top = b / blocks->columns * blocks->side;
        size_t count = 0, above = 0, level = LEVELS - 1;

        memset(counts, 0, sizeof counts);
        for (size_t y = top; y < top + blocks->side && y < map->rows; y++) {
            for (size_t x = left; x < left + blocks->side && x < map->columns; x++) {
                const double tone = cell_tone(map, ink, y * map->columns + x, channel);

                counts[tone < 1 ? (size_t)(tone * LEVELS) : LEVELS - 1]++;
                count++;
            }
        }
        while (level > 0 && (above += counts[level]) <= count / 5)
            level--;
        blocks->tone[b] = ((double)level + 0.5) / LEVELS;
    }
}

/* The commonest tone among those above the middle between darkest and brightest. */
static double commonest_bright_tone(const fleck_sheet_map *map, fleck_ink ink, unsigned channel)
{
    size_t counts[TONES] = { 0 };
    const size_t cells = map->columns * map->rows;
    size_t below = 0, low = 0, high = TONES - 1, best = 0, most = 0;

    for (size_t i = 0; i < cells; i++) {
        const double tone = cell_tone(map, ink, i, channel);

        counts[tone < 1 ? (size_t)(tone * TONES) : TONES - 1]++;
    }
    while (low < TONES - 1 && (below += counts[low]) < cells / 100)
        low++;
    for (below = 0; high > 0 && (below += counts[high]) < cells / 100;)
        high--;
    /* a tone with its neighbours up to 4 % of it */
    for (size_t i = (low + high) / 2; i <= high; i++) {
        const size_t reach = i / 25 + 1;
        size_t sum = 0;

        for (size_t j = i > reach ? i - reach : 0; j <= i + reach && j < TONES; j++)
            sum += counts[j];
        if (sum > most) {
            most = sum;
            best = i;
        }
    }
    return ((double)best + 0.5) / TONES;
}

static void terms_at(double x, double y, unsigned degree, double terms[TERMS])
{
    const double all[TERMS] = { 1, x, y, x * x, x * y, y * y };
    static const unsigned terms_of_degree[] = { 1, 3, TERMS };

    for (unsigned i = 0; i < TERMS; i++)
        terms[i] = i < terms_of_degree[degree] ? all[i] : 0;
}

/* Where a cell lies on the sheet, from -1 to 1. */
static double place(double cell, size_t cells)
{
    return cells > 1 ? 2 * cell / (double)(cells - 1) - 1 : 0;
}

static double surface_at(const double surface[TERMS], double x, double y)
{
    double terms[TERMS], sum = 0;

    terms_at(x, y, 2, terms);
    for (unsigned i = 0; i < TERMS; i++)
        sum += surface[i] * terms[i];
    return sum > 1e-4 ? sum : 1e-4;
}

static void block_place(const struct blocks *blocks, const fleck_sheet_map *map, size_t b,
                        double *x, double *y)
{
    const double half = ((double)blocks->side - 1) / 2;

    *x = place((double)(b % blocks->columns * blocks->side) + half, map->columns);
    *y = place((double)(b / blocks->columns * blocks->side) + half, map->rows);
}

static double biweight(double deviation)
{
    const double rest = 1 - deviation * deviation;

    return rest > 0 ? rest * rest : 0;
}

/* Gauss elimination of a positive definite system. */
static void solve(double a[TERMS][TERMS + 1], double solution[TERMS])
{
    for (unsigned i = 0; i < TERMS; i++) {
        for (unsigned k = i + 1; k < TERMS; k++) {
            const double factor = a[k][i] / a[i][i];

            for (unsigned j = i; j <= TERMS; j++)
                a[k][j] -= factor * a[i][j];
        }
    }
    for (unsigned i = TERMS; i-- > 0;) {
        solution[i] = a[i][TERMS];
        for (unsigned j = i + 1; j < TERMS; j++)
            solution[i] -= a[i][j] * solution[j];
        solution[i] /= a[i][i];
    }
}

static void fit_surface(const struct blocks *blocks, const fleck_sheet_map *map, double start,
                        double surface[TERMS])
{
    /* widths of the biweight, relative to the paper; common practice, no source */
    static const double widths[] = { 0.35, 0.3, 0.25, 0.25, 0.2, 0.15, 0.12, 0.1, 0.08, 0.08 };
    const size_t shorter = blocks->columns < blocks->rows ? blocks->columns : blocks->rows;

    memset(surface, 0, TERMS * sizeof *surface);
    surface[0] = start;
    for (size_t step = 0; step < sizeof widths / sizeof *widths; step++) {
        const unsigned degree = shorter < 3 ? 0 : step < 4 || shorter < 5 ? 1 : 2;
        double a[TERMS][TERMS + 1] = { { 0 } };
        double weights = 0;

        for (size_t b = 0; b < blocks->columns * blocks->rows; b++) {
            double terms[TERMS], x, y, off, weight;

            block_place(blocks, map, b, &x, &y);
            off = (blocks->tone[b] / surface_at(surface, x, y) - 1) / widths[step];
            /* later on what is darker is rather ink than paper */
            weight = biweight(off < 0 && step >= 4 ? 2 * off : off);
            weights += weight;
            terms_at(x, y, degree, terms);
            for (unsigned i = 0; i < TERMS; i++) {
                for (unsigned j = 0; j < TERMS; j++)
                    a[i][j] += weight * terms[i] * terms[j];
                a[i][TERMS] += weight * terms[i] * blocks->tone[b];
            }
        }
        if (!(weights > 0))
            return;
        /* terms that nothing tells about stay 0 */
        for (unsigned i = 0; i < TERMS; i++)
            a[i][i] += i == 0 ? 1e-9 * weights : 1e-4 * weights;
        solve(a, surface);
    }
}

/* Where blocks are close to the surface, they say how it deviates around them. */
static void smooth_ratios(struct blocks *blocks, const fleck_sheet_map *map,
                          const double surface[TERMS])
{
    enum { REACH = 3 };

    for (size_t b = 0; b < blocks->columns * blocks->rows; b++) {
        const size_t column = b % blocks->columns, row = b / blocks->columns;
        double weights = 0.1, sum = 0.1; /* nothing near: the surface as it is */

        for (size_t y = row > REACH ? row - REACH : 0; y <= row + REACH && y < blocks->rows; y++) {
            for (size_t x = column > REACH ? column - REACH : 0;
                 x <= column + REACH && x < blocks->columns; x++) {
                const double dx = (double)x - (double)column, dy = (double)y - (double)row;
                double at_x, at_y, ratio, weight;

                block_place(blocks, map, y * blocks->columns + x, &at_x, &at_y);
                ratio = blocks->tone[y * blocks->columns + x] / surface_at(surface, at_x, at_y);
                /* a pale solid must not pass for paper, so the dark side is narrower */
                weight = biweight((ratio - 1) / (ratio < 1 ? 0.05 : 0.1)) *
                         exp(-(dx * dx + dy * dy) / (2 * 1.2 * 1.2));
                weights += weight;
                sum += weight * ratio;
            }
        }
        blocks->ratio[b] = sum / weights;
    }
}

static double ratio_at(const struct blocks *blocks, size_t x, size_t y)
{
    const double half = ((double)blocks->side - 1) / 2;
    const double bx =
        fmax(0, fmin(((double)x - half) / (double)blocks->side, (double)(blocks->columns - 1)));
    const double by =
        fmax(0, fmin(((double)y - half) / (double)blocks->side, (double)(blocks->rows - 1)));
    const size_t x0 = (size_t)bx, y0 = (size_t)by;
    const size_t x1 = x0 + 1 < blocks->columns ? x0 + 1 : x0;
    const size_t y1 = y0 + 1 < blocks->rows ? y0 + 1 : y0;
    const double fx = bx - (double)x0, fy = by - (double)y0;
    const double *const upper = blocks->ratio + y0 * blocks->columns;
    const double *const lower = blocks->ratio + y1 * blocks->columns;

    return (1 - fy) * ((1 - fx) * upper[x0] + fx * upper[x1]) +
           fy * ((1 - fx) * lower[x0] + fx * lower[x1]);
}

/* Shift depths so that bare paper's mode is 0, and measure its scatter on the light side of it. */
static void find_noise(float *depth, size_t cells, unsigned channels, fleck_relief *relief)
{
    enum { BINS = 600, SPREAD = 5 }; /* of 0.001, from -0.3 to 0.3 */
    size_t counts[BINS] = { 0 };
    size_t best = BINS / 2, most = 0, light = 0, within = 0, middle = 0;
    double mode;

    for (size_t i = 0; i < cells; i++) {
        const double bin = floor(depth[i] * 1000.0) + BINS / 2;

        if (bin >= 0 && bin < BINS)
            counts[(size_t)bin]++;
    }
    for (size_t i = SPREAD; i + SPREAD < BINS; i++) {
        size_t around = 0;

        for (size_t j = i - SPREAD; j <= i + SPREAD; j++)
            around += counts[j];
        if (around > most) {
            most = around;
            best = i;
        }
    }
    mode = ((double)best + 0.5 - BINS / 2) / 1000;
    for (size_t i = 0; i < cells;
         i++) /* without anything near the paper's tone there is no paper */
        depth[i] = most > 0 ? (float)(depth[i] - mode) : 0;
    /* the median deviation on the light side: half of it may be lid or glare, lighter than paper */
    for (size_t i = 0; i < best; i++)
        light += counts[i];
    while (middle < best && 2 * (within += counts[best - 1 - middle]) < light)
        middle++;
    relief->noise = ((double)middle + 0.5) / 1000 / 0.6745; /* of a normal distribution */
    /*
     * 4 standard deviations leave some 60 of an A3 sheet's cells, which stay alone; the largest of
     * three channels scatters more on the dark side than on the light one
     */
    relief->least = fmax((channels == 1 ? 4 : 5) * relief->noise, 0.02);
}

fleck_status fleck_relief_find(const fleck_sheet_map *map, fleck_ink ink, fleck_relief *relief,
                               fleck_error *err)
{
    const size_t cells = map->columns * map->rows;
    const size_t shorter = map->columns < map->rows ? map->columns : map->rows;
    const size_t eighth = shorter / 8, most = (size_t)fmax(8 / map->cell_mm, 4);
    struct blocks blocks = { .side = eighth < 4 ? 4 : eighth > most ? most : eighth };
    fleck_status status = FLECK_OK;

    blocks.columns = (map->columns + blocks.side - 1) / blocks.side;
    blocks.rows = (map->rows + blocks.side - 1) / blocks.side;
    blocks.tone = fleck_alloc_array(blocks.columns * blocks.rows, sizeof *blocks.tone);
    blocks.ratio = fleck_alloc_array(blocks.columns * blocks.rows, sizeof *blocks.ratio);
    relief->depth = fleck_alloc_array(cells, sizeof *relief->depth);
    if (blocks.tone == NULL || blocks.ratio == NULL || relief->depth == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory for a map of the sheet; free some memory");
        goto done;
    }
    for (unsigned c = 0; c < map->channels; c++) {
        double surface[TERMS];

        find_block_tones(map, ink, c, &blocks);
        fit_surface(&blocks, map, commonest_bright_tone(map, ink, c), surface);
        smooth_ratios(&blocks, map, surface);
        for (size_t i = 0; i < cells; i++) {
            const size_t x = i % map->columns, y = i / map->columns;
            const double paper =
                ratio_at(&blocks, x, y) *
                surface_at(surface, place((double)x, map->columns), place((double)y, map->rows));
            const float depth = (float)(1 - cell_tone(map, ink, i, c) / paper);

            if (c == 0 || depth > relief->depth[i])
                relief->depth[i] = depth;
        }
    }
    find_noise(relief->depth, cells, map->channels, relief);
done:
    fleck_free(blocks.ratio);
    fleck_free(blocks.tone);
    return status;
}

fleck_status fleck_relief_smooth(const fleck_sheet_map *map, const fleck_relief *relief,
                                 fleck_relief *smooth, fleck_error *err)
{
    enum { REACH = 2 };

    smooth->depth = fleck_alloc_array(map->columns * map->rows, sizeof *smooth->depth);
    if (smooth->depth == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for a map of the sheet; free some memory");
    for (size_t y = 0; y < map->rows; y++) {
        for (size_t x = 0; x < map->columns; x++) {
            double sum = 0;
            unsigned count = 0;

            for (size_t j = y > REACH ? y - REACH : 0; j <= y + REACH && j < map->rows; j++) {
                for (size_t i = x > REACH ? x - REACH : 0; i <= x + REACH && i < map->columns;
                     i++) {
                    const float depth = relief->depth[j * map->columns + i];

                    /* what stands out by itself was looked at before; here it must not count */
                    sum += depth < relief->least ? depth : 0;
                    count++;
                }
            }
            smooth->depth[y * map->columns + x] = (float)(sum / count);
        }
    }
    find_noise(smooth->depth, map->columns * map->rows, map->channels, smooth);
    return FLECK_OK;
}
