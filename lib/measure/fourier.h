/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Power of the 2-D Fourier transform of square real tiles, rows first, then columns a few at a
 * time. */
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
    double *two_rows; /* side_px pairs (half the value of a row, half of that below), to be filled
                         before fleck_fourier_two_rows */
    double *rows;     /* transforms of all pairs of rows */
    double *gathered; /* columns of them that are transformed next */
    double *column;   /* transform of one column */
    double *power;    /* |X|^2 of up to FLECK_FOURIER_COLUMNS columns, side_px values each */
} fleck_fourier_work;

/* Plans for one size of tile and the buffers of all workers. */
typedef struct fleck_fourier fleck_fourier;

/*
 * side_px    even, 2 to FLECK_FOURIER_MAX_SIDE_PX; asserted
 * workers    how many tiles may be transformed at the same time, at least 1
 *
 * Errors: FLECK_NO_RESOURCE. Thread-safe.
 */
fleck_status fleck_fourier_new(size_t side_px, unsigned workers, fleck_fourier **out,
                               fleck_error *err);

/* The buffers of a worker, 0 to workers - 1. */
fleck_fourier_work *fleck_fourier_get_work(const fleck_fourier *fourier, unsigned worker);

/* Transform work->two_rows, the tile's rows y and y + 1, y even. */
void fleck_fourier_two_rows(const fleck_fourier *fourier, fleck_fourier_work *work, size_t y);

/*
 * After all rows: the power of the columns from kx on, kx a multiple of FLECK_FOURIER_COLUMNS and
 * at most side_px / 2. Column kx + i stands from work->power + side_px * i on, ky in the order of
 * a DFT. The columns that are missing, kx above side_px / 2, follow from
 * X(-kx, -ky) = conj X(kx, ky).
 *
 * Returns the number of columns.
 */
size_t fleck_fourier_columns(const fleck_fourier *fourier, fleck_fourier_work *work, size_t kx);

/* End it; NULL is allowed. */
void fleck_fourier_free(fleck_fourier *fourier);

#endif
