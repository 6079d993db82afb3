/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Do two prints have the same spots in the same places? */
#ifndef FLECK_STUDY_REGISTRATION_H
#define FLECK_STUDY_REGISTRATION_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"

/* Full scale of a cell: a cell is FLECK_GRID_SCALE times how far its share of ink is above the trend. */
enum { FLECK_GRID_SCALE = 1024 };

/* A print at low resolution: the share of ink in square cells, less a curved surface through all of them. */
typedef struct fleck_ink_grid {
    size_t width, height; /* in cells */
    double cell_mm;
    int16_t *cells; /* -FLECK_GRID_SCALE to FLECK_GRID_SCALE, row by row; owned */
} fleck_ink_grid;

/*
 * Make a grid of shares.
 *
 * shares    width x height shares of ink, 0 to 1, row by row; overwritten
 *
 * Taken off is the least-squares surface of second degree, so that uneven light or pressure that all
 * prints share does not count as the same spots.
 * Errors: FLECK_NO_RESOURCE. Ended with fleck_ink_grid_clear, on failure too.
 */
fleck_status fleck_ink_grid_from(double *shares, size_t width, size_t height, double cell_mm,
                                 fleck_ink_grid *grid, fleck_error *err);
void fleck_ink_grid_clear(fleck_ink_grid *grid);

/* How far prints may lie apart: common practice, no source. */
#define FLECK_REGISTER_REACH_MM 2.0
#define FLECK_REGISTER_REACH_DEG 1.0
/* The shorter side of a patch below which that leaves too little. */
#define FLECK_REGISTER_LEAST_MM 6.0

typedef struct fleck_registration {
    double correlation; /* of the cells' shares of ink; near 0 for prints that share nothing */
    double se;          /* its standard error */
    size_t tiles;       /* parts of the patch that the standard error rests on */
    double shift_x_mm, shift_y_mm; /* where the second print lies as against the first; y downward */
    double turn_deg;    /* by which it is turned, clockwise as seen on a screen */
} fleck_registration;

/*
 * Lay one print over another within FLECK_REGISTER_REACH and correlate them.
 *
 * The patch is parted like a chequerboard. On the white squares the best shift and turn is sought, on the
 * black ones the correlation is taken at that place, and the other way round. The largest of some thousand
 * correlations of random speckle is well above 0; the one taken on squares that were not searched is not.
 *
 * a, b    of the same cell_mm; their centres are laid over each other. They may differ in size
 *
 * The correlation is NAN when one of them has no ink or too little is left of the squares.
 * Errors: FLECK_NO_RESOURCE. Same bytes on every machine up to the last digits of the correlation.
 * Source: cross-validation of a maximum, Stone (1974), J. R. Stat. Soc. B 36, 111-147; standard error by the
 * jackknife over squares, Efron & Tibshirani (1993), chapter 11.
 */
fleck_status fleck_register(const fleck_ink_grid *a, const fleck_ink_grid *b,
                            fleck_registration *out, fleck_error *err);

#endif
