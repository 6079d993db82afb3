/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "calibrate/step_codes.h"

#include <math.h>
#include <stdlib.h>

#include "calibrate/calibration.h"
#include "calibrate/scan_area.h"
#include "calibrate/strip.h"
#include "core/memory.h"

static const double middle = 0.6; /* of a step, away from the blur and shadow of its edges */

/* Pixels from..to - 1 of a row, counted from the area's left. */
static void add_pixels(const fleck_area_reader *reader, const unsigned char *pixels, size_t from,
                       size_t to, fleck_code_sums *sums)
{
    const unsigned full = reader->info->sample_bytes == 1 ? 255 : 65535;

    for (size_t x = from; x < to; x++) {
        for (unsigned c = 0; c < reader->info->channels; c++) {
            const unsigned code = fleck_area_code(reader, pixels, x, c);

            sums->sum[c] += code;
            sums->square[c] += (uint64_t)code * code;
            sums->dark[c] += code == 0;
            sums->light[c] += code == full;
        }
    }
    sums->pixels += to - from;
}

struct pixel_box {
    size_t left, top, width, height;
};

static fleck_status place_boxes(const fleck_area_reader *reader, const fleck_box_mm *boxes,
                                size_t count, struct pixel_box *places, size_t *past_row,
                                fleck_error *err)
{
    *past_row = 0;
    for (size_t i = 0; i < count; i++) {
        const double off = (1 - middle) / 2;
        const fleck_box_mm inner = { boxes[i].x_mm + off * boxes[i].width_mm,
                                     boxes[i].y_mm + off * boxes[i].height_mm,
                                     middle * boxes[i].width_mm, middle * boxes[i].height_mm };
        struct pixel_box *const p = &places[i];

        if (!fleck_box_to_pixels(&inner, reader->info, reader->geometry.pixel_x_mm,
                                 reader->geometry.pixel_y_mm, &p->left, &p->top, &p->width,
                                 &p->height))
            return fleck_fail(
                err, FLECK_BAD_INPUT,
                "the box of step %zu, %g,%g,%g,%g mm, is empty or reaches outside the "
                "scan of %.4g x %.4g mm; correct the table of steps",
                i + 1, boxes[i].x_mm, boxes[i].y_mm, boxes[i].width_mm, boxes[i].height_mm,
                (double)reader->info->width_px * reader->geometry.pixel_x_mm,
                (double)reader->info->height_px * reader->geometry.pixel_y_mm);
        if (p->top + p->height > *past_row)
            *past_row = p->top + p->height;
    }
    return FLECK_OK;
}

fleck_status fleck_codes_of_boxes(fleck_calibration *calibration, const fleck_scan_area *scan,
                                  const fleck_box_mm *boxes, size_t count, fleck_code_sums *sums,
                                  fleck_warnings *warnings, fleck_error *err)
{
    const fleck_scan_area whole = { .path = scan->path, .page = scan->page };
    fleck_area_reader reader;
    struct pixel_box *places = fleck_alloc_array(count, sizeof *places);
    const unsigned char *pixels;
    size_t past_row = 0, y = 0;
    fleck_status status = fleck_area_open(calibration, &whole, "tone", FLECK_AREA_CODES_AND_SIZE,
                                          &reader, warnings, err);

    if (status == FLECK_OK && places == NULL)
        status = fleck_calibration_no_memory(err);
    if (status == FLECK_OK)
        status = place_boxes(&reader, boxes, count, places, &past_row, err);
    for (size_t i = 0; i < count; i++)
        sums[i] = (fleck_code_sums){ 0 };
    for (size_t row = 0; status == FLECK_OK && row < past_row; row++) {
        status = fleck_area_next_row(&reader, &y, &pixels, err);
        for (size_t i = 0; status == FLECK_OK && i < count; i++) {
            if (y >= places[i].top && y - places[i].top < places[i].height)
                add_pixels(&reader, pixels, places[i].left, places[i].left + places[i].width,
                           &sums[i]);
        }
    }
    fleck_free(places);
    fleck_area_close(&reader);
    return status;
}

