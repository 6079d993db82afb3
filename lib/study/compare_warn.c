/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The warnings of a comparison, each once, however many measures it concerns. */
#include <math.h>

#include "core/memory.h"
#include "stats/moments.h"
#include "study/compare_parts.h"

/* One code of 8 bits in the middle tones, in reflectance: nearer than this thresholds are not
 * apart. */
static const double one_code = 0.005;

/* How many of a group's replicates there are to compare, at most. */
static size_t most_values(const fleck_compare *result, size_t pair, bool b)
{
    size_t most = 0;

    for (size_t i = 0; i < result->measure_count; i++) {
        const fleck_comparison *const one = &result->comparisons[pair * result->measure_count + i];
        const size_t n = b ? one->n_b : one->n_a;

        most = n > most ? n : most;
    }
    return most;
}

static fleck_status warn_of_replicates(fleck_compare *result, fleck_error *err)
{
    const fleck_compare_group *first = NULL;
    size_t more = 0;

    for (size_t k = 0; k < result->group_count; k++) {
        if (result->groups[k].units != 1)
            continue;
        more += first != NULL ? 1 : 0;
        first = first != NULL ? first : &result->groups[k];
    }
    if (first == NULL)
        return FLECK_OK;
    if (more > 0)
        return fleck_warnings_add(
            &result->warnings, err, "no-replicates",
            "%s and %zu more have one %s each: without replicates there is "
            "no telling whether a difference is more than chance; print more",
            first->name, more, first->patches > 1 && result->unit != NULL ? result->unit : "patch");
    return fleck_warnings_add(&result->warnings, err, "no-replicates",
                              "%s has one %s: without replicates there is no telling whether a "
                              "difference is more than chance; print more",
                              first->name,
                              first->patches > 1 && result->unit != NULL ? result->unit : "patch");
}

/* p that could not be low enough, whatever the patches had shown. */
static fleck_status warn_of_few(fleck_compare *result, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t from = 0; status == FLECK_OK && from < result->comparison_count;
         from += result->measure_count) {
        const fleck_comparison *const pair = &result->comparisons[from];
        double least = INFINITY, count = 0;
        size_t best = 0;

        for (size_t i = 0; i < result->measure_count; i++) {
            if (isnan(pair[i].p_least))
                continue;
            count++;
            best = pair[i].p_least < least ? i : best;
            least = fmin(least, pair[i].p_least);
        }
        if (count == 0 || least * count <= 0.05)
            continue;
        if (least > 0.05)
            status = fleck_warnings_add(
                &result->warnings, err, "too-few-patches",
                "with %zu against %zu %s p cannot be below %.2g, however large the "
                "difference; print more of each",
                pair[best].n_a, pair[best].n_b, compare_replicates(result, &pair[best]), least);
        else
            status =
                fleck_warnings_add(&result->warnings, err, "too-few-patches",
                                   "with %zu against %zu %s and %g measures p_holm cannot be below "
                                   "%.2g, however large the difference; print more of each, or "
                                   "choose one measure beforehand",
                                   pair[best].n_a, pair[best].n_b,
                                   compare_replicates(result, &pair[best]), count, least * count);
    }
    return status;
}

static fleck_status warn_of_missing(fleck_compare *result, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t i = 0; status == FLECK_OK && i < result->measure_count; i++) {
        const fleck_compared_measure *const measure = &result->measures[i];

        if (measure->patches == 0)
            status = fleck_warnings_add(&result->warnings, err, "no-values",
                                        "no patch has %s; the warnings of their records say why",
                                        measure->measure);
        else if (measure->patches < measure->patches_all)
            status =
                fleck_warnings_add(&result->warnings, err, "missing-values",
                                   "%s is there in %zu of %zu patches and compared in these; the "
                                   "warnings of the other records say why",
                                   measure->measure, measure->patches, measure->patches_all);
    }
    for (size_t i = 0; status == FLECK_OK && i < result->comparison_count; i++) {
        const fleck_comparison *const one = &result->comparisons[i];

        if (one->n_a > 1 && one->n_b > 1 && one->interval == NULL)
            status = fleck_warnings_add(&result->warnings, err, "no-spread",
                                        "%s is the same number throughout %s and throughout %s, so "
                                        "there is no spread to judge a difference by",
                                        result->measures[one->measure].measure,
                                        result->groups[one->group_a].name,
                                        result->groups[one->group_b].name);
    }
    return status;
}

static fleck_status warn_of_unpaired(const compare_plan *plan, fleck_compare *result,
                                     fleck_error *err)
{
    const size_t pairs =
        result->measure_count > 0 ? result->comparison_count / result->measure_count : 0;
    fleck_status status = FLECK_OK;

    for (size_t pair = 0; plan->pairs > 0 && status == FLECK_OK && pair < pairs; pair++) {
        const fleck_comparison *const one = &result->comparisons[pair * result->measure_count];
        const fleck_compare_group *const a = &result->groups[one->group_a];
        const fleck_compare_group *const b = &result->groups[one->group_b];
        const size_t paired = most_values(result, pair, false);

        if (a->units == paired && b->units == paired)
            continue;
        status = fleck_warnings_add(&result->warnings, err, "unpaired",
                                    "%s and %s share %zu of %s; what has no partner is left out",
                                    a->name, b->name, paired, result->paired);
    }
    return status;
}

