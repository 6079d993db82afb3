/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plots of many patches: in groups, against a factor, in their order. */
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_fit.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>

#include "core/memory.h"
#include "core/text.h"
#include "fleck/plots.h"
#include "report/plot_number.h"
#include "report/plots_say.h"

/* Points left of their group's tick and the mean right of it, in parts of the distance between
 * groups. */
#define POINTS_BESIDE (-0.12)
#define MEAN_BESIDE 0.22

#define FIT_NAME "least squares with 95 % interval"

enum { BAND_POINTS = 101, GROUPS_TOLD = 8 };

/* Mean of a group with its 95 % interval; NAN where there is none. */
static size_t group_mean(const fleck_plot_groups *groups, size_t group, double *mean, double *lo,
                         double *hi)
{
    double sum = 0, squares = 0, half;
    size_t n = 0;

    for (size_t i = 0; i < groups->count; i++) {
        if (groups->group[i] == group && isfinite(groups->value[i])) {
            sum += groups->value[i];
            n++;
        }
    }
    *mean = *lo = *hi = NAN;
    if (n == 0)
        return 0;
    *mean = sum / (double)n;
    if (n < 2)
        return n;
    for (size_t i = 0; i < groups->count; i++) {
        if (groups->group[i] == group && isfinite(groups->value[i]))
            squares += (groups->value[i] - *mean) * (groups->value[i] - *mean);
    }
    half = gsl_cdf_tdist_Pinv(0.975, (double)(n - 1)) * sqrt(squares / (double)(n - 1) / (double)n);
    *lo = *mean - half;
    *hi = *mean + half;
    return n;
}

void fleck_plot_fill_groups(fleck_plot *plot, const fleck_plot_groups *groups)
{
    const char *const one = groups->one != NULL ? groups->one : "patch";
    const char *const several = groups->several != NULL ? groups->several : "patches";
    double *const x = fleck_alloc_array(groups->count, sizeof *x);
    double *const y = fleck_alloc_array(groups->count, sizeof *y);
    double *const numbers = fleck_alloc_array(groups->groups, 4 * sizeof *numbers);
    fleck_text caption = { 0 }, told = { 0 };

    fleck_plot_set_x(plot, &(fleck_plot_axis){ .label = groups->by,
                                               .scale = FLECK_PLOT_NAMES,
                                               .name_count = groups->groups,
                                               .names = groups->names });
    fleck_plot_set_y(plot, &(fleck_plot_axis){ .label = groups->label, .unit = groups->unit });
    if (x == NULL || y == NULL || numbers == NULL) {
        plots_no_memory(plot);
    } else {
        double *const mean = numbers, *const lo = mean + groups->groups;
        double *const hi = lo + groups->groups, *const beside = hi + groups->groups;
        size_t filled = 0; /* groups that have a mean; of one value it would hide that value */
        size_t grouped = 0, all = 0, fewest = SIZE_MAX, most = 0;

        for (size_t g = 0; g < groups->groups; g++) {
            const size_t n = group_mean(groups, g, &mean[filled], &lo[filled], &hi[filled]);

            fewest = n < fewest ? n : fewest;
            most = n > most ? n : most;
            all += n;
            if (groups->groups <= GROUPS_TOLD)
                fleck_text_add_format(&told, "%s%zu", g > 0 ? ", " : "", n);
            beside[filled] = (double)g + MEAN_BESIDE;
            filled += n > 1;
        }
        plots_say_count(&caption, all, one, several);
        if (groups->groups > GROUPS_TOLD || fewest == most) {
            fleck_text_clear(&told);
            fleck_text_add_format(&told, fewest < most ? "%zu to %zu" : "%zu", fewest, most);
        }
        if (groups->groups > 1 && !told.failed)
            fleck_text_add_format(&caption, " in %zu groups of %s", groups->groups, told.bytes);
        for (size_t i = 0; i < groups->count; i++) {
            if (groups->group[i] < groups->groups) {
                x[grouped] = (double)groups->group[i] + POINTS_BESIDE;
                y[grouped++] = groups->value[i];
            }
        }
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_POINTS,
                                                   .name = one,
                                                   .count = grouped,
                                                   .x = x,
                                                   .y = y,
                                                   .spread = true });
        if (filled > 0)
            fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_INTERVALS,
                                                       .name = "mean with 95 % interval",
                                                       .count = filled,
                                                       .x = beside,
                                                       .y = mean,
                                                       .lo = lo,
                                                       .hi = hi,
                                                       .look = FLECK_LOOK_DARK,
                                                       .marker = FLECK_MARKER_SQUARE });
        plots_end_caption(plot, &caption);
    }
    fleck_text_clear(&told);
    fleck_free(x);
    fleck_free(y);
    fleck_free(numbers);
}