/* A line in pixels with a band around it; along it lie `bins` equal pieces. */
struct band {
    double x, y;             /* start */
    double along_x, along_y; /* unit vector in mm */
    double pixel_x, pixel_y; /* mm */
    double length_mm, half_mm;
    size_t bins;
};

static fleck_status lay_band(const fleck_area_reader *reader, const double *strip_mm, size_t count,
                             struct band *band, fleck_error *err)
{
    /* without a strip the size of a pixel does not matter, if only it is square */
    const bool whole = strip_mm == NULL;
    const double px = whole ? 1 : reader->geometry.pixel_x_mm;
    const double py = whole ? 1 : reader->geometry.pixel_y_mm;
    const double width = (double)reader->info->width_px * px;
    const double height = (double)reader->info->height_px * py;
    const double across[4] = { 0, height / 2, width, height / 2 };
    const double down[4] = { width / 2, 0, width / 2, height };
    const double *const line = !whole ? strip_mm : width >= height ? across : down;
    const double dx = line[2] - line[0], dy = line[3] - line[1];
    const double slack =
        0.5 * fmax(px, py); /* a strip given in rounded mm may end a hair outside */
    double length_px;

    for (size_t i = 0; i < 4; i++) {
        if (!(line[i] >= -slack && line[i] <= (i % 2 == 0 ? width : height) + slack))
            return fleck_fail(err, FLECK_BAD_INPUT,
                              "the strip %g,%g,%g,%g mm reaches outside the scan, which is "
                              "%.4g x %.4g mm; give a line inside it",
                              line[0], line[1], line[2], line[3], width, height);
    }
    length_px = hypot(dx / px, dy / py);
    if (!(length_px >= 8 * (double)count))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "the strip is %.0f pixels long, too short for %zu steps of 8 pixels or "
                          "more; give another strip or scan finer",
                          length_px, count);
    band->length_mm = hypot(dx, dy);
    band->x = line[0];
    band->y = line[1];
    band->along_x = dx / band->length_mm;
    band->along_y = dy / band->length_mm;
    band->pixel_x = px;
    band->pixel_y = py;
    band->half_mm = whole ? 0.3 * fmin(width, height) : 0.2 * band->length_mm / (double)count;
    band->bins = length_px / 2 < FLECK_STRIP_BINS ? (size_t)(length_px / 2) : FLECK_STRIP_BINS;
    return FLECK_OK;
}

static void add_band_row(const fleck_area_reader *reader, const struct band *band, size_t y_px,
                         const unsigned char *pixels, fleck_code_sums *bins)
{
    const double y = ((double)y_px + 0.5) * band->pixel_y - band->y;

    for (size_t x_px = 0; x_px < reader->info->width_px; x_px++) {
        const double x = ((double)x_px + 0.5) * band->pixel_x - band->x;
        const double along = x * band->along_x + y * band->along_y;
        const double off = fabs(y * band->along_x - x * band->along_y);
        size_t bin;

        if (!(along >= 0 && along < band->length_mm && off <= band->half_mm))
            continue;
        bin = (size_t)(along / band->length_mm * (double)band->bins);
        if (bin < band->bins)
            add_pixels(reader, pixels, x_px, x_px + 1, &bins[bin]);
    }
}

static void add_sums(fleck_code_sums *into, const fleck_code_sums *more)
{
    into->pixels += more->pixels;
    for (size_t c = 0; c < FLECK_COLOURS; c++) {
        into->sum[c] += more->sum[c];
        into->square[c] += more->square[c];
        into->dark[c] += more->dark[c];
        into->light[c] += more->light[c];
    }
}

static int by_value(const void *a, const void *b)
{
    const double left = *(const double *)a, right = *(const double *)b;

    return (left > right) - (left < right);
}

/*
 * Running median over 0.3 of a step: lines between steps and dust up to half as wide go, the edges
 * between steps stay where they are.
 */
