/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plots of one patch's dots: how large they are, how far apart. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "core/memory.h"
#include "core/text.h"
#include "fleck/plots.h"
#include "report/plot_number.h"
#include "report/plots_say.h"

enum { CURVE_POINTS = 241, CLASSES_MOST = 200 };

/* Classes with their shares; borders are classes + 1 values. */
struct classes {
    size_t count;
    double *border, *share;
    double total; /* weight of all */
    size_t used;  /* values that are in a class */
};

static void classes_clear(struct classes *classes)
{
    fleck_free(classes->border);
    fleck_free(classes->share);
}

/* Of values above 0; *least > *greatest without any. */
static void find_limits(const double *values, size_t count, double *least, double *greatest)
{
    *least = INFINITY;
    *greatest = -INFINITY;
    for (size_t i = 0; i < count; i++) {
        if (isfinite(values[i]) && values[i] > 0) {
            *least = fmin(*least, values[i]);
            *greatest = fmax(*greatest, values[i]);
        }
    }
}

static bool classes_init(struct classes *classes, size_t count)
{
    classes->count = count;
    classes->border = fleck_alloc_zeroed(count + 1, sizeof *classes->border);
    classes->share = fleck_alloc_zeroed(count, sizeof *classes->share);
    return classes->border != NULL && classes->share != NULL;
}

/* A class holds border <= value < next border, the last one its upper border too. */
static void fill_classes(struct classes *classes, const double *values, const double *weights,
                         size_t count)
{
    for (size_t i = 0; i < count; i++) {
        const double weight = weights != NULL ? weights[i] : 1;
        size_t from = 0, to = classes->count;

        if (!isfinite(values[i]) || !(weight > 0) || !isfinite(weight) || classes->count == 0 ||
            values[i] < classes->border[0] || values[i] > classes->border[classes->count])
            continue;
        while (to - from > 1) {
            const size_t middle = from + (to - from) / 2;

            if (values[i] >= classes->border[middle])
                from = middle;
            else
                to = middle;
        }
        classes->share[from] += weight;
        classes->total += weight;
        classes->used++;
    }
    for (size_t c = 0; c < classes->count && classes->total > 0; c++)
        classes->share[c] *= 100 / classes->total;
}

static void add_classes(fleck_plot *plot, const struct classes *classes, const char *name)
{
    fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_BARS,
                                               .name = name,
                                               .count = classes->count,
                                               .lo = classes->border,
                                               .hi = classes->border + 1,
                                               .y = classes->share });
}

/* Chance of a lognormal value to lie in a class around x, in per cent. */
static double lognormal_share(const fleck_plot_sizes *sizes, double x, double width_ln)
{
    const double z = log(x / sizes->lognormal_median_mm);
    const double scale = 1 / (log(sizes->lognormal_gsd) * sqrt(2));

    return 50 * (erf((z + width_ln / 2) * scale) - erf((z - width_ln / 2) * scale));
}

static void add_lognormal(fleck_plot *plot, const fleck_plot_sizes *sizes, double from, double to,
                          double width_ln)
{
    double x[CURVE_POINTS], y[CURVE_POINTS];

    for (size_t i = 0; i < CURVE_POINTS; i++) {
        x[i] = from * pow(to / from, (double)i / (CURVE_POINTS - 1));
        y[i] = lognormal_share(sizes, x[i], width_ln);
    }
    fleck_plot_add(plot, &(fleck_plot_series){ .kind = FLECK_PLOT_LINE,
                                               .name = "lognormal",
                                               .count = CURVE_POINTS,
                                               .x = x,
                                               .y = y,
                                               .look = FLECK_LOOK_DARK });
}

