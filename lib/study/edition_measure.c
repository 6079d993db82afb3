/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The statistics of one measure over the prints of an edition. */
#include <math.h>
#include <string.h>

#include "core/memory.h"
#include "stats/course.h"
#include "stats/gauge.h"
#include "stats/grubbs.h"
#include "stats/individuals_chart.h"
#include "stats/moments.h"
#include "stats/precision.h"
#include "stats/t_tests.h"
#include "stats/tolerance_limits.h"
#include "stats/trend.h"
#include "stats/variance.h"
#include "study/edition_parts.h"

/* Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17.1. */
enum { FEWEST_FOR_OUTLIERS = 7 };

static const double outlier_alpha = 0.05, held_share = 0.90, tost_confidence = 0.90;

/* The prints that have the measure, in their order. */
typedef struct present {
    size_t n;
    size_t *print;
    double *place, *value;
} present;

static fleck_status take_present(const double *values, const fleck_edition_layout *layout,
                                 present *out, fleck_error *err)
{
    *out = (present){ 0, fleck_alloc_array(layout->print_count, sizeof *out->print),
                      fleck_alloc_array(layout->print_count, sizeof *out->place),
                      fleck_alloc_array(layout->print_count, sizeof *out->value) };
    if (out->print == NULL || out->place == NULL || out->value == NULL)
        return fleck_edition_no_memory(err);
    for (size_t i = 0; i < layout->row_count; i++) {
        const size_t print = layout->rows[i].print_index;

        if ((i > 0 && layout->rows[i - 1].print_index == print) || isnan(values[print]))
            continue;
        out->print[out->n] = print;
        out->place[out->n] = layout->rows[i].order;
        out->value[out->n++] = values[print];
    }
    return FLECK_OK;
}

static void clear_present(present *here)
{
    fleck_free(here->print);
    fleck_free(here->place);
    fleck_free(here->value);
}

/* Patches of one print against those of others; of rescanned prints the first scan of each. */
static fleck_status fill_repeats(const fleck_edition_layout *layout, size_t column,
                                 fleck_edition_measure *out, fleck_error *err)
{
    double *const values = fleck_alloc_array(layout->row_count, sizeof *values);
    size_t *const group = fleck_alloc_array(layout->row_count, sizeof *group);
    size_t n = 0, first = 0;
    fleck_one_way way;
    fleck_status status = FLECK_OK;

    if (values == NULL || group == NULL) {
        status = fleck_edition_no_memory(err);
        goto done;
    }
    for (size_t i = 0; i < layout->row_count; i++) {
        const fleck_edition_row *const row = &layout->rows[i];

        if (row->print_index != layout->rows[first].print_index)
            first = i;
        if (row->round_index != layout->rows[first].round_index ||
            !fleck_study_number(layout->study, row->row, column, &values[n]) || isnan(values[n]))
            continue;
        group[n++] = row->print_index;
    }
    if ((status = fleck_one_way_of(values, group, n, layout->print_count, &way, err)) != FLECK_OK ||
        way.groups < 2 || !(way.df_within > 0))
        goto done;
    out->within_sd = sqrt(way.var_within);
    out->between_sd = sqrt(fmax(way.var_between, 0));
    out->icc = way.icc;
done:
    fleck_free(values);
    fleck_free(group);
    return status;
}

/* Coverage of one patch a print: its own tiles foretell how far it may be off. */
static void fill_from_tiles(const fleck_edition_layout *layout, fleck_edition_measure *out)
{
    const size_t column = fleck_study_find_column(layout->study, "ink.coverage_se");
    fleck_sum squares = { 0, 0 };
    size_t n = 0;

    if (strcmp(out->measure, "ink.coverage") != 0 || column == FLECK_STUDY_NONE)
        return;
    for (size_t i = 0; i < layout->row_count; i++) {
        double se;

        if (!fleck_study_number(layout->study, layout->rows[i].row, column, &se) || isnan(se))
            continue;
        fleck_sum_add(&squares, se * se);
        n++;
    }
    if (n == 0)
        return;
    out->within_sd = sqrt(fleck_sum_value(&squares) / (double)n);
    out->between_sd = sqrt(fmax(out->sd * out->sd - out->within_sd * out->within_sd, 0));
}

