/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A row of readings is summed up in integers; when it is complete its densities go into the sums of
 * the row of tiles it belongs to, and these, when complete, into those of the region. The tiles'
 * own sums are of densities less the tile's first one, so that an even tile spreads by exactly 0.
 */
#include "fleck/print_noise.h"

#include <math.h>
#include <stdbool.h>

#include "core/memory.h"
#include "measure/region_check.h"
#include "segment/mask_words.h"

static const double reading_mm = 1.27 / 30;
static const double tile_mm = 1.27;
/* of a reading's side, more or less: one pixel of 450 ppi is just allowed, all finer ones are */
static const double most_off = 0.334;

/* Along one axis. */
struct axis {
    size_t reading_px, readings; /* of a tile */
    size_t tile_px, tiles;
};

struct tile {
    bool is_inside;
    double first, sum, squares; /* density less the first one */
};

struct fleck_print_noise_maker {
    fleck_geometry geometry;
    const fleck_mask *mask;
    struct axis x, y;
    size_t rows;        /* given so far */
    uint64_t *readings; /* q summed up over blocks, across all tiles */
    struct tile *row;   /* x.tiles of them */
    double *density;    /* of each q, where a reading is one pixel; NULL elsewhere */
    double tiles;
    double variances;    /* summed over tiles */
    double mean, spread; /* of the tiles' means; spread is the sum of squares about it */
};

static struct axis axis_of(double pixel_mm, size_t size_px)
{
    const double reading_px = fmax(1, floor(reading_mm / pixel_mm + 0.5));
    const double side_mm = reading_px * pixel_mm;
    struct axis axis = { 0 };

    if (!(fabs(side_mm - reading_mm) <= most_off * reading_mm))
        return axis;
    axis.readings = (size_t)floor(tile_mm / side_mm + 0.5);
    if (reading_px * (double)axis.readings > (double)size_px)
        return axis;
    axis.reading_px = (size_t)reading_px;
    axis.tile_px = axis.reading_px * axis.readings;
    axis.tiles = size_px / axis.tile_px;
    return axis;
}

static double density_of(uint64_t sum, size_t pixels)
{
    return -log10(fmax((double)sum / (double)pixels, 0.5) / (FLECK_LEVELS - 1));
}

static void begin_tiles(fleck_print_noise_maker *maker)
{
    for (size_t i = 0; i < maker->x.tiles; i++)
        maker->row[i] =
            (struct tile){ .is_inside =
                               maker->mask == NULL ||
                               fleck_mask_covers_box(maker->mask, i * maker->x.tile_px, maker->rows,
                                                     maker->x.tile_px, maker->y.tile_px) };
}

static void end_readings(fleck_print_noise_maker *maker, bool is_first)
{
    const size_t pixels = maker->x.reading_px * maker->y.reading_px;

    for (size_t i = 0; i < maker->x.tiles; i++) {
        struct tile tile = maker->row[i]; /* sums that wait for memory at each reading are slow */
        const uint64_t *const readings = maker->readings + i * maker->x.readings;

        for (size_t r = 0; tile.is_inside && r < maker->x.readings; r++) {
            const double density = maker->density != NULL ? maker->density[readings[r]]
                                                          : density_of(readings[r], pixels);
            double off;

            if (is_first && r == 0)
                tile.first = density;
            off = density - tile.first;
            tile.sum += off;
            tile.squares += off * off;
        }
        maker->row[i] = tile;
    }
    for (size_t r = 0; r < maker->x.tiles * maker->x.readings; r++)
        maker->readings[r] = 0;
}

/* Mean and spread of the tiles' means go on from tile to tile (Welford 1962, Technometrics 4). */
static void end_tiles(fleck_print_noise_maker *maker)
{
    const double n = (double)maker->x.readings * (double)maker->y.readings;

    for (size_t i = 0; i < maker->x.tiles; i++) {
        const struct tile *const tile = &maker->row[i];
        const double mean = tile->first + tile->sum / n, off = mean - maker->mean;

        if (!tile->is_inside)
            continue;
        maker->tiles++;
        maker->variances += fmax(0, tile->squares - tile->sum * tile->sum / n) / (n - 1);
        maker->mean += off / maker->tiles;
        maker->spread += off * (mean - maker->mean);
    }
}

