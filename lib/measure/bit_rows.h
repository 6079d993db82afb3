/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows of a mask with one bit a pixel, and the counting of pairs of pixels a fixed step apart. */
#ifndef FLECK_MEASURE_BIT_ROWS_H
#define FLECK_MEASURE_BIT_ROWS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/segment.h"

/*
 * Some rows of bits. Pixel x is bit x % 64 of word x / 64; bits behind the width are 0. Behind each
 * row stand words of 0 for reach_px pixels, so that a row may be read shifted by that much.
 */
typedef struct fleck_bit_rows {
    size_t width_px;
    size_t rows;  /* kept: row y of a picture lies at y % rows */
    size_t words; /* that hold pixels */
    size_t pitch; /* words from row to row */
    uint64_t *bits;
    uint64_t
        *before; /* bits set in a row before each of its words, the whole row's after the last */
} fleck_bit_rows;

/* All bare. Errors: FLECK_NO_RESOURCE. Ended with fleck_bit_rows_clear. */
fleck_status fleck_bit_rows_init(fleck_bit_rows *rows, size_t width_px, size_t count,
                                 size_t reach_px, fleck_error *err);
void fleck_bit_rows_clear(fleck_bit_rows *rows);

static inline uint64_t *fleck_bit_row(const fleck_bit_rows *rows, size_t y)
{
    return rows->bits + y % rows->rows * rows->pitch;
}

/* Set pixels start to end - 1 of a row of words. */
void fleck_bit_row_fill(uint64_t *row, size_t start_px, size_t end_px);

/* Count what is set in row y, after its bits were changed. */
void fleck_bit_rows_recount(fleck_bit_rows *rows, size_t y);

/* Row y from runs that end at most at the width; recounted. */
void fleck_bit_rows_set(fleck_bit_rows *rows, size_t y, const fleck_run *runs, size_t count);

/* Bits set among the first count_px pixels of row y. */
uint64_t fleck_bit_rows_set_before(const fleck_bit_rows *rows, size_t y, size_t count_px);

/* A step from one pixel to another: dx to the right (perhaps negative), dy >= 0 rows down. */
typedef struct fleck_step {
    int32_t dx_px;
    int32_t dy_px;
} fleck_step;

/* Pairs of pixels one step apart, both inside the region. */
typedef struct fleck_pairs {
    uint64_t pairs;
    uint64_t both;   /* both ink */
    uint64_t differ; /* one ink, one bare */
} fleck_pairs;

/*
 * Add all pairs that end in row y: pixel x + dx of row y with pixel x of row y - dy, which must
 * still be kept. Nothing when y < dy.
 *
 * ink       reach_px >= |dx|
 * inside    the region's rows, ink being part of it; NULL: every pixel is inside
 */
void fleck_pairs_add_row(fleck_pairs *pairs, fleck_step step, const fleck_bit_rows *ink,
                         const fleck_bit_rows *inside, size_t y);

#endif