static fleck_status fill_chart(const present *here, fleck_edition_measure *out, fleck_error *err)
{
    const fleck_individuals chart = fleck_individuals_of(here->value, here->n);
    fleck_run_signals signals = { 0 };
    size_t rule_count;
    const fleck_run_rule *const rules = fleck_run_rules(&rule_count);
    fleck_status status;

    out->centre = chart.centre;
    out->lcl = chart.lcl;
    out->ucl = chart.ucl;
    out->range_ucl = chart.range_ucl;
    status = fleck_run_signals_find(here->value, here->n, chart.centre, chart.sigma, &signals, err);
    out->signals = fleck_alloc_array(signals.count + 1, sizeof *out->signals);
    if (status == FLECK_OK && out->signals == NULL)
        status = fleck_edition_no_memory(err);
    for (size_t i = 0; i < signals.count && status == FLECK_OK; i++) {
        const fleck_run_rule *const rule = &rules[signals.items[i].rule];

        out->signals[out->signal_count++] =
            (fleck_edition_signal){ rule->name, rule->meaning, rule->source,
                                    here->print[signals.items[i].first],
                                    here->print[signals.items[i].last] };
    }
    fleck_free(signals.items);
    for (size_t i = 0; i < here->n && status == FLECK_OK; i++) {
        if (here->value[i] < out->lcl || here->value[i] > out->ucl)
            status = fleck_edition_list_add(&out->out_of_limits, here->n, here->print[i], err);
    }
    return status;
}

static fleck_status fill_outliers(const present *here, fleck_edition_measure *out, double *p,
                                  fleck_error *err)
{
    size_t *const found = fleck_alloc_array(here->n, sizeof *found);
    size_t count = 0;
    fleck_status status = found != NULL ? fleck_grubbs_repeated(here->value, here->n, outlier_alpha,
                                                                found, &count, p, err)
                                        : fleck_edition_no_memory(err);

    for (size_t i = 0; i < count && status == FLECK_OK; i++)
        status = fleck_edition_list_add(&out->outliers, here->n, here->print[found[i]], err);
    fleck_free(found);
    return status;
}

/*
 * What has changed along the edition, by the likelier of a shape and an outlier. Among 6 prints or fewer an
 * outlier decides nothing: where a measure has few steps, four prints may well be the same and one not.
 */
static fleck_status fill_change(const present *here, double outlier_p, fleck_edition_measure *out,
                                fleck_error *err)
{
    static const char *const shapes[] = { [FLECK_COURSE_STEP] = "step",
                                          [FLECK_COURSE_DRIFT] = "drift",
                                          [FLECK_COURSE_BEND] = "bend" };
    fleck_course course;
    const fleck_status status = fleck_course_of(here->place, here->value, here->n, &course, err);

    if (here->n < FEWEST_FOR_OUTLIERS || isnan(outlier_p))
        outlier_p = 1;
    if (status != FLECK_OK || isnan(course.p))
        return status;
    out->change_p = fmin(1, 2 * fmin(course.p, outlier_p));
    if (outlier_p < course.p) {
        out->change = "outlier";
        out->change_first = here->print[fleck_grubbs_of(here->value, here->n).index];
        return FLECK_OK;
    }
    out->change = shapes[course.kind];
    out->change_first = here->print[course.first];
    out->change_before = course.before;
    out->change_after = course.after;
    out->change_slope = course.slope;
    return FLECK_OK;
}

static fleck_status fill_course(const present *here, const fleck_edition_layout *layout,
                                fleck_edition_measure *out, fleck_error *err)
{
    const double k = fleck_tolerance_factor(here->n, held_share, layout->options->confidence);
    double outlier_p = NAN;
    fleck_trend trend;
    fleck_step step;
    fleck_status status;

    if ((status = fleck_trend_of(here->place, here->value, here->n, &trend, err)) != FLECK_OK ||
        (status = fleck_step_of(here->value, here->n, &step, err)) != FLECK_OK ||
        (status = fill_chart(here, out, err)) != FLECK_OK ||
        (status = fill_outliers(here, out, &outlier_p, err)) != FLECK_OK)
        return status;
    out->trend_tau = trend.tau;
    out->trend_p = trend.p;
    out->slope = trend.slope;
    out->step_p = step.p;
    out->hold_lo = out->mean - k * out->sd;
    out->hold_hi = out->mean + k * out->sd;
    return fill_change(here, outlier_p, out, err);
}

