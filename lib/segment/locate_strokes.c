/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Strokes come off before gaps are closed: a word in pencil between two sparse patches would tie
 * them together. A stroke is a connected piece much longer than thick, with little ink around it,
 * and that mostly of other strokes. Dots of a patch are short; where they grow together into long
 * pieces there are short ones among these, or much ink around. Ticks of rulers, crosses and lines
 * are strokes as well.
 */
#include "segment/locate_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"

/* Common practice, no source; tried on drawn writing, rulers and speckle of 10 to 60 %. */
#define LONG_MM 2.5
#define LONG_OVER_THICK 6
#define INK_AROUND 0.36   /* share of inked cells */
#define SHORT_AROUND 0.15 /* of that ink, what belongs to short pieces */
#define AROUND_MM 2.5
/* Of the depth of solid ink near by: what is darker is the body of a stroke or dot, not its rim. */
#define BODY 0.4

struct strokes {
    const fleck_sheet_map *map;
    const fleck_relief *relief;
    fleck_cells *cells;
    uint8_t *body;
    uint32_t *label;
    uint32_t *sums;   /* table of sums of body, with a row and column of zeros */
    uint32_t *shorts; /* the same of the cells of short pieces */
    bool *is_long;    /* of each piece */
};

static int compare_floats(const void *a, const void *b)
{
    const float x = *(const float *)a, y = *(const float *)b;

    return (x > y) - (x < y);
}

/* Mark the body of all ink: block by block, relative to the darkest that is printed there. */
static void find_body(const struct strokes *strokes, size_t side, float *room)
{
    const fleck_sheet_map *const map = strokes->map;
    const float *const depth = strokes->relief->depth;

    for (size_t top = 0; top < map->rows; top += side) {
        for (size_t left = 0; left < map->columns; left += side) {
            size_t count = 0;
            double least = strokes->relief->least;

            for (size_t y = top; y < top + side && y < map->rows; y++) {
                for (size_t x = left; x < left + side && x < map->columns; x++) {
                    if (depth[y * map->columns + x] > least)
                        room[count++] = depth[y * map->columns + x];
                }
            }
            if (count == 0)
                continue;
            qsort(room, count, sizeof *room, compare_floats);
            least = fmax(least, BODY * room[count * 9 / 10]);
            for (size_t y = top; y < top + side && y < map->rows; y++) {
                for (size_t x = left; x < left + side && x < map->columns; x++)
                    strokes->body[y * map->columns + x] = depth[y * map->columns + x] > least;
            }
        }
    }
}

/* Tables of sums: of all bodies, and of those of short pieces. */
static void sum_bodies(const struct strokes *strokes)
{
    const size_t columns = strokes->map->columns, stride = columns + 1;

    memset(strokes->sums, 0, stride * sizeof *strokes->sums);
    memset(strokes->shorts, 0, stride * sizeof *strokes->shorts);
    for (size_t y = 0; y < strokes->map->rows; y++) {
        const uint32_t *const all_above = strokes->sums + y * stride;
        const uint32_t *const shorts_above = strokes->shorts + y * stride;
        uint32_t *const all = strokes->sums + (y + 1) * stride;
        uint32_t *const shorts = strokes->shorts + (y + 1) * stride;
        uint32_t sum = 0, short_sum = 0;

        all[0] = shorts[0] = 0;
        for (size_t x = 0; x < columns; x++) {
            const uint32_t number = strokes->label[y * columns + x];

            sum += number > 0;
            short_sum += number > 0 && !strokes->is_long[number - 1];
            all[x + 1] = all_above[x + 1] + sum;
            shorts[x + 1] = shorts_above[x + 1] + short_sum;
        }
    }
}

/* Share of the cells around one that a table counts. */
static double share_around(const struct strokes *strokes, const uint32_t *sums, size_t x, size_t y)
{
    const fleck_sheet_map *const map = strokes->map;
    const size_t reach = (size_t)(AROUND_MM / map->cell_mm), stride = map->columns + 1;
    const size_t left = x > reach ? x - reach : 0, top = y > reach ? y - reach : 0;
    const size_t right = x + reach + 1 < map->columns ? x + reach + 1 : map->columns;
    const size_t bottom = y + reach + 1 < map->rows ? y + reach + 1 : map->rows;
    /* differences of unsigned numbers are right whatever the order */
    const uint32_t counted = sums[bottom * stride + right] - sums[top * stride + right] -
                             sums[bottom * stride + left] + sums[top * stride + left];

    return (double)counted / (double)((right - left) * (bottom - top));
}

