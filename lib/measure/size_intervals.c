/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Tiles of the patch are drawn with replacement; a tile drawn twice counts its dots twice.
 *
 * A dot clear of the border can lie in (W - w - 1)(H - h - 1) places, and its place among them
 * tells its tile: as many dots of each size are then expected in each tile, also beside the border,
 * where the largest are missing. In a mask places are not counted out, and the first pixel tells
 * the tile.
 *
 * The dots stay sorted by size. Their weights are summed up to each block of dots, tile by tile;
 * how often each tile was drawn turns such a row into the sum of a resample, and a quantile is
 * found by halving, then along one block.
 */
#include "measure/size_intervals.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include <gsl/gsl_cdf.h>

#include "core/memory.h"
#include "core/random.h"
#include "core/spill.h"
#include "segment/mask_words.h"

enum {
    TILES = 36, /* about; the interval is then hardly wider than with more, the tiles still large */
    MOST_TILES = 2 * TILES,
    LEAST_DOTS = 20,
    LEAST_FILLED_TILES = 10, /* the chance that no resampled tile holds a dot is then 1e-5 */
    BLOCK_DOTS = 64,
    MOST_BLOCKS = 4096
};

static const double confidence = 0.95;

enum figure { D10, D50, D90, AREA_D50, MEAN_DIAMETER, PER_CM2, FIGURES };

struct tiles {
    size_t across, down, count;
    size_t number[MOST_TILES]; /* of the tile at a place, for those that have inside pixels */
    double area_px[MOST_TILES];
};

struct bootstrap {
    const fleck_sized *list;
    size_t n;
    struct tiles tiles;
    uint16_t *tile; /* of each dot */
    size_t block, rows;
    double *weights; /* row r: for each tile, the sum over the first r blocks */
    double *areas;   /* the same of weight times area */
    double diameters[MOST_TILES];
    double all_area_px;
    double pixel_mm2;
    double times[MOST_TILES]; /* how often each tile was drawn */
};

/* The part of `parts` in which a place lies, and the first place of a part. */
static size_t part_of(uint64_t place, uint64_t places, size_t parts)
{
    return (size_t)(place * parts / places);
}

static size_t first_of(size_t part, size_t places, size_t parts)
{
    return (part * places + parts - 1) / parts;
}

/* As square as can be, in mm. */
static void lay_tiles(struct tiles *tiles, const fleck_geometry *geometry, const fleck_mask *mask)
{
    const double width_mm = (double)geometry->width_px * geometry->pixel_x_mm;
    const double height_mm = (double)geometry->height_px * geometry->pixel_y_mm;
    const double across = floor(sqrt(TILES * width_mm / height_mm) + 0.5);

    tiles->across = (size_t)fmin(fmax(across, 1), TILES);
    tiles->down = (size_t)floor(TILES / (double)tiles->across + 0.5);
    tiles->count = 0;
    for (size_t i = 0; i < tiles->across * tiles->down; i++) {
        const size_t column = i % tiles->across, row = i / tiles->across;
        const size_t left = first_of(column, geometry->width_px, tiles->across);
        const size_t right = first_of(column + 1, geometry->width_px, tiles->across);
        const size_t bottom = first_of(row + 1, geometry->height_px, tiles->down);
        uint64_t inside = 0;

        for (size_t y = first_of(row, geometry->height_px, tiles->down); mask != NULL && y < bottom;
             y++)
            inside += fleck_mask_count(mask, y, left, right);
        tiles->number[i] = tiles->count;
        if (mask == NULL || inside > 0)
            tiles->area_px[tiles->count++] = mask == NULL ? 1 : (double)inside;
    }
}

