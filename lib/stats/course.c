/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Each shape is a level plus one column h: 0 and 1 for a step, the place for a drift, max(0, place - c) for a
 * bend. With values whose mean is 0 it explains (sum h y)^2 / sum (h - mean h)^2, and sum h y comes from
 * running sums of y and of place * y, so that all breaks of one order cost O(n).
 */
#include "stats/course.h"

#include <math.h>
#include <stdint.h>

#include "core/memory.h"
#include "core/random.h"
#include "stats/moments.h"

enum { MANY_VALUES = 200, SHUFFLES = 9999, FEW_SHUFFLES = 1999, SEED = 1945 };

/* Shares of the variance within which two are the same: what sums of some thousand terms leave. */
static const double rounding = 1e-12;

typedef struct shape {
    double explained;
    size_t first;
} shape;

typedef struct ordered {
    const double *place;
    const double *bend_square; /* sum (h - mean h)^2 of the bend before each value */
    double drift_square;
    size_t n, least; /* values of a part */
} ordered;

/* The best of each kind for y, whose mean is 0. */
static void explain(const ordered *series, const double *y, shape best[3])
{
    const double *const x = series->place;
    const size_t n = series->n;
    double y_tail = 0, xy_tail = 0;

    for (size_t kind = 0; kind < 3; kind++)
        best[kind] = (shape){ 0, 0 };
    for (size_t c = n; c-- > 1;) {
        const double tail = (double)(n - c);
        double explained;

        y_tail += y[c];
        xy_tail += (x[c] - x[0]) * y[c];
        if (n - c < series->least || x[c] == x[c - 1]) /* nothing parts values at one place */
            continue;
        if (c >= series->least) {
            explained = y_tail * y_tail * (double)n / (tail * (double)c);
            if (explained >= best[FLECK_COURSE_STEP].explained)
                best[FLECK_COURSE_STEP] = (shape){ explained, c };
        }
        if (c >= 2 && series->bend_square[c] > 0) {
            explained = xy_tail - (x[c - 1] - x[0]) * y_tail;
            explained *= explained / series->bend_square[c];
            if (explained >= best[FLECK_COURSE_BEND].explained)
                best[FLECK_COURSE_BEND] = (shape){ explained, c };
        }
    }
    if (series->drift_square > 0)
        best[FLECK_COURSE_DRIFT].explained = xy_tail * xy_tail / series->drift_square;
}

static double largest(const shape best[3])
{
    return fmax(best[0].explained, fmax(best[1].explained, best[2].explained));
}

static void shuffle(double *values, size_t n, uint64_t *state)
{
    for (size_t i = n; i-- > 1;) {
        const size_t other = (size_t)(fleck_random_uniform(state) * (double)(i + 1));
        const double kept = values[i];

        values[i] = values[other];
        values[other] = kept;
    }
}

static double shuffled_p(const ordered *series, double *y, double observed, double total)
{
    const size_t shuffles = series->n > MANY_VALUES ? FEW_SHUFFLES : SHUFFLES;
    uint64_t state = SEED;
    size_t as_large = 1;
    shape best[3];

    for (size_t i = 0; i < shuffles; i++) {
        shuffle(y, series->n, &state);
        explain(series, y, best);
        as_large += largest(best) >= observed - rounding * total;
    }
    return (double)as_large / (double)(shuffles + 1);
}

static void fill_bend_squares(const double *x, size_t n, double *squares)
{
    double sum = 0, square = 0;

    squares[0] = 0;
    for (size_t c = n; c-- > 1;) {
        const double step = x[c] - x[c - 1], tail = (double)(n - c);

        /* h of the values from c on has grown by the step from c - 1 to c */
        square += 2 * step * sum + tail * step * step;
        sum += tail * step;
        squares[c] = square - sum * sum / (double)n;
    }
}

static fleck_course_kind choose(const shape best[3], double total, size_t n)
{
    static const double parameters[] = { [FLECK_COURSE_STEP] = 3, [FLECK_COURSE_DRIFT] = 2,
                                         [FLECK_COURSE_BEND] = 3 };
    double least = INFINITY;
    fleck_course_kind chosen = FLECK_COURSE_DRIFT;

    for (int kind = 0; kind < 3; kind++) {
        const double rest = fmax(total - best[kind].explained, rounding * total);
        const double criterion = (double)n * log(rest / total) + parameters[kind] * log((double)n);

        if (criterion < least && best[kind].explained > 0) {
            least = criterion;
            chosen = (fleck_course_kind)kind;
        }
    }
    return chosen;
}

/* Level and slope of the chosen shape; y has the mean 0. */
static void describe(const ordered *series, const double *y, double mean, fleck_course *out)
{
    const double *const x = series->place;
    const size_t n = series->n, c = out->first;
    double sum = 0, cross = 0, square, h_mean;

    if (out->kind == FLECK_COURSE_STEP) {
        for (size_t i = 0; i < c; i++)
            sum += y[i];
        out->before = mean + sum / (double)c;
        out->after = mean - sum / (double)(n - c);
        return;
    }
    const double start = x[c > 0 ? c - 1 : 0];

    for (size_t i = c; i < n; i++) {
        sum += x[i] - start;
        cross += (x[i] - start) * y[i];
    }
    h_mean = sum / (double)n;
    square = out->kind == FLECK_COURSE_DRIFT ? series->drift_square : series->bend_square[c];
    out->slope = cross / square;
    out->before = mean - out->slope * h_mean;
    out->after = out->before + out->slope * (x[n - 1] - start);
}

fleck_status fleck_course_of(const double *place, const double *values, size_t n, fleck_course *out,
                             fleck_error *err)
{
    const fleck_moments moments = fleck_moments_of(values, n);
    ordered series = { .place = place, .n = n, .least = n < 8 ? 2 : 3 };
    double *work;
    shape best[3];

    *out = (fleck_course){ .p = NAN, .kind = FLECK_COURSE_DRIFT, .before = NAN, .after = NAN,
                           .shown = NAN };
    if (n < 3 || !(moments.squares > 0))
        return FLECK_OK;
    work = fleck_alloc_array(n, 2 * sizeof *work);
    if (work == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the course of %zu prints; give fewer",
                          n);

    double *const y = work, *const squares = work + n;

    for (size_t i = 0; i < n; i++)
        y[i] = values[i] - moments.mean;
    fill_bend_squares(place, n, squares);
    series.bend_square = squares;
    series.drift_square = squares[1];
    explain(&series, y, best);
    if (largest(best) > 0) {
        out->kind = choose(best, moments.squares, n);
        out->first = out->kind == FLECK_COURSE_DRIFT ? 0 : best[out->kind].first;
        out->shown = fmin(best[out->kind].explained / moments.squares, 1);
        describe(&series, y, moments.mean, out);
        out->p = shuffled_p(&series, y, largest(best), moments.squares);
    }
    fleck_free(work);
    return FLECK_OK;
}
