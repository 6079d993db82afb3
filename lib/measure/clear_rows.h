/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Places that lie clear of the other phase, found as rows arrive. */
#ifndef FLECK_MEASURE_CLEAR_ROWS_H
#define FLECK_MEASURE_CLEAR_ROWS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/geometry.h"
#include "fleck/segment.h"

/*
 * Rows are taken in bands of 2 reach + 1, of large regions each second, third or fourth band only.
 * Of each band the middle row is kept, together with the stretches of it that have the same phase
 * in all rows of the band: there, tone is not mixed with that of dots above or below.
 */
typedef struct fleck_clear_rows {
    size_t width_px, reach_px;
    size_t row;       /* within the band */
    size_t row_count; /* from one band's first row to the next one's */
    uint16_t *q;      /* middle row */
    fleck_run *runs;  /* its ink runs */
    size_t run_count;
    fleck_run *clear[2]; /* by fleck_phase: stretches clear of the other phase above and below */
    size_t clear_count[2];
    fleck_run *spare;
} fleck_clear_rows;

/* 1/8 mm or 3 pixels: beyond it the blur of a fair scanner has died down. */
size_t fleck_clear_reach_px(const fleck_geometry *geometry);

/* False when there is no memory. Ended with fleck_clear_rows_end, also after a failure. */
bool fleck_clear_rows_begin(fleck_clear_rows *clear, const fleck_geometry *geometry);

/* Next row and its ink runs. True when it completes a band, whose results stand until the next row.
 */
bool fleck_clear_rows_add(fleck_clear_rows *clear, const uint16_t *q, const fleck_run *ink_runs,
                          size_t count);

void fleck_clear_rows_end(fleck_clear_rows *clear);

#endif
