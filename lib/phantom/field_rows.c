/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * White noise on a grid, smoothed by a Gaussian of standard deviation a/2, has the covariance
 * exp(-h^2 / a^2). Smoothing is separable, so a band of grid rows is all that is kept, there is no
 * seam as on a periodic grid, and nothing depends on how a Fourier transform is planned. The noise
 * of a grid point depends on the seed and the point alone.
 *
 * The grid step is a/8: the kernel has a standard deviation of 4 steps and is cut at 5 of them,
 * which leaves the covariance right to 1e-5. Between grid points the field is read by cubic
 * interpolation in both directions; its error, 3/128 step^4 times the fourth derivative (whose
 * standard deviation is 41 / a^4), is below 3e-4 standard deviations of the field.
 */
#include "phantom/field_rows.h"

#include <assert.h>
#include <math.h>

#include "core/memory.h"
#include "phantom/dice.h"

enum {
    STEPS_PER_CORRELATION = 8,
    REACH = 20, /* of the kernel, in steps */
    BAND = 2 * REACH + 1,
    POINTS = 4 /* per pixel and axis */
};

/* Cubic interpolation at one place: four neighbours from `first` on. */
struct reading {
    size_t first;
    double weight[4];
};

struct fleck_field_rows {
    fleck_field_frame frame;
    unsigned points; /* per pixel and axis */
    double step_mm;
    int64_t left, top; /* grid point of column 0 and row 0 of what is kept */
    size_t columns;
    double kernel[BAND];
    double *noise;               /* columns + 2 REACH values: one row before smoothing */
    double *band;                /* BAND rows smoothed along x, row r at r % BAND */
    double *grid;                /* 4 rows smoothed in both, row r at r % 4 */
    size_t band_rows, grid_rows; /* rows made so far; band row r lies REACH above grid row r */
    double *line;                /* the field along one line of points, at grid columns */
    struct reading *readings;    /* per point along x */
    size_t y;
};

static struct reading reading_at(double position, int64_t start)
{
    const double whole = floor(position), t = position - whole;

    return (struct reading){
        .first = (size_t)((int64_t)whole - 1 - start),
        .weight = { -t * (t - 1) * (t - 2) / 6, (t + 1) * (t - 1) * (t - 2) / 2,
                    -(t + 1) * t * (t - 2) / 2, (t + 1) * t * (t - 1) / 6 },
    };
}

/* Place of point i along an axis that starts with pixel `first_px`, in grid steps. */
static double position_of(const fleck_field_rows *rows, double first_px, size_t i)
{
    return (first_px + ((double)i + 0.5) / rows->points) * rows->frame.pixel_mm / rows->step_mm;
}

/* sum of squares 1: the smoothed noise has the variance 1 */
static void make_kernel(double kernel[BAND])
{
    const double sd = STEPS_PER_CORRELATION / 2.0;
    double squares = 0;

    for (int i = 0; i < BAND; i++) {
        kernel[i] = exp(-(i - REACH) * (i - REACH) / (2 * sd * sd));
        squares += kernel[i] * kernel[i];
    }
    for (int i = 0; i < BAND; i++)
        kernel[i] /= sqrt(squares);
}

fleck_status fleck_field_rows_new(const fleck_field_frame *frame, fleck_field_rows **out,
                                  fleck_error *err)
{
    fleck_field_rows *rows = fleck_alloc_zeroed(1, sizeof *rows);
    size_t points;

    *out = NULL;
    if (rows == NULL)
        goto no_memory;
    rows->frame = *frame;
    rows->points = frame->antialias ? POINTS : 1;
    rows->step_mm = frame->correlation_mm / STEPS_PER_CORRELATION;
    points = frame->width_px * rows->points;
    rows->left = (int64_t)floor(position_of(rows, frame->left_px, 0)) - 1;
    rows->top = (int64_t)floor(position_of(rows, frame->top_px, 0)) - 1;
    rows->columns =
        (size_t)((int64_t)floor(position_of(rows, frame->left_px, points - 1)) + 3 - rows->left);
    make_kernel(rows->kernel);
    rows->noise = fleck_alloc_array(rows->columns + 2 * REACH, sizeof *rows->noise);
    rows->band = fleck_alloc_array(rows->columns, BAND * sizeof *rows->band);
    rows->grid = fleck_alloc_array(rows->columns, 4 * sizeof *rows->grid);
    rows->line = fleck_alloc_array(rows->columns, sizeof *rows->line);
    rows->readings = fleck_alloc_array(points, sizeof *rows->readings);
    if (rows->noise == NULL || rows->band == NULL || rows->grid == NULL || rows->line == NULL ||
        rows->readings == NULL)
        goto no_memory;
    for (size_t i = 0; i < points; i++)
        rows->readings[i] = reading_at(position_of(rows, frame->left_px, i), rows->left);
    *out = rows;
    return FLECK_OK;
no_memory:
    fleck_field_rows_free(rows);
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to draw; give a smaller picture");
}

