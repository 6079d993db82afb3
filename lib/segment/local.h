/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A threshold that follows slow changes of light and paper: Otsu's in each window, a straight line
 * between windows (Chow & Kaneko 1972, with Otsu 1979 for their fit of two normal distributions).
 */
#ifndef FLECK_SEGMENT_LOCAL_H
#define FLECK_SEGMENT_LOCAL_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/segment.h"

enum {
    FLECK_LOCAL_LEAST_PX = 16,   /* side of a window */
    FLECK_LOCAL_MOST_PX = 32768
};

/* What the windows gave. */
typedef struct fleck_local_summary {
    size_t windows;
    size_t own;     /* with a threshold of their own; the others take it from the windows around */
    double mean_k;  /* of all windows, weighted by their measured pixels */
    double lowest_k, highest_k;
} fleck_local_summary;

/*
 * Two passes over the rows: the first gathers histograms of the windows, the second asks for
 * thresholds. Memory: 32 KB for each window along a row, 100 bytes for each of the patch.
 */
typedef struct fleck_local fleck_local;

/*
 * width_px, height_px          of the patch, 1 to 2^31 - 1
 * window_x_px, window_y_px     wanted sides of a window, FLECK_LOCAL_LEAST_PX to _MOST_PX. The patch is
 *                              parted evenly into the number of windows that comes closest
 * out                          to be ended with fleck_local_free; NULL on failure
 *
 * Errors: FLECK_BAD_CALL (sizes), FLECK_NO_RESOURCE. Thread-safe for different objects.
 */
fleck_status fleck_local_new(size_t width_px, size_t height_px, size_t window_x_px,
                             size_t window_y_px, fleck_local **out, fleck_error *err);

/*
 * First pass: the next row.
 *
 * inside, inside_count    the pixels that belong to the patch, as fleck_mask_runs gives them; one run
 *                         over the whole row without a mask
 *
 * Errors: FLECK_BAD_CALL (more rows than height_px).
 */
fleck_status fleck_local_add_row(fleck_local *local, const uint16_t *q, const fleck_run *inside,
                                 size_t inside_count, fleck_error *err);

/*
 * After the last row of the first pass: settle all thresholds.
 *
 * A window's own threshold is Otsu's over bins of 16 levels, at the last level of a bin. It is kept when
 * it lies outside the noise of the tone most pixels have, and the window's classes lie at least half as
 * far apart as those of such windows do on average: a bare or solid window would only cut its own
 * noise. The others take the mean of the windows around that have one, ring by ring, moved by what
 * their own tone differs from paper or ink there.
 *
 * whole    Otsu's cut of the whole patch, which stands for all when no window has its own
 *
 * Errors: FLECK_BAD_CALL (rows missing).
 */
fleck_status fleck_local_settle(fleck_local *local, const fleck_cut *whole,
                                fleck_local_summary *summary, fleck_error *err);

/*
 * Second pass, after settling, rows in any order: thresholds of row y_px. The darker class is
 * {q <= k[x]}. Between the middles of windows thresholds change evenly along each axis, beyond the
 * outermost ones not at all; they are rounded down to whole levels.
 *
 * k    out: width_px levels
 */
void fleck_local_levels(fleck_local *local, size_t y_px, uint16_t *k);

/*
 * The same row cut: 0 where q is at or below its threshold, else 1, so that
 * fleck_runs_from_row(sides, width_px, 0, ink, runs) gives its runs.
 *
 * q        width_px levels of the row
 * sides    out: width_px values; may be q
 */
void fleck_local_cut_row(fleck_local *local, size_t y_px, const uint16_t *q, uint16_t *sides);

/* NULL is allowed. */
void fleck_local_free(fleck_local *local);

#endif