static uint16_t tile_of(const struct tiles *tiles, const fleck_component *dot,
                        const fleck_geometry *geometry, const fleck_mask *mask)
{
    size_t column, row;

    if (mask != NULL) {
        column = part_of(dot->first_x_px, geometry->width_px, tiles->across);
        row = part_of(dot->first_y_px, geometry->height_px, tiles->down);
    } else {
        column = part_of(dot->min_x_px - 1,
                         geometry->width_px - (dot->max_x_px - dot->min_x_px) - 2, tiles->across);
        row = part_of(dot->min_y_px - 1, geometry->height_px - (dot->max_y_px - dot->min_y_px) - 2,
                      tiles->down);
    }
    return (uint16_t)tiles->number[row * tiles->across + column];
}

static bool begin(struct bootstrap *b, const fleck_geometry *geometry, const fleck_mask *mask,
                  size_t *filled)
{
    double weight[MOST_TILES] = { 0 }, area[MOST_TILES] = { 0 };
    size_t cells;

    b->block = BLOCK_DOTS > b->n / MOST_BLOCKS ? BLOCK_DOTS : b->n / MOST_BLOCKS + 1;
    b->rows = (b->n + b->block - 1) / b->block + 1;
    b->tile = fleck_alloc_array(b->n, sizeof *b->tile);
    if (!size_mul(b->rows, b->tiles.count, &cells))
        return false;
    b->weights = fleck_alloc_zeroed(cells, sizeof *b->weights);
    b->areas = fleck_alloc_zeroed(cells, sizeof *b->areas);
    if (b->tile == NULL || b->weights == NULL || b->areas == NULL)
        return false;
    for (size_t i = 0; i < b->n; i++) {
        const fleck_sized *const one = &b->list[i];
        const uint16_t tile = tile_of(&b->tiles, one->component, geometry, mask);

        fleck_spill_let_go();
        b->tile[i] = tile;
        weight[tile] += one->weight_per_px2;
        area[tile] += one->weight_per_px2 * (double)one->area_px;
        b->diameters[tile] += one->weight_per_px2 * one->diameter_mm;
        if ((i + 1) % b->block == 0 || i + 1 == b->n) {
            const size_t row = i / b->block + 1;

            for (size_t t = 0; t < b->tiles.count; t++) {
                b->weights[row * b->tiles.count + t] = weight[t];
                b->areas[row * b->tiles.count + t] = area[t];
            }
        }
    }
    *filled = 0;
    for (size_t t = 0; t < b->tiles.count; t++) {
        *filled += weight[t] > 0;
        b->all_area_px += b->tiles.area_px[t];
    }
    return true;
}

static double drawn(const struct bootstrap *b, const double *of_tiles)
{
    double sum = 0;

    for (size_t t = 0; t < b->tiles.count; t++)
        sum += b->times[t] * of_tiles[t];
    return sum;
}

/* As fleck_sizes_summarise takes it, from the dots that were drawn. */
static double quantile(const struct bootstrap *b, const double *sums, bool by_area, double p)
{
    const size_t stride = b->tiles.count;
    const double goal = drawn(b, sums + (b->rows - 1) * stride) * p * (1 - 1e-12);
    size_t low = 0, high = b->rows - 1, i;
    double sum;

    while (high - low > 1) {
        const size_t middle = low + (high - low) / 2;

        if (drawn(b, sums + middle * stride) >= goal)
            high = middle;
        else
            low = middle;
    }
    sum = drawn(b, sums + low * stride);
    for (i = low * b->block; i + 1 < b->n && i + 1 < high * b->block; i++) {
        const fleck_sized *const one = &b->list[i];

        sum += b->times[b->tile[i]] * one->weight_per_px2 * (by_area ? (double)one->area_px : 1);
        if (sum >= goal)
            break;
    }
    return b->list[i].diameter_mm;
}

