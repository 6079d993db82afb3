/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Lengths of the chords of both phases along rows and columns, as rows arrive. */
#ifndef FLECK_MEASURE_CHORD_LENGTHS_H
#define FLECK_MEASURE_CHORD_LENGTHS_H

#include "fleck/random_set.h"
#include "measure/bit_rows.h"

/* Stretches of one kind by their length in pixels, on lines along one axis. */
typedef struct fleck_stretches {
    uint64_t *inside;   /* of the region: what chords can lie on */
    uint64_t *whole[2]; /* chords of each phase that are not cut */
    uint64_t cut[2];
} fleck_stretches;

typedef struct fleck_chord_counter {
    size_t width_px, height_px, next_row;
    fleck_stretches rows, columns;
    uint32_t *begin;        /* of each column: first row of the stretch of one phase */
    uint32_t *inside_begin; /* of each column: first row of the stretch that is inside */
    uint8_t *cut;           /* whether the stretch began at the border */
} fleck_chord_counter;

/* Errors: FLECK_NO_RESOURCE. Ended with fleck_chord_counter_clear, on failure too. */
fleck_status fleck_chord_counter_init(fleck_chord_counter *counter, size_t width_px,
                                      size_t height_px, fleck_error *err);
void fleck_chord_counter_clear(fleck_chord_counter *counter);

/*
 * Add row y, the next one, from its runs and from the bits of it and of the row above.
 *
 * inside, inside_count    runs that are inside the region
 * ink_rows, inside_rows   kept bits, inside_rows NULL without a mask
 */
void fleck_chord_counter_row(fleck_chord_counter *counter, const fleck_run *ink, size_t ink_count,
                             const fleck_run *inside, size_t inside_count,
                             const fleck_bit_rows *ink_rows, const fleck_bit_rows *inside_rows);

/* After the last row, with the same bits: end what is still open. */
void fleck_chord_counter_end(fleck_chord_counter *counter, const fleck_bit_rows *ink_rows,
                             const fleck_bit_rows *inside_rows);

/* Errors: FLECK_NO_RESOURCE. *out is ended with fleck_chord_lengths_clear, on failure too. */
fleck_status fleck_chord_lengths_fill(const fleck_chord_counter *counter, fleck_phase phase,
                                      double pixel_x_mm, double pixel_y_mm,
                                      fleck_chord_lengths *out, fleck_error *err);
void fleck_chord_lengths_clear(fleck_chord_lengths *lengths);

#endif