fleck_status fleck_edition_measure_fill(const fleck_edition_layout *layout, size_t column,
                                        const double *values, fleck_edition_measure *out,
                                        fleck_error *err)
{
    present here;
    fleck_status status = take_present(values, layout, &here, err);

    if (status == FLECK_OK) {
        const fleck_moments moments = fleck_moments_of(here.value, here.n);

        out->n = here.n;
        out->mean = moments.mean;
        out->sd = moments.sd;
        out->cv = moments.mean != 0 ? moments.sd / fabs(moments.mean) : NAN;
        out->repeatability_limit = FLECK_LIMIT_FACTOR * moments.sd;
        status = fill_repeats(layout, column, out, err);
    }
    if (status == FLECK_OK && isnan(out->within_sd))
        fill_from_tiles(layout, out);
    if (status == FLECK_OK && here.n >= 3)
        status = fill_course(&here, layout, out, err);
    clear_present(&here);
    return status;
}

/* Mean of the patches of one print in one round. */
typedef struct scan_cell {
    size_t print, round;
    double value;
} scan_cell;

static size_t fill_cells(const fleck_edition_layout *layout, size_t column, scan_cell *cells)
{
    size_t count = 0, end;

    for (size_t i = 0; i < layout->row_count; i = end) {
        const fleck_edition_row *const row = &layout->rows[i];
        fleck_sum sum = { 0, 0 };
        size_t n = 0;

        for (end = i; end < layout->row_count && layout->rows[end].print_index == row->print_index &&
                      layout->rows[end].round_index == row->round_index;
             end++) {
            double value;

            if (!fleck_study_number(layout->study, layout->rows[end].row, column, &value) || isnan(value))
                continue;
            fleck_sum_add(&sum, value);
            n++;
        }
        if (n > 0)
            cells[count++] = (scan_cell){ row->print_index, row->round_index,
                                          fleck_sum_value(&sum) / (double)n };
    }
    return count;
}

fleck_status fleck_edition_gauge(const fleck_edition_layout *layout, size_t column,
                                 fleck_edition_measure *out, fleck_error *err)
{
    scan_cell *const cells = fleck_alloc_array(layout->row_count, sizeof *cells);
    double *const values = fleck_alloc_array(layout->row_count, sizeof *values);
    size_t *const print = fleck_alloc_array(layout->row_count, sizeof *print);
    fleck_gauge gauge;
    size_t count = 0;
    fleck_status status = FLECK_OK;

    if (cells == NULL || values == NULL || print == NULL) {
        status = fleck_edition_no_memory(err);
        goto done;
    }
    count = fill_cells(layout, column, cells);
    for (size_t i = 0; i < count; i++) {
        values[i] = cells[i].value;
        print[i] = cells[i].print;
    }
    /* cells stand by print and round: with none missing that is the table of a crossed study */
    out->scan_crossed = layout->round_count > 1 && count == layout->print_count * layout->round_count;
    status = out->scan_crossed
                 ? fleck_gauge_crossed(values, layout->print_count, layout->round_count, 1, &gauge, err)
                 : fleck_gauge_nested(values, print, count, layout->print_count, &gauge, err);
    if (status == FLECK_BAD_CALL) { /* nothing scanned twice: the caller warns */
        out->scan_crossed = false;
        status = FLECK_OK;
    } else if (status == FLECK_OK) {
        out->scan_sd = sqrt(gauge.var_gauge);
        out->print_sd = sqrt(gauge.var_part);
        out->scan_share = gauge.share_gauge;
        out->scan_p = gauge.p_part;
    }
done:
    fleck_free(cells);
    fleck_free(values);
    fleck_free(print);
    return status;
}

/*
 * The approved prints' values: each patch one, or the mean of those that the print column calls the same.
 * Returns their number.
 */
