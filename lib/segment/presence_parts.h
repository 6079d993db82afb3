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
    PRESENCE_BLOCK = 8   /* of a JPEG, in pixels */
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
    uint32_t *corners;      /* level 0 only: a ring of each cell's first pixel */
    uint8_t *measured;      /* with a mask: a ring, 1 for cells wholly inside */
    uint8_t *column_counts; /* sum of its rows */
    struct deviations cells, pixels;
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
    uint64_t steps[PRESENCE_BLOCK]; /* between neighbours, by the column's place in a block */
    uint64_t step_count[PRESENCE_BLOCK];
};

#endif
