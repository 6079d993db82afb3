/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What a printed block is: a patch, or one of the things that lie beside patches. Each test asks
 * for what a patch does not have; thresholds are common practice, no source, and hold for the
 * sheets of the tests with room on both sides.
 */
#include "segment/locate_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"

enum { BANDS = 3 };

struct judging {
    const fleck_sheet_map *map;
    const fleck_relief *relief;
    const fleck_blocks *blocks;
    fleck_block *block;
    double long_half, short_half; /* of the box, in cells */
    bool upright;                 /* the longer side is v */
    double ink;                   /* depth of solid ink in the block */
    double density;               /* share of the box's cells that are at least half ink */
    double mean;                  /* mean depth in the box */
};

static double depth_at(const struct judging *judging, double along, double across)
{
    return fleck_box_depth(judging->map, judging->relief, &judging->block->box, !judging->upright,
                           along, across);
}

static int compare_floats(const void *a, const void *b)
{
    const float x = *(const float *)a, y = *(const float *)b;

    return (x > y) - (x < y);
}

/* All depths of the box as an array, and the numbers that come from them. */
static fleck_status take_depths(struct judging *judging, fleck_error *err)
{
    const size_t longer = (size_t)(2 * judging->long_half),
                 shorter = (size_t)(2 * judging->short_half);
    const size_t count = longer * shorter;
    float *const depths = fleck_alloc_array(count, sizeof *depths);
    size_t n = 0, half_ink = 0;
    double sum = 0;

    if (depths == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to judge a patch; free some memory");
    for (size_t i = 0; i < longer; i++) {
        for (size_t j = 0; j < shorter; j++) {
            depths[n] = (float)depth_at(judging, (double)i + 0.5 - judging->long_half,
                                        (double)j + 0.5 - judging->short_half);
            sum += depths[n++];
        }
    }
    qsort(depths, n, sizeof *depths, compare_floats);
    judging->mean = n > 0 ? sum / (double)n : 0;
    judging->ink = n > 0 ? depths[n * 49 / 50] : 0;
    for (size_t i = 0; i < n; i++)
        half_ink += depths[i] > judging->ink / 2;
    judging->density = n > 0 ? (double)half_ink / (double)n : 0;
    fleck_free(depths);
    return FLECK_OK;
}

/* Along the longer side. */
static void take_profile(const struct judging *judging, unsigned band, unsigned bands,
                         fleck_profile *profile)
{
    fleck_profile_take(judging->map, judging->relief, &judging->block->box, !judging->upright, band,
                       bands, profile);
}

static bool is_flat(const struct judging *judging, const fleck_profile *profile, size_t i)
{
    return profile->scatter[i] < 3 * judging->relief->noise + 0.02 + 0.06 * profile->mean[i];
}

/*
 * A grey scale is flat across and changes its tone along: at least three steps, or a slope, over at
 * least a fifth of the paper's tone. A solid patch does not change.
 */
static bool is_grey_scale(const struct judging *judging, const fleck_profile *profile)
{
    const size_t few = (size_t)(2 / judging->map->cell_mm) + 1; /* a step has at least 2 mm */
    const size_t rim = profile->count / 20;
    size_t flat = 0, levels = 1, looked_at = 0;
    double low = INFINITY, high = -INFINITY, level = NAN;
    double travelled = 0;

    if (judging->long_half < 2 * judging->short_half || profile->count < 4 * few)
        return false;
    for (size_t i = rim; i + rim < profile->count; i++) {
        looked_at++;
        if (!is_flat(judging, profile, i))
            continue;
        flat++;
        low = fmin(low, profile->mean[i]);
        high = fmax(high, profile->mean[i]);
        if (isnan(level))
            level = profile->mean[i];
        if (fabs(profile->mean[i] - level) >
            0.03 + 3 * judging->relief->noise / sqrt(judging->short_half)) {
            travelled += fabs(profile->mean[i] - level);
            level = profile->mean[i];
            levels++;
        }
    }
    /* tones go one way, or up and down once at most */
    return flat * 4 >= looked_at * 3 && levels >= 3 && high - low >= 0.2 &&
           travelled <= 2.5 * (high - low);
}

/* Correlation of a profile with itself some cells further on, after slow changes are taken off. */
static double self_correlation(const fleck_profile *profile, double *rest, size_t lag, size_t slow)
{
    double product = 0, square = 0;
    size_t pairs = 0;

    for (size_t i = 0; i < profile->count; i++) {
        const size_t first = i > slow ? i - slow : 0;
        const size_t past = i + slow + 1 < profile->count ? i + slow + 1 : profile->count;
        double sum = 0;

        for (size_t j = first; j < past; j++)
            sum += profile->mean[j];
        rest[i] = profile->mean[i] - sum / (double)(past - first);
    }
    for (size_t i = 0; i < profile->count; i++) {
        square += rest[i] * rest[i];
        if (i + lag < profile->count) {
            product += rest[i] * rest[i + lag];
            pairs++;
        }
    }
    if (!(square > 0) || pairs == 0)
        return 0;
    return product / (double)pairs / (square / (double)profile->count);
}

/*
 * A ruler is long and repeats itself along: ticks at every millimetre or sixteenth of an inch show
 * at multiples of 1 mm and of 1/8 inch, in the band where they stand.
 */
static bool is_ruler(const struct judging *judging, fleck_profile *profile, double *rest)
{
    static const double periods_mm[] = { 1, 2, 5, 10, 1.5875, 3.175, 6.35, 12.7 };
    const double cell_mm = judging->map->cell_mm;

    if (judging->long_half < 3 * judging->short_half)
        return false;
    for (unsigned band = 0; band < BANDS; band++) {
        take_profile(judging, band, BANDS, profile);
        for (size_t p = 0; p < sizeof periods_mm / sizeof *periods_mm; p++) {
            const double period = periods_mm[p] / cell_mm;
            double least = 1;

            if (period < 2 || 8 * period > (double)profile->count)
                continue;
            /* again and again, not by chance once */
            for (unsigned times = 2; times <= 6; times += 2) {
                const double seen = self_correlation(profile, rest, (size_t)(times * period + 0.5),
                                                     (size_t)(2 * period));

                least = seen < least ? seen : least;
            }
            if (least > 0.35)
                return true;
        }
    }
    return false;
}

/*
 * Two patches that touch without a gap show as a jump in a profile: on either side the depth is
 * even over at least the smallest side of a patch, and differs by more than its scatter there.
 */
static bool has_two_tones(const struct judging *judging, const fleck_profile *profile,
                          size_t smallest)
{
    const size_t rim = (size_t)(0.75 / judging->map->cell_mm) + 1;
    const size_t near = (size_t)(3 / judging->map->cell_mm);

    if (near <= rim)
        return false;
    for (size_t at = smallest; at + smallest < profile->count; at++) {
        double before = 0, behind = 0, near_before = 0, near_behind = 0, squares = 0, within;

        for (size_t i = rim; i + rim < profile->count; i++)
            *(i < at ? &before : &behind) += profile->mean[i];
        before /= (double)(at - rim);
        behind /= (double)(profile->count - rim - at);
        if (fabs(before - behind) < 0.35 * fmax(before, behind))
            continue;
        for (size_t i = rim; i + rim < profile->count; i++) {
            const double rest = profile->mean[i] - (i < at ? before : behind);

            squares += rest * rest;
        }
        within = sqrt(squares / (double)(profile->count - 2 * rim));
        for (size_t i = 1; i < near; i++) {
            near_before += profile->mean[at - 1 - i] / (double)(near - 1);
            near_behind += profile->mean[at + i] / (double)(near - 1);
        }
        if (fabs(before - behind) > 4 * within &&
            (near_before - near_behind) / (before - behind) > 0.7)
            return true;
    }
    return false;
}

/* The mean extent of the ink's connected pieces in the box, weighted by area, in cells. */
static fleck_status find_piece_size(const struct judging *judging, double *extent, double *strokes,
                                    fleck_error *err)
{
    const fleck_shape *const shape = &judging->block->shape;
    const size_t columns = shape->right - shape->left, rows = shape->bottom - shape->top;
    uint8_t *const mask = fleck_alloc_array(columns * rows, 1);
    uint32_t *const label = fleck_alloc_array(columns * rows, sizeof *label);
    fleck_cells cells = { 0 };
    fleck_shape *pieces = NULL;
    size_t count = 0, area = 0;
    double sum = 0, thin = 0;
    fleck_status status = fleck_cells_init(&cells, columns, rows, err);

    if (status == FLECK_OK && (mask == NULL || label == NULL))
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory to judge a patch; free some memory");
    if (status != FLECK_OK)
        goto done;
    for (size_t y = 0; y < rows; y++) {
        for (size_t x = 0; x < columns; x++) {
            const size_t i = (shape->top + y) * judging->map->columns + shape->left + x;

            mask[y * columns + x] = judging->relief->depth[i] > judging->ink / 2 &&
                                    judging->blocks->owner[i] == judging->block->label;
        }
    }
    if ((status = fleck_cells_label(&cells, mask, label, &pieces, &count, err)) != FLECK_OK)
        goto done;
    for (size_t k = 0; k < count; k++) {
        const double long_way = hypot((double)(pieces[k].right - pieces[k].left),
                                      (double)(pieces[k].bottom - pieces[k].top));

        area += pieces[k].area;
        sum += long_way * (double)pieces[k].area;
        /* a disc has 0.39, a line ten times as long as wide has 0.1 */
        if (long_way * judging->map->cell_mm > 2 &&
            (double)pieces[k].area < 0.2 * long_way * long_way)
            thin += (double)pieces[k].area;
    }
    *extent = area > 0 ? sum / (double)area : 0;
    *strokes = area > 0 ? thin / (double)area : 0;
done:
    fleck_free(pieces);
    fleck_free(mask);
    fleck_free(label);
    fleck_cells_clear(&cells);
    return status;
}

/*
 * A few strokes as large as the block. Ink of a patch has that too where its coverage is high, so a
 * small block of no clear shape is looked at more closely than others.
 */
static bool is_writing(const struct judging *judging, double min_size_mm, double extent,
                       double strokes)
{
    const double shorter = 2 * judging->short_half;
    const bool in_doubt = !fleck_block_is_rectangular(judging->block) &&
                          shorter * judging->map->cell_mm < 2 * min_size_mm;

    if (in_doubt && judging->density < 0.6 && (extent > 0.66 * shorter || strokes > 0.4))
        return true;
    return judging->density < 0.35 && (extent > 0.33 * shorter || strokes > 0.5);
}

/* A corner of the box lies in the outermost cells of the scan, or beyond. */
static bool reaches_edge(const struct judging *judging, bool edge[4])
{
    const fleck_turned_box *const box = &judging->block->box;
    const double near = 0.4 / judging->map->cell_mm;

    memset(edge, 0, 4 * sizeof *edge);
    for (unsigned corner = 0; corner < 4; corner++) {
        const double u = corner % 2 == 0 ? -box->half_u : box->half_u;
        const double v = corner < 2 ? -box->half_v : box->half_v;
        const double x = box->x + u * cos(box->angle) + v * sin(box->angle);
        const double y = box->y - u * sin(box->angle) + v * cos(box->angle);

        edge[0] |= x < near;
        edge[1] |= y < near;
        edge[2] |= x > (double)judging->map->columns - near;
        edge[3] |= y > (double)judging->map->rows - near;
    }
    return edge[0] || edge[1] || edge[2] || edge[3];
}

/* Around patches there must be room for them. */
static bool is_frame(const struct judging *judging, double min_size_mm)
{
    return fleck_block_is_hollow(judging->block) &&
           2 * judging->short_half * judging->map->cell_mm > 3 * min_size_mm;
}

static bool is_dark_margin(const bool edge[4], bool flat)
{
    const int edges = edge[0] + edge[1] + edge[2] + edge[3];

    return flat && edges == 3;
}

fleck_status fleck_block_judge(const fleck_sheet_map *map, const fleck_relief *relief,
                               const fleck_blocks *blocks, double min_size_mm, fleck_block *block,
                               fleck_error *err)
{
    const fleck_turned_box *const box = &block->box;
    struct judging judging = { .map = map, .relief = relief, .blocks = blocks, .block = block };
    fleck_profile *profile = NULL;
    double *rest = NULL;
    double extent, strokes, short_mm;
    size_t flat = 0;
    bool edge[4];
    fleck_status status;

    judging.upright = box->half_v > box->half_u;
    judging.long_half = judging.upright ? box->half_v : box->half_u;
    judging.short_half = judging.upright ? box->half_u : box->half_v;
    short_mm = 2 * judging.short_half * map->cell_mm;
    block->kind = FLECK_BLOCK_PATCH;
    if (judging.short_half < 2) {
        block->kind = FLECK_BLOCK_SMALL;
        return FLECK_OK;
    }
    profile = fleck_alloc_array(1, sizeof *profile);
    rest = fleck_alloc_array(FLECK_PROFILE_AT_MOST, sizeof *rest);
    if (profile == NULL || rest == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory to judge a patch; free some memory");
        goto done;
    }
    if ((status = take_depths(&judging, err)) != FLECK_OK ||
        (status = find_piece_size(&judging, &extent, &strokes, err)) != FLECK_OK)
        goto done;
    take_profile(&judging, 0, 1, profile);
    for (size_t i = 0; i < profile->count; i++)
        flat += is_flat(&judging, profile, i);
    if (reaches_edge(&judging, edge))
        block->doubts |= FLECK_DOUBT_CUT;
    if (judging.ink < 2.5 * relief->least)
        block->doubts |= FLECK_DOUBT_WEAK;
    if (is_frame(&judging, min_size_mm) || is_dark_margin(edge, flat * 10 >= profile->count * 9))
        block->kind = FLECK_BLOCK_FRAME;
    else if (is_grey_scale(&judging, profile))
        block->kind = FLECK_BLOCK_GREY_SCALE;
    else if (is_ruler(&judging, profile, rest))
        block->kind = FLECK_BLOCK_RULER;
    else if (block->scraps || fleck_block_is_hollow(block) ||
             is_writing(&judging, min_size_mm, extent, strokes))
        block->kind = FLECK_BLOCK_WRITING;
    else if (short_mm < min_size_mm - 0.25)
        block->kind = FLECK_BLOCK_SMALL;
    if (block->kind == FLECK_BLOCK_PATCH) {
        const size_t smallest = (size_t)(min_size_mm / map->cell_mm);

        for (unsigned along_u = 0; along_u < 2; along_u++) {
            fleck_profile_take(map, relief, box, along_u == 1, 0, 1, profile);
            if (has_two_tones(&judging, profile, smallest))
                block->doubts |= FLECK_DOUBT_SEVERAL;
        }
    }
done:
    fleck_free(rest);
    fleck_free(profile);
    return status;
}
