/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "report/plot_range.h"

#include <math.h>

/* Beyond it, differences of two values may overflow. */
#define LARGEST 1e300
#define SMALLEST_LOG 1e-300
/* Narrower ranges, against the larger limit, hold nothing that double precision tells apart. */
#define NARROWEST 1e-12
#define ROOM 0.04 /* of the range, between the outermost points and the ends of an axis */

struct span {
    double least, greatest; /* least > greatest: nothing yet */
};

/* What one value of a series needs of an axis: from, to; NAN: nothing. */
struct need {
    double from, to;
};

double plot_scale_place(const plot_scale *scale, double value)
{
    double share;

    if (!isfinite(value) || (scale->log && value <= 0))
        return NAN;
    share = scale->log
                ? (log(value) - log(scale->least)) / (log(scale->greatest) - log(scale->least))
                : (value - scale->least) / (scale->greatest - scale->least);
    /* far beyond the ends all places are the same, and coordinates stay small */
    share = share < -10 ? -10 : share > 10 ? 10 : share;
    return scale->from_pt + share * (scale->to_pt - scale->from_pt);
}

static bool usable(double value, bool log_scale)
{
    return fabs(value) <= LARGEST && (!log_scale || value >= SMALLEST_LOG);
}

static void take_in(struct span *span, double value, bool log_scale)
{
    if (!usable(value, log_scale))
        return;
    span->least = fmin(span->least, value);
    span->greatest = fmax(span->greatest, value);
}

static void needs_of(const fleck_plot_series *series, size_t i, struct need *x, struct need *y)
{
    switch (series->kind) {
    case FLECK_PLOT_BARS:
    case FLECK_PLOT_STEPS:
        *x = (struct need){ series->lo[i], series->hi[i] };
        *y = (struct need){ series->y[i], series->y[i] };
        break;
    case FLECK_PLOT_BAND:
        *x = (struct need){ series->x[i], series->x[i] };
        *y = (struct need){ series->lo[i], series->hi[i] };
        break;
    case FLECK_PLOT_INTERVALS: /* fmin and fmax pass over a NAN */
        *x = (struct need){ series->x[i], series->x[i] };
        *y = (struct need){ fmin(series->lo[i], series->y[i]), fmax(series->hi[i], series->y[i]) };
        break;
    case FLECK_PLOT_RULE_X:
        *x = (struct need){ series->at, series->at };
        *y = (struct need){ NAN, NAN };
        break;
    case FLECK_PLOT_RULE_Y:
        *x = (struct need){ NAN, NAN };
        *y = (struct need){ series->at, series->at };
        break;
    default:
        *x = (struct need){ series->x[i], series->x[i] };
        *y = (struct need){ series->y[i], series->y[i] };
        break;
    }
}

static bool is_rule(const fleck_plot_series *series)
{
    return series->kind == FLECK_PLOT_RULE_X || series->kind == FLECK_PLOT_RULE_Y;
}

/* Whether each value of the series stands for itself, so that one left out must be told. */
static bool is_counted(const fleck_plot_series *series)
{
    return series->kind == FLECK_PLOT_POINTS || series->kind == FLECK_PLOT_INTERVALS ||
           series->kind == FLECK_PLOT_BARS || series->kind == FLECK_PLOT_STEPS;
}

static void count_unusable(const fleck_plot_series *series, struct need x, struct need y,
                           bool x_log, bool y_log, plot_ranges *ranges)
{
    const bool both = usable(x.from, false) && usable(x.to, false) && usable(y.to, false);

    if (!both)
        ranges->missing += is_counted(series);
    else if (is_counted(series) || series->kind == FLECK_PLOT_LINE)
        ranges->not_positive += (x_log && (x.from <= 0 || x.to <= 0)) || (y_log && y.to <= 0);
}

static bool is_outside(struct need need, const plot_scale *scale)
{
    return need.to < scale->least || need.from > scale->greatest;
}

static bool limits_given(const fleck_plot_axis *axis)
{
    return axis->least < axis->greatest && usable(axis->least, axis->scale == FLECK_PLOT_LOG) &&
           usable(axis->greatest, axis->scale == FLECK_PLOT_LOG);
}

