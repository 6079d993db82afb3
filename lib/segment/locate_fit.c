/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Fitting a turned box to a block. For a given angle the best interval along one direction, cells
 * of the block counting +1 and others -1, is a maximum-sum interval; taking the two directions in
 * turn a few times gives the box, and a search over angles its tilt. Source: Bentley (1984),
 * Programming Pearls, for the maximum-sum interval; the largest rectangle below a histogram is
 * folklore.
 */
#include "segment/locate_view.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"

#define DEGREE (3.14159265358979323846 / 180)

struct interval {
    size_t first, past; /* bins */
    double sum;
};

static struct interval best_interval(const double *sums, size_t count)
{
    struct interval best = { 0, 0, 0 };
    double sum = 0;
    size_t first = 0;

    for (size_t i = 0; i < count; i++) {
        if (sum <= 0) {
            sum = 0;
            first = i;
        }
        sum += sums[i];
        if (sum > best.sum)
            best = (struct interval){ first, i + 1, sum };
    }
    return best;
}

/* The middle eight tenths of the block's cells along v. */
static struct interval middle_of_block(const fleck_view *view)
{
    const fleck_window *const window = view->window;
    struct interval middle = { 0, view->bins, 0 };
    double total = 0, below = 0, above = 0;

    memset(view->sum_v, 0, view->bins * sizeof *view->sum_v);
    for (size_t y = 0; y < window->rows; y += view->step) {
        for (size_t x = 0; x < window->columns; x += view->step) {
            double u, v;

            if (window->inside[y * window->columns + x] != 1)
                continue;
            fleck_view_see(view, x, y, &u, &v);
            view->sum_v[(size_t)v]++;
            total++;
        }
    }
    while (middle.first + 1 < middle.past && (below += view->sum_v[middle.first]) < total / 10)
        middle.first++;
    while (middle.past > middle.first + 1 && (above += view->sum_v[middle.past - 1]) < total / 10)
        middle.past--;
    return middle;
}

/* Best u and v intervals at the view's angle. */
static void best_box(const fleck_view *view, struct interval *u_range, struct interval *v_range)
{
    const fleck_window *const window = view->window;

    *u_range = (struct interval){ 0, view->bins, 0 };
    *v_range = middle_of_block(view);
    for (unsigned turn = 0; turn < 6; turn++) {
        const bool along_u = turn % 2 == 0;
        double *const sums = along_u ? view->sum_u : view->sum_v;
        const struct interval other = along_u ? *v_range : *u_range;

        memset(sums, 0, view->bins * sizeof *sums);
        for (size_t y = 0; y < window->rows; y += view->step) {
            for (size_t x = 0; x < window->columns; x += view->step) {
                double u, v;
                size_t here, across;

                fleck_view_see(view, x, y, &u, &v);
                here = (size_t)(along_u ? u : v);
                across = (size_t)(along_u ? v : u);
                if (across >= other.first && across < other.past)
                    sums[here] += window->inside[y * window->columns + x] == 1 ? 1 : -1;
            }
        }
        *(along_u ? u_range : v_range) = best_interval(sums, view->bins);
    }
}

static double try_angle(fleck_view *view, double angle, fleck_turned_box *box)
{
    struct interval u_range, v_range;

    fleck_view_turn(view, angle);
    best_box(view, &u_range, &v_range);
    *box = fleck_view_box(view, angle,
                          &(fleck_ranges){ (double)u_range.first, (double)u_range.past,
                                           (double)v_range.first, (double)v_range.past });
    return v_range.sum;
}

/* Angles from -reach to reach about the box's own; ties go to the one nearest to it. */
static void search_angles(fleck_view *view, double reach, double step, fleck_turned_box *box,
                          double *score)
{
    const double middle = box->angle;
    const int steps = (int)(reach / step + 0.5);

    for (int i = 1; i <= steps; i++) {
        for (int side = -1; side <= 1; side += 2) {
            fleck_turned_box tried;
            const double sum = try_angle(view, middle + side * i * step, &tried);

            if (sum > *score) {
                *score = sum;
                *box = tried;
            }
        }
    }
}

