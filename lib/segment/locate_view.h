/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A window of the grid as seen along an angle: cells sorted into bins one cell wide. */
#ifndef FLECK_SEGMENT_LOCATE_VIEW_H
#define FLECK_SEGMENT_LOCATE_VIEW_H

#include "segment/locate_parts.h"

enum { FLECK_VIEW_FINE = 8 };

/* Cells whose centres lie in a small part of a bin. */
typedef struct fleck_fine_bin {
    double sum; /* of their relative depths */
    double cells;
} fleck_fine_bin;

/* What each cell of a window adds to the box that holds it. */
typedef struct fleck_gains {
    const fleck_window *window;
    float *relative; /* depth over the mean depth of the block around; NAN: tells nothing */
    double part;     /* what is taken off it */
    double coverage; /* mean depth over that of solid ink */
    double reach;    /* how far a side may move from where it was, in cells */
} fleck_gains;

/* u and v of cells are taken about the window's middle, which lies in the middle of the bins. */
typedef struct fleck_view {
    const fleck_window *window;
    double cosine, sine;
    double middle_x, middle_y;
    size_t bins;   /* along u and along v */
    double *sum_u; /* scratch: bins values */
    double *sum_v;
    fleck_fine_bin *fine; /* scratch: FLECK_VIEW_FINE for each bin */
    size_t step; /* every step-th cell of every step-th row is looked at */
} fleck_view;

/* A box's intervals in bins of a view. */
typedef struct fleck_ranges {
    double first_u, past_u, first_v, past_v;
} fleck_ranges;

/* Errors: FLECK_NO_RESOURCE. End with fleck_view_clear in any case. */
fleck_status fleck_view_init(fleck_view *view, const fleck_window *window, fleck_error *err);
void fleck_view_clear(fleck_view *view);

void fleck_view_turn(fleck_view *view, double angle);

/* u and v of a cell's centre, measured from bin 0. */
static inline void fleck_view_see(const fleck_view *view, size_t x, size_t y, double *u, double *v)
{
    const double dx = (double)x + 0.5 - view->middle_x, dy = (double)y + 0.5 - view->middle_y;

    *u = dx * view->cosine - dy * view->sine + (double)view->bins / 2;
    *v = dx * view->sine + dy * view->cosine + (double)view->bins / 2;
}

/* Intervals of the view, turned to `angle`, as a box on the grid; and back. */
fleck_turned_box fleck_view_box(const fleck_view *view, double angle, const fleck_ranges *ranges);
fleck_ranges fleck_view_ranges(const fleck_view *view, const fleck_turned_box *box);

/* ---- locate_score.c ---- */

/*
 * How well the print fits the best box of the view's angle whose sides lie near those of `near`; the
 * larger the better, for one window and gains.
 */
double fleck_score_box(const fleck_view *view, const fleck_gains *gains, const fleck_ranges *near);

#endif
