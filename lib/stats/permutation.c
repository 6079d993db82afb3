/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Curves are taken as their deviations from the mean of all, which makes the difference of the
 * group means a multiple of the sum over one group, and the smaller group is enough. A mean is a
 * curve of one point.
 */
#include "stats/permutation.h"

#include <float.h>
#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/random.h"
#include "stats/moments.h"

/* Differences closer than this share are one and the same, rounded differently. */
static const double same_share = 1e-9;

fleck_permutation_options fleck_permutation_options_default(void)
{
    return (fleck_permutation_options){ .exact_limit = 200000, .shuffles = 99999, .seed = 1 };
}

size_t fleck_permutation_deals(size_t n_a, size_t n_b)
{
    const size_t n = n_a + n_b, chosen = n_a < n_b ? n_a : n_b;
    double deals = 1;

    if (n_b == 0) {
        deals = ldexp(1, n_a < 1000 ? (int)n_a : 1000);
    } else {
        for (size_t i = 1; i <= chosen && deals < 0x1p63; i++)
            deals = deals * (double)(n - chosen + i) / (double)i; /* whole after each step */
    }
    return deals < 0x1p53 ? (size_t)(deals + 0.5) : SIZE_MAX;
}

/* The work of one test: what is dealt, how, and the deal at hand. */
struct deal {
    double *rows; /* n x points deviations, or differences of pairs */
    double *sum;  /* points: over the chosen rows, or with the signs */
    const double *widths;
    size_t *order; /* n: the first `chosen` are chosen */
    bool *minus;   /* n: the signs of pairs */
    size_t n, chosen, points;
    bool signs, exact;
    uint64_t state;
};

/* Go on to the next deal in order: combinations in lexicographic order, signs as a binary counter.
 */
static void next_in_order(struct deal *deal)
{
    size_t i;

    if (deal->signs) {
        for (i = 0; i < deal->n && deal->minus[i]; i++)
            deal->minus[i] = false;
        if (i < deal->n)
            deal->minus[i] = true;
        return;
    }
    i = deal->chosen;
    while (i > 0 && deal->order[i - 1] == deal->n - deal->chosen + i - 1)
        i--;
    if (i == 0)
        return;
    deal->order[i - 1]++;
    for (; i < deal->chosen; i++)
        deal->order[i] = deal->order[i - 1] + 1;
}

static void next_by_chance(struct deal *deal)
{
    if (deal->signs) {
        for (size_t i = 0; i < deal->n; i++)
            deal->minus[i] = fleck_random_uniform(&deal->state) < 0.5;
        return;
    }
    for (size_t i = 0; i < deal->chosen; i++) {
        const size_t rest = deal->n - i;
        const size_t j = i + (size_t)(fleck_random_uniform(&deal->state) * (double)rest);
        const size_t kept = deal->order[i];

        deal->order[i] = deal->order[j];
        deal->order[j] = kept;
    }
}

/* The largest value of the deal's sum curve, and its area. */
static void measure_deal(struct deal *deal, double *largest, double *area)
{
    const size_t rows = deal->signs ? deal->n : deal->chosen;

    memset(deal->sum, 0, deal->points * sizeof *deal->sum);
    for (size_t i = 0; i < rows; i++) {
        const double *const row = deal->rows + (deal->signs ? i : deal->order[i]) * deal->points;

        if (deal->signs && deal->minus[i]) {
            for (size_t k = 0; k < deal->points; k++)
                deal->sum[k] -= row[k];
        } else {
            for (size_t k = 0; k < deal->points; k++)
                deal->sum[k] += row[k];
        }
    }
    *largest = *area = 0;
    for (size_t k = 0; k < deal->points; k++) {
        const double away = fabs(deal->sum[k]);

        *largest = away > *largest ? away : *largest;
        *area += away * deal->widths[k];
    }
}

/*
 * Turn rows into deviations from their mean; exact to the last digits of the values.
 * Returns the largest value there was, by which rounding is judged.
 */
static double centre_rows(struct deal *deal)
{
    double scale = 0;

    for (size_t k = 0; k < deal->points; k++) {
        fleck_sum sum = { 0, 0 };
        double mean;

        for (size_t i = 0; i < deal->n; i++) {
            fleck_sum_add(&sum, deal->rows[i * deal->points + k]);
            scale = fmax(scale, fabs(deal->rows[i * deal->points + k]));
        }
        mean = deal->signs ? 0 : fleck_sum_value(&sum) / (double)deal->n;
        for (size_t i = 0; i < deal->n; i++)
            deal->rows[i * deal->points + k] -= mean;
    }
    return scale;
}