/*
 * Dealing out anew assumes alike spreads; with 5 of sd 3 against 10 of sd 1 it cries at nothing 16
 * times in 100 (tests/bench/interval_rates.c). With as many on both sides it errs little.
 */
static fleck_status warn_of_spread(fleck_compare *result, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    for (size_t i = 0; status == FLECK_OK && i < result->comparison_count; i++) {
        const fleck_comparison *const one = &result->comparisons[i];
        const bool a_fewer = one->n_a < one->n_b;
        const double fewer = a_fewer ? one->sd_a : one->sd_b,
                     more = a_fewer ? one->sd_b : one->sd_a;

        if (result->paired != NULL || one->n_a == one->n_b || !(fewer > 2 * more))
            continue;
        status = fleck_warnings_add(
            &result->warnings, err, "unequal-spread",
            "%s scatters more than twice as much in the smaller of the groups %s and "
            "%s, so p may be too small; go by the 95 %% interval, or measure as many of "
            "each",
            result->measures[one->measure].measure, result->groups[one->group_a].name,
            result->groups[one->group_b].name);
    }
    return status;
}

/* Moments of the patches' thresholds in a group. */
static void thresholds_of(const compare_plan *plan, size_t column, size_t group, double *values,
                          fleck_moments *moments)
{
    size_t n = 0;

    for (size_t i = 0; i < plan->row_count; i++) {
        const size_t row = plan->rows_in_order[i];

        if (plan->group_of_row[row] == group &&
            fleck_study_number(plan->study, row, column, &values[n]))
            n++;
    }
    *moments = fleck_moments_of(values, n);
}

static fleck_status warn_of_thresholds(const compare_plan *plan, fleck_compare *result,
                                       fleck_error *err)
{
    const size_t column = fleck_study_find_column(plan->study, "threshold.threshold_reflectance");
    double *values;
    fleck_status status = FLECK_OK;

    if (column == FLECK_STUDY_NONE)
        return FLECK_OK;
    values = fleck_alloc_array(plan->row_count, sizeof *values);
    if (values == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no memory for thresholds; compare fewer patches");
    for (size_t i = 0; status == FLECK_OK && i < result->size_count; i++) {
        const size_t group_a = result->sizes[i].group_a, group_b = result->sizes[i].group_b;
        fleck_moments a, b;
        double scatter = 0;

        thresholds_of(plan, column, group_a, values, &a);
        thresholds_of(plan, column, group_b, values, &b);
        if (a.count == 0 || b.count == 0)
            continue;
        if (a.count + b.count > 2)
            scatter = sqrt((a.squares + b.squares) / (double)(a.count + b.count - 2));
        if (fabs(b.mean - a.mean) <= fmax(scatter, one_code))
            continue;
        status = fleck_warnings_add(
            &result->warnings, err, "thresholds-differ",
            "the thresholds of %s (%.3f) and %s (%.3f) lie apart by more than "
            "they scatter (%.3f), which alone can change sizes; measure both with "
            "--threshold pooled",
            result->groups[group_a].name, a.mean, result->groups[group_b].name, b.mean, scatter);
    }
    fleck_free(values);
    return status;
}

static fleck_status warn_of_scanning(fleck_compare *result, fleck_error *err)
{
    fleck_status status = FLECK_OK;
    bool any = false;

    if (result->rescan == NULL)
        return FLECK_OK;
    for (size_t i = 0; i < result->measure_count; i++)
        any = any || !isnan(result->measures[i].rescan_sd);
    if (!any)
        return fleck_warnings_add(
            &result->warnings, err, "no-rescan",
            "no %s was scanned twice in %s, so what scanning does is not known; scan some "
            "prints again",
            result->print, result->rescan);
    for (size_t i = 0; status == FLECK_OK && i < result->comparison_count; i++) {
        const fleck_comparison *const one = &result->comparisons[i];

        if (fabs(one->difference) < one->rescan_limit)
            status = fleck_warnings_add(
                &result->warnings, err, "within-rescan",
                "%s of %s and %s differs by less than %.2g %s, which scanning the "
                "same prints again gives 1 time in 20",
                result->measures[one->measure].measure, result->groups[one->group_a].name,
                result->groups[one->group_b].name, one->rescan_limit,
                result->measures[one->measure].unit);
    }
    return status;
}

fleck_status compare_warn(const compare_plan *plan, fleck_compare *result, fleck_error *err)
{
    fleck_status status = warn_of_replicates(result, err);

    if (status == FLECK_OK)
        status = warn_of_few(result, err);
    if (status == FLECK_OK)
        status = warn_of_missing(result, err);
    if (status == FLECK_OK)
        status = warn_of_unpaired(plan, result, err);
    if (status == FLECK_OK)
        status = warn_of_spread(result, err);
    if (status == FLECK_OK)
        status = warn_of_thresholds(plan, result, err);
    if (status == FLECK_OK)
        status = warn_of_scanning(result, err);
    return status;
}
