/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How many patches a difference takes, from the spread within a kind of patches. */
#include "fleck/plan.h"

#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "core/versioned.h"
#include "stats/power.h"
#include "study/plan_pilot.h"

static const size_t sizes[FLECK_PLAN_SIZES] = { 2, 3, 4, 6, 8, 12, 20, 30 };

void fleck_plan_options_init(fleck_plan_options *options, size_t struct_bytes)
{
    const fleck_plan_options defaults = { .alpha = 0.05, .power = 0.8 };

    fleck_versioned_init(options, struct_bytes, &defaults, sizeof defaults);
}

const size_t *fleck_plan_sizes(void)
{
    return sizes;
}

static fleck_status no_memory(fleck_error *err)
{
    return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the plan; free some memory");
}

static const fleck_plan_value *find_value(const fleck_plan_value *values, size_t count,
                                          const char *measure)
{
    for (size_t i = 0; i < count; i++) {
        if (strcmp(values[i].measure, measure) == 0)
            return &values[i];
    }
    return NULL;
}

/* Into per cent of the mean. */
static fleck_status scale(fleck_plan_number *number, fleck_error *err)
{
    const double factor = 100 / fabs(number->mean);

    if (!isfinite(factor))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%.100s: per cent of a mean that is not known; name a pilot run, or give "
                          "both the spread and the difference in per cent",
                          number->measure);
    number->percent = true;
    number->sd *= factor;
    number->sd_high *= factor;
    number->mean *= factor;
    return FLECK_OK;
}

/* Spread and wanted difference on one scale: the measure's own, or per cent of the mean. */
static fleck_status settle_scale(fleck_plan_number *number, const fleck_plan_value *spread,
                                 const fleck_plan_value *difference, fleck_error *err)
{
    fleck_status status = FLECK_OK;

    if (spread != NULL) {
        number->sd = spread->value;
        number->sd_df = number->sd_high = NAN;
        if (spread->percent && !isnan(number->mean))
            number->sd *= fabs(number->mean) / 100;
        else if (spread->percent && (difference == NULL || difference->percent)) {
            number->percent = true;
            number->mean = 100;
        } else if (spread->percent)
            return fleck_fail(
                err, FLECK_BAD_CALL,
                "%.100s: a spread in per cent and a difference that is not; give both "
                "in per cent, or name a pilot run",
                number->measure);
    }
    if (difference == NULL)
        return FLECK_OK;
    if (difference->percent && !number->percent)
        status = scale(number, err);
    number->difference = difference->value;
    return status;
}

static double whole_group(double size)
{
    return isfinite(size) ? ceil(size - 1e-9) : NAN;
}

static void compute_sizes(fleck_plan_number *number, const fleck_plan_options *options)
{
    for (size_t i = 0; i < FLECK_PLAN_SIZES; i++)
        number->shown[i] =
            number->sd * fleck_power_effect((double)sizes[i], options->alpha, options->power);
    if (isnan(number->difference) || isnan(number->sd))
        return;
    /* without spread two of each tell everything */
    number->per_group = number->sd > 0
                            ? whole_group(fleck_power_group_size(number->difference / number->sd,
                                                                 options->alpha, options->power))
                            : 2;
    if (number->sd_high > 0)
        number->per_group_cautious = whole_group(fleck_power_group_size(
            number->difference / number->sd_high, options->alpha, options->power));
    if (number->sd > 0 && !isnan(number->per_group))
        number->reached = fleck_power_two_groups(number->per_group, number->difference / number->sd,
                                                 options->alpha);
}

static fleck_status warn_of_number(const fleck_plan_number *number, fleck_warnings *warnings,
                                   fleck_error *err)
{
    if (isnan(number->sd))
        return fleck_warnings_add(
            warnings, err, "no-spread",
            "%s: the pilot has less than two units of a kind, so its spread is not "
            "known; print more, or give the spread with --sd",
            number->measure);
    if (number->sd_df < 5)
        return fleck_warnings_add(
            warnings, err, "few-units",
            "%s: the spread rests on %.0f degrees of freedom and may be far off; "
            "take the cautious number",
            number->measure, number->sd_df);
    if (number->sd > 0 && !isnan(number->difference) && isnan(number->per_group))
        return fleck_warnings_add(
            warnings, err, "too-small",
            "%s: the difference is so small that more than ten million would be "
            "needed",
            number->measure);
    return FLECK_OK;
}

