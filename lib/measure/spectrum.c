/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Radial power spectrum after Welch (1967). Tone and ink are two streams of rows, as the tone can
 * be had before the ink is known. A ring buffer of each keeps its last rows; as soon as they are a
 * few bands of tiles, these are shared among the threads, in strips of tiles below each other: the
 * transforms of rows that two tiles have in common serve both. For that the rows are taken as they
 * are, and the tile's mean is taken off behind them. Each tile writes its sums into a slot of its
 * own and one loop adds the slots in the order of the tiles, so that neither threads nor the number
 * of bands change a digit.
 */
#include "fleck/texture.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/parallel.h"
#include "core/wide.h"
#include "measure/fourier.h"
#include "measure/hann.h"
#include "measure/ring_moments.h"
#include "measure/rings.h"
#include "measure/tile_grid.h"
#include "segment/mask_words.h"

static const double WANTED_TILE_MM = 10.8; /* 256 px at 600 ppi: some 20 to 50 spacings of dots */

enum { LEAST_TILE_PX = 16, LEAST_CHOSEN_TILE_PX = 64, FIELDS = 2 };

/* Bands of tiles that are transformed together: more save little and keep the threads waiting. */
enum { MOST_BANDS = 8, MOST_ROWS_BYTES = 32 << 20, PART_OF_ROOM = 4 };

enum field { TONE, INK }; /* ink may be missing */

static const double FULL_SCALE[FIELDS] = { 65535, 1 };

/* Taken off the tone: near the mean of its values, to lose no digits, but the same for all rows. */
static const double TONE_OFFSET = 32768;

/* One field, as far as its rows have come. */
struct stream {
    size_t rows;   /* handed over so far */
    size_t bands;  /* transformed so far */
    size_t wanted; /* of them, for the next time: few at first, so that nobody waits for them */
    size_t tiles;  /* in them */
    /* Row y at (y % ring_rows) * width_px; both NULL before the first row and behind the last */
    uint16_t *q;  /* of the tone */
    uint8_t *ink; /* 0 or 1 */
    double *sums; /* by ring, 0 being the centre; over all tiles so far */
    fleck_moment_sums moments;
};

/* What a tile gave. */
struct tile {
    bool is_inside;
    fleck_ring_moments moments;
    double *sums; /* by ring */
};

struct fleck_spectrum_maker {
    fleck_geometry geometry;
    size_t tile_px;
    bool with_ink;
    const fleck_mask *mask; /* NULL: tiles may lie everywhere */
    fleck_tile_grid grid;
    size_t tiles_across; /* the most there can be in a band */
    size_t bands;        /* from top to bottom */
    size_t bands_at_once;
    size_t ring_rows;
    unsigned workers; /* the most threads */
    unsigned threads;
    fleck_width width;
    struct stream streams[FIELDS];
    enum field field;   /* whose tiles are being transformed */
    size_t first_row;   /* of the first of their bands */
    size_t count;       /* of these bands */
    struct tile *tiles; /* of bands_at_once bands */
    double *slots;      /* their sums */
    double *lanes;      /* for each thread: sums by ring of FLECK_RING_LANES columns */
    double *window;     /* tile_px values */
    fleck_rings rings;
    fleck_fourier *fourier;
};

size_t fleck_spectrum_tile_px(const fleck_geometry *geometry)
{
    const size_t shorter =
        geometry->width_px < geometry->height_px ? geometry->width_px : geometry->height_px;
    const double wanted_px = WANTED_TILE_MM / sqrt(geometry->pixel_x_mm * geometry->pixel_y_mm);
    const double nearest_px = exp2(floor(log2(wanted_px) + 0.5));
    size_t tile_px = LEAST_CHOSEN_TILE_PX;

    if (shorter < LEAST_CHOSEN_TILE_PX)
        return 0;
    while ((double)tile_px < nearest_px && tile_px <= shorter / 2 &&
           tile_px < FLECK_FOURIER_MAX_SIDE_PX)
        tile_px *= 2;
    return tile_px;
}

