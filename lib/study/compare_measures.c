/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The numbers of each comparison: measure by measure, all pairs of groups. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "core/memory.h"
#include "fleck/record.h"
#include "stats/moments.h"
#include "stats/ranks.h"
#include "study/compare_parts.h"

static const double significance = 0.05;

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE,
                      "no memory for the comparison; compare fewer patches");
}

static void bench_clear(compare_bench *bench)
{
    fleck_free(bench->value);
    fleck_free(bench->se);
    fleck_free(bench->weight);
    fleck_free(bench->mean);
    fleck_free(bench->a);
    fleck_free(bench->b);
    fleck_free(bench->difference);
    fleck_free(bench->group);
    fleck_free(bench->p);
}

static bool bench_make(compare_bench *bench, const compare_plan *plan, size_t measures)
{
    const size_t rows = fleck_study_row_count(plan->study);

    *bench = (compare_bench){ 0 };
    bench->value = fleck_alloc_array(rows, sizeof *bench->value);
    bench->se = fleck_alloc_array(rows, sizeof *bench->se);
    bench->weight = fleck_alloc_array(rows, sizeof *bench->weight);
    bench->mean = fleck_alloc_array(plan->node_count, sizeof *bench->mean);
    bench->a = fleck_alloc_array(plan->node_count, sizeof *bench->a);
    bench->b = fleck_alloc_array(plan->node_count, sizeof *bench->b);
    bench->difference = fleck_alloc_array(plan->node_count, sizeof *bench->difference);
    bench->group = fleck_alloc_array(plan->node_count, sizeof *bench->group);
    bench->p = fleck_alloc_array(measures, sizeof *bench->p);
    return bench->value != NULL && bench->se != NULL && bench->weight != NULL &&
           bench->mean != NULL && bench->a != NULL && bench->b != NULL &&
           bench->difference != NULL && bench->group != NULL && bench->p != NULL;
}

/* Read a column into value[], and what is known of each patch's own uncertainty into se[]. */
static fleck_status read_measure(const compare_plan *plan, size_t column, compare_bench *bench,
                                 fleck_error *err)
{
    const fleck_study *const study = plan->study;
    const char *const name = fleck_study_column_name(study, column);
    char se_name[128];
    size_t se_column;

    snprintf(se_name, sizeof se_name, "%.100s_se", name);
    se_column = fleck_study_find_column(study, se_name);
    for (size_t row = 0; row < fleck_study_row_count(study); row++) {
        bench->value[row] = bench->se[row] = NAN;
        if (plan->group_of_row[row] == FLECK_STUDY_NONE)
            continue;
        if (!fleck_study_number(study, row, column, &bench->value[row]))
            return fleck_fail(
                err, FLECK_BAD_CALL,
                "%.100s: %.60s is no number (patch %.100s); compare a column of numbers, or "
                "put the cell right",
                name, fleck_study_text(study, row, column), fleck_study_id(study, row));
        if (se_column != FLECK_STUDY_NONE && !isnan(bench->value[row]) &&
            !fleck_study_number(study, row, se_column, &bench->se[row]))
            bench->se[row] = NAN;
    }
    return FLECK_OK;
}

/* Standard deviation of scans of one print, over all prints that were scanned more than once. */
static fleck_status rescan_sd(const compare_plan *plan, const compare_bench *bench, double *sd,
                              fleck_error *err)
{
    double *const in_round = fleck_alloc_zeroed(plan->round_count, 2 * sizeof *in_round);
    double *const in_print = fleck_alloc_zeroed(plan->print_count, 2 * sizeof *in_print);
    size_t *const print_of_round = fleck_alloc_zeroed(plan->round_count, sizeof *print_of_round);
    fleck_sum squares = { 0, 0 };
    double df = 0;
    fleck_status status = FLECK_OK;

    *sd = NAN;
    if (in_round == NULL || in_print == NULL || print_of_round == NULL) {
        status = no_memory(err);
        goto done;
    }
    /* sum and count of each round's patches, then of each print's rounds */
    for (size_t i = 0; i < plan->row_count; i++) {
        const size_t row = plan->rows_in_order[i], round = plan->round_of_row[row];

        print_of_round[round] = plan->print_of_row[row];
        if (!isnan(bench->value[row])) {
            in_round[2 * round] += bench->value[row];
            in_round[2 * round + 1]++;
        }
    }
    for (size_t k = 0; k < plan->round_count; k++) {
        if (in_round[2 * k + 1] > 0) {
            in_print[2 * print_of_round[k]] += in_round[2 * k] / in_round[2 * k + 1];
            in_print[2 * print_of_round[k] + 1]++;
        }
    }
    for (size_t k = 0; k < plan->round_count; k++) {
        const double *const print = in_print + 2 * print_of_round[k];
        const double away = in_round[2 * k] / in_round[2 * k + 1] - print[0] / print[1];

        if (in_round[2 * k + 1] > 0)
            fleck_sum_add(&squares, away * away);
    }
    for (size_t i = 0; i < plan->print_count; i++)
        df += in_print[2 * i + 1] > 1 ? in_print[2 * i + 1] - 1 : 0;
    if (df > 0)
        *sd = sqrt(fleck_sum_value(&squares) / df);
done:
    fleck_free(in_round);
    fleck_free(in_print);
    fleck_free(print_of_round);
    return status;
}

