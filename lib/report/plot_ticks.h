/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where the ticks of an axis stand and what they say: 1, 2 or 5 times a power of ten apart.
 * Source: Heckbert (1990), Nice numbers for graph labels, in: Graphics Gems, 61-63.
 */
#ifndef FLECK_REPORT_PLOT_TICKS_H
#define FLECK_REPORT_PLOT_TICKS_H

#include <stdbool.h>
#include <stddef.h>

enum { PLOT_TICKS_MOST = 120, PLOT_TICK_BYTES = 48, PLOT_COARSEST = 8 };

typedef struct plot_tick {
    double value;
    char label[PLOT_TICK_BYTES]; /* "" for a small tick between others */
} plot_tick;

typedef struct plot_ticks {
    size_t count;
    plot_tick tick[PLOT_TICKS_MOST];
} plot_ticks;

/*
 * At most `most` (2 or more) ticks from least to greatest, least < greatest, as close together as
 * 1-2-5 allows. The range must be at least 1e-12 of the larger limit.
 */
void plot_ticks_linear(double least, double greatest, size_t most, plot_ticks *out);

/*
 * Ticks of a logarithmic axis, 0 < least < greatest.
 *
 * coarseness    0: labels at 1, 2 and 5 of each decade; 1: at each decade; then at every second,
 * third, 5th, 10th ... 100th, at most PLOT_COARSEST
 *
 * Decades that have no label keep a small tick where there are at most 40, and so do 2 to 9 where
 * there are at most 4. A range with fewer than two of 1-2-5 has the ticks of a linear one.
 */
void plot_ticks_log(double least, double greatest, size_t coarseness, plot_ticks *out);

#endif