void fleck_plot_fill_sizes(fleck_plot *plot, const fleck_plot_sizes *sizes)
{
    const char *const what = sizes->what != NULL ? sizes->what : "dots";
    const bool has_cutoff = isfinite(sizes->cutoff_mm) && sizes->cutoff_mm > 0;
    const bool has_curve = isfinite(sizes->lognormal_median_mm) && sizes->lognormal_median_mm > 0 &&
                           isfinite(sizes->lognormal_gsd) && sizes->lognormal_gsd > 1;
    const double anchor = has_cutoff ? sizes->cutoff_mm : 1;
    double width = sizes->count < 100 ? 0.2 : 0.1; /* decades */
    struct classes classes = { 0 };
    fleck_text caption = { 0 };
    double least, greatest;

    fleck_plot_set_y(
        plot, &(fleck_plot_axis){ .label = "share by number", .unit = "%", .from_zero = true });
    find_limits(sizes->diameter_mm, sizes->count, &least, &greatest);
    if (least <= greatest) {
        double first, last;

        while (log10(greatest / least) / width > CLASSES_MOST - 2)
            width *= 2;
        first = floor(log10(least / anchor) / width + 1e-9);
        last = floor(log10(greatest / anchor) / width + 1e-9) + 1;
        if (!classes_init(&classes, (size_t)(last - first)))
            plots_no_memory(plot);
        for (size_t c = 0; classes.border != NULL && c <= classes.count; c++)
            classes.border[c] = anchor * pow(10, (first + (double)c) * width);
    }
    if (classes.share != NULL && classes.border != NULL) {
        fill_classes(&classes, sizes->diameter_mm, sizes->weight, sizes->count);
        add_classes(plot, &classes, what);
        /* one class of room, so that the cutoff is seen beside the axis */
        least = classes.border[0] / (has_cutoff ? pow(10, width) : 1);
        greatest = classes.border[classes.count];
        if (has_curve && classes.used > 0)
            add_lognormal(plot, sizes, classes.border[0], classes.border[classes.count],
                          width * log(10));
    }
    fleck_plot_set_x(plot, &(fleck_plot_axis){ .label = "equivalent diameter",
                                               .unit = "mm",
                                               .scale = FLECK_PLOT_LOG,
                                               .least = least,
                                               .greatest = greatest });
    if (has_cutoff)
        plots_add_rule(plot, FLECK_PLOT_RULE_X, "cutoff", sizes->cutoff_mm, 3, "mm",
                       FLECK_LOOK_QUIET);
    plots_say_count(&caption, classes.used, what, what);
    if (sizes->weight != NULL)
        fleck_text_add(&caption, ", weighted for the edge");
    if (classes.used > 0)
        plots_say_number(&caption, "; classes of", width, "decades");
    if (has_curve) {
        plots_say_number(&caption, "; lognormal with median", sizes->lognormal_median_mm, "mm");
        plots_say_number(&caption, " and geometric standard deviation", sizes->lognormal_gsd, NULL);
    }
    plots_end_caption(plot, &caption);
    classes_clear(&classes);
}

static int compare_values(const void *a, const void *b)
{
    const double left = *(const double *)a, right = *(const double *)b;

    return left < right ? -1 : left > right;
}

/* Twice the interquartile range over the cube root of n, rounded down to 1, 2 or 5; 0 without
 * values. */
static double class_width(const double *values, size_t count, double greatest, fleck_plot *plot)
{
    double *const sorted = fleck_alloc_array(count, sizeof *sorted);
    double width, power, fraction;
    size_t n = 0;

    if (sorted == NULL) {
        plots_no_memory(plot);
        return 0;
    }
    for (size_t i = 0; i < count; i++) {
        if (isfinite(values[i]) && values[i] > 0)
            sorted[n++] = values[i];
    }
    if (n == 0) {
        fleck_free(sorted);
        return 0;
    }
    qsort(sorted, n, sizeof *sorted, compare_values);
    width = 2 * (sorted[3 * (n - 1) / 4] - sorted[(n - 1) / 4]) / cbrt((double)n);
    fleck_free(sorted);
    /* from 5 to 60 classes, whatever the distribution */
    width = fmax(greatest / 60, fmin(greatest / 5, width));
    power = pow(10, floor(log10(width)));
    fraction = width / power;
    return power * (fraction < 2 ? 1 : fraction < 5 ? 2 : 5);
}

void fleck_plot_fill_spacing(fleck_plot *plot, const fleck_plot_spacing *spacing)
{
    const char *const what = spacing->what != NULL ? spacing->what : "dots";
    struct classes classes = { 0 };
    fleck_text caption = { 0 };
    double least, greatest, width = 0;

    fleck_plot_set_x(plot, &(fleck_plot_axis){ .label = "distance to the nearest neighbour",
                                               .unit = "mm",
                                               .from_zero = true });
    fleck_plot_set_y(
        plot, &(fleck_plot_axis){ .label = "share by number", .unit = "%", .from_zero = true });
    find_limits(spacing->distance_mm, spacing->count, &least, &greatest);
    if (least <= greatest)
        width = class_width(spacing->distance_mm, spacing->count, greatest, plot);
    if (width > 0) {
        const double first = floor(least / width);

        if (!classes_init(&classes, (size_t)(floor(greatest / width) - first) + 1))
            plots_no_memory(plot);
        for (size_t c = 0; classes.border != NULL && c <= classes.count; c++)
            classes.border[c] = (first + (double)c) * width;
    }
    if (classes.share != NULL && classes.border != NULL) {
        fill_classes(&classes, spacing->distance_mm, spacing->weight, spacing->count);
        add_classes(plot, &classes, NULL);
    }
    plots_add_rule(plot, FLECK_PLOT_RULE_X, "mean", spacing->mean_mm, 3, "mm", FLECK_LOOK_DARK);
    plots_say_count(&caption, classes.used, what, what);
    if (spacing->weight != NULL)
        fleck_text_add(&caption, ", weighted for the edge");
    if (width > 0)
        plots_say_number(&caption, "; classes of", width, "mm");
    plots_end_caption(plot, &caption);
    classes_clear(&classes);
}
