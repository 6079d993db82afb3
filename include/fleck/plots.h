/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Ready-made plots over fleck/plot.h, from plain arrays, which are borrowed for the call alone.
 * Each fills a plot that is {0} with its size set, caption included; settings are the caller's to
 * add with fleck_plot_add_caption. Failures are kept in the plot. A number that cannot be given is
 * NAN, and what needs it is not drawn.
 */
#ifndef FLECK_PLOTS_H
#define FLECK_PLOTS_H

#include "fleck/plot.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Sizes of the counted dots (or flecks): share per class of a tenth of a decade, two tenths below
 * 100 of them. */
typedef struct fleck_plot_sizes {
    const char *what; /* "dots"; NULL means that */
    size_t count;
    const double *diameter_mm;
    const double *weight; /* of the edge correction; NULL: all the same */
    double cutoff_mm;
    double lognormal_median_mm, lognormal_gsd; /* of the curve */
} fleck_plot_sizes;

/* Fill a plot that starts from {0} with sizes; a failure is kept in it, as fleck_plot says. */
FLECK_API void fleck_plot_fill_sizes(fleck_plot *plot, const fleck_plot_sizes *sizes);

/*
 * Distances to the nearest neighbour: share per class.
 * Source of the classes' width: Freedman & Diaconis (1981), rounded down to 1, 2 or 5.
 */
typedef struct fleck_plot_spacing {
    const char *what;
    size_t count;
    const double *distance_mm;
    const double *weight; /* NULL: all the same */
    double mean_mm;       /* marked */
} fleck_plot_spacing;

/* Fill a plot that starts from {0} with distances; a failure is kept in it, as fleck_plot says. */
FLECK_API void fleck_plot_fill_spacing(fleck_plot *plot, const fleck_plot_spacing *spacing);

/* Power against frequency, both logarithmic, with the dominant spacing marked. */
typedef struct fleck_plot_spectrum {
    size_t count;
    const double *frequency_per_mm;
    const double *ink_power_mm2;  /* NULL: none */
    const double *tone_power_mm2; /* NULL: none */
    size_t tiles, tile_px;        /* for the caption; 0: not known */
    double dominant_spacing_mm;
} fleck_plot_spectrum;

/*
 * Fill a plot that starts from {0} with the spectrum; a failure is kept in it, as fleck_plot says.
 */
FLECK_API void fleck_plot_fill_spectrum(fleck_plot *plot, const fleck_plot_spectrum *spectrum);

/* Chords of one phase in classes, as fleck_chord_lengths gives them. */
typedef struct fleck_plot_chords_of {
    size_t classes;
    const double *from_mm; /* classes + 1 borders */
    const double *share;
    double chords; /* how many; NAN: not known */
    double mean_mm;
} fleck_plot_chords_of;

/* Chords of both phases. */
typedef struct fleck_plot_chords {
    fleck_plot_chords_of ink, bare;
} fleck_plot_chords;

/* Fill a plot that starts from {0} with chords; a failure is kept in it, as fleck_plot says. */
FLECK_API void fleck_plot_fill_chords(fleck_plot *plot, const fleck_plot_chords *chords);

/* Two-point covariance C(h), which tends to the square of the coverage. */
typedef struct fleck_plot_covariance {
    size_t count;
    const double *lag_mm;
    const double *probability;
    const double *model; /* a fitted model at the same lags; NULL: none */
    double coverage;
} fleck_plot_covariance;

/*
 * Fill a plot that starts from {0} with the covariance; a failure is kept in it, as fleck_plot
 * says.
 */
FLECK_API void fleck_plot_fill_covariance(fleck_plot *plot,
                                          const fleck_plot_covariance *covariance);

/* L(r) - r with the envelope of simulations: above it the points cluster, below they keep apart. */
typedef struct fleck_plot_order {
    const char *what;
    size_t count, points, simulations; /* of the arrays; of the pattern; 0: not known */
    const double *r_mm;
    const double *l_minus_r_mm;
    const double *lo_mm, *hi_mm; /* NULL: no envelope */
} fleck_plot_order;

/*
 * Fill a plot that starts from {0} with the pattern; a failure is kept in it, as fleck_plot says.
 */
FLECK_API void fleck_plot_fill_order(fleck_plot *plot, const fleck_plot_order *order);

/* A measure in groups: each patch a point, and beside them the mean with its 95 % interval by
 * Student's t. */
typedef struct fleck_plot_groups {
    const char *label, *unit;  /* of the measure */
    const char *by;            /* what the groups differ in; NULL: not said */
    const char *one, *several; /* "patch", "patches"; NULL means these */
    size_t count;
    const double *value;
    const size_t *group; /* 0 to groups - 1; others are left out */
    size_t groups;
    const char *const *names;
} fleck_plot_groups;

/* Fill a plot that starts from {0} with groups; a failure is kept in it, as fleck_plot says. */
FLECK_API void fleck_plot_fill_groups(fleck_plot *plot, const fleck_plot_groups *groups);

/* A measure against a factor, with the straight line of least squares and the 95 % interval of its
 * mean. */
typedef struct fleck_plot_factor {
    const char *x_label, *x_unit, *y_label, *y_unit;
    size_t count;
    const double *x, *y;
} fleck_plot_factor;

/*
 * Fill a plot that starts from {0} with a measure against a factor; a failure is kept in it, as
 * fleck_plot says.
 */
FLECK_API void fleck_plot_fill_factor(fleck_plot *plot, const fleck_plot_factor *factor);

/* Individuals in their order with the limits of control; those beyond are marked and named. */
typedef struct fleck_plot_chart {
    const char *label, *unit; /* of the measure */
    const char *order;        /* of what the order is: "print" */
    size_t count;
    const double *value;
    const char *const *ids; /* NULL: the number in the order */
    double centre, lcl, ucl;
} fleck_plot_chart;

/* Fill a plot that starts from {0} with the chart; a failure is kept in it, as fleck_plot says. */
FLECK_API void fleck_plot_fill_chart(fleck_plot *plot, const fleck_plot_chart *chart);

#ifdef __cplusplus
}
#endif

#endif
