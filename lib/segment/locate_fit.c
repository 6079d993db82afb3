/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Fitting a turned box to a block. For a given angle the best interval along one direction, cells of
 * the block counting +1 and others -1, is a maximum-sum interval; taking the two directions in turn
 * a few times gives the box, and a search over angles its tilt. The sides then move to where the
 * print begins: there the sum of (depth - half the depth inside) is largest, which is the likeliest
 * place of a step between two means; the angle that makes these steps sharpest wins.
 * Source: Bentley (1984), Programming Pearls, for the maximum-sum interval; the largest rectangle
 * below a histogram is folklore.
 */
#include "segment/locate_parts.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"

#define DEGREE (3.14159265358979323846 / 180)

/* The window as seen along an angle: u and v of cells are taken about the window's middle. */
struct view {
    const fleck_window *window;
    double cosine, sine;
    double middle_x, middle_y;
    size_t bins;   /* along u and along v, one cell wide, the middle in the middle */
    double *sum_u; /* scratch: bins values */
    double *sum_v;
    size_t step;   /* every step-th cell of every step-th row is looked at */
};

static fleck_status view_init(struct view *view, const fleck_window *window, fleck_error *err)
{
    const double diagonal = hypot((double)window->columns, (double)window->rows);

    *view = (struct view){ .window = window, .step = 1 };
    view->bins = (size_t)ceil(diagonal) + 4;
    view->middle_x = (double)window->columns / 2;
    view->middle_y = (double)window->rows / 2;
    view->sum_u = fleck_alloc_array(view->bins, sizeof *view->sum_u);
    view->sum_v = fleck_alloc_array(view->bins, sizeof *view->sum_v);
    if (view->sum_u == NULL || view->sum_v == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to fit a patch; free some memory");
    return FLECK_OK;
}

static void view_clear(struct view *view)
{
    free(view->sum_u);
    free(view->sum_v);
}

static void view_turn(struct view *view, double angle)
{
    view->cosine = cos(angle);
    view->sine = sin(angle);
}

/* u and v of a cell's centre, measured from bin 0. */
static inline void see(const struct view *view, size_t x, size_t y, double *u, double *v)
{
    const double dx = (double)x + 0.5 - view->middle_x, dy = (double)y + 0.5 - view->middle_y;

    *u = dx * view->cosine - dy * view->sine + (double)view->bins / 2;
    *v = dx * view->sine + dy * view->cosine + (double)view->bins / 2;
}

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
static struct interval middle_of_block(const struct view *view)
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
            see(view, x, y, &u, &v);
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
static void best_box(const struct view *view, struct interval *u_range, struct interval *v_range)
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

                see(view, x, y, &u, &v);
                here = (size_t)(along_u ? u : v);
                across = (size_t)(along_u ? v : u);
                if (across >= other.first && across < other.past)
                    sums[here] += window->inside[y * window->columns + x] == 1 ? 1 : -1;
            }
        }
        *(along_u ? u_range : v_range) = best_interval(sums, view->bins);
    }
}

static void set_box(const struct view *view, double angle, double first_u, double past_u, double first_v,
                    double past_v, fleck_turned_box *box)
{
    const double u = (first_u + past_u) / 2 - (double)view->bins / 2;
    const double v = (first_v + past_v) / 2 - (double)view->bins / 2;

    box->x = (double)view->window->left + view->middle_x + u * view->cosine + v * view->sine;
    box->y = (double)view->window->top + view->middle_y - u * view->sine + v * view->cosine;
    box->half_u = (past_u - first_u) / 2;
    box->half_v = (past_v - first_v) / 2;
    box->angle = angle;
}

static double try_angle(struct view *view, double angle, fleck_turned_box *box)
{
    struct interval u_range, v_range;

    view_turn(view, angle);
    best_box(view, &u_range, &v_range);
    set_box(view, angle, (double)u_range.first, (double)u_range.past, (double)v_range.first,
            (double)v_range.past, box);
    return v_range.sum;
}

/* Angles from -reach to reach about the box's own; ties go to the one nearest to it. */
static void search_angles(struct view *view, double reach, double step, fleck_turned_box *box,
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
    struct view view;
    double score;
    fleck_status status;

    if ((status = view_init(&view, window, err)) != FLECK_OK)
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
    view_clear(&view);
    return status;
}

/* ---- the sides ---- */

/* Part of the depth inside that parts print from paper; below half since specks beside are rare. */
#define PART 0.4

/* What each cell of a window adds to the box that holds it. */
struct gains {
    const fleck_window *window;
    float *gain;
    double reach; /* how far a side may move from where it was, in cells */
};

/* The depth of solid ink in the block: its 95th percentile. */
static int compare_floats(const void *a, const void *b)
{
    const float x = *(const float *)a, y = *(const float *)b;

    return (x > y) - (x < y);
}

