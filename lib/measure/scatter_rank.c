/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The mean and the scatter are those of all, the first included: only then does it stand among the
 * others as one of them.
 */
#include "measure/scatter_rank.h"

#include <assert.h>
#include <math.h>

enum { MOST = FLECK_SCATTER_SIGNS };

/* Given up of the correlations: it keeps the matrix well away from singular. No source. */
static const double kept = 0.9;

struct metric {
    size_t n;
    double mean[MOST], scale[MOST];
    double lower[MOST][MOST]; /* L of the correlations L L' */
};

/* Positive definite: correlations cut by a factor below 1. */
static void cholesky(double a[MOST][MOST], size_t n)
{
    for (size_t i = 0; i < n; i++) {
        for (size_t j = 0; j <= i; j++) {
            double sum = a[i][j];

            for (size_t k = 0; k < j; k++)
                sum -= a[i][k] * a[j][k];
            a[i][j] = i == j ? sqrt(sum) : sum / a[j][j];
        }
    }
}

static void find_metric(const double *const *signs, size_t count, double slack,
                        struct metric *metric)
{
    const size_t n = metric->n;

    for (size_t j = 0; j < n; j++) {
        metric->mean[j] = 0;
        for (size_t i = 0; i < count; i++)
            metric->mean[j] += signs[i][j] / (double)count;
    }
    for (size_t j = 0; j < n; j++) {
        for (size_t k = 0; k <= j; k++) {
            double sum = 0;

            for (size_t i = 0; i < count; i++)
                sum += (signs[i][j] - metric->mean[j]) * (signs[i][k] - metric->mean[k]);
            metric->lower[j][k] = sum / (double)count;
        }
        metric->scale[j] = metric->lower[j][j] + slack * slack;
        metric->scale[j] = metric->scale[j] > 0 ? 1 / sqrt(metric->scale[j]) : 0;
    }
    for (size_t j = 0; j < n; j++) {
        for (size_t k = 0; k < j; k++)
            metric->lower[j][k] *= kept * metric->scale[j] * metric->scale[k];
        metric->lower[j][j] = 1;
    }
    cholesky(metric->lower, n);
}

static double square_distance(const struct metric *metric, const double *signs)
{
    double solved[MOST], sum = 0;

    for (size_t j = 0; j < metric->n; j++) {
        solved[j] = (signs[j] - metric->mean[j]) * metric->scale[j];
        for (size_t k = 0; k < j; k++)
            solved[j] -= metric->lower[j][k] * solved[k];
        solved[j] /= metric->lower[j][j];
        sum += solved[j] * solved[j];
    }
    return sum;
}

double fleck_scatter_rank(const double *const *signs, size_t count, size_t sign_count, double slack)
{
    struct metric metric = { .n = sign_count };
    double first, as_far = 0;

    assert(count >= 1 && sign_count <= MOST);
    find_metric(signs, count, slack, &metric);
    first = square_distance(&metric, signs[0]);
    for (size_t i = 0; i < count; i++)
        as_far += square_distance(&metric, signs[i]) >= first;
    return as_far / (double)count;
}