/* The line of least squares, and its band when there are three points or more. */
static void add_fit(fleck_plot *plot, const double *x, const double *y, size_t n,
                    fleck_text *caption)
{
    double at[BAND_POINTS], fit[BAND_POINTS], lo[BAND_POINTS], hi[BAND_POINTS];
    double least = INFINITY, greatest = -INFINITY, mean = 0, total = 0;
    double intercept, slope, cov00, cov01, cov11, residual, t;

    for (size_t i = 0; i < n; i++) {
        least = fmin(least, x[i]);
        greatest = fmax(greatest, x[i]);
        mean += y[i] / (double)n;
    }
    if (!(least < greatest))
        return;
    for (size_t i = 0; i < n; i++)
        total += (y[i] - mean) * (y[i] - mean);
    gsl_fit_linear(x, 1, y, 1, n, &intercept, &slope, &cov00, &cov01, &cov11, &residual);
    t = n > 2 ? gsl_cdf_tdist_Pinv(0.975, (double)(n - 2)) : NAN;
    for (size_t i = 0; i < BAND_POINTS; i++) {
        double error;

        at[i] = least + (greatest - least) * (double)i / (BAND_POINTS - 1);
        gsl_fit_linear_est(at[i], intercept, slope, cov00, cov01, cov11, &fit[i], &error);
        lo[i] = fit[i] - t * error;
        hi[i] = fit[i] + t * error;
    }
    if (n > 2)
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_BAND,
                                                   .name = FIT_NAME,
                                                   .count = BAND_POINTS,
                                                   .x = at,
                                                   .lo = lo,
                                                   .hi = hi,
                                                   .look = FLECK_LOOK_QUIET });
    fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_LINE,
                                               .name = FIT_NAME,
                                               .count = BAND_POINTS,
                                               .x = at,
                                               .y = fit,
                                               .look = FLECK_LOOK_DARK });
    plots_say_number(caption, "; y\xc2\xa0=", intercept, NULL);
    plots_say_number(caption, slope < 0 ? " \xe2\x88\x92" : " +", fabs(slope), NULL);
    fleck_text_add(caption, " x");
    if (total > 0 && n > 2)
        plots_say_number(caption, "; R\xc2\xb2\xc2\xa0=", 1 - residual / total, NULL);
}

void fleck_plot_fill_factor(fleck_plot *plot, const fleck_plot_factor *factor)
{
    double *const x = fleck_alloc_array(factor->count, sizeof *x);
    double *const y = fleck_alloc_array(factor->count, sizeof *y);
    fleck_text caption = { 0 };
    size_t n = 0;

    fleck_plot_set_x(plot, &(fleck_plot_axis){ .label = factor->x_label, .unit = factor->x_unit });
    fleck_plot_set_y(plot, &(fleck_plot_axis){ .label = factor->y_label, .unit = factor->y_unit });
    if (x == NULL || y == NULL) {
        plots_no_memory(plot);
    } else {
        for (size_t i = 0; i < factor->count; i++) {
            if (isfinite(factor->x[i]) && isfinite(factor->y[i])) {
                x[n] = factor->x[i];
                y[n++] = factor->y[i];
            }
        }
        plots_say_count(&caption, n, "patch", "patches");
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_POINTS,
                                                   .name = "patch",
                                                   .count = factor->count,
                                                   .x = factor->x,
                                                   .y = factor->y });
        if (n > 1)
            add_fit(plot, x, y, n, &caption);
        plots_end_caption(plot, &caption);
    }
    fleck_free(x);
    fleck_free(y);
}

/* Individuals on one side of the question whether they lie beyond the limits. */
struct individuals {
    size_t count;
    double *place, *value;
    const char **id;
    char (*number)[24]; /* what stands for an id that is missing */
};

