/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The light of a scanner falls off smoothly, so that a cubic in x and y describes it. It is fitted
 * to the means of the middle half of the values within blocks: robust like a median, but finer than
 * the steps of an 8-bit code. Blocks that stand out after a fit (a scrap under the sheet) are left
 * out of the next one.
 * Source: least squares by Householder QR (GSL); scale by the median absolute deviation, Hampel
 * (1974).
 */
#include <math.h>
#include <stdint.h>
#include <stdlib.h>

#include <gsl/gsl_linalg.h>

#include "calibrate/calibration.h"
#include "calibrate/scan_area.h"
#include "calibrate/tone_reflect.h"
#include "core/memory.h"

enum {
    MOST_BLOCKS = 48, /* along the longer side */
    LEAST_BLOCKS = 6, /* along either, so that a cubic is well determined */
    LEAST_BLOCK_PX = 8,
    SAMPLES = 64, /* along each side of a block at most: their mean is far finer than needed */
    FITS = 4
};

/* A block's mean in each channel, and which blocks a fit may use. */
struct grid {
    size_t columns, rows;
    double *values; /* channel by channel */
    bool *kept;
};

static int by_value(const void *a, const void *b)
{
    const double left = *(const double *)a, right = *(const double *)b;

    return (left > right) - (left < right);
}

/* Mean of the middle half; sorts the values. */
static double middle_mean(double *values, size_t count)
{
    const size_t skip = count / 4;
    double sum = 0;

    qsort(values, count, sizeof *values, by_value);
    for (size_t i = skip; i < count - skip; i++)
        sum += values[i];
    return sum / (double)(count - 2 * skip);
}

static size_t block_count(size_t side_px, size_t longer_px)
{
    const size_t wanted = (side_px * MOST_BLOCKS + longer_px - 1) / longer_px;
    const size_t room = side_px / LEAST_BLOCK_PX;
    const size_t count = wanted > LEAST_BLOCKS ? wanted : LEAST_BLOCKS;

    return count < room ? count : room;
}

static size_t start_of(size_t block, size_t blocks, size_t side_px)
{
    return (size_t)((uint64_t)side_px * block / blocks);
}

/* One column of blocks after the other takes its samples of a row. */
struct band {
    double *samples; /* of each channel and column: room for SAMPLES * SAMPLES */
    size_t *counts;  /* of each column */
    double *row;
};

static void take_row(const fleck_area_reader *reader, const struct grid *grid, unsigned channels,
                     const unsigned char *pixels, size_t y, struct band *band)
{
    const size_t width = reader->geometry.width_px;

    for (unsigned t = 0; t < channels; t++) {
        fleck_tone_reflect_row(reader->tone, (fleck_channel)t, pixels, width, 0, y, band->row);
        for (size_t column = 0; column < grid->columns; column++) {
            const size_t from = start_of(column, grid->columns, width);
            const size_t to = start_of(column + 1, grid->columns, width);
            const size_t step = (to - from + SAMPLES - 1) / SAMPLES;
            double *const into = band->samples + (t * grid->columns + column) * SAMPLES * SAMPLES;
            size_t count = band->counts[column];

            for (size_t x = from; x < to; x += step)
                into[count++] = band->row[x];
            if (t + 1 == channels)
                band->counts[column] = count;
        }
    }
}

static void end_band(const struct grid *grid, unsigned channels, size_t row, struct band *band)
{
    for (unsigned t = 0; t < channels; t++) {
        for (size_t column = 0; column < grid->columns; column++)
            grid->values[(t * grid->rows + row) * grid->columns + column] =
                middle_mean(band->samples + (t * grid->columns + column) * SAMPLES * SAMPLES,
                            band->counts[column]);
    }
    for (size_t column = 0; column < grid->columns; column++)
        band->counts[column] = 0;
}