/* The range of an axis from what its data span. tight: without room at the ends */
static plot_scale finish(const fleck_plot_axis *axis, struct span data, bool tight)
{
    plot_scale scale = { .log = axis->scale == FLECK_PLOT_LOG };
    double least = data.least, greatest = data.greatest, room;

    if (axis->scale == FLECK_PLOT_NAMES) {
        scale.least = -0.5;
        scale.greatest = fmax(1, (double)axis->name_count) - 0.5;
        return scale;
    }
    if (limits_given(axis)) {
        scale.least = axis->least;
        scale.greatest = axis->greatest;
        tight = true;
    } else if (least > greatest) {
        scale.least = scale.log ? 0.1 : 0;
        scale.greatest = scale.log ? 10 : 1;
        return scale;
    } else {
        if (!scale.log && axis->from_zero) {
            least = fmin(least, 0);
            greatest = fmax(greatest, 0);
        }
        scale.least = least;
        scale.greatest = greatest;
    }
    if (scale.log) {
        if (scale.greatest / scale.least < 1 + 1e-6) {
            scale.least /= 2;
            scale.greatest *= 2;
        } else if (!tight) {
            room = exp(ROOM * (log(scale.greatest) - log(scale.least)));
            scale.least = fmax(scale.least / room, SMALLEST_LOG / 1e4);
            scale.greatest = fmin(scale.greatest * room, LARGEST * 1e4);
        }
        return scale;
    }
    room = scale.greatest - scale.least;
    least = fmax(fabs(scale.least), fabs(scale.greatest));
    if (room < NARROWEST * least || room < 1e-290) {
        room = least < 1e-280 ? 1 : 0.05 * least;
        scale.least -= room;
        scale.greatest += room;
    } else if (!tight) {
        /* no room below bars that stand on 0 */
        if (!(axis->from_zero && scale.least == 0))
            scale.least -= ROOM * room;
        if (!(axis->from_zero && scale.greatest == 0))
            scale.greatest += ROOM * room;
    }
    return scale;
}

plot_ranges plot_ranges_find(const fleck_plot *plot)
{
    const bool x_log = plot->x.scale == FLECK_PLOT_LOG, y_log = plot->y.scale == FLECK_PLOT_LOG;
    plot_ranges ranges = { .empty = true };
    struct span x_span = { INFINITY, -INFINITY }, y_span = { INFINITY, -INFINITY };
    bool tight = true;

    for (size_t s = 0; s < plot->series_count; s++) {
        const fleck_plot_series *const series = &plot->series[s];
        const size_t count = is_rule(series) ? 1 : series->count;

        /* lines and bars may end where the axis ends, points would be cut in half */
        tight = tight && series->kind != FLECK_PLOT_POINTS && series->kind != FLECK_PLOT_INTERVALS;
        for (size_t i = 0; i < count; i++) {
            struct need x, y;

            needs_of(series, i, &x, &y);
            if (is_rule(series)) {
                take_in(&x_span, x.from, x_log);
                take_in(&y_span, y.from, y_log);
                continue;
            }
            if (!usable(x.from, x_log) || !usable(x.to, x_log) || !usable(y.to, y_log)) {
                count_unusable(series, x, y, x_log, y_log, &ranges);
                continue;
            }
            ranges.empty = false;
            take_in(&x_span, x.from, x_log);
            take_in(&x_span, x.to, x_log);
            take_in(&y_span, y.from, y_log);
            take_in(&y_span, y.to, y_log);
        }
    }
    ranges.x = finish(&plot->x, x_span, tight);
    ranges.y = finish(&plot->y, y_span, false);
    for (size_t s = 0; s < plot->series_count; s++) {
        const fleck_plot_series *const series = &plot->series[s];

        for (size_t i = 0; is_counted(series) && i < series->count; i++) {
            struct need x, y;

            needs_of(series, i, &x, &y);
            if (usable(x.from, x_log) && usable(x.to, x_log) && usable(y.to, y_log) &&
                (is_outside(x, &ranges.x) || is_outside(y, &ranges.y)))
                ranges.outside++;
        }
    }
    return ranges;
}