static void make_band_row(fleck_field_rows *rows)
{
    const int64_t row = rows->top + (int64_t)rows->band_rows - REACH;
    double *smoothed = rows->band + (rows->band_rows % BAND) * rows->columns;

    for (size_t i = 0; i < rows->columns + 2 * REACH; i++) {
        fleck_dice dice = fleck_dice_at(rows->frame.seed,
                                        rows->frame.fibre ? FLECK_DICE_FIBRE : FLECK_DICE_FIELD,
                                        rows->left + (int64_t)i - REACH, row);
        double pair[2];

        fleck_dice_normal_pair(&dice, pair);
        rows->noise[i] = pair[0];
    }
    for (size_t i = 0; i < rows->columns; i++) {
        double sum = 0;

        for (size_t k = 0; k < BAND; k++)
            sum += rows->kernel[k] * rows->noise[i + k];
        smoothed[i] = sum;
    }
    rows->band_rows++;
}

static void make_grid_row(fleck_field_rows *rows)
{
    double *grid = rows->grid + (rows->grid_rows % 4) * rows->columns;

    while (rows->band_rows < rows->grid_rows + BAND)
        make_band_row(rows);
    for (size_t i = 0; i < rows->columns; i++)
        grid[i] = 0;
    for (size_t k = 0; k < BAND; k++) {
        const double *band = rows->band + ((rows->grid_rows + k) % BAND) * rows->columns;

        for (size_t i = 0; i < rows->columns; i++)
            grid[i] += rows->kernel[k] * band[i];
    }
    rows->grid_rows++;
}

/* The field along line i of points, at the grid's columns. */
static void make_line(fleck_field_rows *rows, size_t i)
{
    const double y = position_of(rows, rows->frame.top_px, i);
    const struct reading down = reading_at(y, rows->top);
    const double *grid[4];

    while (rows->grid_rows < down.first + 4)
        make_grid_row(rows);
    for (size_t j = 0; j < 4; j++)
        grid[j] = rows->grid + ((down.first + j) % 4) * rows->columns;
    for (size_t column = 0; column < rows->columns; column++)
        rows->line[column] = down.weight[0] * grid[0][column] + down.weight[1] * grid[1][column] +
                             down.weight[2] * grid[2][column] + down.weight[3] * grid[3][column];
}

static double read_line(const fleck_field_rows *rows, const struct reading *across)
{
    const double *at = rows->line + across->first;

    return across->weight[0] * at[0] + across->weight[1] * at[1] + across->weight[2] * at[2] +
           across->weight[3] * at[3];
}

void fleck_field_rows_next(fleck_field_rows *rows, double *share)
{
    const double unit = 1.0 / (rows->points * rows->points);

    for (size_t x = 0; x < rows->frame.width_px; x++)
        share[x] = 0;
    for (size_t k = 0; k < rows->points; k++) {
        const struct reading *across = rows->readings;

        make_line(rows, rows->y * rows->points + k);
        for (size_t x = 0; x < rows->frame.width_px; x++) {
            for (size_t point = 0; point < rows->points; point++, across++) {
                if (read_line(rows, across) <= rows->frame.level)
                    share[x] += unit;
            }
        }
    }
    rows->y++;
}

void fleck_field_rows_values(fleck_field_rows *rows, double *value)
{
    assert(rows->points == 1);
    make_line(rows, rows->y);
    for (size_t x = 0; x < rows->frame.width_px; x++)
        value[x] = read_line(rows, &rows->readings[x]);
    rows->y++;
}

void fleck_field_rows_free(fleck_field_rows *rows)
{
    if (rows == NULL)
        return;
    fleck_free(rows->noise);
    fleck_free(rows->band);
    fleck_free(rows->grid);
    fleck_free(rows->line);
    fleck_free(rows->readings);
    fleck_free(rows);
}