/* p over all groups, from the nodes' means. */
static fleck_status compare_all_groups(const compare_plan *plan, compare_bench *bench, double *p,
                                       fleck_error *err)
{
    size_t n = 0;
    double h;

    for (size_t i = 0; i < plan->nodes_used; i++) {
        const size_t node = plan->nodes_in_order[i];

        if (isnan(bench->mean[node]))
            continue;
        bench->a[n] = bench->mean[node];
        bench->group[n++] = plan->group_of_node[node];
    }
    return fleck_kruskal(bench->a, bench->group, n, plan->groups, &h, p, err);
}

static fleck_status describe(const fleck_study *study, size_t column, fleck_compared_measure *out,
                             fleck_error *err)
{
    const char *const name = fleck_study_column_name(study, column);
    const fleck_key *const key = fleck_key_find(name);

    out->kruskal_p = out->rescan_sd = NAN;
    out->measure = fleck_copy_text(name);
    out->label = fleck_copy_text(key != NULL ? key->label : name);
    out->unit = fleck_copy_text(key != NULL ? key->unit : "");
    return out->measure == NULL || out->label == NULL || out->unit == NULL ? no_memory(err)
                                                                           : FLECK_OK;
}

/* The columns to compare; of the default set only those that there are. */
static fleck_status choose_measures(const compare_plan *plan, const fleck_compare_options *options,
                                    size_t **columns, fleck_compare *result, fleck_error *err)
{
    size_t count = options->measure_count;
    const char *const *names = count > 0 ? options->measures : fleck_study_default_measures(&count);
    fleck_status status = FLECK_OK;

    result->measures = fleck_alloc_zeroed(count, sizeof *result->measures);
    *columns = fleck_alloc_array(count, sizeof **columns);
    if (result->measures == NULL || *columns == NULL)
        return no_memory(err);
    for (size_t i = 0; status == FLECK_OK && i < count; i++) {
        size_t column = fleck_study_find_column(plan->study, names[i]);

        if (column == FLECK_STUDY_NONE && options->measure_count == 0) {
            status =
                fleck_warnings_add(&result->warnings, err, "measure-missing",
                                   "the run has no %s, so it is not compared; measure again with "
                                   "this version of fleck to have it",
                                   names[i]);
            continue;
        }
        status = fleck_study_need_column(plan->study, names[i], "measure", &column, err);
        for (size_t k = 0; status == FLECK_OK && k < result->measure_count; k++)
            if ((*columns)[k] == column)
                status = fleck_fail(err, FLECK_BAD_CALL, "%.100s: is named twice; name it once",
                                    names[i]);
        if (status != FLECK_OK)
            break;
        (*columns)[result->measure_count] = column;
        status = describe(plan->study, column, &result->measures[result->measure_count++], err);
    }
    return status;
}

static fleck_status check_tolerances(const fleck_compare_options *options,
                                     const fleck_compare *result, fleck_error *err)
{
    for (size_t i = 0; i < options->tolerance_count; i++) {
        const fleck_compare_tolerance *const tolerance = &options->tolerances[i];
        bool compared = false;

        if (!(tolerance->value > 0) || !isfinite(tolerance->value))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "%.100s: the tolerance is not above 0; give how far it may differ",
                              tolerance->measure);
        for (size_t k = 0; k < result->measure_count; k++)
            compared = compared || strcmp(result->measures[k].measure, tolerance->measure) == 0;
        for (size_t k = 0; k < i; k++)
            if (strcmp(options->tolerances[k].measure, tolerance->measure) == 0)
                return fleck_fail(err, FLECK_BAD_CALL, "%.100s: has two tolerances; give one",
                                  tolerance->measure);
        if (!compared)
            return fleck_fail(err, FLECK_BAD_CALL,
                              "%.100s: has a tolerance but is not compared; add it to --measures",
                              tolerance->measure);
    }
    return FLECK_OK;
}

