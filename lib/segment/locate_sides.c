/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Where a patch's sides truly lie. The closed shape of a sparse block lies inside of the print's
 * own sides, so the box is fitted once more, near where it was, to the depth itself, relative to
 * the mean depth around: the sum of (relative depth - a part of it) over the box is largest where
 * the step between print and paper is likeliest. Its angle is the one with the best score.
 */
#include "segment/locate_view.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"

#define DEGREE (3.14159265358979323846 / 180)

/*
 * Part of the depth inside that parts print from paper, from sparse to solid. It is below half
 * since ink beside a patch is far rarer than gaps in it: with half, strips are cut off sparse
 * patches. The likeliest cut for ink of coverage p against specks of 0.3 % lies between these.
 */
#define PART_SPARSE 0.25
#define PART_SOLID 0.4

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
 * The relative depth of each cell; depth is capped so that dark dots do not rule. Cells of other
 * blocks tell nothing: NAN.
 */
static fleck_status find_relative(const fleck_window *window, const float *depth, size_t columns,
                                  double cell_mm, fleck_gains *gains, fleck_error *err)
{
    const size_t cells = window->columns * window->rows, stride = window->columns + 1;
    const size_t around = (size_t)(4 / cell_mm) + 1;
    double *const depths = fleck_alloc_zeroed(stride * (window->rows + 1), sizeof *depths);
    double *const counts = fleck_alloc_zeroed(stride * (window->rows + 1), sizeof *counts);
    double cap;
    fleck_status status = FLECK_OK;

    gains->window = window;
    gains->relative = fleck_alloc_array(cells, sizeof *gains->relative);
    if (depths == NULL || counts == NULL || gains->relative == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory to fit a patch; free some memory");
        goto done;
    }
    cap = find_cap(window, depth, columns, gains->relative);
    for (size_t y = 0; y < window->rows; y++) {
        for (size_t x = 0; x < window->columns; x++) {
            const size_t i = y * window->columns + x, at = (y + 1) * stride + x + 1;
            const double here = depth[(window->top + y) * columns + window->left + x];
            const bool block = window->inside[i] == 1;

            gains->relative[i] = (float)(here < cap ? here : cap);
            depths[at] = depths[at - 1] + depths[at - stride] - depths[at - stride - 1] +
                         (block ? gains->relative[i] : 0);
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
            const double mean =
                count >= 1 ? sum_over(depths, stride, left, top, right, bottom) / count : 0;

            if (window->inside[i] == 2)
                gains->relative[i] = NAN;
            else
                gains->relative[i] = (float)(mean > 0.01 * cap ? gains->relative[i] / mean : 0);
        }
    }
    if (cap > 0 && counts[stride * (window->rows + 1) - 1] > 0)
        gains->coverage =
            depths[stride * (window->rows + 1) - 1] / counts[stride * (window->rows + 1) - 1] / cap;
    gains->part = PART_SPARSE + (PART_SOLID - PART_SPARSE) * gains->coverage;
done:
    fleck_free(depths);
    fleck_free(counts);
    return status;
}

/*
 * Sum the gains along one direction over the box's interval in the other; a cell is shared between
 * the two nearest bins.
 */
