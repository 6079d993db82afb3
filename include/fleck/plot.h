/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A scientific plot as data, and its drawing as SVG, PDF or PNG by one code. No title: what it
 * shows stands in the axes and in the caption below. Colours differ in lightness and shape as well,
 * so that they can be told apart in grey and by the colour-blind.
 *
 *     fleck_plot plot = { .size = FLECK_PLOT_COLUMN };
 *
 *     fleck_plot_set_x(&plot, &(fleck_plot_axis){ .label = "distance", .unit = "mm" });
 *     fleck_plot_add(&plot, &(fleck_plot_series){ .kind = FLECK_PLOT_LINE, .count = n, .x = x, .y =
 * y }); status = fleck_plot_render(&plot, FLECK_PLOT_SVG, &bytes, &size, err); if (status ==
 * FLECK_OK) status = fleck_file_write("distance.svg", bytes, size, err); free(bytes);
 *     fleck_plot_clear(&plot);
 */
#ifndef FLECK_PLOT_H
#define FLECK_PLOT_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Kind of file. */
typedef enum fleck_plot_format { FLECK_PLOT_SVG, FLECK_PLOT_PDF, FLECK_PLOT_PNG } fleck_plot_format;

/* Width on the page; the height follows from what is to be told. */
typedef enum fleck_plot_size {
    FLECK_PLOT_COLUMN, /* 85 mm */
    FLECK_PLOT_PAGE    /* 170 mm */
} fleck_plot_size;

/* How an axis is divided. */
typedef enum fleck_plot_scale {
    FLECK_PLOT_LINEAR,
    FLECK_PLOT_LOG,
    FLECK_PLOT_NAMES /* x only: place i = 0, 1, ... stands for names[i] */
} fleck_plot_scale;

/* An axis. What it points to is copied. */
typedef struct fleck_plot_axis {
    const char *label; /* NULL: none */
    const char *unit;  /* put in brackets behind the label; NULL: none */
    fleck_plot_scale scale;
    bool from_zero;           /* linear: the range takes in 0 */
    double least, greatest;   /* what to show; from the data unless least < greatest */
    size_t name_count;        /* FLECK_PLOT_NAMES */
    const char *const *names; /* a long name is shortened in its middle */
} fleck_plot_axis;

/* How the values of a series are drawn, and which of its arrays that takes. */
typedef enum fleck_plot_kind {
    FLECK_PLOT_LINE,      /* x, y; a NAN breaks the line */
    FLECK_PLOT_POINTS,    /* x, y */
    FLECK_PLOT_BARS,      /* classes from lo to hi on the x axis, y high */
    FLECK_PLOT_STEPS,     /* the same, outline only, to lie over others */
    FLECK_PLOT_INTERVALS, /* at x from lo to hi on the y axis, y marked; lo, hi NAN: y alone */
    FLECK_PLOT_BAND,      /* x, from lo to hi on the y axis; a NAN breaks it */
    FLECK_PLOT_RULE_X,    /* a line across at x = at, named above */
    FLECK_PLOT_RULE_Y,    /* a line along at y = at, named at its right */
    FLECK_PLOT_NOTES      /* texts beside the points x, y */
} fleck_plot_kind;

/* Colour, marker and dash that belong together. */
typedef enum fleck_plot_look {
    FLECK_LOOK_FIRST,  /* blue, discs, solid */
    FLECK_LOOK_SECOND, /* vermilion, triangles, dashed */
    FLECK_LOOK_THIRD,  /* green, squares, dash and dot */
    FLECK_LOOK_FOURTH, /* purple, diamonds, dotted */
    FLECK_LOOK_DARK,   /* nearly black, discs, solid: what has been worked out from the data */
    FLECK_LOOK_QUIET   /* grey, rings, dashed: limits and references */
} fleck_plot_look;

/* Sign at each point. */
typedef enum fleck_plot_marker {
    FLECK_MARKER_OF_LOOK,
    FLECK_MARKER_DISC,
    FLECK_MARKER_TRIANGLE,
    FLECK_MARKER_SQUARE,
    FLECK_MARKER_DIAMOND,
    FLECK_MARKER_RING,
    FLECK_MARKER_CROSS,
    FLECK_MARKER_DASH
} fleck_plot_marker;

/* How a line is broken. */
typedef enum fleck_plot_dash {
    FLECK_DASH_OF_LOOK,
    FLECK_DASH_NONE,
    FLECK_DASH_DASHED,
    FLECK_DASH_DOTTED,
    FLECK_DASH_DASH_DOT
} fleck_plot_dash;

/* Values that belong together. What it points to is copied. */
typedef struct fleck_plot_series {
    fleck_plot_kind kind;
    const char *name; /* for the key above the plot, those of equal names share one entry; of a rule
                         its label; NULL: none */
    size_t count;     /* values in each array; 0 is allowed; rules and kinds ignore what they do not
                         name */
    const double *x, *y, *lo, *hi;
    const char *const *texts; /* FLECK_PLOT_NOTES */
    double at;                /* rules */
    fleck_plot_look look;
    fleck_plot_marker marker;
    fleck_plot_dash dash;
    bool spread; /* points at the same x stand beside each other instead of upon each other */
} fleck_plot_series;

/*
 * A plot. Start from {0} with the size set; everything else is filled by the functions below, which
 * copy all that they are given. Bytes that are not UTF-8 become U+FFFD. The first failure is kept
 * and given by fleck_plot_render, so that one check is enough.
 */
typedef struct fleck_plot {
    fleck_plot_size size;
    fleck_plot_axis x, y;
    fleck_plot_series *series;
    size_t series_count, series_capacity;
    char *caption;
    fleck_error error;
} fleck_plot;

/* The axis along the lower edge. Kept failures: FLECK_NO_RESOURCE. */
FLECK_API void fleck_plot_set_x(fleck_plot *plot, const fleck_plot_axis *axis);

/* The axis along the left edge. Kept failures: FLECK_NO_RESOURCE. */
FLECK_API void fleck_plot_set_y(fleck_plot *plot, const fleck_plot_axis *axis);

/* Kept failures: FLECK_BAD_CALL (an array that the kind needs is missing), FLECK_NO_RESOURCE. */
FLECK_API void fleck_plot_add(fleck_plot *plot, const fleck_plot_series *series);

/*
 * Sentences for the caption, after those there are; '\n' begins a new line. The drawing adds what
 * it had to leave out: values that are missing, not above 0 on a logarithmic axis, or outside the
 * axes.
 */
FLECK_API void fleck_plot_add_caption(fleck_plot *plot, const char *sentences);

/* Free what it owns; its size stays. NULL is allowed. */
FLECK_API void fleck_plot_clear(fleck_plot *plot);

/*
 * Draw a plot. The same plot gives the same bytes each time (on machines with the same fonts and
 * libraries; DejaVu Sans is asked for, and Japanese fonts for texts that it does not hold).
 *
 * bytes, size    out: the file's contents, freed with fleck_free(); NULL and 0 on failure
 *
 * SVG holds its glyphs as outlines and the caption as description; PDF embeds its font; PNG has 300
 * ppi. Errors: the plot's kept failure; FLECK_NO_RESOURCE. Thread-safe for different plots.
 */
FLECK_API fleck_status fleck_plot_render(const fleck_plot *plot, fleck_plot_format format,
                                         unsigned char **bytes, size_t *size, fleck_error *err);

#ifdef __cplusplus
}
#endif

#endif
