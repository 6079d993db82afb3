/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "segment/locate_view.h"

#include <math.h>

#include "core/memory.h"

fleck_status fleck_view_init(fleck_view *view, const fleck_window *window, fleck_error *err)
{
    const double diagonal = hypot((double)window->columns, (double)window->rows);

    *view = (fleck_view){ .window = window, .step = 1 };
    view->bins = (size_t)ceil(diagonal) + 4;
    view->middle_x = (double)window->columns / 2;
    view->middle_y = (double)window->rows / 2;
    view->sum_u = fleck_alloc_array(view->bins, sizeof *view->sum_u);
    view->sum_v = fleck_alloc_array(view->bins, sizeof *view->sum_v);
    view->fine = fleck_alloc_array(view->bins, FLECK_VIEW_FINE * sizeof *view->fine);
    if (view->sum_u == NULL || view->sum_v == NULL || view->fine == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to fit a patch; free some memory");
    return FLECK_OK;
}

void fleck_view_clear(fleck_view *view)
{
    fleck_free(view->sum_u);
    fleck_free(view->sum_v);
    fleck_free(view->fine);
}

void fleck_view_turn(fleck_view *view, double angle)
{
    view->cosine = cos(angle);
    view->sine = sin(angle);
}

fleck_turned_box fleck_view_box(const fleck_view *view, double angle, const fleck_ranges *ranges)
{
    const double u = (ranges->first_u + ranges->past_u) / 2 - (double)view->bins / 2;
    const double v = (ranges->first_v + ranges->past_v) / 2 - (double)view->bins / 2;

    return (fleck_turned_box){
        .x = (double)view->window->left + view->middle_x + u * view->cosine + v * view->sine,
        .y = (double)view->window->top + view->middle_y - u * view->sine + v * view->cosine,
        .half_u = (ranges->past_u - ranges->first_u) / 2,
        .half_v = (ranges->past_v - ranges->first_v) / 2,
        .angle = angle,
    };
}

fleck_ranges fleck_view_ranges(const fleck_view *view, const fleck_turned_box *box)
{
    const double dx = box->x - (double)view->window->left - view->middle_x;
    const double dy = box->y - (double)view->window->top - view->middle_y;
    const double u = dx * view->cosine - dy * view->sine + (double)view->bins / 2;
    const double v = dx * view->sine + dy * view->cosine + (double)view->bins / 2;

    return (fleck_ranges){ u - box->half_u, u + box->half_u, v - box->half_v, v + box->half_v };
}