static bool individuals_init(struct individuals *some, size_t most)
{
    some->place = fleck_alloc_array(most, sizeof *some->place);
    some->value = fleck_alloc_array(most, sizeof *some->value);
    some->id = fleck_alloc_array(most, sizeof *some->id);
    some->number = fleck_alloc_array(most, sizeof *some->number);
    return some->place != NULL && some->value != NULL && some->id != NULL && some->number != NULL;
}

static void individuals_clear(struct individuals *some)
{
    fleck_free(some->place);
    fleck_free(some->value);
    fleck_free(some->id);
    fleck_free(some->number);
}

static void take_individual(struct individuals *some, const fleck_plot_chart *chart, size_t i)
{
    const size_t n = some->count++;

    some->place[n] = (double)(i + 1);
    some->value[n] = chart->value[i];
    snprintf(some->number[n], sizeof some->number[n], "%zu", i + 1);
    some->id[n] = chart->ids != NULL && chart->ids[i] != NULL ? chart->ids[i] : some->number[n];
}

static void add_individuals(fleck_plot *plot, const struct individuals *some, const char *name,
                            fleck_plot_look look)
{
    if (some->count > 0)
        fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_POINTS,
                                                   .name = name,
                                                   .count = some->count,
                                                   .x = some->place,
                                                   .y = some->value,
                                                   .look = look });
}

/* Significant digits that tell the limits apart, at least 3. */
static int limit_digits(const fleck_plot_chart *chart)
{
    const double apart = chart->ucl - chart->lcl;
    const double larger = fmax(fabs(chart->ucl), fabs(chart->lcl));

    if (!(apart > 0) || !isfinite(larger / apart))
        return 3;
    return (int)fmin(12, fmax(3, 2 + ceil(log10(larger / apart))));
}

void fleck_plot_fill_chart(fleck_plot *plot, const fleck_plot_chart *chart)
{
    const char *const order = chart->order != NULL ? chart->order : "print";
    const int digits = limit_digits(chart);
    struct individuals all = { 0 }, within = { 0 }, beyond = { 0 };
    fleck_text caption = { 0 };
    size_t n = 0;

    fleck_plot_set_x(plot, &(fleck_plot_axis){ .label = order });
    fleck_plot_set_y(plot, &(fleck_plot_axis){ .label = chart->label, .unit = chart->unit });
    if (!individuals_init(&all, chart->count) || !individuals_init(&within, chart->count) ||
        !individuals_init(&beyond, chart->count)) {
        plots_no_memory(plot);
        goto done;
    }
    for (size_t i = 0; i < chart->count; i++) {
        /* comparing with a NAN is false: without limits none lies beyond them */
        const bool is_beyond = chart->value[i] < chart->lcl || chart->value[i] > chart->ucl;

        take_individual(&all, chart, i);
        take_individual(is_beyond ? &beyond : &within, chart, i);
        n += isfinite(chart->value[i]);
    }
    plots_add_rule(plot, FLECK_PLOT_RULE_Y, "UCL", chart->ucl, digits, NULL, FLECK_LOOK_QUIET);
    plots_add_rule(plot, FLECK_PLOT_RULE_Y, "mean", chart->centre, digits, NULL, FLECK_LOOK_DARK);
    plots_add_rule(plot, FLECK_PLOT_RULE_Y, "LCL", chart->lcl, digits, NULL, FLECK_LOOK_QUIET);
    fleck_plot_add(
        plot, &(fleck_plot_series){
                  .kind = FLECK_PLOT_LINE, .count = all.count, .x = all.place, .y = all.value });
    add_individuals(plot, &within, "within the limits", FLECK_LOOK_FIRST);
    add_individuals(plot, &beyond, "beyond the limits", FLECK_LOOK_SECOND);
    fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_NOTES,
                                               .count = beyond.count,
                                               .x = beyond.place,
                                               .y = beyond.value,
                                               .texts = beyond.id });
    fleck_text_add_format(&caption, "n = %zu; %zu beyond the limits of control", n, beyond.count);
    plots_end_caption(plot, &caption);
done:
    individuals_clear(&all);
    individuals_clear(&within);
    individuals_clear(&beyond);
}