fleck_status fleck_spectrum_choose_tile(const fleck_geometry *geometry, const fleck_mask *mask,
                                        size_t asked_px, size_t *tile_px, fleck_error *err)
{
    const fleck_mask *const shape = fleck_mask_unless_full(mask);
    size_t side = asked_px > 0 ? asked_px : fleck_spectrum_tile_px(geometry);
    fleck_tile_grid grid = { 0, 0, 0 };
    fleck_status status = FLECK_OK;

    *tile_px = 0;
    if (side == 0 || side > geometry->width_px || side > geometry->height_px)
        return FLECK_OK;
    if (shape != NULL)
        status = fleck_tile_grid_choose(shape, side, &grid, err);
    while (shape != NULL && status == FLECK_OK && grid.tiles == 0) {
        if (asked_px > 0 || side / 2 < LEAST_CHOSEN_TILE_PX)
            return FLECK_OK;
        side /= 2;
        status = fleck_tile_grid_choose(shape, side, &grid, err);
    }
    if (status == FLECK_OK)
        *tile_px = side;
    return status;
}

/* What the mean of half a tile follows from. */
struct half {
    uint64_t sum;
    uint16_t least, most;
};

/* Two rows of the tone, less the offset and times the window, side by side. */
FLECK_WIDE_BODY weigh_tone_body(const uint16_t *restrict row, const uint16_t *restrict below,
                                size_t side, const double *restrict window,
                                double *restrict two_rows)
{
    for (size_t x = 0; x < side; x++) {
        two_rows[2 * x] = ((double)row[x] - TONE_OFFSET) * window[x];
        two_rows[2 * x + 1] = ((double)below[x] - TONE_OFFSET) * window[x];
    }
}

FLECK_WIDE(weigh_tone,
           (const uint16_t *restrict row, const uint16_t *restrict below, size_t side,
            const double *restrict window, double *restrict two_rows),
           (row, below, side, window, two_rows))

FLECK_WIDE_BODY weigh_ink_body(const uint8_t *restrict row, const uint8_t *restrict below,
                               size_t side, const double *restrict window,
                               double *restrict two_rows)
{
    for (size_t x = 0; x < side; x++) {
        two_rows[2 * x] = (double)row[x] * window[x];
        two_rows[2 * x + 1] = (double)below[x] * window[x];
    }
}

FLECK_WIDE(weigh_ink,
           (const uint8_t *restrict row, const uint8_t *restrict below, size_t side,
            const double *restrict window, double *restrict two_rows),
           (row, below, side, window, two_rows))

/* Adds a row; the sum of a row fits 32 bits, which are quicker than 64. */
FLECK_WIDE_BODY look_at_tone_body(const uint16_t *restrict row, size_t side,
                                  struct half *restrict half)
{
    uint32_t sum = 0;
    uint16_t least = half->least, most = half->most;

    for (size_t x = 0; x < side; x++) {
        sum += row[x];
        least = row[x] < least ? row[x] : least;
        most = row[x] > most ? row[x] : most;
    }
    half->sum += sum;
    half->least = least;
    half->most = most;
}

FLECK_WIDE(look_at_tone, (const uint16_t *restrict row, size_t side, struct half *restrict half),
           (row, side, half))

FLECK_WIDE_BODY look_at_ink_body(const uint8_t *restrict row, size_t side,
                                 struct half *restrict half)
{
    uint32_t sum = 0;

    for (size_t x = 0; x < side; x++)
        sum += row[x];
    half->sum += sum;
}

FLECK_WIDE(look_at_ink, (const uint8_t *restrict row, size_t side, struct half *restrict half),
           (row, side, half))

/* Where row y of the region begins in the ring, at column x. */
static size_t place_of(const fleck_spectrum_maker *maker, size_t x_px, size_t y_px)
{
    return y_px % maker->ring_rows * maker->geometry.width_px + x_px;
}

