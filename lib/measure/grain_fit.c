/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * In a Boolean model of bare share q the chance that two points a step h apart are both bare is
 * Q(h) = q^2 exp(n E[overlap(h)]), n grains per area, and q = exp(-n E[area]). Hence
 * E[overlap(h)] / E[area] = 2 - ln Q(h) / ln q, whatever the coverage (Matheron 1975). Q and q are
 * taken from the same pairs, so that q's error cancels at short steps. A pixel's centre decides
 * about its phase, so pairs of pixels are pairs of points and short of noise nothing depends on
 * their size; the crossings of Crofton's formula are among them: they are the pairs one pixel
 * apart.
 *
 * The curve is fitted by weighted least squares in two numbers, the logarithm of the area-weighted
 * median radius and the variance v of the logarithm (v >= 0; the curve is smooth in v down to 0, in
 * its root it is not). Longer steps than the discs' size are left out and short ones weigh more: in
 * simulations at coverages from 0.05 to 0.6 that halved the error of the mean diameter.
 */
#include "measure/grain_fit.h"

#include <math.h>

#include "measure/boolean_model.h"

enum { MAX_POINTS = 160 };
static const double pi = 3.14159265358979323846;
static const double max_log_variance = 0.5; /* a gsd of 2.03: beyond, discs are no longer a grain */

struct points {
    size_t count;
    double length_mm[MAX_POINTS], overlap[MAX_POINTS], weight[MAX_POINTS];
};

double fleck_grain_overlap(const fleck_pairs *pairs)
{
    const double n = (double)pairs->pairs;
    const double bare = 1 - ((double)pairs->both + (double)pairs->differ / 2) / n;
    const double both_bare = (n - (double)pairs->both - (double)pairs->differ) / n;

    return bare > 0 && bare < 1 && both_bare > 0 ? 2 - log(both_bare) / log(bare) : NAN;
}

fleck_pairs fleck_lag_ring_pairs(const fleck_lags *lags, const fleck_lag_ring *ring,
                                 double *length_mm)
{
    fleck_pairs sum = { 0 };

    *length_mm = 0;
    for (size_t i = 0; i < ring->members; i++) {
        const fleck_pairs *const pairs = &lags->pairs[ring->member[i]];

        sum.pairs += pairs->pairs;
        sum.both += pairs->both;
        sum.differ += pairs->differ;
        *length_mm += fleck_lag_length_mm(lags, ring->member[i]) / (double)ring->members;
    }
    return sum;
}

double fleck_disc_model_weighted_mm(const fleck_disc_model *model)
{
    const double s = log(model->gsd);

    return model->median_diameter_mm * exp(2 * s * s);
}

static void add_point(struct points *points, double length_mm, const fleck_pairs *pairs,
                      double weight)
{
    const double overlap = fleck_grain_overlap(pairs);

    if (points->count == MAX_POINTS || !isfinite(overlap))
        return;
    points->length_mm[points->count] = length_mm;
    points->overlap[points->count] = overlap;
    points->weight[points->count++] = weight;
}

/*
 * Rings of more than a few pixels are one point each. Members of a smaller ring differ in length by
 * too large a share to be taken together.
 */
static void gather(const fleck_lags *lags, double limit_mm, struct points *points)
{
    const double small_mm = 4.5 * fmax(lags->pixel_x_mm, lags->pixel_y_mm);

    points->count = 0;
    for (size_t r = 0; r < lags->ring_count; r++) {
        const fleck_lag_ring *const ring = &lags->rings[r];
        double length_mm;
        const fleck_pairs sum = fleck_lag_ring_pairs(lags, ring, &length_mm);

        if (length_mm > small_mm) {
            if (length_mm <= limit_mm)
                add_point(points, length_mm, &sum, 1);
            continue;
        }
        for (size_t i = 0; i < ring->members; i++) {
            length_mm = fleck_lag_length_mm(lags, ring->member[i]);
            if (length_mm <= limit_mm)
                add_point(points, length_mm, &lags->pairs[ring->member[i]],
                          1 / (double)ring->members);
        }
    }
}

/* The overlap of equal discs is one half at 0.404 of their diameter. */
static double first_radius_mm(const fleck_lags *lags)
{
    double last_mm = 0, last = 1;

    for (size_t r = 0; r < lags->ring_count; r++) {
        double length_mm;
        const fleck_pairs sum = fleck_lag_ring_pairs(lags, &lags->rings[r], &length_mm);
        const double overlap = fleck_grain_overlap(&sum);

        if (overlap < 0.5)
            return (last_mm + (length_mm - last_mm) * (last - 0.5) / (last - overlap)) / 0.404 / 2;
        if (isfinite(overlap)) {
            last_mm = length_mm;
            last = overlap;
        }
    }
    return NAN;
}