static void resample(struct bootstrap *b, uint64_t *random, double *figures, size_t step)
{
    const size_t tiles = b->tiles.count;
    double weight;

    for (size_t t = 0; t < tiles; t++)
        b->times[t] = 0;
    for (size_t t = 0; t < tiles; t++)
        b->times[(size_t)(fleck_random_uniform(random) * (double)tiles)]++;
    weight = drawn(b, b->weights + (b->rows - 1) * tiles);
    figures[PER_CM2 * step] =
        weight * b->all_area_px / drawn(b, b->tiles.area_px) / b->pixel_mm2 * 100;
    if (!(weight > 0)) {
        for (int f = 0; f < PER_CM2; f++)
            figures[(size_t)f * step] = NAN;
        return;
    }
    figures[MEAN_DIAMETER * step] = drawn(b, b->diameters) / weight;
    figures[D10 * step] = quantile(b, b->weights, false, 0.1);
    figures[D50 * step] = quantile(b, b->weights, false, 0.5);
    figures[D90 * step] = quantile(b, b->weights, false, 0.9);
    figures[AREA_D50 * step] = quantile(b, b->areas, true, 0.5);
}

static int by_value(const void *left, const void *right)
{
    const double a = *(const double *)left, b = *(const double *)right;

    return (a > b) - (a < b);
}

/* From the order statistics nearest outside the levels, at most the outermost. */
static fleck_interval interval_of(double *values, size_t n, double level)
{
    size_t there = 0, below;

    for (size_t i = 0; i < n; i++) {
        if (!isnan(values[i]))
            values[there++] = values[i];
    }
    if (there == 0)
        return (fleck_interval){ NAN, NAN };
    qsort(values, there, sizeof *values, by_value);
    below = (size_t)(level * (double)(there + 1));
    below = below > 0 ? below - 1 : 0;
    return (fleck_interval){ values[below], values[there - 1 - below] };
}

/*
 * Level of an end. A bootstrap of few tiles is too narrow: its variance lacks the factor
 * tiles / (tiles - 1), and its tails are those of the normal law, not of Student's.
 */
static double level_of(size_t tiles)
{
    const double t = gsl_cdf_tdist_Pinv(0.5 + confidence / 2, (double)(tiles - 1));

    return gsl_cdf_ugaussian_P(-t * sqrt((double)tiles / (double)(tiles - 1)));
}

fleck_status fleck_size_intervals_find(const fleck_sized *list, size_t n,
                                       const fleck_geometry *geometry, const fleck_mask *mask,
                                       const fleck_size_options *options, fleck_size_intervals *out,
                                       fleck_error *err)
{
    const size_t resamples = options->resamples;
    struct bootstrap b = { .list = list, .n = n, .pixel_mm2 = fleck_area_mm2(geometry, 1) };
    fleck_interval found[FIGURES];
    double *figures = NULL;
    uint64_t random = options->seed;
    fleck_status status = FLECK_OK;
    size_t filled, cells;

    for (size_t f = 0; f < FIGURES; f++)
        found[f] = (fleck_interval){ NAN, NAN };
    out->tiles = 0;
    if (n < LEAST_DOTS || resamples == 0)
        goto done;
    mask = fleck_mask_unless_full(mask);
    lay_tiles(&b.tiles, geometry, mask);
    if (size_mul(resamples, FIGURES, &cells))
        figures = fleck_alloc_array(cells, sizeof *figures);
    if (figures == NULL || !begin(&b, geometry, mask, &filled)) {
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory for the intervals of %zu sizes; ask for fewer resamples", n);
        goto done;
    }
    if (filled < LEAST_FILLED_TILES)
        goto done;
    for (size_t r = 0; r < resamples; r++) {
        fleck_spill_let_go();
        resample(&b, &random, figures + r, resamples);
    }
    for (size_t f = 0; f < FIGURES; f++)
        found[f] = interval_of(figures + f * resamples, resamples, level_of(b.tiles.count));
    out->tiles = b.tiles.count;
done:
    out->d10_mm = found[D10];
    out->d50_mm = found[D50];
    out->d90_mm = found[D90];
    out->area_d50_mm = found[AREA_D50];
    out->mean_diameter_mm = found[MEAN_DIAMETER];
    out->per_cm2 = found[PER_CM2];
    fleck_free(b.tile);
    fleck_free(b.weights);
    fleck_free(b.areas);
    fleck_free(figures);
    return status;
}