/* Transform the rows of half a tile from x_px, y_px on into one of the worker's halves. */
static struct half load_half(const fleck_spectrum_maker *maker, size_t x_px, size_t y_px,
                             unsigned worker, unsigned into)
{
    const size_t side = maker->tile_px, rows = side / 2;
    const struct stream *const stream = &maker->streams[maker->field];
    fleck_fourier_work *const work = fleck_fourier_get_work(maker->fourier, worker);
    struct half half = { .least = UINT16_MAX };

    for (size_t y = 0; y < rows; y++) {
        const size_t place = place_of(maker, x_px, y_px + y);

        if (maker->field == TONE)
            look_at_tone_at(maker->width)(stream->q + place, side, &half);
        else
            look_at_ink_at(maker->width)(stream->ink + place, side, &half);
    }
    if (maker->field == INK) {
        half.least = half.sum == (uint64_t)rows * side;
        half.most = half.sum > 0;
    }
    for (size_t y = 0; y < rows; y += 2) {
        const size_t place = place_of(maker, x_px, y_px + y);
        const size_t below = y + 1 < rows ? place_of(maker, x_px, y_px + y + 1) : place;

        if (maker->field == TONE)
            weigh_tone_at(maker->width)(stream->q + place, stream->q + below, side, maker->window,
                                        work->two_rows);
        else
            weigh_ink_at(maker->width)(stream->ink + place, stream->ink + below, side,
                                       maker->window, work->two_rows);
        fleck_fourier_two_rows(maker->fourier, work, into, y);
    }
    return half;
}

/* Both halves are there. */
static void transform_tile(fleck_spectrum_maker *maker, const struct half *halves, unsigned upper,
                           unsigned worker, struct tile *tile)
{
    fleck_fourier_work *const work = fleck_fourier_get_work(maker->fourier, worker);
    const size_t side = maker->tile_px, sum_count = maker->rings.count + 1;
    const double mean = (double)(halves[0].sum + halves[1].sum) / ((double)side * (double)side);
    const double level = maker->field == TONE ? mean - TONE_OFFSET : mean;
    double *const lanes = maker->lanes + worker * FLECK_RING_LANES * sum_count;
    size_t ready;

    memset(tile->sums, 0, sum_count * sizeof *tile->sums);
    tile->moments = (fleck_ring_moments){ 0, 0, 0 };
    if (halves[0].least == halves[0].most && halves[1].least == halves[1].most &&
        halves[0].least == halves[1].least)
        return; /* of one value: no power at all, where rounding would leave some */
    memset(lanes, 0, FLECK_RING_LANES * sum_count * sizeof *lanes);
    for (size_t kx = 0; kx < side / 2 + 1; kx += ready) {
        ready = fleck_fourier_columns(maker->fourier, work, upper, level, kx);
        fleck_rings_add_columns(&maker->rings, kx, ready, work->power, lanes);
        for (size_t c = 0; c < ready; c++)
            fleck_ring_moments_add_column(&maker->rings, kx + c, work->power + side * c,
                                          &tile->moments);
    }
    for (size_t r = 0; r < sum_count; r++) {
        for (size_t lane = 0; lane < FLECK_RING_LANES; lane++)
            tile->sums[r] += lanes[lane * sum_count + r];
    }
}

/* The tiles below each other at one place. */
static void transform_strip(void *context, unsigned worker, size_t i)
{
    fleck_spectrum_maker *const maker = context;
    const size_t half_px = maker->tile_px / 2, x_px = maker->grid.first_x_px + i * half_px;
    struct half halves[2];

    for (size_t h = 0; h <= maker->count; h++) {
        struct tile *const above = h > 0 ? &maker->tiles[(h - 1) * maker->tiles_across + i] : NULL;
        const struct tile *const below =
            h < maker->count ? &maker->tiles[h * maker->tiles_across + i] : NULL;
        const bool ends_tile = above != NULL && above->is_inside;

        if (ends_tile || (below != NULL && below->is_inside))
            halves[h % 2] = load_half(maker, x_px, maker->first_row + h * half_px, worker, h % 2);
        if (ends_tile)
            transform_tile(maker, halves, (h + 1) % 2, worker, above);
    }
}

/* Which tiles of the bands lie inside. */
static void find_tiles(fleck_spectrum_maker *maker)
{
    const size_t side = maker->tile_px;

    for (size_t band = 0; band < maker->count; band++) {
        for (size_t i = 0; i < maker->tiles_across; i++)
            maker->tiles[band * maker->tiles_across + i].is_inside =
                maker->mask == NULL ||
                fleck_mask_covers_box(maker->mask, maker->grid.first_x_px + i * (side / 2),
                                      maker->first_row + band * (side / 2), side, side);
    }
}

