/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One measure of two groups: difference, interval, tests. */
#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "stats/effect_size.h"
#include "stats/moments.h"
#include "stats/noncentral_t.h"
#include "stats/permutation.h"
#include "stats/ranks.h"
#include "stats/t_tests.h"
#include "study/compare_parts.h"

static const double confidence = 0.95, significance = 0.05, power = 0.8;

/* In normal units: 95 % of readings lie within. */
static const double normal_95 = 1.959963984540054;

/*
 * Drawing 200 million cards must do: 99 999 shuffles of groups up to some thousand, fewer of larger
 * ones, whose p-value is then that of the t test for all purposes. Common practice, no source.
 */
enum { MOST_SHUFFLES = 99999, FEWEST_SHUFFLES = 9999, MOST_CARDS = 200000000 };

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for the comparison; compare fewer patches");
}

/*
 * Variance that scanning gives to the difference of two groups' means, for scans of variance 1: a
 * round moves all patches scanned in it.
 */
static fleck_status rescan_share(const compare_plan *plan, const compare_bench *bench,
                                 const fleck_comparison *one, double *share, fleck_error *err)
{
    double *const in_round = fleck_alloc_zeroed(plan->round_count, sizeof *in_round);

    if (in_round == NULL)
        return no_memory(err);
    for (size_t i = 0; i < plan->row_count; i++) {
        const size_t row = plan->rows_in_order[i], group = plan->group_of_row[row];

        if (group == one->group_a || group == one->group_b)
            in_round[plan->round_of_row[row]] +=
                bench->weight[row] / (double)(group == one->group_a ? one->n_a : one->n_b);
    }
    *share = 0;
    for (size_t k = 0; k < plan->round_count; k++)
        *share += in_round[k] * in_round[k];
    fleck_free(in_round);
    return FLECK_OK;
}

/* Gather the values of two groups; pairs of which one is missing are left out. */
static void gather(const compare_plan *plan, compare_bench *bench, size_t group_a, size_t group_b)
{
    bench->n_a = bench->n_b = 0;
    for (size_t i = 0; i < plan->nodes_used; i++) {
        const size_t node = plan->nodes_in_order[i];
        const size_t group = plan->group_of_node[node];

        if (plan->pairs > 0) {
            /* partners are visited twice, once each; the first of group a counts */
            const size_t partner = node - group + group_b;

            if (group != group_a || isnan(bench->mean[node]) || isnan(bench->mean[partner]))
                continue;
            bench->a[bench->n_a++] = bench->mean[node];
            bench->b[bench->n_b] = bench->mean[partner];
            bench->difference[bench->n_b++] = bench->mean[partner] - bench->mean[node];
        } else if (!isnan(bench->mean[node])) {
            if (group == group_a)
                bench->a[bench->n_a++] = bench->mean[node];
            else if (group == group_b)
                bench->b[bench->n_b++] = bench->mean[node];
        }
    }
}

/* Variance of a group's mean from each patch's own standard error. */
static double variance_within(const compare_plan *plan, const compare_bench *bench, size_t group,
                              double n)
{
    double sum = 0;

    for (size_t i = 0; i < plan->row_count; i++) {
        const size_t row = plan->rows_in_order[i];

        if (plan->group_of_row[row] == group && bench->weight[row] > 0)
            sum += bench->weight[row] * bench->weight[row] * bench->se[row] * bench->se[row];
    }
    return sum / (n * n);
}

/* The difference that the given spread lets be seen with the power asked for, with either sign. */
static double detectable(double sd, double per_sd, double df)
{
    const double t = fleck_t_two_sided_quantile(significance, df);
    double delta = fleck_noncentral_t_delta(t, df, power);

    /* the wrong sign takes its small part of the power */
    for (int i = 0; i < 2; i++)
        delta = fleck_noncentral_t_delta(t, df, power - fleck_noncentral_t_below(-t, df, delta));
    return sd * per_sd * delta;
}

static fleck_permutation_options deals(size_t n_a, size_t n_b, uint64_t seed)
{
    fleck_permutation_options options = fleck_permutation_options_default();
    const size_t cards = n_b == 0 || n_a < n_b ? n_a : n_b;

    options.seed = seed;
    options.shuffles = MOST_SHUFFLES;
    if (cards > MOST_CARDS / MOST_SHUFFLES)
        options.shuffles =
            cards < MOST_CARDS / FEWEST_SHUFFLES ? MOST_CARDS / cards : FEWEST_SHUFFLES;
    return options;
}

/* Groups that have one value at least on each side, but two on neither or one only. */
static void compare_single(const compare_plan *plan, const compare_bench *bench,
                           const fleck_moments *a, const fleck_moments *b, fleck_comparison *out)
{
    const fleck_moments *const sides[2] = { a, b };
    const size_t groups[2] = { out->group_a, out->group_b };
    double variance = 0;

    for (int side = 0; side < 2; side++) {
        const double n = (double)sides[side]->count;

        variance += sides[side]->count > 1 ? sides[side]->sd * sides[side]->sd / n
                                           : variance_within(plan, bench, groups[side], n);
    }
    if (!(variance > 0))
        return;
    out->interval = "within-patch";
    out->ci_lo = out->difference - normal_95 * sqrt(variance);
    out->ci_hi = out->difference + normal_95 * sqrt(variance);
}