static fleck_status plan_measure(const fleck_plan_pilot *pilot, const fleck_plan_options *options,
                                 const char *measure, fleck_plan *plan, fleck_error *err)
{
    fleck_plan_number *const number = &plan->numbers[plan->number_count++];
    const fleck_plan_value *const spread =
        find_value(options->spreads, options->spread_count, measure);
    const fleck_plan_value *const difference =
        find_value(options->differences, options->difference_count, measure);
    fleck_status status;

    *number = (fleck_plan_number){
        .measure = fleck_copy_text(measure),
        .mean = NAN,
        .sd = NAN,
        .sd_df = NAN,
        .sd_high = NAN,
        .difference = NAN,
        .per_group = NAN,
        .per_group_cautious = NAN,
        .reached = NAN,
    };
    if (number->measure == NULL)
        return no_memory(err);
    if (pilot->study != NULL) {
        size_t column;

        if (spread != NULL)
            column = fleck_study_find_column(pilot->study, measure);
        else if ((status = fleck_study_need_column(pilot->study, measure, "measure", &column,
                                                   err)) != FLECK_OK)
            return status;
        if (column != FLECK_STUDY_NONE &&
            (status = fleck_plan_pilot_spread(pilot, column, number, err)) != FLECK_OK)
            return status;
    } else if (spread == NULL)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "%.100s: its spread is not known; name a pilot run, or give --sd %.100s=X", measure,
            measure);
    if ((status = settle_scale(number, spread, difference, err)) != FLECK_OK)
        return status;
    compute_sizes(number, options);
    return warn_of_number(number, &plan->warnings, err);
}

static fleck_status check_values(const fleck_plan_value *values, size_t count, const char *what,
                                 fleck_error *err)
{
    for (size_t i = 0; i < count; i++) {
        if (!(values[i].value > 0) || isinf(values[i].value))
            return fleck_fail(err, FLECK_BAD_CALL, "%.100s: the %s must be above 0; give a number",
                              values[i].measure, what);
        if (find_value(values, i, values[i].measure) != NULL)
            return fleck_fail(err, FLECK_BAD_CALL, "%.100s: has two of the %s; give one",
                              values[i].measure, what);
    }
    return FLECK_OK;
}

static fleck_status check_options(const fleck_plan_options *options, fleck_error *err)
{
    fleck_status status;

    if (!(options->alpha > 0) || !(options->alpha < 0.5))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "alpha %g: must lie between 0 and 0.5; give such as 0.05",
                          options->alpha);
    if (!(options->power > options->alpha) || !(options->power < 1))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "power %g: must lie between alpha and 1; give such as 0.8",
                          options->power);
    status = check_values(options->differences, options->difference_count, "difference", err);
    if (status == FLECK_OK)
        status = check_values(options->spreads, options->spread_count, "spread", err);
    return status;
}

/* The names of the measures to plan for, in `names`, which has room for all. */
static fleck_status choose_measures(const fleck_study *pilot, const fleck_plan_options *options,
                                    const char **names, size_t *count, fleck_warnings *warnings,
                                    fleck_error *err)
{
    fleck_status status = FLECK_OK;

    *count = 0;
    for (size_t i = 0; i < options->difference_count; i++)
        names[(*count)++] = options->differences[i].measure;
    for (size_t i = 0; i < options->measure_count; i++) {
        if (!find_value(options->differences, options->difference_count, options->measures[i]))
            names[(*count)++] = options->measures[i];
    }
    for (size_t i = 0; i < options->spread_count; i++) {
        bool known = false;

        for (size_t k = 0; k < *count; k++)
            known = known || strcmp(names[k], options->spreads[i].measure) == 0;
        if (!known)
            names[(*count)++] = options->spreads[i].measure;
    }
    if (*count == 0 && pilot != NULL) {
        size_t defaults;
        const char *const *const usual = fleck_study_default_measures(&defaults);

        for (size_t i = 0; i < defaults && status == FLECK_OK; i++) {
            if (fleck_study_find_column(pilot, usual[i]) != FLECK_STUDY_NONE)
                names[(*count)++] = usual[i];
            else
                status = fleck_warnings_add(warnings, err, "measure-missing",
                                            "the pilot has no %s; measure again with this version",
                                            usual[i]);
        }
    }
    if (status == FLECK_OK && *count == 0)
        return fleck_fail(
            err, FLECK_BAD_CALL,
            "plan: nothing to plan from; name a pilot run, or give spreads with --sd");
    return status;
}