static size_t reference_values(const fleck_edition_layout *layout, size_t column, double *values)
{
    const size_t print = layout->options->print != NULL
                             ? fleck_study_find_column(layout->study, layout->options->print)
                             : FLECK_STUDY_NONE;
    size_t count = 0;

    for (size_t i = 0; i < layout->reference_count; i++) {
        const char *const name = print != FLECK_STUDY_NONE
                                     ? fleck_study_text(layout->study, layout->reference_rows[i], print)
                                     : "";
        fleck_sum sum = { 0, 0 };
        size_t n = 0;

        for (size_t k = 0; k < layout->reference_count; k++) {
            const bool same = k == i || (*name != '\0' &&
                                         strcmp(name, fleck_study_text(layout->study,
                                                                       layout->reference_rows[k],
                                                                       print)) == 0);
            double value;

            if (same && k < i) { /* this print was taken before */
                n = 0;
                break;
            }
            if (!same ||
                !fleck_study_number(layout->study, layout->reference_rows[k], column, &value) ||
                isnan(value))
                continue;
            fleck_sum_add(&sum, value);
            n++;
        }
        if (n > 0)
            values[count++] = fleck_sum_value(&sum) / (double)n;
    }
    return count;
}

static fleck_status fill_tolerance(const fleck_edition_options *options, fleck_edition_measure *out,
                                   fleck_error *err)
{
    for (size_t i = 0; i < options->tolerance_count; i++) {
        const fleck_edition_tolerance *const tolerance = &options->tolerances[i];

        if (strcmp(tolerance->measure, out->measure) != 0)
            continue;
        if (isnan(out->reference))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "%.60s has a tolerance, but the reference has no value of it; leave that "
                              "tolerance out or choose another reference",
                              out->measure);
        out->tolerance = tolerance->percent ? tolerance->amount / 100 * fabs(out->reference)
                                            : tolerance->amount;
        if (!(out->tolerance > 0))
            return fleck_fail(err, FLECK_BAD_CALL,
                              "the reference's %.60s is 0, of which no percentage is a tolerance; give it "
                              "without %%",
                              out->measure);
    }
    return FLECK_OK;
}

/* The mean against the reference: a fixed value when that is one print, else two means (Welch). */
static void fill_difference(const present *here, const double *reference, size_t count,
                            fleck_edition_measure *out)
{
    const fleck_moments mine = fleck_moments_of(here->value, here->n);
    const fleck_moments theirs = fleck_moments_of(reference, count);
    fleck_moments apart = mine;
    fleck_t_test test;

    out->reference = theirs.mean;
    apart.mean -= theirs.mean;
    test = count > 1 ? fleck_welch(&theirs, &mine, tost_confidence)
                     : fleck_paired_t(&apart, tost_confidence);
    out->difference = mine.mean - theirs.mean;
    out->difference_lo = test.ci_lo;
    out->difference_hi = test.ci_hi;
    if (isnan(out->tolerance))
        return;
    out->equivalence_p = fleck_equivalence_p(&test, out->tolerance);
    /* prints without any scatter leave no room for chance */
    if (here->n > 1 && mine.sd == 0 && !(theirs.sd > 0)) {
        out->equivalence_p = fabs(out->difference) < out->tolerance ? 0 : 1;
        out->difference_lo = out->difference_hi = out->difference;
    }
}

fleck_status fleck_edition_hold(const fleck_edition_layout *layout, size_t column,
                                const double *values, fleck_edition_measure *out, fleck_error *err)
{
    double *const reference = fleck_alloc_array(layout->reference_count + 1, sizeof *reference);
    present here;
    fleck_status status = take_present(values, layout, &here, err);

    if (status == FLECK_OK && reference == NULL)
        status = fleck_edition_no_memory(err);
    if (status == FLECK_OK) {
        const size_t count = reference_values(layout, column, reference);

        out->reference = fleck_moments_of(reference, count).mean;
        status = fill_tolerance(layout->options, out, err);
        if (status == FLECK_OK && count > 0)
            fill_difference(&here, reference, count, out);
    }
    for (size_t i = 0; status == FLECK_OK && i < here.n; i++) {
        /* a print at the very limit is inside, however its decimals were rounded */
        if (fabs(here.value[i] - out->reference) > out->tolerance * (1 + 1e-9))
            status = fleck_edition_list_add(&out->outside, here.n, here.print[i], err);
    }
    clear_present(&here);
    fleck_free(reference);
    return status;
}