/* Reads the sheet; *clipped becomes the share of sampled pixels at full scale. */
static fleck_status read_blocks(fleck_area_reader *reader, const struct grid *grid,
                                unsigned channels, double *clipped, fleck_error *err)
{
    const size_t width = reader->geometry.width_px, height = reader->geometry.height_px;
    const unsigned full = reader->info->sample_bytes == 1 ? 255 : 65535;
    struct band band = {
        .samples =
            fleck_alloc_array(channels * grid->columns * SAMPLES * SAMPLES, sizeof *band.samples),
        .counts = fleck_alloc_zeroed(grid->columns, sizeof *band.counts),
        .row = fleck_alloc_array(width, sizeof *band.row),
    };
    const unsigned char *pixels;
    uint64_t at_full = 0, seen = 0;
    size_t row = 0, y;
    fleck_status status = FLECK_OK;

    if (band.samples == NULL || band.counts == NULL || band.row == NULL)
        status = fleck_calibration_no_memory(err);
    for (size_t i = 0; status == FLECK_OK && i < height; i++) {
        const size_t from = start_of(row, grid->rows, height);
        const size_t to = start_of(row + 1, grid->rows, height);

        status = fleck_area_next_row(reader, &y, &pixels, err);
        if (status == FLECK_OK && (i - from) % ((to - from + SAMPLES - 1) / SAMPLES) == 0) {
            take_row(reader, grid, channels, pixels, y, &band);
            for (size_t x = 0; x < width; x += 16) {
                bool any = false;

                for (unsigned c = 0; c < reader->info->channels; c++)
                    any = any || fleck_area_code(reader, pixels, x, c) == full;
                at_full += any;
                seen++;
            }
        }
        if (status == FLECK_OK && i + 1 == to) {
            end_band(grid, channels, row, &band);
            row++;
        }
    }
    *clipped = seen > 0 ? (double)at_full / (double)seen : 0;
    fleck_free(band.samples);
    fleck_free(band.counts);
    fleck_free(band.row);
    return status;
}

static void block_place(const struct grid *grid, size_t i, double *x, double *y)
{
    *x = (2 * (double)(i % grid->columns) + 1) / (double)grid->columns - 1;
    *y = (2 * (double)(i / grid->columns) + 1) / (double)grid->rows - 1;
}

/* Room for a fit over all blocks. */
struct workspace {
    double *design, *values, *residuals; /* blocks * terms, blocks, blocks */
};

/* Least squares over the kept blocks, at least 10 of them in general position. */
static void fit(const struct grid *grid, const double *values, struct workspace *work,
                double coefficients[FLECK_FIELD_TERMS])
{
    double tau[FLECK_FIELD_TERMS];
    size_t kept = 0;

    for (size_t i = 0; i < grid->columns * grid->rows; i++) {
        double x, y;

        if (!grid->kept[i])
            continue;
        block_place(grid, i, &x, &y);
        fleck_field_terms(x, y, work->design + kept * FLECK_FIELD_TERMS);
        work->values[kept++] = values[i];
    }
    {
        gsl_matrix_view design = gsl_matrix_view_array(work->design, kept, FLECK_FIELD_TERMS);
        gsl_vector_view taus = gsl_vector_view_array(tau, FLECK_FIELD_TERMS);
        gsl_vector_view right = gsl_vector_view_array(work->values, kept);
        gsl_vector_view left_over = gsl_vector_view_array(work->residuals, kept);
        gsl_vector_view out = gsl_vector_view_array(coefficients, FLECK_FIELD_TERMS);

        gsl_linalg_QR_decomp(&design.matrix, &taus.vector);
        gsl_linalg_QR_lssolve(&design.matrix, &taus.vector, &right.vector, &out.vector,
                              &left_over.vector);
    }
}

/*
 * Keep the blocks within 4 scaled median deviations of the fit, but never fewer than half of them:
 * a sheet with more dirt than that must be seen in the residual, not hidden.
 */
static size_t keep_close(struct grid *grid, const double *values, const double *coefficients,
                         struct workspace *work)
{
    const size_t blocks = grid->columns * grid->rows;
    double limit;
    size_t left_out = 0;

    for (size_t i = 0; i < blocks; i++) {
        double x, y;

        block_place(grid, i, &x, &y);
        work->residuals[i] = fabs(values[i] - fleck_field_at(coefficients, x, y));
        work->values[i] = work->residuals[i];
    }
    qsort(work->values, blocks, sizeof *work->values, by_value);
    /* and never for less than a rounding error, on a sheet without noise */
    limit = fmax(4 * 1.4826 * work->values[blocks / 2], 1e-6);
    for (size_t i = 0; i < blocks; i++) {
        grid->kept[i] = work->residuals[i] <= limit;
        left_out += !grid->kept[i];
    }
    return left_out;
}

/* Standard deviation over mean of the kept blocks, each divided by the field (NULL: by nothing). */
static double unevenness(const struct grid *grid, const double *values, const double *coefficients)
{
    double sum = 0, square = 0, count = 0, mean;

    for (int pass = 0; pass < 2; pass++) {
        mean = pass == 0 ? 0 : sum / count;
        for (size_t i = 0; i < grid->columns * grid->rows; i++) {
            double x, y, value;

            if (!grid->kept[i])
                continue;
            block_place(grid, i, &x, &y);
            value = values[i] / (coefficients != NULL ? fleck_field_at(coefficients, x, y) : 1);
            if (pass == 0) {
                sum += value;
                count++;
            } else {
                square += (value - mean) * (value - mean);
            }
        }
    }
    return sqrt(square / count) / (sum / count);
}

