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
#include "measure/distance_map.h"
#include "measure/preferred_numbers.h"

struct map {
    size_t width_px, height_px, pixels;
    double pixel_x_mm, pixel_y_mm;
    uint8_t *ink, *mark;
    double *to_bare; /* squares of distances */
    double *to_outside;
    double *to_fitting;
    fleck_distance_line line;
};

static bool bit(const fleck_bit_rows *rows, size_t x, size_t y)
{
    return fleck_bit_row(rows, y)[x / 64] >> x % 64 & 1;
}

static void free_map(struct map *map)
{
    fleck_free(map->ink);
    fleck_free(map->mark);
    fleck_free(map->to_bare);
    fleck_free(map->to_outside);
    fleck_free(map->to_fitting);
    fleck_free(map->line.square);
    fleck_free(map->line.border);
    fleck_free(map->line.apex);
}

static void measure_distance(struct map *map, double *square)
{
    fleck_distance_map(map->mark, map->width_px, map->height_px, map->pixel_x_mm, map->pixel_y_mm,
                       &map->line, square);
}

static bool new_map(struct map *map, const fleck_bit_rows *ink, const fleck_bit_rows *inside)
{
    const size_t longer = map->width_px > map->height_px ? map->width_px : map->height_px;

    map->ink = fleck_alloc_array(map->pixels, sizeof *map->ink);
    map->mark = fleck_alloc_array(map->pixels, sizeof *map->mark);
    map->to_bare = fleck_alloc_array(map->pixels, sizeof *map->to_bare);
    map->to_outside = fleck_alloc_array(map->pixels, sizeof *map->to_outside);
    map->to_fitting = fleck_alloc_array(map->pixels, sizeof *map->to_fitting);
    map->line.square = fleck_alloc_array(longer + 1, sizeof *map->line.square);
    map->line.border = fleck_alloc_array(longer + 1, sizeof *map->line.border);
    map->line.apex = fleck_alloc_array(longer + 1, sizeof *map->line.apex);
    if (map->ink == NULL || map->mark == NULL || map->to_bare == NULL || map->to_outside == NULL ||
        map->to_fitting == NULL || map->line.square == NULL || map->line.border == NULL ||
        map->line.apex == NULL)
        return false;
    for (size_t y = 0, i = 0; y < map->height_px; y++) {
        for (size_t x = 0; x < map->width_px; x++, i++) {
            map->ink[i] = bit(ink, x, y);
            map->mark[i] = inside != NULL && !bit(inside, x, y);
        }
    }
    measure_distance(map, map->to_outside);
    for (size_t y = 0, i = 0; y < map->height_px; y++) {
        const double near_y =
            (double)(y + 1 < map->height_px - y ? y + 1 : map->height_px - y) * map->pixel_y_mm;

        for (size_t x = 0; x < map->width_px; x++, i++) {
            const double near_x =
                (double)(x + 1 < map->width_px - x ? x + 1 : map->width_px - x) * map->pixel_x_mm;
            const double border_mm = fmin(near_x, near_y);

            map->to_outside[i] = fmin(map->to_outside[i], border_mm * border_mm);
            map->mark[i] = !map->ink[i] && !map->mark[i];
        }
    }
    measure_distance(map, map->to_bare);
    return true;
}

/* Share of the judged ink that a disc takes away; NAN when no ink can be judged. */
static double removed_by(struct map *map, double diameter_mm)
{
    const double radius2 = diameter_mm * diameter_mm / 4, sure2 = diameter_mm * diameter_mm;
    size_t judged = 0, kept = 0, fitting = 0;

    for (size_t i = 0; i < map->pixels; i++) {
        map->mark[i] = map->to_bare[i] > radius2;
        fitting += map->mark[i];
    }
    if (fitting > 0)
        measure_distance(map, map->to_fitting);
    for (size_t i = 0; i < map->pixels; i++) {
        if (map->ink[i] && map->to_outside[i] > sure2) {
            judged++;
            kept += fitting > 0 && map->to_fitting[i] <= radius2;
        }
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
                                     double pixel_x_mm, double pixel_y_mm, fleck_granulometry *out,
                                     fleck_error *err)
{
    enum { MOST_SIZES = 128, PER_DECADE = 20 };
    const double largest_mm = 2, ratio = fleck_preferred_number(1, PER_DECADE);
    struct map map = { .width_px = ink->width_px,
                       .height_px = ink->rows,
                       .pixels = ink->width_px * ink->rows,
                       .pixel_x_mm = pixel_x_mm,
                       .pixel_y_mm = pixel_y_mm };
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
