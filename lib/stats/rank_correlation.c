/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/rank_correlation.h"

#include <math.h>

#include <gsl/gsl_cdf.h>

#include "core/memory.h"
#include "stats/noncentral_t.h"

enum { RHO_EXACT_PAIRS = 9, TAU_EXACT_PAIRS = 49 };
enum { TAU_EXACT_COUNTS = TAU_EXACT_PAIRS * (TAU_EXACT_PAIRS - 1) / 2 + 1 };

/* Orders of n ranks by their sum of squared rank differences. */
struct orders {
    unsigned n;
    unsigned sum;       /* that of the data */
    size_t up_to, from; /* orders with at most, with at least that sum */
};

static void count_orders(struct orders *orders, unsigned place, unsigned taken, unsigned sum)
{
    if (place == orders->n) {
        orders->up_to += sum <= orders->sum;
        orders->from += sum >= orders->sum;
        return;
    }
    for (unsigned rank = 0; rank < orders->n; rank++) {
        const unsigned apart = rank > place ? rank - place : place - rank;

        if ((taken >> rank & 1u) == 0)
            count_orders(orders, place + 1, taken | 1u << rank, sum + apart * apart);
    }
}

static double exact_rho_p(double squared_differences, size_t n)
{
    struct orders orders = { .n = (unsigned)n, .sum = (unsigned)lround(squared_differences) };
    double all = 1;

    for (size_t k = 2; k <= n; k++)
        all *= (double)k;
    count_orders(&orders, 0, 0, 0);
    return fmin(1, 2 * (double)(orders.up_to < orders.from ? orders.up_to : orders.from) / all);
}

/* The law of the number of inversions: each further rank adds 0 to k of them, all as likely. */
static double exact_tau_p(size_t concordant, size_t n)
{
    double law[TAU_EXACT_COUNTS] = { 1 }, sums[TAU_EXACT_COUNTS + 1];
    size_t most = 0;
    double up_to = 0, from = 0;

    for (size_t k = 1; k < n; k++) {
        sums[0] = 0;
        for (size_t i = 0; i <= most + k; i++)
            sums[i + 1] = sums[i] + (i <= most ? law[i] : 0);
        most += k;
        for (size_t i = 0; i <= most; i++)
            law[i] = (sums[i + 1] - sums[i > k ? i - k : 0]) / (double)(k + 1);
    }
    for (size_t i = 0; i <= most; i++) {
        up_to += i <= concordant ? law[i] : 0;
        from += i >= concordant ? law[i] : 0;
    }
    return fmin(1, 2 * fmin(up_to, from));
}

/* Sums over groups of ties: t (t - 1), t (t - 1)(t - 2) and t (t - 1)(2 t + 5). */
struct ties {
    double pairs, triples, spread;
};

/* ties[i] is how many others share the value of i, so that each group of t is met t times. */
static struct ties sum_ties(const double *others, size_t n)
{
    struct ties sums = { 0 };

    for (size_t i = 0; i < n; i++) {
        const double t = others[i] + 1;

        sums.pairs += t - 1;
        sums.triples += (t - 1) * (t - 2);
        sums.spread += (t - 1) * (2 * t + 5);
    }
    return sums;
}

static double normal_tau_p(double score, size_t count, struct ties tx, struct ties ty)
{
    const double n = (double)count;
    const double variance = (n * (n - 1) * (2 * n + 5) - tx.spread - ty.spread) / 18 +
                            tx.pairs * ty.pairs / (2 * n * (n - 1)) +
                            tx.triples * ty.triples / (9 * n * (n - 1) * (n - 2));

    return 2 * gsl_cdf_ugaussian_Q(fabs(score) / sqrt(variance));
}

/* From twice the middle ranks, which are whole numbers. */
static void correlate(const double *rank_x, const double *rank_y, size_t n, bool tied,
                      fleck_rank_correlation *out)
{
    const double mean = (double)n + 1;
    double xx = 0, yy = 0, xy = 0, apart = 0;

    for (size_t i = 0; i < n; i++) {
        xx += (rank_x[i] - mean) * (rank_x[i] - mean);
        yy += (rank_y[i] - mean) * (rank_y[i] - mean);
        xy += (rank_x[i] - mean) * (rank_y[i] - mean);
        apart += (rank_x[i] - rank_y[i]) * (rank_x[i] - rank_y[i]) / 4;
    }
    out->rho = xy / sqrt(xx * yy);
    if (!tied && n <= RHO_EXACT_PAIRS) {
        out->rho_p = exact_rho_p(apart, n);
        out->rho_exact = true;
    } else if (xx * yy - xy * xy > 0) {
        out->rho_p =
            fleck_t_two_sided(xy * sqrt((double)(n - 2) / (xx * yy - xy * xy)), (double)(n - 2));
    } else {
        out->rho_p =
            tied ? 0 : 2 / tgamma((double)n + 1); /* one order out of all, and its mirror */
    }
}

fleck_status fleck_rank_correlate(const double *x, const double *y, size_t n,
                                  fleck_rank_correlation *out, fleck_error *err)
{
    double *work = NULL;
    double score = 0;
    size_t concordant = 0, tied = 0;
    struct ties ties_x, ties_y;

    *out = (fleck_rank_correlation){ NAN, NAN, false, NAN, NAN, false };
    if (n < 3)
        return FLECK_OK;
    if ((work = fleck_alloc_zeroed(n, 4 * sizeof *work)) == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for ranks; free some memory");

    double *const rank_x = work, *const rank_y = work + n;
    double *const others_x = work + 2 * n, *const others_y = work + 3 * n;

    for (size_t i = 0; i < n; i++) {
        rank_x[i] = rank_y[i] = 2;
        for (size_t j = 0; j < n; j++) {
            const int by_x = (x[i] > x[j]) - (x[i] < x[j]);
            const int by_y = (y[i] > y[j]) - (y[i] < y[j]);

            if (i == j)
                continue;
            rank_x[i] += 1 + by_x;
            rank_y[i] += 1 + by_y;
            others_x[i] += by_x == 0;
            others_y[i] += by_y == 0;
            if (j < i) {
                score += by_x * by_y;
                concordant += by_x * by_y > 0;
                tied += by_x == 0 || by_y == 0;
            }
        }
    }
    ties_x = sum_ties(others_x, n);
    ties_y = sum_ties(others_y, n);
    const double pairs = (double)n * (double)(n - 1);

    if (ties_x.pairs < pairs && ties_y.pairs < pairs) {
        correlate(rank_x, rank_y, n, tied > 0, out);
        out->tau = score / sqrt((pairs - ties_x.pairs) / 2) / sqrt((pairs - ties_y.pairs) / 2);
        out->tau_exact = tied == 0 && n <= TAU_EXACT_PAIRS;
        out->tau_p =
            out->tau_exact ? exact_tau_p(concordant, n) : normal_tau_p(score, n, ties_x, ties_y);
    }
    fleck_free(work);
    return FLECK_OK;
}