/* Bands whose rows have come and whose tiles are not transformed yet. */
static size_t bands_waiting(const fleck_spectrum_maker *maker, const struct stream *stream)
{
    const size_t first_band = maker->tile_px + maker->grid.first_y_px;

    if (stream->rows < first_band)
        return 0;
    return (stream->rows - first_band) / (maker->tile_px / 2) + 1 - stream->bands;
}

/* All bands that have come since the last time. */
static void transform_bands(fleck_spectrum_maker *maker, struct stream *stream)
{
    const size_t count = bands_waiting(maker, stream);

    maker->field = stream == &maker->streams[TONE] ? TONE : INK;
    maker->first_row = maker->grid.first_y_px + stream->bands * (maker->tile_px / 2);
    maker->count = count;
    find_tiles(maker);
    fleck_parallel_for(maker->threads, maker->tiles_across, transform_strip, maker);
    for (size_t i = 0; i < count * maker->tiles_across; i++) {
        const struct tile *const tile = &maker->tiles[i];

        if (!tile->is_inside)
            continue;
        for (size_t r = 0; r <= maker->rings.count; r++)
            stream->sums[r] += tile->sums[r];
        fleck_moment_sums_add(&stream->moments, &tile->moments);
        stream->tiles++;
    }
    stream->bands += count;
}

static fleck_status no_memory(size_t tile_px, fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for a spectrum of %zu px tiles; choose smaller tiles", tile_px);
}

/* As many bands as rows of both fields may be kept for, at least 1. */
static void choose_bands(fleck_spectrum_maker *maker)
{
    const size_t room = fleck_memory_room() / PART_OF_ROOM;
    const size_t bytes = room < MOST_ROWS_BYTES ? room : MOST_ROWS_BYTES;
    const size_t half_bytes =
        maker->tile_px / 2 * maker->geometry.width_px * (sizeof(uint16_t) + sizeof(uint8_t));
    size_t bands = bytes / half_bytes > 1 ? bytes / half_bytes - 1 : 1;

    bands = bands < MOST_BANDS ? bands : MOST_BANDS;
    maker->bands_at_once = bands < maker->bands ? bands : maker->bands;
    maker->ring_rows = (maker->bands_at_once + 1) * (maker->tile_px / 2);
}

size_t fleck_spectrum_maker_rows_at_once(const fleck_spectrum_maker *maker)
{
    return maker->bands_at_once * (maker->tile_px / 2);
}

void fleck_spectrum_maker_set_threads(fleck_spectrum_maker *maker, unsigned threads)
{
    maker->threads = threads < 1 ? 1 : threads < maker->workers ? threads : maker->workers;
}

static bool make_tiles(fleck_spectrum_maker *maker)
{
    const size_t sum_count = maker->rings.count + 1;
    size_t count, sums;

    if (!size_mul(maker->bands_at_once, maker->tiles_across, &count) ||
        !size_mul(count, sum_count, &sums))
        return false;
    maker->slots = fleck_alloc_array(sums, sizeof *maker->slots);
    maker->tiles = fleck_alloc_array(count, sizeof *maker->tiles);
    if (maker->slots == NULL || maker->tiles == NULL)
        return false;
    for (size_t i = 0; i < count; i++)
        maker->tiles[i].sums = maker->slots + i * sum_count;
    return true;
}

/* Room for the next row of a stream; that the ring's size fits was found at the start. */
static fleck_status begin_row(fleck_spectrum_maker *maker, struct stream *stream, fleck_error *err)
{
    const size_t ring_px = maker->ring_rows * maker->geometry.width_px;

    if (stream->rows == maker->geometry.height_px)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "more rows than the region's %zu; give each row once",
                          maker->geometry.height_px);
    if (stream == &maker->streams[TONE] && stream->q == NULL)
        stream->q = fleck_alloc_array(ring_px, sizeof *stream->q);
    if (stream == &maker->streams[INK] && stream->ink == NULL)
        stream->ink = fleck_alloc_array(ring_px, sizeof *stream->ink);
    return stream->q != NULL || stream->ink != NULL ? FLECK_OK : no_memory(maker->tile_px, err);
}