static fleck_status compare_unpaired(compare_bench *bench, const fleck_moments *a,
                                     const fleck_moments *b, uint64_t seed, fleck_t_test *test,
                                     fleck_comparison *out, fleck_error *err)
{
    const double n_a = (double)a->count, n_b = (double)b->count;
    const double pooled = sqrt((a->squares + b->squares) / (n_a + n_b - 2));
    const fleck_effect_size effect = fleck_hedges_g(a, b, confidence);
    const fleck_permutation_options options = deals(a->count, b->count, seed);
    fleck_permutation permutation;
    fleck_status status;

    *test = fleck_welch(a, b, confidence);
    out->interval = "welch";
    out->p_welch = test->p;
    out->hedges_g = effect.g;
    out->g_lo = effect.lo;
    out->g_hi = effect.hi;
    out->detectable = detectable(pooled, sqrt(1 / n_a + 1 / n_b), n_a + n_b - 2);
    status =
        fleck_permute_means(bench->a, a->count, bench->b, b->count, &options, &permutation, err);
    out->p_permutation = permutation.p;
    out->p_least = permutation.least;
    if (status == FLECK_OK)
        status =
            fleck_mann_whitney(bench->a, a->count, bench->b, b->count, NULL, &out->p_rank, err);
    return status;
}

static fleck_status compare_paired(compare_bench *bench, const fleck_moments *differences,
                                   uint64_t seed, fleck_t_test *test, fleck_comparison *out,
                                   fleck_error *err)
{
    const double n = (double)differences->count;
    const fleck_effect_size effect = fleck_hedges_g_paired(differences, confidence);
    const fleck_permutation_options options = deals(differences->count, 0, seed);
    fleck_permutation permutation;
    fleck_status status;

    *test = fleck_paired_t(differences, confidence);
    out->interval = "paired";
    out->p_paired = test->p;
    out->hedges_g = effect.g;
    out->g_lo = effect.lo;
    out->g_hi = effect.hi;
    out->detectable = detectable(differences->sd, sqrt(1 / n), n - 1);
    status =
        fleck_permute_signs(bench->difference, differences->count, &options, &permutation, err);
    out->p_permutation = permutation.p;
    out->p_least = permutation.least;
    return status;
}

/* The tolerance for a measure in its unit, NAN without. */
static double tolerance_of(const fleck_compare_options *options, const char *measure, double mean_a)
{
    for (size_t i = 0; i < options->tolerance_count; i++)
        if (strcmp(options->tolerances[i].measure, measure) == 0)
            return options->tolerances[i].percent
                       ? options->tolerances[i].value / 100 * fabs(mean_a)
                       : options->tolerances[i].value;
    return NAN;
}

fleck_status compare_pair(const compare_plan *plan, const fleck_compare_options *options,
                          compare_bench *bench, const fleck_compared_measure *measure,
                          fleck_comparison *out, fleck_error *err)
{
    fleck_moments a, b, differences;
    fleck_t_test test = { NAN, NAN, NAN, NAN, NAN, NAN, NAN };
    fleck_status status = FLECK_OK;

    gather(plan, bench, out->group_a, out->group_b);
    a = fleck_moments_of(bench->a, bench->n_a);
    b = fleck_moments_of(bench->b, bench->n_b);
    out->n_a = a.count;
    out->n_b = b.count;
    out->mean_a = a.mean;
    out->mean_b = b.mean;
    out->sd_a = a.sd;
    out->sd_b = b.sd;
    out->difference = b.mean - a.mean;
    out->tolerance = tolerance_of(options, measure->measure, out->mean_a);
    if (a.count == 0 || b.count == 0)
        return FLECK_OK;
    if (!isnan(measure->rescan_sd)) {
        double share = 0;

        status = rescan_share(plan, bench, out, &share, err);
        if (status != FLECK_OK)
            return status;
        out->rescan_limit = normal_95 * measure->rescan_sd * sqrt(share);
    }
    if (a.count < 2 || b.count < 2) {
        compare_single(plan, bench, &a, &b, out);
        return FLECK_OK;
    }
    differences = fleck_moments_of(bench->difference, plan->pairs > 0 ? bench->n_a : 0);
    status = plan->pairs > 0 ? compare_paired(bench, &differences, options->seed, &test, out, err)
                             : compare_unpaired(bench, &a, &b, options->seed, &test, out, err);
    out->ci_lo = test.ci_lo;
    out->ci_hi = test.ci_hi;
    if (isnan(test.ci_lo))
        out->interval = NULL;
    out->p_equivalence = fleck_equivalence_p(&test, out->tolerance);
    return status;
}