static const fleck_comparison nothing = {
    .mean_a = NAN,
    .mean_b = NAN,
    .sd_a = NAN,
    .sd_b = NAN,
    .difference = NAN,
    .ci_lo = NAN,
    .ci_hi = NAN,
    .p_welch = NAN,
    .p_paired = NAN,
    .p_permutation = NAN,
    .p_rank = NAN,
    .p_holm = NAN,
    .p_least = NAN,
    .hedges_g = NAN,
    .g_lo = NAN,
    .g_hi = NAN,
    .tolerance = NAN,
    .p_equivalence = NAN,
    .detectable = NAN,
    .rescan_limit = NAN,
};

static fleck_status compare_measure(const compare_plan *plan, const fleck_compare_options *options,
                                    compare_bench *bench, size_t index, fleck_compare *result,
                                    fleck_error *err)
{
    fleck_compared_measure *const measure = &result->measures[index];
    size_t pair = 0;
    fleck_status status = compare_plan_average(plan, bench->value, bench->weight, bench->mean, err);

    measure->patches_all = plan->row_count;
    for (size_t i = 0; i < plan->row_count; i++)
        measure->patches += isnan(bench->value[plan->rows_in_order[i]]) ? 0 : 1;
    for (size_t i = 0; status == FLECK_OK && i < plan->nodes_used; i++)
        measure->n += isnan(bench->mean[plan->nodes_in_order[i]]) ? 0 : 1;
    if (status == FLECK_OK && options->rescan != NULL)
        status = rescan_sd(plan, bench, &measure->rescan_sd, err);
    if (status == FLECK_OK && plan->groups > 2)
        status = compare_all_groups(plan, bench, &measure->kruskal_p, err);
    for (size_t a = 0; a < plan->groups; a++) {
        for (size_t b = a + 1; status == FLECK_OK && b < plan->groups; b++, pair++) {
            fleck_comparison *const out =
                &result->comparisons[pair * result->measure_count + index];

            *out = nothing;
            out->measure = index;
            out->group_a = a;
            out->group_b = b;
            status = compare_pair(plan, options, bench, measure, out, err);
        }
    }
    return status;
}

/* Holm's p and the verdict, from one pair of groups to the next. */
static fleck_status judge(compare_bench *bench, fleck_compare *result, fleck_error *err)
{
    for (size_t from = 0; from < result->comparison_count; from += result->measure_count) {
        fleck_comparison *const pair = &result->comparisons[from];
        fleck_status status;

        for (size_t i = 0; i < result->measure_count; i++)
            bench->p[i] = pair[i].p_permutation;
        status = fleck_holm(bench->p, result->measure_count, bench->p, err);
        if (status != FLECK_OK)
            return status;
        for (size_t i = 0; i < result->measure_count; i++) {
            pair[i].p_holm = bench->p[i];
            /* what lies within the tolerance is the same, however surely it is not nothing */
            if (pair[i].p_equivalence <= significance)
                pair[i].verdict = FLECK_VERDICT_SAME;
            else if (pair[i].p_holm <= significance)
                pair[i].verdict = FLECK_VERDICT_NOT_THE_SAME;
        }
    }
    return FLECK_OK;
}

fleck_status compare_measures(const compare_plan *plan, const fleck_compare_options *options,
                              fleck_compare *result, fleck_error *err)
{
    const size_t pairs = plan->groups * (plan->groups - 1) / 2;
    compare_bench bench = { 0 };
    size_t *columns = NULL;
    fleck_status status = choose_measures(plan, options, &columns, result, err);

    if (status == FLECK_OK)
        status = check_tolerances(options, result, err);
    if (status != FLECK_OK)
        goto done;
    result->comparisons =
        fleck_alloc_zeroed(pairs * result->measure_count, sizeof *result->comparisons);
    if (result->comparisons == NULL || !bench_make(&bench, plan, result->measure_count)) {
        status = no_memory(err);
        goto done;
    }
    result->comparison_count = pairs * result->measure_count;
    for (size_t i = 0; status == FLECK_OK && i < result->measure_count; i++) {
        status = read_measure(plan, columns[i], &bench, err);
        if (status == FLECK_OK)
            status = compare_measure(plan, options, &bench, i, result, err);
    }
    if (status == FLECK_OK)
        status = judge(&bench, result, err);
done:
    bench_clear(&bench);
    fleck_free(columns);
    return status;
}
