/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A disc of radius r around a pixel fits into the ink when the nearest bare pixel is further than r
 * away; the opening is all that lies within r of such a pixel. Two distance maps therefore give
 * each opening exactly, whatever the shape of a pixel.
 *
 * What lies beyond the window or the region is not known. It is taken as ink, and ink pixels within
 * 2r of it are not judged: neither their disc nor what stops it can then lie beyond.
 */
#include "measure/granulometry.h"

#include <math.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "measure/distance_map.h"
#include "measure/preferred_numbers.h"

/* What a loop hands out at a time. */
enum { COLUMNS_AT_A_TIME = 64, ROWS_AT_A_TIME = 8 };

struct worker {
    fleck_distance_line line;
    double *square; /* of a row */
    size_t judged, kept;
};

/* What the distance of is measured. */
enum target { TO_OUTSIDE, TO_BARE, TO_FITTING };

struct map {
    size_t width_px, height_px, pixels;
    double pixel_x_mm, pixel_y_mm;
    bool masked;
    uint8_t *ink, *mark;
    uint32_t *steps;
    double *to_bare;    /* squares of distances */
    double *to_outside; /* with a mask only */
    struct worker *workers;
    unsigned threads;
    enum target target;
    double radius2, sure2; /* of the disc, TO_FITTING */
    size_t sure_from;      /* the first pixel of a row that may be judged; the last is as far inside */
};

static bool bit(const fleck_bit_rows *rows, size_t x, size_t y)
{
    return fleck_bit_row(rows, y)[x / 64] >> x % 64 & 1;
}

static void free_map(struct map *map)
{
    for (unsigned i = 0; map->workers != NULL && i < map->threads; i++) {
        fleck_free(map->workers[i].line.square);
        fleck_free(map->workers[i].line.border);
        fleck_free(map->workers[i].line.apex);
        fleck_free(map->workers[i].square);
    }
    fleck_free(map->workers);
    fleck_free(map->ink);
    fleck_free(map->mark);
    fleck_free(map->steps);
    fleck_free(map->to_bare);
    fleck_free(map->to_outside);
}

static void take_columns(void *context, unsigned worker, size_t piece)
{
    struct map *const map = context;
    const size_t first = piece * COLUMNS_AT_A_TIME, left = map->width_px - first;
    const size_t end = first + (left < COLUMNS_AT_A_TIME ? left : COLUMNS_AT_A_TIME);

    (void)worker;
    for (size_t y = 0; map->target == TO_FITTING && y < map->height_px; y++) {
        for (size_t i = y * map->width_px + first; i < y * map->width_px + end; i++)
            map->mark[i] = map->to_bare[i] > map->radius2;
    }
    fleck_distance_columns(map->mark, map->width_px, map->height_px, first, end, map->steps);
}

/* Whether the border is further from pixel i of n than the disc must not reach. */
static bool is_sure(const struct map *map, size_t i, size_t n, double pixel_mm)
{
    const double border_mm = (double)(i + 1 < n - i ? i + 1 : n - i) * pixel_mm;

    return border_mm * border_mm > map->sure2;
}

static void count_row(const struct map *map, size_t y, struct worker *worker)
{
    const uint8_t *const ink = map->ink + y * map->width_px;
    const double *const to_outside = map->masked ? map->to_outside + y * map->width_px : NULL;

    for (size_t x = map->sure_from; x < map->width_px - map->sure_from; x++) {
        const size_t judged = ink[x] != 0 && (to_outside == NULL || to_outside[x] > map->sure2);

        worker->judged += judged;
        worker->kept += judged & (size_t)(worker->square[x] <= map->radius2);
    }
}

static void take_rows(void *context, unsigned number, size_t piece)
{
    struct map *const map = context;
    struct worker *const worker = &map->workers[number];
    const size_t first = piece * ROWS_AT_A_TIME, left = map->height_px - first;
    const size_t end = first + (left < ROWS_AT_A_TIME ? left : ROWS_AT_A_TIME);

    for (size_t y = first; y < end; y++) {
        const size_t at = y * map->width_px;

        if (map->target == TO_FITTING && !is_sure(map, y, map->height_px, map->pixel_y_mm))
            continue;
        fleck_distance_row(map->steps + at, map->width_px, map->pixel_x_mm, map->pixel_y_mm,
                           &worker->line,
                           map->target == TO_BARE      ? map->to_bare + at
                           : map->target == TO_OUTSIDE ? map->to_outside + at
                                                       : worker->square);
        if (map->target == TO_FITTING)
            count_row(map, y, worker);
    }
}

static void measure_distance(struct map *map, enum target target)
{
    map->target = target;
    fleck_parallel_for(map->threads, (map->width_px + COLUMNS_AT_A_TIME - 1) / COLUMNS_AT_A_TIME,
                       take_columns, map);
    fleck_parallel_for(map->threads, (map->height_px + ROWS_AT_A_TIME - 1) / ROWS_AT_A_TIME, take_rows,
                       map);
}

static bool new_worker(const struct map *map, struct worker *worker)
{
    const size_t width_px = map->width_px;

    worker->line.square = fleck_alloc_array(width_px, sizeof *worker->line.square);
    worker->line.border = fleck_alloc_array(width_px + 1, sizeof *worker->line.border);
    worker->line.apex = fleck_alloc_array(width_px, sizeof *worker->line.apex);
    worker->square = fleck_alloc_array(width_px, sizeof *worker->square);
    return worker->line.square != NULL && worker->line.border != NULL && worker->line.apex != NULL &&
           worker->square != NULL;
}