static void add_row(fleck_print_noise_maker *maker, const uint16_t *q)
{
    const size_t readings = maker->x.tiles * maker->x.readings, side_px = maker->x.reading_px;

    for (size_t r = 0; side_px == 1 && r < readings; r++)
        maker->readings[r] += q[r];
    for (size_t r = 0; side_px > 1 && r < readings; r++) {
        uint64_t sum = 0;

        for (size_t i = 0; i < side_px; i++)
            sum += q[r * side_px + i];
        maker->readings[r] += sum;
    }
}

fleck_status fleck_print_noise_maker_row(fleck_print_noise_maker *maker, const uint16_t *q,
                                         fleck_error *err)
{
    const size_t y = maker->rows;

    if (y == maker->geometry.height_px)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "more rows than the region's %zu; give each row once",
                          maker->geometry.height_px);
    if (maker->x.tiles > 0 && y < maker->y.tiles * maker->y.tile_px) {
        const size_t in_tile = y % maker->y.tile_px;

        if (in_tile == 0)
            begin_tiles(maker);
        add_row(maker, q);
        if ((in_tile + 1) % maker->y.reading_px == 0)
            end_readings(maker, in_tile < maker->y.reading_px);
        if (in_tile + 1 == maker->y.tile_px)
            end_tiles(maker);
    }
    maker->rows++;
    return FLECK_OK;
}

fleck_status fleck_print_noise_maker_finish(const fleck_print_noise_maker *maker,
                                            fleck_print_noise *out, fleck_error *err)
{
    *out = (fleck_print_noise){ NAN, NAN, 0, NAN, NAN };
    if (maker->rows != maker->geometry.height_px)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%zu of %zu rows were given; finish after the last row", maker->rows,
                          maker->geometry.height_px);
    out->tiles = maker->tiles;
    if (maker->tiles > 0) {
        out->graininess = sqrt(maker->variances / maker->tiles);
        out->reading_x_mm = (double)maker->x.reading_px * maker->geometry.pixel_x_mm;
        out->reading_y_mm = (double)maker->y.reading_px * maker->geometry.pixel_y_mm;
    }
    if (maker->tiles > 1)
        out->mottle = sqrt(maker->spread / (maker->tiles - 1));
    return FLECK_OK;
}

void fleck_print_noise_maker_free(fleck_print_noise_maker *maker)
{
    if (maker == NULL)
        return;
    fleck_free(maker->readings);
    fleck_free(maker->row);
    fleck_free(maker->density);
    fleck_free(maker);
}

static bool make_room(fleck_print_noise_maker *maker)
{
    const bool one_pixel = maker->x.reading_px * maker->y.reading_px == 1;

    maker->readings =
        fleck_alloc_zeroed(maker->x.tiles * maker->x.readings, sizeof *maker->readings);
    maker->row = fleck_alloc_zeroed(maker->x.tiles, sizeof *maker->row);
    if (maker->readings == NULL || maker->row == NULL)
        return false;
    if (!one_pixel)
        return true;
    maker->density = fleck_alloc_array(FLECK_LEVELS, sizeof *maker->density);
    for (size_t q = 0; maker->density != NULL && q < FLECK_LEVELS; q++)
        maker->density[q] = density_of(q, 1);
    return maker->density != NULL;
}

fleck_status fleck_print_noise_maker_new(const fleck_geometry *geometry, const fleck_mask *mask,
                                         fleck_print_noise_maker **out, fleck_error *err)
{
    fleck_print_noise_maker *maker;
    const fleck_status status = fleck_region_check(geometry, mask, err);

    *out = NULL;
    if (status != FLECK_OK)
        return status;
    maker = fleck_alloc_zeroed(1, sizeof *maker);
    if (maker != NULL) {
        maker->geometry = *geometry;
        maker->mask = fleck_mask_unless_full(mask);
        maker->x = axis_of(geometry->pixel_x_mm, geometry->width_px);
        maker->y = axis_of(geometry->pixel_y_mm, geometry->height_px);
        if (maker->x.tiles == 0 || maker->y.tiles == 0) {
            maker->x = maker->y = (struct axis){ 0 };
            *out = maker;
            return FLECK_OK;
        }
    }
    if (maker == NULL || !make_room(maker)) {
        fleck_print_noise_maker_free(maker);
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for densities of a row of %zu pixels; give a smaller --region",
                          geometry->width_px);
    }
    *out = maker;
    return FLECK_OK;
}