static fleck_status fit_channel(struct grid *grid, const double *values, unsigned t,
                                struct workspace *work, fleck_calibration_evenness *out,
                                fleck_error *err)
{
    const size_t blocks = grid->columns * grid->rows;
    double *const coefficients = out->coefficients[t];
    double mean = 0, least = INFINITY;
    size_t left_out = 0;

    for (size_t i = 0; i < blocks; i++)
        grid->kept[i] = true;
    for (int round = 0; round < FITS; round++) {
        fit(grid, values, work, coefficients);
        if (round + 1 < FITS)
            left_out = keep_close(grid, values, coefficients, work);
    }
    for (size_t i = 0; i < blocks; i++) {
        double x, y;

        block_place(grid, i, &x, &y);
        mean += fleck_field_at(coefficients, x, y) / (double)blocks;
    }
    if (!(mean > 0.01))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "the sheet has a reflectance of %.3g only; scan a blank white sheet",
                          mean);
    for (size_t i = 0; i < FLECK_FIELD_TERMS; i++)
        coefficients[i] /= mean;
    for (int i = 0; i < 33 * 33; i++)
        least = fmin(least, fleck_field_at(coefficients, (i % 33) / 16.0 - 1, (i / 33) / 16.0 - 1));
    if (!(least > FLECK_LEAST_FIELD))
        return fleck_fail(
            err, FLECK_BAD_INPUT,
            "somewhere on the sheet there is less than a fifth of the mean light; scan "
            "a blank sheet that covers the whole area");
    out->blocks_left_out[t] = (double)left_out;
    out->before_sd[t] = unevenness(grid, values, NULL);
    out->after_sd[t] = unevenness(grid, values, coefficients);
    return FLECK_OK;
}

fleck_status fleck_calibrate_evenness(fleck_calibration *calibration, const fleck_scan_area *blank,
                                      fleck_warnings *warnings, fleck_error *err)
{
    fleck_calibration_evenness evenness = { 0 };
    fleck_area_reader reader = { 0 };
    struct grid grid = { 0 };
    struct workspace work = { 0 };
    size_t blocks, longer;
    double clipped = 0;
    unsigned channels;
    fleck_status status;

    if (blank->has_box)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "evenness is that of the whole scan; give the blank scan without a box");
    if (calibration->paper.present)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "the paper's white rests on the evenness; calibrate the evenness before it");
    calibration->evenness = (fleck_calibration_evenness){ 0 };
    status =
        fleck_area_open(calibration, blank, "evenness", FLECK_AREA_TONE, &reader, warnings, err);
    if (status != FLECK_OK)
        goto done;
    evenness.width_px = reader.geometry.width_px;
    evenness.height_px = reader.geometry.height_px;
    longer = evenness.width_px > evenness.height_px ? evenness.width_px : evenness.height_px;
    grid.columns = block_count(evenness.width_px, longer);
    grid.rows = block_count(evenness.height_px, longer);
    if (grid.columns < LEAST_BLOCKS || grid.rows < LEAST_BLOCKS) {
        status = fleck_fail(err, FLECK_BAD_INPUT,
                            "the blank scan of %zu x %zu pixels is too small to tell how even the "
                            "light is; scan the whole sheet",
                            evenness.width_px, evenness.height_px);
        goto done;
    }
    blocks = grid.columns * grid.rows;
    channels = fleck_tone_channels(reader.tone);
    grid.values = fleck_alloc_array(blocks * channels, sizeof *grid.values);
    grid.kept = fleck_alloc_array(blocks, sizeof *grid.kept);
    work.design = fleck_alloc_array(blocks * FLECK_FIELD_TERMS, sizeof *work.design);
    work.values = fleck_alloc_array(blocks, sizeof *work.values);
    work.residuals = fleck_alloc_array(blocks, sizeof *work.residuals);
    if (grid.values == NULL || grid.kept == NULL || work.design == NULL || work.values == NULL ||
        work.residuals == NULL)
        status = fleck_calibration_no_memory(err);
    if (status == FLECK_OK)
        status = read_blocks(&reader, &grid, channels, &clipped, err);
    for (unsigned t = 0; status == FLECK_OK && t < channels; t++)
        status = fit_channel(&grid, grid.values + t * blocks, t, &work, &evenness, err);
    if (status == FLECK_OK && clipped > 0.01)
        status = fleck_warnings_add(warnings, err, "evenness-clipped",
                                    "%.0f %% of the blank sheet is at full scale, where unevenness "
                                    "cannot be seen; scan it darker",
                                    100 * clipped);
    if (status == FLECK_OK) {
        evenness.blocks = (double)blocks;
        calibration->evenness = evenness;
    }
done:
    fleck_free(grid.values);
    fleck_free(grid.kept);
    fleck_free(work.design);
    fleck_free(work.values);
    fleck_free(work.residuals);
    fleck_area_close(&reader);
    return status;
}