static bool is_long(const struct strokes *strokes, const fleck_shape *piece, uint32_t number)
{
    const fleck_sheet_map *const map = strokes->map;
    const double length =
        hypot((double)(piece->right - piece->left), (double)(piece->bottom - piece->top));
    size_t rim = 0;

    if (length * map->cell_mm < LONG_MM)
        return false;
    for (size_t y = piece->top; y < piece->bottom; y++) {
        for (size_t x = piece->left; x < piece->right; x++) {
            const size_t i = y * map->columns + x;

            if (strokes->label[i] != number)
                continue;
            rim += x == 0 || strokes->label[i - 1] != number;
            rim += x + 1 == map->columns || strokes->label[i + 1] != number;
            rim += y == 0 || strokes->label[i - map->columns] != number;
            rim += y + 1 == map->rows || strokes->label[i + map->columns] != number;
        }
    }
    /* thickness is area over half the outline; sides of cells make an outline 4/pi too long */
    return length * (double)rim * 0.785 > LONG_OVER_THICK * 2 * (double)piece->area;
}

static bool is_alone(const struct strokes *strokes, const fleck_shape *piece, uint32_t number)
{
    const size_t columns = strokes->map->columns;
    double around = 0, short_around = 0;

    for (size_t y = piece->top; y < piece->bottom; y++) {
        for (size_t x = piece->left; x < piece->right; x++) {
            if (strokes->label[y * columns + x] != number)
                continue;
            around += share_around(strokes, strokes->sums, x, y);
            short_around += share_around(strokes, strokes->shorts, x, y);
        }
    }
    return around < INK_AROUND * (double)piece->area && short_around < SHORT_AROUND * around;
}

fleck_status fleck_strokes_remove(const fleck_sheet_map *map, const fleck_relief *relief,
                                  fleck_cells *cells, uint8_t *mask, fleck_error *err)
{
    const size_t count = map->columns * map->rows;
    const size_t side = (size_t)(4 / map->cell_mm) + 1;
    struct strokes strokes = { .map = map, .relief = relief, .cells = cells };
    float *const room = fleck_alloc_array(side * side, sizeof *room);
    fleck_shape *pieces = NULL;
    size_t piece_count = 0;
    fleck_status status;

    strokes.body = fleck_alloc_zeroed(count, 1);
    strokes.label = fleck_alloc_array(count, sizeof *strokes.label);
    strokes.sums = fleck_alloc_array((map->columns + 1) * (map->rows + 1), sizeof *strokes.sums);
    strokes.shorts =
        fleck_alloc_array((map->columns + 1) * (map->rows + 1), sizeof *strokes.shorts);
    if (room == NULL || strokes.body == NULL || strokes.label == NULL || strokes.sums == NULL ||
        strokes.shorts == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory for a map of the sheet; free some memory");
        goto done;
    }
    find_body(&strokes, side, room);
    for (size_t i = 0; i < count; i++)
        strokes.body[i] &= mask[i]; /* what was taken off is no neighbour */
    status = fleck_cells_label(cells, strokes.body, strokes.label, &pieces, &piece_count, err);
    if (status != FLECK_OK)
        goto done;
    strokes.is_long = fleck_alloc_array(piece_count, sizeof *strokes.is_long);
    if (strokes.is_long == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory for a map of the sheet; free some memory");
        goto done;
    }
    for (size_t k = 0; k < piece_count; k++)
        strokes.is_long[k] = is_long(&strokes, &pieces[k], (uint32_t)(k + 1));
    sum_bodies(&strokes);
    for (size_t k = 0; k < piece_count; k++)
        strokes.is_long[k] =
            strokes.is_long[k] && is_alone(&strokes, &pieces[k], (uint32_t)(k + 1));
    for (size_t i = 0; i < count; i++)
        strokes.body[i] = strokes.label[i] > 0 && strokes.is_long[strokes.label[i] - 1];
    fleck_cells_grow(cells, strokes.body, 0.4 / map->cell_mm); /* with its soft rim */
    for (size_t i = 0; i < count; i++)
        mask[i] &= (uint8_t)!strokes.body[i];
done:
    fleck_free(strokes.is_long);
    fleck_free(strokes.shorts);
    fleck_free(pieces);
    fleck_free(strokes.sums);
    fleck_free(strokes.label);
    fleck_free(strokes.body);
    fleck_free(room);
    return status;
}
