/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/trend.h"

#include <gsl/gsl_cdf.h>
#include <math.h>
#include <stdlib.h>

#include "core/memory.h"
#include "stats/moments.h"
#include "stats/number_order.h"
#include "stats/rank_correlation.h"
#include "stats/ranks.h"

enum { MOST_SLOPES_FROM = 2000 };

/* Sums over the groups of t equal values that the formulas for ties need. */
typedef struct ties {
    double pairs;    /* t (t - 1) */
    double triples;  /* t (t - 1) (t - 2) */
    double variance; /* t (t - 1) (2 t + 5) */
} ties;

static ties count_ties(const double *sorted, size_t n)
{
    ties out = { 0, 0, 0 };

    for (size_t i = 0, end; i < n; i = end) {
        double t;

        for (end = i + 1; end < n && sorted[end] == sorted[i];)
            end++;
        t = (double)(end - i);
        out.pairs += t * (t - 1);
        out.triples += t * (t - 1) * (t - 2);
        out.variance += t * (t - 1) * (2 * t + 5);
    }
    return out;
}

static double sign(double value)
{
    return value > 0 ? 1 : value < 0 ? -1 : 0;
}

/* Means of as many neighbours as it takes to come down to MOST_SLOPES_FROM of them. */
static size_t thin_out(const double *place, const double *values, size_t n, double *x, double *y)
{
    const size_t width = (n + MOST_SLOPES_FROM - 1) / MOST_SLOPES_FROM;
    size_t count = 0;

    for (size_t i = 0; i < n; i += width, count++) {
        const size_t here = i + width <= n ? width : n - i;

        x[count] = fleck_moments_of(place + i, here).mean;
        y[count] = fleck_moments_of(values + i, here).mean;
    }
    return count;
}

static bool sen_slope(const double *place, const double *values, size_t n, double *slope)
{
    const size_t room = n < MOST_SLOPES_FROM ? n : MOST_SLOPES_FROM;
    double *const x = fleck_alloc_array(room, sizeof *x);
    double *const y = fleck_alloc_array(room, sizeof *y);
    double *const slopes = fleck_alloc_array(room * (room - 1) / 2 + 1, sizeof *slopes);
    const bool enough = x != NULL && y != NULL && slopes != NULL;
    size_t count, found = 0;

    *slope = NAN;
    if (enough) {
        count = thin_out(place, values, n, x, y);
        for (size_t j = 1; j < count; j++) {
            for (size_t i = 0; i < j; i++) {
                if (x[i] != x[j])
                    slopes[found++] = (y[j] - y[i]) / (x[j] - x[i]);
            }
        }
        qsort(slopes, found, sizeof *slopes, fleck_number_order);
        if (found > 0)
            *slope = (slopes[(found - 1) / 2] + slopes[found / 2]) / 2;
    }
    fleck_free(x);
    fleck_free(y);
    fleck_free(slopes);
    return enough;
}

static ties sorted_ties(const double *values, size_t n, double *room)
{
    for (size_t i = 0; i < n; i++)
        room[i] = values[i];
    qsort(room, n, sizeof *room, fleck_number_order);
    return count_ties(room, n);
}

/* Variance of s when no order is likelier than another, with ties in places and values. */
static double variance_of(size_t n, const ties *x, const ties *y)
{
    const double count = (double)n, pairs = count * (count - 1);

    return (pairs * (2 * count + 5) - x->variance - y->variance) / 18 +
           x->pairs * y->pairs / (2 * pairs) +
           x->triples * y->triples / (9 * pairs * (count - 2));
}

fleck_status fleck_trend_of(const double *place, const double *values, size_t n, fleck_trend *out,
                            fleck_error *err)
{
    double *const room = fleck_alloc_array(n + 1, sizeof *room);
    fleck_rank_correlation kendall;
    fleck_status status;
    ties x, y;

    *out = (fleck_trend){ .tau = NAN, .p = NAN, .slope = NAN };
    status = fleck_rank_correlate(place, values, n, &kendall, err);
    if (status == FLECK_OK && (room == NULL || (n > 1 && !sen_slope(place, values, n, &out->slope))))
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory for the trend of %zu prints; give fewer", n);
    if (status != FLECK_OK || n < 3)
        goto done;
    for (size_t j = 1; j < n; j++) {
        for (size_t i = 0; i < j; i++)
            out->s += sign(values[j] - values[i]) * sign(place[j] - place[i]);
    }
    x = sorted_ties(place, n, room);
    y = sorted_ties(values, n, room);
    out->variance = variance_of(n, &x, &y);
    out->tau = kendall.tau;
    out->exact = kendall.tau_exact;
    out->p = kendall.tau_p;
    if (!isnan(out->tau) && !out->exact)
        out->p = fmin(1, 2 * gsl_cdf_ugaussian_Q(fmax(fabs(out->s) - 1, 0) / sqrt(out->variance)));
done:
    fleck_free(room);
    return status;
}

fleck_status fleck_step_of(const double *values, size_t n, fleck_step *out, fleck_error *err)
{
    const double count = (double)n;
    double *ranks;
    double u = 0;
    fleck_status status;

    *out = (fleck_step){ 0, NAN, NAN };
    if (n < 2)
        return FLECK_OK;
    ranks = fleck_alloc_array(n, sizeof *ranks);
    if (ranks == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a step among %zu prints; give fewer", n);
    status = fleck_ranks(values, n, ranks, NULL, err);
    for (size_t t = 1; status == FLECK_OK && t < n; t++) {
        u += 2 * ranks[t - 1] - (count + 1);
        if (t == 1 || fabs(u) > out->k) {
            out->k = fabs(u);
            out->first = t;
        }
    }
    fleck_free(ranks);
    if (status == FLECK_OK)
        out->p = fmin(1, 2 * exp(-6 * out->k * out->k / (count * count * count + count * count)));
    return status;
}