static bool new_map(struct map *map, const fleck_bit_rows *ink, const fleck_bit_rows *inside)
{
    map->masked = inside != NULL;
    map->ink = fleck_alloc_array(map->pixels, sizeof *map->ink);
    map->mark = fleck_alloc_array(map->pixels, sizeof *map->mark);
    map->steps = fleck_alloc_array(map->pixels, sizeof *map->steps);
    map->to_bare = fleck_alloc_array(map->pixels, sizeof *map->to_bare);
    map->workers = fleck_alloc_zeroed(map->threads, sizeof *map->workers);
    if (map->masked)
        map->to_outside = fleck_alloc_array(map->pixels, sizeof *map->to_outside);
    if (map->ink == NULL || map->mark == NULL || map->steps == NULL || map->to_bare == NULL ||
        map->workers == NULL || (map->masked && map->to_outside == NULL))
        return false;
    for (unsigned i = 0; i < map->threads; i++) {
        if (!new_worker(map, &map->workers[i]))
            return false;
    }
    for (size_t y = 0, i = 0; y < map->height_px; y++) {
        for (size_t x = 0; x < map->width_px; x++, i++) {
            map->ink[i] = bit(ink, x, y);
            map->mark[i] = map->masked && !bit(inside, x, y);
        }
    }
    if (map->masked)
        measure_distance(map, TO_OUTSIDE);
    for (size_t i = 0; i < map->pixels; i++)
        map->mark[i] = !map->ink[i] && !map->mark[i];
    measure_distance(map, TO_BARE);
    return true;
}

/* Share of the judged ink that a disc takes away; NAN when no ink can be judged. */
static double removed_by(struct map *map, double diameter_mm)
{
    size_t judged = 0, kept = 0;

    map->radius2 = diameter_mm * diameter_mm / 4;
    map->sure2 = diameter_mm * diameter_mm;
    map->sure_from = 0;
    while (map->sure_from < map->width_px - map->sure_from &&
           !is_sure(map, map->sure_from, map->width_px, map->pixel_x_mm))
        map->sure_from++;
    for (unsigned i = 0; i < map->threads; i++)
        map->workers[i].judged = map->workers[i].kept = 0;
    measure_distance(map, TO_FITTING);
    for (unsigned i = 0; i < map->threads; i++) {
        judged += map->workers[i].judged;
        kept += map->workers[i].kept;
    }
    return judged > 0 ? 1 - (double)kept / (double)judged : NAN;
}

static void summarise(fleck_granulometry *out, double ratio)
{
    double sum = 0, before = 0;

    for (size_t i = 0; i < out->count; i++) {
        const double diameter_mm = out->diameter_mm[i], removed = out->removed[i];

        sum += (removed - before) * diameter_mm / sqrt(ratio);
        if (before < 0.5 && removed >= 0.5)
            out->median_mm = diameter_mm * pow(ratio, -(removed - 0.5) / (removed - before));
        before = removed;
    }
    if (before >= 0.95)
        out->mean_mm = sum / before;
}

fleck_status fleck_granulometry_fill(const fleck_bit_rows *ink, const fleck_bit_rows *inside,
                                     double pixel_x_mm, double pixel_y_mm, unsigned threads,
                                     fleck_granulometry *out, fleck_error *err)
{
    enum { MOST_SIZES = 128, PER_DECADE = 20 };
    const double largest_mm = 2, ratio = fleck_preferred_number(1, PER_DECADE);
    struct map map = { .width_px = ink->width_px,
                       .height_px = ink->rows,
                       .pixels = ink->width_px * ink->rows,
                       .pixel_x_mm = pixel_x_mm,
                       .pixel_y_mm = pixel_y_mm,
                       .threads = threads };
    const double side_mm =
        fmin(pixel_x_mm * (double)map.width_px, pixel_y_mm * (double)map.height_px);
    const double limit_mm = fmin(largest_mm, side_mm / 4);
    /* the first number of the series that is not below two pixels */
    const int first = (int)ceil(PER_DECADE * log10(2 * fmax(pixel_x_mm, pixel_y_mm)) - 1e-9);
    fleck_status status = FLECK_OK;

    *out = (fleck_granulometry){ .window_width_px = map.width_px,
                                 .window_height_px = map.height_px,
                                 .mean_mm = NAN,
                                 .median_mm = NAN };
    out->diameter_mm = fleck_alloc_array(MOST_SIZES, sizeof *out->diameter_mm);
    out->removed = fleck_alloc_array(MOST_SIZES, sizeof *out->removed);
    if (out->diameter_mm == NULL || out->removed == NULL || !new_map(&map, ink, inside))
        status =
            fleck_fail(err, FLECK_NO_RESOURCE, "no memory for openings by discs; free some memory");
    for (int k = first; status == FLECK_OK && out->count < MOST_SIZES; k++) {
        const double diameter_mm = fleck_preferred_number(k, PER_DECADE);
        double removed;

        if (diameter_mm > limit_mm)
            break;
        removed = removed_by(&map, diameter_mm);
        if (isnan(removed))
            break;
        if (out->count > 0) /* each size judges its own pixels: chance must not let ink come back */
            removed = fmax(removed, out->removed[out->count - 1]);
        out->diameter_mm[out->count] = diameter_mm;
        out->removed[out->count++] = removed;
        if (removed >= 1)
            break;
    }
    if (status == FLECK_OK)
        summarise(out, ratio);
    free_map(&map);
    return status;
}

void fleck_granulometry_clear(fleck_granulometry *granulometry)
{
    fleck_free(granulometry->diameter_mm);
    fleck_free(granulometry->removed);
    *granulometry = (fleck_granulometry){ 0 };
}