/* Go through all deals or draw some, counting those that reach what was observed. */
static void count_hits(struct deal *deal, const fleck_permutation_options *options, double scale,
                       fleck_permutation *largest, fleck_permutation *area)
{
    const size_t all = deal->signs ? fleck_permutation_deals(deal->n, 0)
                                   : fleck_permutation_deals(deal->chosen, deal->n - deal->chosen);
    const bool exact = all <= options->exact_limit;
    const size_t deals = exact ? all : options->shuffles;
    const double rounding = 4 * DBL_EPSILON * (double)deal->n * scale;
    double width = 0, seen_largest, seen_area, one_largest, one_area;
    size_t hits_largest = 0, hits_area = 0;

    for (size_t k = 0; k < deal->points; k++)
        width += fabs(deal->widths[k]);
    measure_deal(deal, &seen_largest, &seen_area);
    seen_largest -= same_share * seen_largest + rounding;
    seen_area -= same_share * seen_area + rounding * width;
    /* the first deal in order is the observed one only by chance of the order, so start it anew */
    for (size_t i = 0; i < deal->n; i++) {
        deal->order[i] = i;
        deal->minus[i] = false;
    }
    for (size_t d = 0; d < deals; d++) {
        if (!exact)
            next_by_chance(deal);
        else if (d > 0)
            next_in_order(deal);
        measure_deal(deal, &one_largest, &one_area);
        hits_largest += one_largest >= seen_largest;
        hits_area += one_area >= seen_area;
    }
    *largest = (fleck_permutation){ .exact = exact, .deals = deals };
    /* turning every sign, or swapping equal groups, gives the same difference again */
    if (exact)
        largest->least = (deal->signs || 2 * deal->chosen == deal->n ? 2.0 : 1.0) / (double)deals;
    else
        largest->least = 1 / ((double)deals + 1);
    *area = *largest;
    largest->p = exact ? (double)hits_largest / (double)deals
                       : ((double)hits_largest + 1) / ((double)deals + 1);
    area->p =
        exact ? (double)hits_area / (double)deals : ((double)hits_area + 1) / ((double)deals + 1);
}

fleck_status fleck_permute_curves(const double *curves, size_t n_a, size_t n_b, size_t points,
                                  const double *widths, const fleck_permutation_options *options,
                                  fleck_permutation *largest, fleck_permutation *area,
                                  fleck_error *err)
{
    const bool b_smaller = n_b > 0 && n_b < n_a;
    struct deal deal = { .n = n_a + n_b,
                         .points = points,
                         .widths = widths,
                         .signs = n_b == 0,
                         .state = options->seed };
    size_t cells;
    fleck_status status = FLECK_OK;

    *largest = *area = (fleck_permutation){ .p = NAN, .least = NAN };
    if (n_a == 0 || points == 0)
        return FLECK_OK;
    deal.chosen = b_smaller ? n_b : n_a;
    deal.rows =
        size_mul(deal.n, points, &cells) ? fleck_alloc_array(cells, sizeof *deal.rows) : NULL;
    deal.sum = fleck_alloc_array(points, sizeof *deal.sum);
    deal.order = fleck_alloc_array(deal.n, sizeof *deal.order);
    deal.minus = fleck_alloc_zeroed(deal.n, sizeof *deal.minus);
    if (deal.rows == NULL || deal.sum == NULL || deal.order == NULL || deal.minus == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE,
                            "no memory for a permutation test; compare fewer patches");
        goto done;
    }
    memcpy(deal.rows, curves, cells * sizeof *curves);
    for (size_t i = 0; i < deal.n; i++)
        deal.order[i] = b_smaller ? (i + n_a) % deal.n : i;
    count_hits(&deal, options, centre_rows(&deal), largest, area);
done:
    fleck_free(deal.rows);
    fleck_free(deal.sum);
    fleck_free(deal.order);
    fleck_free(deal.minus);
    return status;
}

fleck_status fleck_permute_means(const double *a, size_t n_a, const double *b, size_t n_b,
                                 const fleck_permutation_options *options,
                                 fleck_permutation *result, fleck_error *err)
{
    static const double one = 1;
    fleck_permutation area;
    double *values;
    fleck_status status;

    *result = (fleck_permutation){ .p = NAN, .least = NAN };
    if (n_a == 0 || n_b == 0)
        return FLECK_OK;
    values = fleck_alloc_array(n_a + n_b, sizeof *values);
    if (values == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for a permutation test; compare fewer patches");
    memcpy(values, a, n_a * sizeof *values);
    memcpy(values + n_a, b, n_b * sizeof *values);
    status = fleck_permute_curves(values, n_a, n_b, 1, &one, options, result, &area, err);
    fleck_free(values);
    return status;
}

fleck_status fleck_permute_signs(const double *differences, size_t n,
                                 const fleck_permutation_options *options,
                                 fleck_permutation *result, fleck_error *err)
{
    static const double one = 1;
    fleck_permutation area;

    return fleck_permute_curves(differences, n, 0, 1, &one, options, result, &area, err);
}