static void free_ring(struct stream *stream)
{
    fleck_free(stream->q);
    fleck_free(stream->ink);
    stream->q = NULL;
    stream->ink = NULL;
}

/* The row is there. */
static void end_row(fleck_spectrum_maker *maker, struct stream *stream)
{
    stream->rows++;
    if (bands_waiting(maker, stream) == stream->wanted) {
        transform_bands(maker, stream);
        stream->wanted =
            2 * stream->wanted < maker->bands_at_once ? 2 * stream->wanted : maker->bands_at_once;
    }
    if (stream->rows == maker->geometry.height_px) {
        transform_bands(maker, stream);
        free_ring(stream);
    }
}

fleck_status fleck_spectrum_maker_tone_row(fleck_spectrum_maker *maker, const uint16_t *q,
                                           fleck_error *err)
{
    struct stream *const stream = &maker->streams[TONE];
    const fleck_status status = begin_row(maker, stream, err);

    if (status != FLECK_OK)
        return status;
    memcpy(stream->q + place_of(maker, 0, stream->rows), q, maker->geometry.width_px * sizeof *q);
    end_row(maker, stream);
    return FLECK_OK;
}

static fleck_status check_ink(const fleck_spectrum_maker *maker, const fleck_run *runs,
                              size_t count, fleck_error *err)
{
    if (!maker->with_ink)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "the spectrum was started without ink; start one with it");
    for (size_t i = 0; i < count; i++) {
        if (runs[i].end_px > maker->geometry.width_px)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "an ink run leaves the row of %zu px; give the runs of this row",
                              maker->geometry.width_px);
    }
    return FLECK_OK;
}

fleck_status fleck_spectrum_maker_ink_row(fleck_spectrum_maker *maker, const fleck_run *runs,
                                          size_t count, fleck_error *err)
{
    struct stream *const stream = &maker->streams[INK];
    uint8_t *row;
    fleck_status status = check_ink(maker, runs, count, err);

    if (status == FLECK_OK)
        status = begin_row(maker, stream, err);
    if (status != FLECK_OK)
        return status;
    row = stream->ink + place_of(maker, 0, stream->rows);
    memset(row, 0, maker->geometry.width_px);
    for (size_t i = 0; i < count; i++)
        memset(row + runs[i].start_px, 1, runs[i].end_px - runs[i].start_px);
    end_row(maker, stream);
    return FLECK_OK;
}

fleck_status fleck_spectrum_maker_row(fleck_spectrum_maker *maker, const uint16_t *q,
                                      const fleck_run *runs, size_t count, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    if (maker->with_ink) /* a row that is refused changes nothing */
        status = check_ink(maker, runs, count, err);
    if (status == FLECK_OK)
        status = fleck_spectrum_maker_tone_row(maker, q, err);
    if (status == FLECK_OK && maker->with_ink)
        status = fleck_spectrum_maker_ink_row(maker, runs, count, err);
    return status;
}

static void mean_power(const fleck_spectrum_maker *maker, enum field field, double *power_mm2)
{
    const double squares = fleck_hann_squares(maker->window, maker->tile_px);
    const double pixel_mm2 = maker->geometry.pixel_x_mm * maker->geometry.pixel_y_mm;
    const double scale = pixel_mm2 / (squares * squares) / (FULL_SCALE[field] * FULL_SCALE[field]) /
                         (double)maker->streams[field].tiles;

    for (size_t r = 1; r <= maker->rings.count; r++)
        power_mm2[r - 1] = maker->streams[field].sums[r] / (double)maker->rings.samples[r] * scale;
}

/* Of the ink where there is any. */
static void give_direction(const fleck_spectrum_maker *maker, fleck_spectrum *spectrum)
{
    const enum field field = maker->streams[INK].tiles > 0 ? INK : TONE;
    const fleck_moment_verdict verdict = fleck_moment_sums_judge(&maker->streams[field].moments);
    const double side = (double)maker->tile_px;

    spectrum->sample_per_mm2 =
        1 / (side * maker->geometry.pixel_x_mm * (side * maker->geometry.pixel_y_mm));
    spectrum->anisotropy = verdict.anisotropy;
    spectrum->anisotropy_p = verdict.p;
    spectrum->direction_deg = verdict.direction_deg;
}

