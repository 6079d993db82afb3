/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Power of the 2-D Fourier transform of square real tiles under a Hann window: rows first, half a
 * tile at a time, as tiles that overlap by half share them, then columns a few at a time.
 */
#ifndef FLECK_MEASURE_FOURIER_H
#define FLECK_MEASURE_FOURIER_H

#include <stddef.h>

#include "fleck/error.h"

enum {
    FLECK_FOURIER_COLUMNS = 4,        /* columns that are ready at a time: a line of the cache */
    FLECK_FOURIER_MAX_SIDE_PX = 65536 /* so that row sums fit 32 bits and ring numbers 16 */
};

/* Buffers of one worker; they belong to the fleck_fourier. */
typedef struct fleck_fourier_work {
    double *two_rows;  /* side_px pairs (value of a row, of that below), times the window along the
                          row; to be filled before fleck_fourier_two_rows */
    double *halves[2]; /* transforms of the pairs of rows of two half tiles */
    double *gathered;  /* columns of them that are transformed next */
    double *column;    /* transform of one column */
    double *power;     /* |X|^2 of up to FLECK_FOURIER_COLUMNS columns, side_px values each */
} fleck_fourier_work;

/* Plans for one size of tile and the buffers of all workers. */
typedef struct fleck_fourier fleck_fourier;

/*
 * side_px    even, 2 to FLECK_FOURIER_MAX_SIDE_PX; asserted
 * window     side_px values of the periodic Hann window, which columns are weighted with; borrowed
 *            until fleck_fourier_free
 * workers    how many tiles may be transformed at the same time, at least 1
 *
 * Errors: FLECK_NO_RESOURCE. Thread-safe.
 */
fleck_status fleck_fourier_new(size_t side_px, const double *window, unsigned workers,
                               fleck_fourier **out, fleck_error *err);

/* The buffers of a worker, 0 to workers - 1. */
fleck_fourier_work *fleck_fourier_get_work(const fleck_fourier *fourier, unsigned worker);

/*
 * Transform work->two_rows, the rows y and y + 1 of a half tile, y even. The last row of a half
 * with an odd number of them stands alone: what is beside it is set to 0.
 *
 * half    0 or 1, which of work->halves
 */
void fleck_fourier_two_rows(const fleck_fourier *fourier, fleck_fourier_work *work, unsigned half,
                            size_t y);

/*
 * After all rows of both halves: the power of the columns from kx on, kx a multiple of
 * FLECK_FOURIER_COLUMNS and at most side_px / 2. Column kx + i stands from work->power + side_px *
 * i on, ky in the order of a DFT. The columns that are missing, kx above side_px / 2, follow from
 * X(-kx, -ky) = conj X(kx, ky).
 *
 * upper    0 or 1, the half that holds the tile's upper rows
 * level    is taken off every value of the tile; 0 for a side of 2
 *
 * Returns the number of columns.
 */
size_t fleck_fourier_columns(const fleck_fourier *fourier, fleck_fourier_work *work, unsigned upper,
                             double level, size_t kx);

/* End it; NULL is allowed. */
void fleck_fourier_free(fleck_fourier *fourier);

#endif
