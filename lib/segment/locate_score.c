/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * How well a turned box fits the print. A cell that a side runs through is covered in part, and holds
 * that part of the print: so a box with the shares A of cells that it covers scores sum (r A - part A^2),
 * r the relative depth, which for whole cells is sum (r - part). That tells a quarter of a degree on
 * sides of fifty cells, where whole cells alone leave a degree open.
 */
#include "segment/locate_view.h"

#include <math.h>
#include <string.h>

enum { FINE = FLECK_VIEW_FINE, HALF = FINE / 2 };

/* Relative depths and numbers of the cells in the box's other interval, by places of 1/FINE bin. */
static void gather(const fleck_view *view, const fleck_gains *gains, bool along_u,
                   const fleck_ranges *ranges)
{
    const fleck_window *const window = view->window;
    const double first = along_u ? ranges->first_v : ranges->first_u;
    const double past = along_u ? ranges->past_v : ranges->past_u;

    memset(view->fine, 0, view->bins * FINE * sizeof *view->fine);
    for (size_t y = 0; y < window->rows; y++) {
        for (size_t x = 0; x < window->columns; x++) {
            const double relative = gains->relative[y * window->columns + x];
            double u, v;
            fleck_fine_bin *bin;

            fleck_view_see(view, x, y, &u, &v);
            if (isnan(relative) || (along_u ? v : u) < first || (along_u ? v : u) >= past)
                continue;
            bin = &view->fine[(size_t)((along_u ? u : v) * FINE)];
            bin->sum += relative;
            bin->cells++;
        }
    }
}

/*
 * The place between two others (walking outward in either direction) where a side scores best. Cells up to
 * half a bin on either side of it are covered in part.
 */
static double place(const fleck_view *view, double part, double from, double to)
{
    const int way = to > from ? 1 : -1;
    const long steps = lround(fabs(to - from) * FINE);
    const long start = way > 0 ? (long)floor(from * FINE) : (long)ceil(from * FINE) - 1;
    double whole = 0, best = -INFINITY;
    long cut = 0;

    for (long i = HALF; i + HALF <= steps; i++) {
        const fleck_fine_bin *const behind = &view->fine[start + way * (i - HALF)];
        double score = whole;

        for (long k = -HALF; k < HALF; k++) {
            const fleck_fine_bin *const bin = &view->fine[start + way * (i + k)];
            const double share = 1 - ((double)(k + HALF) + 0.5) / FINE;

            score += bin->sum * share - part * bin->cells * share * share;
        }
        if (score > best) {
            best = score;
            cut = i;
        }
        whole += behind->sum - part * behind->cells;
    }
    return (double)(way > 0 ? start + cut : start + 1 - cut) / FINE;
}

static double share_inside(double at, double first, double past)
{
    return fmin(fmax(at - first + 0.5, 0), 1) * fmin(fmax(past - at + 0.5, 0), 1);
}

double fleck_score_box(const fleck_view *view, const fleck_gains *gains, const fleck_ranges *near)
{
    const fleck_window *const window = view->window;
    const double most = (double)view->bins - 1;
    fleck_ranges best = *near;
    double score = 0;

    for (unsigned along = 0; along < 2; along++) {
        double *const first = along == 0 ? &best.first_u : &best.first_v;
        double *const past = along == 0 ? &best.past_u : &best.past_v;
        const double in = fmin(gains->reach, (*past - *first) / 4); /* a thin box keeps its middle */
        const double inner_first = *first + in, inner_past = *past - in;

        gather(view, gains, along == 0, &best);
        *first = place(view, gains->part, inner_first, fmax(*first - gains->reach, 1));
        *past = place(view, gains->part, inner_past, fmin(*past + gains->reach, most));
    }
    for (size_t y = 0; y < window->rows; y++) {
        for (size_t x = 0; x < window->columns; x++) {
            const double relative = gains->relative[y * window->columns + x];
            double u, v, share;

            if (isnan(relative))
                continue;
            fleck_view_see(view, x, y, &u, &v);
            share = share_inside(u, best.first_u, best.past_u) *
                    share_inside(v, best.first_v, best.past_v);
            score += relative * share - gains->part * share * share;
        }
    }
    return score;
}