static double misfit(const struct points *points, double log_radius, double v, double *residual)
{
    double sum = 0;

    fleck_boolean_overlaps(exp(log_radius), v, points->length_mm, points->count, residual);
    for (size_t i = 0; i < points->count; i++) {
        residual[i] = points->overlap[i] - residual[i];
        sum += points->weight[i] * residual[i] * residual[i];
    }
    return sum;
}

/* Levenberg-Marquardt in (log_radius, v), v held within its bounds. */
static void minimise(struct points *points, double *log_radius, double *v)
{
    enum { ROUNDS = 40 };
    const double step = 1e-3;
    double here[MAX_POINTS], there[MAX_POINTS], slope_a[MAX_POINTS], slope_v[MAX_POINTS];
    double damping = 1e-3, best = misfit(points, *log_radius, *v, here);

    for (int round = 0; round < ROUNDS; round++) {
        double aa = 0, av = 0, vv = 0, a = 0, b = 0, tried, next_radius, next_v, determinant;

        misfit(points, *log_radius + step, *v, slope_a);
        misfit(points, *log_radius, *v + step, slope_v);
        for (size_t i = 0; i < points->count; i++) {
            const double weight = points->weight[i];
            const double da = (here[i] - slope_a[i]) / step, dv = (here[i] - slope_v[i]) / step;

            aa += weight * da * da;
            av += weight * da * dv;
            vv += weight * dv * dv;
            a += weight * da * here[i];
            b += weight * dv * here[i];
        }
        if (*v <= 0 && b * aa - a * av < 0)
            av = b = 0; /* held at its bound, the median moves alone */
        determinant = aa * vv * (1 + damping) * (1 + damping) - av * av;
        if (!(determinant > 0))
            return;
        next_radius = *log_radius + (a * vv * (1 + damping) - b * av) / determinant;
        next_v = *v + (b * aa * (1 + damping) - a * av) / determinant;
        next_radius = fmin(fmax(next_radius, *log_radius - 0.5), *log_radius + 0.5);
        next_v = fmin(fmax(next_v, 0), max_log_variance);
        tried = misfit(points, next_radius, next_v, there);
        if (tried <= best) {
            const bool settled = fabs(next_radius - *log_radius) < 1e-6 && fabs(next_v - *v) < 1e-6;

            *log_radius = next_radius;
            *v = next_v;
            best = tried;
            for (size_t i = 0; i < points->count; i++)
                here[i] = there[i];
            damping = fmax(damping / 10, 1e-6);
            if (settled)
                return;
        } else {
            damping *= 10;
            if (damping > 1e6)
                return;
        }
    }
}

bool fleck_grain_fit(const fleck_lags *lags, double coverage, const fleck_disc_model *start,
                     fleck_disc_model *model)
{
    /* the steps to fit depend on the size that is fitted */
    const int passes = start == NULL ? 3 : 1;
    struct points points;
    double log_radius, v, overlap[MAX_POINTS];

    if (start == NULL) {
        log_radius = log(first_radius_mm(lags));
        v = 0.05;
    } else {
        log_radius = log(fleck_disc_model_weighted_mm(start) / 2);
        v = fmin(log(start->gsd) * log(start->gsd), max_log_variance);
    }
    if (!(coverage > 0 && coverage < 1) || !isfinite(log_radius))
        return false;
    for (int pass = 0; pass < passes; pass++) {
        gather(lags, 2 * exp(log_radius), &points);
        if (points.count < 2)
            return false;
        fleck_boolean_overlaps(exp(log_radius), v, points.length_mm, points.count, overlap);
        /* the variance grows with 1 - overlap and levels off; 0.05 holds the first back */
        for (size_t i = 0; i < points.count; i++)
            points.weight[i] /= (1.05 - overlap[i]) * (1.05 - overlap[i]);
        minimise(&points, &log_radius, &v);
    }
    model->gsd = exp(sqrt(v));
    model->median_diameter_mm = 2 * exp(log_radius - 2 * v);
    model->per_mm2 = -log(1 - coverage) / (pi * exp(2 * log_radius - 2 * v));
    return true;
}
