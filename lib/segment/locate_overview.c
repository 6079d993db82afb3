/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A scan becomes a map of square cells while its rows arrive: a pixel belongs to the cell that
 * holds its centre, and a cell's value is the mean of its pixels, in linear light.
 */
#include "segment/locate_parts.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"

/*
 * A cell must be well below the gap between two patches and the accuracy wanted for their sides
 * (0.3 mm); an A3 sheet then has 2 million of them. A small sheet can have finer ones, which tell
 * the tilt of small patches, as long as a cell holds pixels enough to average out noise.
 */
#define CELL_MM 0.25
#define FINE_CELL_MM 0.125
#define FINE_CELLS_AT_MOST 1.2e6
/* All work on the map needs some 40 bytes a cell. */
#define CELLS_AT_MOST 4e6

struct reading {
    fleck_sheet_map *map;
    const fleck_tone *tone;
    size_t width_px;
    size_t *column_of; /* of each pixel of a row */
    size_t *width_of;  /* pixels in a row of each cell */
    uint64_t *sums;    /* of the row of cells under way, as the map lies */
    uint16_t *q[FLECK_CHANNELS];
    size_t rows_in_cell;
};

static void take_row(struct reading *reading, const void *pixels)
{
    const unsigned channels = reading->map->channels;

    fleck_tone_row_all(reading->tone, pixels, reading->width_px, reading->q);
    for (unsigned c = 0; c < channels; c++) {
        const uint16_t *const q = reading->q[channels == 1 ? 0 : FLECK_CHANNEL_RED + c];

        for (size_t x = 0; x < reading->width_px; x++)
            reading->sums[reading->column_of[x] * channels + c] += q[x];
    }
    reading->rows_in_cell++;
}

static void end_cell_row(struct reading *reading, size_t row)
{
    fleck_sheet_map *const map = reading->map;
    const size_t values = map->columns * map->channels;
    uint16_t *const into = map->reflectance + row * values;

    for (size_t i = 0; i < values; i++) {
        const uint64_t pixels = reading->width_of[i / map->channels] * reading->rows_in_cell;

        into[i] = (uint16_t)((reading->sums[i] + pixels / 2) / pixels);
    }
    memset(reading->sums, 0, values * sizeof *reading->sums);
    reading->rows_in_cell = 0;
}

/* The cell that holds a pixel's centre; the last one takes what rounding leaves over. */
static size_t cell_of(size_t pixel, double pixel_mm, double cell_mm, size_t cells)
{
    const double cell = floor(((double)pixel + 0.5) * pixel_mm / cell_mm);

    return cell < (double)(cells - 1) ? (size_t)cell : cells - 1;
}

/* Whole cells only: what is left of a cell at the right and lower end goes to the last one. */
static bool choose_cells(const fleck_scan_info *info, double pixel_x_mm, double pixel_y_mm,
                         fleck_sheet_map *map)
{
    const double width_mm = (double)info->width_px * pixel_x_mm;
    const double height_mm = (double)info->height_px * pixel_y_mm;
    const double pixel_mm = pixel_x_mm > pixel_y_mm ? pixel_x_mm : pixel_y_mm;

    map->cell_mm = fmin(fmax(FINE_CELL_MM, 2 * pixel_mm), CELL_MM);
    if (width_mm / map->cell_mm * (height_mm / map->cell_mm) > FINE_CELLS_AT_MOST)
        map->cell_mm = CELL_MM;
    /* with cells above a pixel's size none stays empty */
    map->cell_mm = fmax(map->cell_mm, 1.01 * pixel_mm);
    while (width_mm / map->cell_mm * (height_mm / map->cell_mm) > CELLS_AT_MOST)
        map->cell_mm *= 2;
    if (width_mm < map->cell_mm || height_mm < map->cell_mm)
        return false;
    map->columns = (size_t)(width_mm / map->cell_mm);
    map->rows = (size_t)(height_mm / map->cell_mm);
    return true;
}

fleck_status fleck_overview_read(fleck_scan *scan, const fleck_tone *tone, double pixel_x_mm,
                                 double pixel_y_mm, fleck_sheet_map *map, fleck_error *err)
{
    const fleck_scan_info *const info = fleck_scan_get_info(scan);
    const unsigned read_channels = fleck_tone_channels(tone);
    struct reading reading = { .map = map, .tone = tone, .width_px = info->width_px };
    void *pixels = NULL;
    size_t values, row = 0;
    bool enough = true;
    fleck_status status = FLECK_OK;

    map->channels = read_channels == 1 ? 1 : 3;
    if (!choose_cells(info, pixel_x_mm, pixel_y_mm, map))
        return fleck_fail(
            err, FLECK_BAD_INPUT,
            "the scan is smaller than %.2g mm on a side; check its resolution and give "
            "the true one with --ppi",
            map->cell_mm);
    values = map->columns * map->channels; /* the cells were bounded above */
    map->reflectance = fleck_alloc_array(map->rows * values, sizeof *map->reflectance);
    pixels = fleck_alloc_array(fleck_scan_row_bytes(scan), 1);
    reading.column_of = fleck_alloc_array(info->width_px, sizeof *reading.column_of);
    reading.width_of = fleck_alloc_zeroed(map->columns, sizeof *reading.width_of);
    reading.sums = fleck_alloc_zeroed(values, sizeof *reading.sums);
    for (unsigned c = 0; c < read_channels; c++) {
        reading.q[c] = fleck_alloc_array(info->width_px, sizeof *reading.q[c]);
        enough = enough && reading.q[c] != NULL;
    }
    if (!enough || map->reflectance == NULL || pixels == NULL || reading.column_of == NULL ||
        reading.width_of == NULL || reading.sums == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory for a map of the sheet; free some memory");
        goto done;
    }
    for (size_t x = 0; x < info->width_px; x++) {
        reading.column_of[x] = cell_of(x, pixel_x_mm, map->cell_mm, map->columns);
        reading.width_of[reading.column_of[x]]++;
    }
    for (size_t y = 0; y < info->height_px; y++) {
        const size_t cell_row = cell_of(y, pixel_y_mm, map->cell_mm, map->rows);

        if (cell_row != row) {
            end_cell_row(&reading, row);
            row = cell_row;
        }
        if ((status = fleck_scan_read_row(scan, pixels, err)) != FLECK_OK)
            goto done;
        take_row(&reading, pixels);
    }
    end_cell_row(&reading, row);
done:
    for (unsigned c = 0; c < FLECK_CHANNELS; c++)
        fleck_free(reading.q[c]);
    fleck_free(reading.sums);
    fleck_free(reading.width_of);
    fleck_free(reading.column_of);
    fleck_free(pixels);
    return status;
}