static void smooth(const double *profile, size_t bins, unsigned channels, size_t count,
                   double *window, double *smoothed)
{
    const size_t half = (3 * bins) / (20 * count);

    for (size_t b = 0; b < bins; b++) {
        const size_t from = b > half ? b - half : 0;
        const size_t past = b + half + 1 < bins ? b + half + 1 : bins;

        for (unsigned c = 0; c < channels; c++) {
            for (size_t i = from; i < past; i++)
                window[i - from] = profile[i * channels + c];
            qsort(window, past - from, sizeof *window, by_value);
            smoothed[b * channels + c] = window[(past - from) / 2];
        }
    }
}

/* Steps out of bins: where the profile is level, the middle of each. */
static fleck_status gather_steps(const fleck_code_sums *bins, size_t bin_count, unsigned channels,
                                 double full, size_t count, fleck_code_sums *sums, fleck_error *err)
{
    double *profile = fleck_alloc_array(bin_count * channels, sizeof *profile);
    double *smoothed = fleck_alloc_array(bin_count * channels, sizeof *smoothed);
    double *window = fleck_alloc_array(bin_count, sizeof *window);
    size_t *first = fleck_alloc_array(count + 1, sizeof *first);
    fleck_status status = FLECK_OK;

    if (profile == NULL || smoothed == NULL || window == NULL || first == NULL) {
        status = fleck_calibration_no_memory(err);
        goto done;
    }
    for (size_t b = 0; b < bin_count && status == FLECK_OK; b++) {
        if (bins[b].pixels == 0)
            status = fleck_fail(err, FLECK_BAD_INPUT,
                                "the strip is too narrow for its pixels; scan finer or give boxes");
        for (unsigned c = 0; c < channels && status == FLECK_OK; c++)
            profile[b * channels + c] = (double)bins[b].sum[c] / (double)bins[b].pixels / full;
    }
    if (status == FLECK_OK) {
        smooth(profile, bin_count, channels, count, window, smoothed);
        status = fleck_strip_cut(smoothed, bin_count, channels, count, first, err);
    }
    for (size_t i = 0; status == FLECK_OK && i < count; i++) {
        const double length = (double)(first[i + 1] - first[i]);
        const size_t skip = (size_t)ceil((1 - middle) / 2 * length);

        sums[i] = (fleck_code_sums){ 0 };
        for (size_t b = first[i] + skip; b + skip < first[i + 1]; b++)
            add_sums(&sums[i], &bins[b]);
        if (sums[i].pixels == 0)
            add_sums(&sums[i], &bins[(first[i] + first[i + 1]) / 2]);
    }
done:
    fleck_free(profile);
    fleck_free(smoothed);
    fleck_free(window);
    fleck_free(first);
    return status;
}

fleck_status fleck_codes_of_strip(fleck_calibration *calibration, const fleck_scan_area *scan,
                                  const double *strip_mm, size_t count, fleck_code_sums *sums,
                                  fleck_warnings *warnings, fleck_error *err)
{
    const fleck_scan_area whole = { .path = scan->path, .page = scan->page };
    fleck_area_reader reader;
    struct band band = { 0 };
    fleck_code_sums *bins = NULL;
    const unsigned char *pixels;
    size_t y = 0;
    fleck_status status = fleck_area_open(
        calibration, &whole, "tone",
        strip_mm != NULL ? FLECK_AREA_CODES_AND_SIZE : FLECK_AREA_CODES, &reader, warnings, err);

    if (status == FLECK_OK)
        status = lay_band(&reader, strip_mm, count, &band, err);
    if (status == FLECK_OK) {
        bins = fleck_alloc_zeroed(band.bins, sizeof *bins);
        if (bins == NULL)
            status = fleck_calibration_no_memory(err);
    }
    for (size_t row = 0; status == FLECK_OK && row < reader.info->height_px; row++) {
        status = fleck_area_next_row(&reader, &y, &pixels, err);
        if (status == FLECK_OK)
            add_band_row(&reader, &band, y, pixels, bins);
    }
    if (status == FLECK_OK)
        status = gather_steps(bins, band.bins, reader.info->channels,
                              reader.info->sample_bytes == 1 ? 255 : 65535, count, sums, err);
    fleck_free(bins);
    fleck_area_close(&reader);
    return status;
}
