/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/individuals_chart.h"

#include <math.h>
#include <stdbool.h>

#include "core/memory.h"
#include "stats/moments.h"

static const double d2 = 1.128, range_limit = 3.267;

static const fleck_run_rule rules[] = {
    { "nelson-1", "one beyond the control limits", "Nelson 1984, test 1; Western Electric 1956, rule 1" },
    { "nelson-2", "nine in a row on one side of the centre", "Nelson 1984, test 2" },
    { "nelson-3", "six in a row all rising or all falling", "Nelson 1984, test 3" },
    { "nelson-4", "fourteen in a row alternating up and down", "Nelson 1984, test 4" },
    { "nelson-5", "two of three beyond 2 sigma on one side",
      "Nelson 1984, test 5; Western Electric 1956, rule 2" },
    { "nelson-6", "four of five beyond 1 sigma on one side",
      "Nelson 1984, test 6; Western Electric 1956, rule 3" },
    { "nelson-7", "fifteen in a row within 1 sigma of the centre", "Nelson 1984, test 7" },
    { "nelson-8", "eight in a row, on both sides, none within 1 sigma", "Nelson 1984, test 8" },
    { "western-electric-4", "eight in a row on one side of the centre",
      "Western Electric 1956, rule 4" },
};

enum { RULES = sizeof rules / sizeof *rules, WIDEST = 15 };

/* How far a value stands from the centre, in sigma. */
typedef struct points {
    const double *values;
    size_t n;
    double centre, sigma;
} points;

static double at(const points *chart, size_t i)
{
    return (chart->values[i] - chart->centre) / chart->sigma;
}

/* Of the `width` values that end at `last`: how many stand beyond `limit` sigma above and below. */
static void count_beyond(const points *chart, size_t last, size_t width, double limit, size_t *above,
                         size_t *below)
{
    *above = *below = 0;
    for (size_t i = last + 1 - width; i <= last; i++) {
        *above += at(chart, i) > limit;
        *below += at(chart, i) < -limit;
    }
}

/* So many of the last `width` beyond the limit on one side, the last of them too. */
static bool on_one_side(const points *chart, size_t last, size_t width, size_t wanted, double limit)
{
    size_t above, below;

    count_beyond(chart, last, width, limit, &above, &below);
    return (above >= wanted && at(chart, last) > limit) ||
           (below >= wanted && at(chart, last) < -limit);
}

/* Steps to the last value: all of one sign, or each of the other sign than the one before. */
static bool steps(const points *chart, size_t last, size_t width, bool alternating)
{
    double before = 0;

    for (size_t i = last + 2 - width; i <= last; i++) {
        const double step = chart->values[i] - chart->values[i - 1];

        if (step == 0 || (before != 0 && (step * before > 0) == alternating))
            return false;
        before = step;
    }
    return true;
}

static size_t width_of(size_t rule)
{
    static const size_t width[RULES] = { 1, 9, 6, 14, 3, 5, WIDEST, 8, 8 };

    return width[rule];
}

static bool breaks(const points *chart, size_t rule, size_t last)
{
    const size_t width = width_of(rule);
    size_t above, below;

    switch (rule) {
    case 0:
        return fabs(at(chart, last)) > 3;
    case 1:
    case 8:
        return on_one_side(chart, last, width, width, 0);
    case 2:
        return steps(chart, last, width, false);
    case 3:
        return steps(chart, last, width, true);
    case 4:
        return on_one_side(chart, last, width, 2, 2);
    case 5:
        return on_one_side(chart, last, width, 4, 1);
    case 6:
        count_beyond(chart, last, width, 1, &above, &below);
        return above + below == 0;
    default:
        count_beyond(chart, last, width, 1, &above, &below);
        return above + below == width && above > 0 && below > 0;
    }
}

static bool note(fleck_run_signals *out, size_t rule, size_t first, size_t last)
{
    fleck_run_signal *const before = out->count > 0 ? &out->items[out->count - 1] : NULL;
    fleck_run_signal *grown;

    if (before != NULL && before->rule == rule && before->last >= first) {
        before->last = last;
        return true;
    }
    grown = fleck_grow(out->items, &out->capacity, out->count, sizeof *grown);
    if (grown == NULL)
        return false;
    out->items = grown;
    out->items[out->count++] = (fleck_run_signal){ rule, first, last };
    return true;
}

fleck_individuals fleck_individuals_of(const double *values, size_t n)
{
    fleck_individuals out = { .centre = fleck_moments_of(values, n).mean };
    fleck_sum sum = { 0, 0 };

    for (size_t i = 1; i < n; i++)
        fleck_sum_add(&sum, fabs(values[i] - values[i - 1]));
    out.mean_range = n > 1 ? fleck_sum_value(&sum) / (double)(n - 1) : NAN;
    out.sigma = out.mean_range / d2;
    out.lcl = out.centre - 3 * out.sigma;
    out.ucl = out.centre + 3 * out.sigma;
    out.range_ucl = range_limit * out.mean_range;
    return out;
}

const fleck_run_rule *fleck_run_rules(size_t *count)
{
    *count = RULES;
    return rules;
}

fleck_status fleck_run_signals_find(const double *values, size_t n, double centre, double sigma,
                                    fleck_run_signals *out, fleck_error *err)
{
    const points chart = { values, n, centre, sigma };

    for (size_t rule = 0; rule < RULES && sigma > 0; rule++) {
        const size_t width = width_of(rule);

        for (size_t last = width - 1; last < n; last++) {
            if (breaks(&chart, rule, last) && !note(out, rule, last + 1 - width, last))
                return fleck_fail(err, FLECK_NO_RESOURCE,
                                  "no memory for the chart of %zu prints; give fewer", n);
        }
    }
    return FLECK_OK;
}