static double find_cap(const fleck_window *window, const float *depth, size_t columns, float *room)
{
    size_t count = 0;

    for (size_t i = 0; i < window->columns * window->rows; i++) {
        if (window->inside[i] == 1)
            room[count++] = depth[(window->top + i / window->columns) * columns + window->left +
                                  i % window->columns];
    }
    qsort(room, count, sizeof *room, compare_floats);
    return count > 0 ? room[count * 19 / 20] : 0;
}

/* A table of sums: the sum over a rectangle is four of its values. One column and row of zeros. */
static double sum_over(const double *table, size_t stride, size_t left, size_t top, size_t right,
                       size_t bottom)
{
    return table[bottom * stride + right] - table[top * stride + right] -
           table[bottom * stride + left] + table[top * stride + left];
}

/*
 * Gain of each cell: its depth over the mean depth of the block around it, less PART. Depth is capped
 * so that dark dots do not rule. Cells of other blocks tell nothing.
 */
static fleck_status find_gains(const fleck_window *window, const float *depth, size_t columns,
                               double cell_mm, struct gains *gains, fleck_error *err)
{
    const size_t cells = window->columns * window->rows, stride = window->columns + 1;
    const size_t around = (size_t)(4 / cell_mm) + 1;
    double *const depths = fleck_alloc_zeroed(stride * (window->rows + 1), sizeof *depths);
    double *const counts = fleck_alloc_zeroed(stride * (window->rows + 1), sizeof *counts);
    double cap;
    fleck_status status = FLECK_OK;

    gains->window = window;
    gains->gain = fleck_alloc_array(cells, sizeof *gains->gain);
    if (depths == NULL || counts == NULL || gains->gain == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory to fit a patch; free some memory");
        goto done;
    }
    cap = find_cap(window, depth, columns, gains->gain);
    for (size_t y = 0; y < window->rows; y++) {
        for (size_t x = 0; x < window->columns; x++) {
            const size_t i = y * window->columns + x, at = (y + 1) * stride + x + 1;
            const double here = depth[(window->top + y) * columns + window->left + x];
            const bool block = window->inside[i] == 1;

            gains->gain[i] = (float)(here < cap ? here : cap);
            depths[at] = depths[at - 1] + depths[at - stride] - depths[at - stride - 1] +
                         (block ? gains->gain[i] : 0);
            counts[at] = counts[at - 1] + counts[at - stride] - counts[at - stride - 1] + block;
        }
    }
    for (size_t y = 0; y < window->rows; y++) {
        const size_t top = y > around ? y - around : 0;
        const size_t bottom = y + around < window->rows ? y + around : window->rows;

        for (size_t x = 0; x < window->columns; x++) {
            const size_t left = x > around ? x - around : 0;
            const size_t right = x + around < window->columns ? x + around : window->columns;
            const size_t i = y * window->columns + x;
            const double count = sum_over(counts, stride, left, top, right, bottom);
            const double mean = count >= 1 ? sum_over(depths, stride, left, top, right, bottom) / count
                                           : 0;

            if (window->inside[i] == 2)
                gains->gain[i] = 0;
            else
                gains->gain[i] = (float)(mean > 0.01 * cap ? gains->gain[i] / mean - PART : -PART);
        }
    }
done:
    free(depths);
    free(counts);
    return status;
}

/* The box's intervals in bins of the view. */
struct ranges {
    double first_u, past_u, first_v, past_v;
};

/*
 * Sum the gains along one direction over the box's interval in the other; a cell is shared between
 * the two nearest bins.
 */
static void sum_gains(const struct view *view, const struct gains *gains, bool along_u,
                      const struct ranges *ranges)
{
    const fleck_window *const window = view->window;
    const double first = along_u ? ranges->first_v : ranges->first_u;
    const double past = along_u ? ranges->past_v : ranges->past_u;
    double *const sums = along_u ? view->sum_u : view->sum_v;

    memset(sums, 0, view->bins * sizeof *sums);
    for (size_t y = 0; y < window->rows; y++) {
        for (size_t x = 0; x < window->columns; x++) {
            double u, v, at, share;
            size_t bin;

            see(view, x, y, &u, &v);
            if ((along_u ? v : u) < first || (along_u ? v : u) >= past)
                continue;
            at = (along_u ? u : v) - 0.5;
            bin = (size_t)at;
            share = at - (double)bin;
            sums[bin] += (1 - share) * gains->gain[y * window->columns + x];
            sums[bin + 1] += share * gains->gain[y * window->columns + x];
        }
    }
}

/*
 * Where a side lies that may be from bin `from` to bin `to` (walking outward in either direction):
 * where the sum up to there is largest, and in the bins beside where the gain changes its sign.
 */
static double place_side(const double *sums, double from, double to)
{
    const int way = to > from ? 1 : -1;
    const long steps = lround(fabs(to - from));
    const long start = way > 0 ? (long)floor(from) : (long)ceil(from) - 1;
    double sum = 0, best = 0;
    long cut = 0;
    double place;

    for (long i = 0; i < steps; i++) {
        sum += sums[start + way * i];
        if (sum > best) {
            best = sum;
            cut = i + 1;
        }
    }
    place = (double)cut;
    if (cut > 0 && cut < steps) {
        const double before = sums[start + way * (cut - 1)], behind = sums[start + way * cut];

        if (before > 0 && behind < 0)
            place += before / (before - behind) - 0.5;
    }
    return way > 0 ? (double)start + place : (double)start + 1 - place;
}

