/* SPDX-License-Identifier: GPL-3.0-or-later */
#include <math.h>
#include <string.h>

#include <gsl/gsl_cdf.h>

#include "core/memory.h"
#include "stats/ranks.h"

enum { EXACT_VALUES = 20 }; /* in each group, up to which the exact distribution is taken */

/*
 * Two-sided chance of u, counting orders: with the largest value of all in b it beats all m of a,
 * so count(m, n, u) = count(m, n - 1, u - m) + count(m - 1, n, u). 40! / (20! 20!) is exact in a
 * double.
 */
static double exact_p(size_t n_a, size_t n_b, double u)
{
    static const size_t most = EXACT_VALUES * EXACT_VALUES + 1;
    double counts[EXACT_VALUES + 1][EXACT_VALUES * EXACT_VALUES + 1]; /* by n, of one m */
    const size_t smaller = (size_t)fmin(u, (double)(n_a * n_b) - u);
    double below = 0, all = 0;

    memset(counts, 0, sizeof counts);
    for (size_t n = 0; n <= n_b; n++)
        counts[n][0] = 1; /* m = 0 */
    for (size_t m = 1; m <= n_a; m++)
        for (size_t n = 1; n <= n_b; n++)
            for (size_t k = most; k-- > m;)
                counts[n][k] += counts[n - 1][k - m];
    for (size_t k = 0; k <= n_a * n_b; k++) {
        all += counts[n_b][k];
        below += k <= smaller ? counts[n_b][k] : 0;
    }
    return fmin(1, 2 * below / all);
}

fleck_status fleck_mann_whitney(const double *a, size_t n_a, const double *b, size_t n_b, double *u,
                                double *p, fleck_error *err)
{
    const size_t n = n_a + n_b;
    const double of_a = (double)n_a, of_b = (double)n_b, of_all = (double)n;
    double *const values = fleck_alloc_array(n, sizeof *values);
    double *const ranks = fleck_alloc_array(n, sizeof *ranks);
    double ties, sum = 0, wins = NAN;
    fleck_status status = FLECK_OK;

    *p = NAN;
    if (values == NULL || ranks == NULL)
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory to rank; free some memory");
    if (status == FLECK_OK && n_a > 0 && n_b > 0) {
        memcpy(values, a, n_a * sizeof *values);
        memcpy(values + n_a, b, n_b * sizeof *values);
        status = fleck_ranks(values, n, ranks, &ties, err);
    }
    if (status == FLECK_OK && n_a > 0 && n_b > 0) {
        for (size_t i = n_a; i < n; i++)
            sum += ranks[i];
        wins = sum - of_b * (of_b + 1) / 2;
        if (ties == 0 && n_a <= EXACT_VALUES && n_b <= EXACT_VALUES) {
            *p = exact_p(n_a, n_b, wins);
        } else {
            const double variance =
                of_a * of_b / 12 * (of_all + 1 - ties / (of_all * (of_all - 1)));
            const double away = fmax(fabs(wins - of_a * of_b / 2) - 0.5, 0);

            /* all values equal: nothing speaks for either */
            *p = variance > 0 ? 2 * gsl_cdf_ugaussian_Q(away / sqrt(variance)) : 1;
        }
    }
    if (u != NULL)
        *u = wins;
    fleck_free(values);
    fleck_free(ranks);
    return status;
}

fleck_status fleck_kruskal(const double *values, const size_t *group, size_t n, size_t groups,
                           double *h, double *p, fleck_error *err)
{
    const double of_all = (double)n;
    double *const ranks = fleck_alloc_array(n, sizeof *ranks);
    double *const sums = fleck_alloc_zeroed(groups, sizeof *sums);
    size_t *const counts = fleck_alloc_zeroed(groups, sizeof *counts);
    double ties = 0, between = 0, correction;
    size_t present = 0;
    fleck_status status = FLECK_OK;

    *h = *p = NAN;
    if (ranks == NULL || sums == NULL || counts == NULL)
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory to rank; free some memory");
    if (status == FLECK_OK)
        status = fleck_ranks(values, n, ranks, &ties, err);
    if (status != FLECK_OK)
        goto done;
    for (size_t i = 0; i < n; i++) {
        sums[group[i]] += ranks[i];
        counts[group[i]]++;
    }
    for (size_t k = 0; k < groups; k++) {
        /* from the mean rank, which keeps more digits than the usual difference of large numbers */
        const double away = counts[k] == 0 ? 0 : sums[k] / (double)counts[k] - (of_all + 1) / 2;

        between += (double)counts[k] * away * away;
        present += counts[k] > 0;
    }
    correction = 1 - ties / (of_all * of_all * of_all - of_all);
    if (present > 1 && correction > 0) {
        *h = 12 / (of_all * (of_all + 1)) * between / correction;
        *p = gsl_cdf_chisq_Q(*h, (double)(present - 1));
    }
done:
    fleck_free(ranks);
    fleck_free(sums);
    fleck_free(counts);
    return status;
}