static void count_shares(const fleck_window *window, const fleck_turned_box *box, double *inside,
                         double *outside)
{
    const double cosine = cos(box->angle), sine = sin(box->angle);
    size_t in_box = 0, in_both = 0, in_block = 0;

    for (size_t y = 0; y < window->rows; y++) {
        for (size_t x = 0; x < window->columns; x++) {
            const double dx = (double)(window->left + x) + 0.5 - box->x;
            const double dy = (double)(window->top + y) + 0.5 - box->y;
            const bool boxed = fabs(dx * cosine - dy * sine) <= box->half_u &&
                               fabs(dx * sine + dy * cosine) <= box->half_v;
            const bool block = window->inside[y * window->columns + x] == 1;

            in_box += boxed;
            in_block += block;
            in_both += boxed && block;
        }
    }
    *inside = in_box > 0 ? (double)in_both / (double)in_box : 0;
    *outside = in_block > 0 ? 1 - (double)in_both / (double)in_block : 1;
}

fleck_status fleck_fit_box(const fleck_window *window, double fixed_angle, fleck_turned_box *box,
                           double *inside, double *outside, fleck_error *err)
{
    fleck_view view;
    double score;
    fleck_status status;

    if ((status = fleck_view_init(&view, window, err)) != FLECK_OK)
        goto done;
    if (isnan(fixed_angle)) {
        /* some 12000 cells are enough to tell an angle */
        view.step = 1 + (size_t)sqrt((double)window->columns * (double)window->rows / 12000);
        score = try_angle(&view, 0, box);
        search_angles(&view, 10 * DEGREE, DEGREE, box, &score);
        search_angles(&view, 0.75 * DEGREE, 0.25 * DEGREE, box, &score);
        fixed_angle = box->angle;
        view.step = 1;
    }
    (void)try_angle(&view, fixed_angle, box);
    count_shares(window, box, inside, outside);
done:
    fleck_view_clear(&view);
    return status;
}

/* ---- the largest box inside ---- */

struct rectangle {
    size_t left, right, top, bottom; /* right and bottom beyond it */
};

static size_t area_of(struct rectangle r)
{
    return (r.right - r.left) * (r.bottom - r.top);
}

/* The largest rectangle that ends with this row; height[i] full cells stand above column i. */
static void try_row(const size_t *height, size_t columns, size_t row, size_t *stack,
                    struct rectangle *best)
{
    size_t depth = 0;

    for (size_t x = 0; x <= columns; x++) {
        const size_t here = x < columns ? height[x] : 0;

        while (depth > 0 && height[stack[depth - 1]] >= here) {
            const size_t tall = height[stack[--depth]];
            const struct rectangle tried = { depth > 0 ? stack[depth - 1] + 1 : 0, x,
                                             row + 1 - tall, row + 1 };

            if (area_of(tried) > area_of(*best))
                *best = tried;
        }
        if (x < columns)
            stack[depth++] = x;
    }
}

/* Whether the cell under a bin's centre is the block's. */
static bool holds(const fleck_view *view, size_t bin_u, size_t bin_v)
{
    const fleck_window *const window = view->window;
    const double u = (double)bin_u + 0.5 - (double)view->bins / 2;
    const double v = (double)bin_v + 0.5 - (double)view->bins / 2;
    const double x = floor(view->middle_x + u * view->cosine + v * view->sine);
    const double y = floor(view->middle_y - u * view->sine + v * view->cosine);

    return x >= 0 && y >= 0 && x < (double)window->columns && y < (double)window->rows &&
           window->inside[(size_t)y * window->columns + (size_t)x] == 1;
}

fleck_status fleck_fit_inner(const fleck_window *window, double angle, fleck_turned_box *box,
                             fleck_error *err)
{
    fleck_view view;
    struct rectangle best = { 0, 0, 0, 0 };
    size_t *height = NULL, *stack = NULL;
    fleck_status status;

    if ((status = fleck_view_init(&view, window, err)) != FLECK_OK)
        goto done;
    height = fleck_alloc_zeroed(view.bins, sizeof *height);
    stack = fleck_alloc_array(view.bins, sizeof *stack);
    if (height == NULL || stack == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory to fit a patch; free some memory");
        goto done;
    }
    fleck_view_turn(&view, angle);
    for (size_t row = 0; row < view.bins; row++) {
        for (size_t x = 0; x < view.bins; x++)
            height[x] = holds(&view, x, row) ? height[x] + 1 : 0;
        try_row(height, view.bins, row, stack, &best);
    }
    if (area_of(best) > 0)
        *box = fleck_view_box(&view, angle,
                              &(fleck_ranges){ (double)best.left, (double)best.right,
                                               (double)best.top, (double)best.bottom });
done:
    fleck_free(height);
    fleck_free(stack);
    fleck_view_clear(&view);
    return status;
}