fleck_status fleck_spectrum_maker_finish(fleck_spectrum_maker *maker, fleck_spectrum *out,
                                         fleck_error *err)
{
    const size_t count = maker->rings.count;
    const bool with_ink = maker->streams[INK].rows > 0;
    fleck_spectrum spectrum = { .tile_px = maker->tile_px, .rings = count };

    *out = (fleck_spectrum){ 0 };
    if (with_ink && maker->streams[INK].rows != maker->streams[TONE].rows)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%zu rows of tone and %zu of ink; give as many of both, or no ink",
                          maker->streams[TONE].rows, maker->streams[INK].rows);
    for (size_t f = 0; f < FIELDS; f++)
        transform_bands(maker, &maker->streams[f]);
    spectrum.tiles = maker->streams[TONE].tiles;
    if (spectrum.tiles == 0)
        return FLECK_OK;
    spectrum.frequency_per_mm = fleck_alloc_array(count, sizeof(double));
    spectrum.tone_power_mm2 = fleck_alloc_array(count, sizeof(double));
    spectrum.ink_power_mm2 = with_ink ? fleck_alloc_array(count, sizeof(double)) : NULL;
    spectrum.samples = fleck_alloc_array(count, sizeof *spectrum.samples);
    if (spectrum.frequency_per_mm == NULL || spectrum.tone_power_mm2 == NULL ||
        (with_ink && spectrum.ink_power_mm2 == NULL) || spectrum.samples == NULL) {
        fleck_spectrum_clear(&spectrum);
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a spectrum; free some memory");
    }
    for (size_t r = 1; r <= count; r++) {
        spectrum.frequency_per_mm[r - 1] = (double)r * maker->rings.step_per_mm;
        spectrum.samples[r - 1] = maker->rings.samples[r];
    }
    mean_power(maker, TONE, spectrum.tone_power_mm2);
    if (with_ink)
        mean_power(maker, INK, spectrum.ink_power_mm2);
    give_direction(maker, &spectrum);
    *out = spectrum;
    return FLECK_OK;
}

void fleck_spectrum_clear(fleck_spectrum *spectrum)
{
    if (spectrum == NULL)
        return;
    fleck_free(spectrum->frequency_per_mm);
    fleck_free(spectrum->ink_power_mm2);
    fleck_free(spectrum->tone_power_mm2);
    fleck_free(spectrum->samples);
    *spectrum = (fleck_spectrum){ 0 };
}

void fleck_spectrum_maker_free(fleck_spectrum_maker *maker)
{
    if (maker == NULL)
        return;
    for (size_t f = 0; f < FIELDS; f++) {
        free_ring(&maker->streams[f]);
        fleck_free(maker->streams[f].sums);
    }
    fleck_free(maker->tiles);
    fleck_free(maker->slots);
    fleck_free(maker->lanes);
    fleck_free(maker->window);
    fleck_rings_clear(&maker->rings);
    fleck_fourier_free(maker->fourier);
    fleck_free(maker);
}

static fleck_status check_call(const fleck_geometry *geometry, const fleck_mask *mask,
                               size_t tile_px, unsigned threads, fleck_error *err)
{
    if (!(geometry->pixel_x_mm > 0) || !(geometry->pixel_y_mm > 0) ||
        !isfinite(geometry->pixel_x_mm) || !isfinite(geometry->pixel_y_mm))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a pixel of %g x %g mm has no size; give a resolution above 0",
                          geometry->pixel_x_mm, geometry->pixel_y_mm);
    if (tile_px % 2 != 0 || tile_px < LEAST_TILE_PX || tile_px > FLECK_FOURIER_MAX_SIDE_PX)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a tile of %zu px cannot be used; choose an even number from %d to %d",
                          tile_px, LEAST_TILE_PX, FLECK_FOURIER_MAX_SIDE_PX);
    if (tile_px > geometry->width_px || tile_px > geometry->height_px)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "a tile of %zu px does not fit the region of %zu x %zu px; choose a smaller one",
            tile_px, geometry->width_px, geometry->height_px);
    if (mask != NULL &&
        (mask->width_px != geometry->width_px || mask->height_px != geometry->height_px))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "a mask of %zu x %zu pixels does not fit a region of %zu x %zu; give one "
                          "of its size",
                          mask->width_px, mask->height_px, geometry->width_px, geometry->height_px);
    if (threads == 0)
        return fleck_fail(err, FLECK_BAD_CALL, "no thread to work with; give at least 1");
    return FLECK_OK;
}

