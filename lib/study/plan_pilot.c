/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "study/plan_pilot.h"

#include <math.h>
#include <string.h>

#include <gsl/gsl_cdf.h>

#include "core/memory.h"
#include "stats/moments.h"

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the pilot; free some memory");
}

void fleck_plan_pilot_clear(fleck_plan_pilot *pilot)
{
    fleck_free(pilot->group_of_row);
    fleck_free(pilot->group_of_unit);
    fleck_study_units_clear(&pilot->units);
}

/* Column of the units: as named, else "batch" where there is one; "patch" is each row for itself.
 */
static fleck_status unit_column(const fleck_study *study, const char *name, size_t *column,
                                fleck_error *err)
{
    *column = FLECK_STUDY_NONE;
    if (name == NULL) {
        *column = fleck_study_find_column(study, "batch");
        return FLECK_OK;
    }
    if (strcmp(name, "patch") == 0)
        return FLECK_OK;
    return fleck_study_need_column(study, name, "column", column, err);
}

fleck_status fleck_plan_pilot_read(fleck_plan_pilot *pilot, const fleck_study *study,
                                   const fleck_plan_options *options, char **unit_name,
                                   fleck_error *err)
{
    const size_t rows = fleck_study_row_count(study);
    fleck_study_units groups = { 0 };
    size_t by = FLECK_STUDY_NONE, unit;
    fleck_status status;

    if ((options->by != NULL &&
         (status = fleck_study_need_column(study, options->by, "column", &by, err)) != FLECK_OK) ||
        (status = unit_column(study, options->unit, &unit, err)) != FLECK_OK)
        return status;
    pilot->study = study;
    pilot->group_of_row = fleck_alloc_zeroed(rows, sizeof *pilot->group_of_row);
    pilot->group_of_unit = fleck_alloc_zeroed(rows, sizeof *pilot->group_of_unit);
    *unit_name =
        fleck_copy_text(unit != FLECK_STUDY_NONE ? fleck_study_column_name(study, unit) : "patch");
    if (pilot->group_of_row == NULL || pilot->group_of_unit == NULL || *unit_name == NULL)
        return no_memory(err);
    pilot->group_count = 1;
    if (by != FLECK_STUDY_NONE) {
        if ((status = fleck_study_group_units(study, by, NULL, &groups, err)) != FLECK_OK)
            return status;
        for (size_t row = 0; row < rows; row++) {
            /* a row that says nothing of its kind is of none */
            pilot->group_of_row[row] = fleck_study_text(study, row, by)[0] != '\0'
                                           ? groups.unit_of_row[row]
                                           : FLECK_STUDY_NONE;
        }
        pilot->group_count = groups.count;
        fleck_study_units_clear(&groups);
    }
    status = fleck_study_group_units(study, unit, pilot->group_of_row, &pilot->units, err);
    for (size_t row = 0; row < rows && status == FLECK_OK; row++) {
        if (pilot->units.unit_of_row[row] != FLECK_STUDY_NONE)
            pilot->group_of_unit[pilot->units.unit_of_row[row]] = pilot->group_of_row[row];
    }
    return status;
}

/* Means of a measure over the rows of each unit, NAN without any. */
static fleck_status unit_means(const fleck_plan_pilot *pilot, size_t column, double *means,
                               fleck_error *err)
{
    const size_t rows = fleck_study_row_count(pilot->study);
    fleck_sum *sums = fleck_alloc_zeroed(pilot->units.count, sizeof *sums);
    size_t *counts = fleck_alloc_zeroed(pilot->units.count, sizeof *counts);
    fleck_status status = FLECK_OK;

    if (sums == NULL || counts == NULL)
        status = no_memory(err);
    for (size_t row = 0; row < rows && status == FLECK_OK; row++) {
        const size_t unit = pilot->units.unit_of_row[row];
        double value;

        if (unit == FLECK_STUDY_NONE)
            continue;
        if (!fleck_study_number(pilot->study, row, column, &value))
            status =
                fleck_fail(err, FLECK_BAD_CALL,
                           "%.100s: holds \"%.60s\", which is no number; give a column of numbers",
                           fleck_study_column_name(pilot->study, column),
                           fleck_study_text(pilot->study, row, column));
        else if (!isnan(value)) {
            fleck_sum_add(&sums[unit], value);
            counts[unit]++;
        }
    }
    for (size_t i = 0; i < pilot->units.count && status == FLECK_OK; i++)
        means[i] = counts[i] > 0 ? fleck_sum_value(&sums[i]) / (double)counts[i] : NAN;
    fleck_free(sums);
    fleck_free(counts);
    return status;
}

/* Squared deviations from each group's own mean. */
fleck_status fleck_plan_pilot_spread(const fleck_plan_pilot *pilot, size_t column,
                                     fleck_plan_number *number, fleck_error *err)
{
    const size_t units = pilot->units.count;
    double *means = fleck_alloc_array(units, sizeof *means);
    fleck_sum *sums = fleck_alloc_zeroed(pilot->group_count, sizeof *sums);
    size_t *counts = fleck_alloc_zeroed(pilot->group_count, sizeof *counts);
    fleck_moments all;
    fleck_sum squares = { 0 };
    double df = 0;
    fleck_status status;

    if (means == NULL || sums == NULL || counts == NULL) {
        status = no_memory(err);
        goto done;
    }
    status = unit_means(pilot, column, means, err);
    if (status != FLECK_OK)
        goto done;
    for (size_t i = 0; i < units; i++) {
        if (isnan(means[i]))
            continue;
        fleck_sum_add(&sums[pilot->group_of_unit[i]], means[i]);
        counts[pilot->group_of_unit[i]]++;
    }
    for (size_t i = 0; i < units; i++) {
        const size_t group = pilot->group_of_unit[i];
        double deviation;

        if (isnan(means[i]))
            continue;
        deviation = means[i] - fleck_sum_value(&sums[group]) / (double)counts[group];
        fleck_sum_add(&squares, deviation * deviation);
    }
    for (size_t group = 0; group < pilot->group_count; group++)
        df += counts[group] > 0 ? (double)counts[group] - 1 : 0;
    all = fleck_moments_of(means, units);
    number->units = all.count;
    number->mean = all.mean;
    if (df > 0) {
        number->sd = sqrt(fleck_sum_value(&squares) / df);
        number->sd_df = df;
        number->sd_high = number->sd * sqrt(df / gsl_cdf_chisq_Pinv(0.2, df));
    }
done:
    fleck_free(means);
    fleck_free(sums);
    fleck_free(counts);
    return status;
}