/* A spread between patches that were measured differently is no spread between prints. */
static fleck_status warn_of_settings(const fleck_study *pilot, fleck_warnings *warnings,
                                     fleck_error *err)
{
    const size_t count = fleck_study_row_count(pilot);
    size_t *rows = fleck_alloc_array(count, sizeof *rows);
    char *lines = NULL;
    fleck_status status;

    if (rows == NULL)
        return no_memory(err);
    for (size_t i = 0; i < count; i++)
        rows[i] = i;
    status = fleck_study_differences(pilot, rows, count, &lines, err);
    if (status == FLECK_OK && lines[0] != '\0') {
        for (char *c = lines; *c != '\0'; c++)
            *c = *c == '\n' ? ';' : *c;
        status =
            fleck_warnings_add(warnings, err, "settings-differ",
                               "the pilot's patches were measured with different settings, so its "
                               "spread is not that of prints alone; measure them alike (%s)",
                               lines);
    }
    fleck_free(lines);
    fleck_free(rows);
    return status;
}

fleck_status fleck_plan_numbers(const fleck_study *pilot, const fleck_plan_options *options,
                                fleck_plan *out, fleck_error *err)
{
    fleck_plan_options known = fleck_plan_options_default();
    fleck_plan_pilot groups = { 0 };
    const char **names = NULL;
    size_t defaults, count = 0;
    fleck_status status;

    *out = (fleck_plan){ 0 };
    if ((status = fleck_versioned_take(options, &known, sizeof known, "plan options", err)) != FLECK_OK)
        return status;
    options = &known;
    out->alpha = options->alpha;
    out->power = options->power;
    (void)fleck_study_default_measures(&defaults);
    if ((status = check_options(options, err)) != FLECK_OK)
        goto done;
    names = fleck_alloc_array(options->difference_count + options->measure_count +
                                  options->spread_count + defaults,
                              sizeof *names);
    if (names == NULL) {
        status = no_memory(err);
        goto done;
    }
    if ((status = choose_measures(pilot, options, names, &count, &out->warnings, err)) != FLECK_OK)
        goto done;
    out->numbers = fleck_alloc_zeroed(count, sizeof *out->numbers);
    if (out->numbers == NULL) {
        status = no_memory(err);
        goto done;
    }
    if (pilot != NULL && (status = warn_of_settings(pilot, &out->warnings, err)) == FLECK_OK)
        status = fleck_plan_pilot_read(&groups, pilot, options, &out->unit, err);
    if (pilot == NULL &&
        (out->unit = fleck_copy_text(options->unit != NULL ? options->unit : "patch")) == NULL)
        status = no_memory(err);
    for (size_t i = 0; i < count && status == FLECK_OK; i++)
        status = plan_measure(&groups, options, names[i], out, err);
done:
    fleck_free(names);
    fleck_plan_pilot_clear(&groups);
    if (status != FLECK_OK)
        fleck_plan_clear(out);
    return status;
}

void fleck_plan_clear(fleck_plan *plan)
{
    if (plan == NULL)
        return;
    for (size_t i = 0; i < plan->number_count; i++)
        fleck_free(plan->numbers[i].measure);
    fleck_free(plan->numbers);
    fleck_free(plan->unit);
    fleck_warnings_clear(&plan->warnings);
    *plan = (fleck_plan){ 0 };
}