static void sum_gains(const fleck_view *view, const fleck_gains *gains, bool along_u,
                      const fleck_ranges *ranges)
{
    const fleck_window *const window = view->window;
    const double first = along_u ? ranges->first_v : ranges->first_u;
    const double past = along_u ? ranges->past_v : ranges->past_u;
    double *const sums = along_u ? view->sum_u : view->sum_v;

    memset(sums, 0, view->bins * sizeof *sums);
    for (size_t y = 0; y < window->rows; y++) {
        for (size_t x = 0; x < window->columns; x++) {
            const double relative = gains->relative[y * window->columns + x];
            double u, v, at, share;
            size_t bin;

            fleck_view_see(view, x, y, &u, &v);
            if (isnan(relative) || (along_u ? v : u) < first || (along_u ? v : u) >= past)
                continue;
            at = (along_u ? u : v) - 0.5;
            bin = (size_t)at;
            share = at - (double)bin;
            sums[bin] += (1 - share) * (relative - gains->part);
            sums[bin + 1] += share * (relative - gains->part);
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

/* The best box of the view's angle near `near`. */
static void refine(const fleck_view *view, const fleck_gains *gains, const fleck_ranges *near,
                   fleck_ranges *best)
{
    const double reach = gains->reach;

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
                           past + reach < (double)view->bins - 1 ? past + reach
                                                                 : (double)view->bins - 1);
        *(along_u ? &best->first_u : &best->first_v) = left;
        *(along_u ? &best->past_u : &best->past_v) = right;
    }
}

/* ---- rough sides ---- */

/* Below this coverage gaps and rough sides look alike. */
#define ROUGH_FROM_COVERAGE 0.4

/*
 * Walk outward across a side from 1.5 mm inside. The place where the mean over 3 bins falls below
 * three quarters of the depth inside, and the distance from there to where it falls below a
 * quarter; sums are divided by `across`, the cells in a bin.
 */
static double find_ramp(const double *sums, size_t bins, double side, int way, double across,
                        double cell_mm, double *full)
{
    const long deep = lround(1.5 / cell_mm);
    const long start = lround(side) - way * deep;
    double upper = NAN, lower = NAN;

    for (long i = 0; i < 2 * deep && isnan(lower); i++) {
        const long bin = start + way * i - (way < 0 ? 1 : 0);
        double mean;

        if (bin < 1 || bin + 1 >= (long)bins)
            break;
        mean = (sums[bin - 1] + sums[bin] + sums[bin + 1]) / (3 * across);
        if (isnan(upper) && mean < 0.75)
            upper = (double)i;
        if (mean < 0.25)
            lower = (double)i;
    }
    *full = isnan(upper) ? side : (double)start + way * upper;
    return isnan(upper) || isnan(lower) ? 0 : (lower - upper) * cell_mm;
}

/*
 * Bring rough sides in to where nearly all is printed; true when there are any. A straight side's
 * ramp is half a millimetre wide, one of above 0.9 mm is a ragged edge or a curve; on a single side
 * it may be a chance gap in the speckle.
 */
static bool trim_rough(const fleck_view *view, fleck_gains *gains, double cell_mm,
                       fleck_ranges *ranges)
{
    fleck_ranges trimmed = *ranges;
    unsigned rough = 0;

    gains->part = 0;
    for (unsigned along = 0; along < 2; along++) {
        const bool along_u = along == 0;
        double *const sums = along_u ? view->sum_u : view->sum_v;
        double *const first = along_u ? &trimmed.first_u : &trimmed.first_v;
        double *const past = along_u ? &trimmed.past_u : &trimmed.past_v;
        const double across =
            along_u ? ranges->past_v - ranges->first_v : ranges->past_u - ranges->first_u;
        double full;

        if ((*past - *first) * cell_mm < 6)
            continue; /* too small to tell a side from the middle */
        sum_gains(view, gains, along_u, ranges);
        if (find_ramp(sums, view->bins, *first, -1, across, cell_mm, &full) > 0.9) {
            *first = full;
            rough++;
        }
        if (find_ramp(sums, view->bins, *past, 1, across, cell_mm, &full) > 0.9) {
            *past = full;
            rough++;
        }
    }
    if (rough >= 2)
        *ranges = trimmed;
    return rough >= 2;
}

fleck_status fleck_score_angles(const fleck_window *window, const float *depth, size_t columns,
                                double cell_mm, const fleck_turned_box *box, const double *angles,
                                size_t count, double *scores, fleck_error *err)
{
    fleck_gains gains = { .reach = floor(1.5 / cell_mm) };
    fleck_view view;
    fleck_status status = fleck_view_init(&view, window, err);

    if (status == FLECK_OK)
        status = find_relative(window, depth, columns, cell_mm, &gains, err);
    for (size_t i = 0; status == FLECK_OK && i < count; i++) {
        fleck_ranges near;

        fleck_view_turn(&view, angles[i]);
        near = fleck_view_ranges(&view, box);
        scores[i] += fleck_score_box(&view, &gains, &near);
    }
    fleck_free(gains.relative);
    fleck_view_clear(&view);
    return status;
}

/* The angle that scores best within reach of the box's own, both in degrees. */
static double best_angle(fleck_view *view, const fleck_gains *gains, const fleck_turned_box *box,
                         double reach, double step)
{
    const int count = (int)(reach / step + 0.5);
    double best = -INFINITY, found = box->angle;

    /* from the middle outward, so that of equal angles the one nearest to it is taken */
    for (int i = 0; i <= 2 * count; i++) {
        const int steps = i % 2 == 0 ? i / 2 : -(i + 1) / 2;
        const double angle = box->angle + steps * step * DEGREE;
        fleck_ranges near;
        double score;

        fleck_view_turn(view, angle);
        near = fleck_view_ranges(view, box);
        score = fleck_score_box(view, gains, &near);
        if (score > best) {
            best = score;
            found = angle;
        }
    }
    return found;
}

fleck_status fleck_fit_sides(const fleck_window *window, const float *depth, size_t columns,
                             double cell_mm, double fixed_angle, fleck_turned_box *box, bool *rough,
                             fleck_error *err)
{
    /* degrees about the angle so far, and steps */
    static const double reaches[] = { 3, 0.4, 0.08 }, steps[] = { 0.25, 0.1, 0.02 };
    fleck_gains gains = { .reach = floor(1.5 / cell_mm) };
    fleck_view view;
    fleck_status status;

    *rough = false;
    if (fmin(box->half_u, box->half_v) < 4)
        return FLECK_OK; /* too thin to have sides apart */
    status = fleck_view_init(&view, window, err);
    if (status == FLECK_OK)
        status = find_relative(window, depth, columns, cell_mm, &gains, err);
    for (unsigned round = 0; status == FLECK_OK && round < 3; round++) {
        const double angle = isnan(fixed_angle)
                                 ? best_angle(&view, &gains, box, reaches[round], steps[round])
                                 : fixed_angle;
        fleck_ranges near, found;

        fleck_view_turn(&view, angle);
        near = fleck_view_ranges(&view, box);
        refine(&view, &gains, &near, &found);
        *box = fleck_view_box(&view, angle, &found);
    }
    /* a straight side makes a ramp two bins wide and lies at its half, not where `part` is crossed
     */
    if (status == FLECK_OK) {
        fleck_ranges ranges;

        box->half_u -= 2 * (0.5 - gains.part);
        box->half_v -= 2 * (0.5 - gains.part);
        fleck_view_turn(&view, box->angle);
        ranges = fleck_view_ranges(&view, box);
        if (gains.coverage >= ROUGH_FROM_COVERAGE &&
            (*rough = trim_rough(&view, &gains, cell_mm, &ranges)))
            *box = fleck_view_box(&view, box->angle, &ranges);
    }
    fleck_free(gains.relative);
    fleck_view_clear(&view);
    return status;
}