/* The best box of the view's angle near `near`, and its sum of gains. */
static double refine(const struct view *view, const struct gains *gains, const struct ranges *near,
                     struct ranges *best)
{
    const double reach = gains->reach;
    double sum = 0;

    *best = *near;
    for (unsigned turn = 0; turn < 4; turn++) {
        const bool along_u = turn % 2 == 0;
        double *const sums = along_u ? view->sum_u : view->sum_v;
        const double first = along_u ? near->first_u : near->first_v;
        const double past = along_u ? near->past_u : near->past_v;
        /* a thin box keeps its middle */
        const double in = reach < (past - first) / 4 ? reach : (past - first) / 4;
        double left, right;

        sum_gains(view, gains, along_u, best);
        left = place_side(sums, first + in, first - reach > 1 ? first - reach : 1);
        right = place_side(sums, past - in,
                           past + reach < (double)view->bins - 1 ? past + reach : (double)view->bins - 1);
        *(along_u ? &best->first_u : &best->first_v) = left;
        *(along_u ? &best->past_u : &best->past_v) = right;
        sum = 0;
        for (size_t i = (size_t)lround(left); i < (size_t)lround(right); i++)
            sum += sums[i];
    }
    return sum;
}

/* A box's intervals in the view. */
static struct ranges ranges_of(const struct view *view, const fleck_turned_box *box)
{
    const double dx = box->x - (double)view->window->left - view->middle_x;
    const double dy = box->y - (double)view->window->top - view->middle_y;
    const double u = dx * view->cosine - dy * view->sine + (double)view->bins / 2;
    const double v = dx * view->sine + dy * view->cosine + (double)view->bins / 2;

    return (struct ranges){ u - box->half_u, u + box->half_u, v - box->half_v, v + box->half_v };
}

fleck_status fleck_fit_sides(const fleck_window *window, const float *depth, size_t columns,
                             double cell_mm, double fixed_angle, fleck_turned_box *box,
                             fleck_error *err)
{
    /* degrees about the angle so far, and steps */
    static const double reaches[] = { 2, 0.4, 0.08 }, steps[] = { 0.25, 0.1, 0.02 };
    struct gains gains = { .reach = floor(1.5 / cell_mm) };
    struct view view;
    fleck_status status;

    if (fmin(box->half_u, box->half_v) < 4)
        return FLECK_OK; /* too thin to have sides apart */
    status = view_init(&view, window, err);
    if (status == FLECK_OK)
        status = find_gains(window, depth, columns, cell_mm, &gains, err);
    for (unsigned round = 0; status == FLECK_OK && round < 3; round++) {
        const int count = isnan(fixed_angle) ? (int)(reaches[round] / steps[round] + 0.5) : 0;
        const fleck_turned_box start = *box;
        double best = -INFINITY;

        /* from the middle outward, so that of equal angles the one nearest to it is taken */
        for (int i = 0; i <= 2 * count; i++) {
            const int step = i % 2 == 0 ? i / 2 : -(i + 1) / 2;
            const double angle = isnan(fixed_angle) ? start.angle + step * steps[round] * DEGREE
                                                    : fixed_angle;
            struct ranges near, found;
            double sum;

            view_turn(&view, angle);
            near = ranges_of(&view, &start);
            sum = refine(&view, &gains, &near, &found);
            if (sum > best) {
                best = sum;
                set_box(&view, angle, found.first_u, found.past_u, found.first_v, found.past_v, box);
            }
        }
    }
    free(gains.gain);
    view_clear(&view);
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
static bool holds(const struct view *view, size_t bin_u, size_t bin_v)
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
    struct view view;
    struct rectangle best = { 0, 0, 0, 0 };
    size_t *height = NULL, *stack = NULL;
    fleck_status status;

    if ((status = view_init(&view, window, err)) != FLECK_OK)
        goto done;
    height = fleck_alloc_zeroed(view.bins, sizeof *height);
    stack = fleck_alloc_array(view.bins, sizeof *stack);
    if (height == NULL || stack == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory to fit a patch; free some memory");
        goto done;
    }
    view_turn(&view, angle);
    for (size_t row = 0; row < view.bins; row++) {
        for (size_t x = 0; x < view.bins; x++)
            height[x] = holds(&view, x, row) ? height[x] + 1 : 0;
        try_row(height, view.bins, row, stack, &best);
    }
    if (area_of(best) > 0)
        set_box(&view, angle, (double)best.left, (double)best.right, (double)best.top,
                (double)best.bottom, box);
done:
    free(height);
    free(stack);
    view_clear(&view);
    return status;
}