/* Where the tiles lie; without a mask from the region's top left on. */
static fleck_status choose_grid(fleck_spectrum_maker *maker, const fleck_mask *mask,
                                fleck_error *err)
{
    fleck_status status = FLECK_OK;

    maker->mask = fleck_mask_unless_full(mask);
    if (maker->mask == NULL)
        return FLECK_OK;
    status = fleck_tile_grid_choose(maker->mask, maker->tile_px, &maker->grid, err);
    if (status == FLECK_OK && maker->grid.tiles == 0)
        status = fleck_fail(err, FLECK_BAD_CALL,
                            "a tile of %zu px fits nowhere into the mask; choose a smaller one",
                            maker->tile_px);
    return status;
}

fleck_status fleck_spectrum_maker_new(const fleck_geometry *geometry, const fleck_mask *mask,
                                      size_t tile_px, bool with_ink, unsigned threads,
                                      fleck_spectrum_maker **out, fleck_error *err)
{
    fleck_spectrum_maker *maker = NULL;
    size_t ring_px, lane_sums;
    fleck_status status;

    *out = NULL;
    if ((status = check_call(geometry, mask, tile_px, threads, err)) != FLECK_OK)
        return status;
    maker = fleck_alloc_zeroed(1, sizeof *maker);
    if (maker == NULL)
        goto no_memory;
    maker->geometry = *geometry;
    maker->tile_px = tile_px;
    maker->with_ink = with_ink;
    maker->width = fleck_widest();
    if ((status = choose_grid(maker, mask, err)) != FLECK_OK) {
        fleck_spectrum_maker_free(maker);
        return status;
    }
    maker->tiles_across =
        (geometry->width_px - tile_px - maker->grid.first_x_px) / (tile_px / 2) + 1;
    maker->bands = (geometry->height_px - tile_px - maker->grid.first_y_px) / (tile_px / 2) + 1;
    maker->workers = threads < maker->tiles_across ? threads : (unsigned)maker->tiles_across;
    maker->threads = maker->workers;
    if (!size_mul((MOST_BANDS + 1) * (tile_px / 2), geometry->width_px, &ring_px) ||
        !size_mul(ring_px, sizeof(uint16_t) + sizeof(uint8_t), &ring_px) ||
        !size_mul(maker->workers, FLECK_RING_LANES * (tile_px / 2 + 1), &lane_sums))
        goto no_memory;
    choose_bands(maker);
    maker->lanes = fleck_alloc_array(lane_sums, sizeof *maker->lanes);
    maker->window = fleck_hann_new(tile_px);
    if (maker->lanes == NULL || maker->window == NULL)
        goto no_memory;
    for (size_t f = 0; f < FIELDS; f++) {
        struct stream *const stream = &maker->streams[f];

        stream->wanted = 1;
        stream->sums = fleck_alloc_zeroed(tile_px / 2 + 1, sizeof *stream->sums);
        if (stream->sums == NULL)
            goto no_memory;
    }
    status =
        fleck_rings_new(tile_px, geometry->pixel_x_mm, geometry->pixel_y_mm, &maker->rings, err);
    if (status == FLECK_OK && !make_tiles(maker))
        status = no_memory(tile_px, err);
    if (status == FLECK_OK)
        status = fleck_fourier_new(tile_px, maker->window, maker->workers, &maker->fourier, err);
    if (status == FLECK_OK) {
        *out = maker;
        maker = NULL;
    }
    fleck_spectrum_maker_free(maker);
    return status;
no_memory:
    fleck_spectrum_maker_free(maker);
    return no_memory(tile_px, err);
}
