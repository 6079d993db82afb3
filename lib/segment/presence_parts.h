/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the stream of rows leaves for the judgement on it. */
#ifndef FLECK_SEGMENT_PRESENCE_PARTS_H
#define FLECK_SEGMENT_PRESENCE_PARTS_H

#include <stddef.h>
#include <stdint.h>

#include "segment/presence.h"

__extension__ typedef unsigned __int128 wide;
__extension__ typedef __int128 signed_wide;

enum {
    PRESENCE_SIDE = 7,   /* of a window, in cells */
    PRESENCE_LEVELS = 6, /* cells of 2 to 64 pixels: the sum over a window fits 32 bits */
    PRESENCE_BLOCK = 8,  /* of a JPEG, in pixels */
    PRESENCE_WHOLE = 1 << 14 /* cells of 2 pixels of a patch that is also looked at as a whole */
};

/* Deviations from the window's mean, in levels of q, summed exactly. */
struct deviations {
    uint64_t looks;
    signed_wide sum, cubes;
    wide squares, fourths;
    wide bends; /* squared second differences of neighbouring cells, along both axes */
};

/* Cells of one size. Rows lie in a ring of PRESENCE_SIDE. */
struct level {
    size_t width;           /* in cells */
    size_t rows;            /* seen so far */
    uint32_t *ring;         /* sums over a cell */
    uint32_t *columns;      /* sum of the ring's rows */
    uint32_t *fine;         /* some levels: a ring of smaller values within the cells */
    unsigned fine_each;     /* of them in a cell, along its diagonal */
    unsigned fine_shift;    /* each is a sum over 2^fine_shift pixels */
    uint8_t *measured;      /* with a mask: a ring, 1 for cells wholly inside */
    uint8_t *column_counts; /* sum of its rows */
    struct deviations cells, finer;
};

/* The cells of 2 pixels of a patch small enough to keep them all. */
struct whole {
    size_t room;       /* rows there is room for */
    size_t rows;       /* seen, may be more */
    uint32_t *sums;    /* over a cell */
    uint8_t *measured; /* with a mask: 1 for cells wholly inside */
    double *rest;      /* what is left of sums, for the judgement */
};

struct fleck_presence {
    size_t width_px;
    size_t rows;
    uint16_t *upper;              /* the first row of a pair */
    uint8_t *upper_marks, *marks; /* with a mask: 1 for pixels inside, of both rows */
    struct {
        uint32_t *sums, *corners;
        uint8_t *measured;
    } fresh; /* a row of cells on the way to their level */
    size_t levels;
    struct level level[PRESENCE_LEVELS];
    struct whole whole;
    uint64_t steps[PRESENCE_BLOCK]; /* between neighbours, by the column's place in a block */
    uint64_t step_squares[PRESENCE_BLOCK];
    uint64_t step_count[PRESENCE_BLOCK];
};

/* What is left of a small patch when a curved surface is taken off. */
struct whole_shape {
    double cells;
    double m2, m3, m4; /* central moments, in levels of q */
    double roughness;  /* mean squared second difference of cells 4 apart; noise has 6 m2 */
    double third, fourth; /* cells that tell as much as one of independent ones, for m3 and m4 */
};

/* false when the patch is too large or too small, or flat */
bool fleck_presence_whole(const fleck_presence *presence, struct whole_shape *shape);

#endif
