/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The plots of a run, as files. */
#ifndef FLECK_RUN_PLOTS_H
#define FLECK_RUN_PLOTS_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"
#include "fleck/plot.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Of one patch. */
typedef enum fleck_run_plot {
    FLECK_RUN_SIZES,      /* dot sizes with the fitted lognormal law */
    FLECK_RUN_SPACING,    /* distances to the nearest dot */
    FLECK_RUN_SPECTRUM,   /* with the dominant spacing */
    FLECK_RUN_CHORDS,     /* of ink and bare paper */
    FLECK_RUN_COVARIANCE, /* two-point covariance */
    FLECK_RUN_PATTERN,    /* L(r) - r with its envelope */
    FLECK_RUN_PLOTS
} fleck_run_plot;

/* "sizes", "spacing", ...; static storage. */
FLECK_API const char *fleck_run_plot_name(fleck_run_plot plot);
/* False for a name that is none. */
FLECK_API bool fleck_run_plot_from_name(const char *name, fleck_run_plot *plot);

/* Which plots of which patches, and where to. Everything pointed to is borrowed. */
typedef struct fleck_run_plots_options {
    size_t struct_bytes; /* set by fleck_run_plots_options_default */
    const char *folder; /* made when it is not there; NULL: RUN/plots */
    bool svg, pdf, png;
    fleck_plot_size size;
    bool wanted[FLECK_RUN_PLOTS];
    const char *const *patches; /* ids; all without */
    size_t patch_count;
    const char *by;    /* column that makes groups; NULL: none */
    const char *order; /* column of numbers with each print's place in an edition; NULL: none */
    const char *const *measures; /* of the plots of groups and editions; the usual ones without */
    size_t measure_count;
    bool mixed; /* put patches of different settings on one chart */
} fleck_run_plots_options;

/* All plots of all patches as SVG, a column wide. */
FLECK_API void fleck_run_plots_options_init(fleck_run_plots_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_run_plots_options fleck_run_plots_options_default(void)
{
    fleck_run_plots_options options;

    fleck_run_plots_options_init(&options, sizeof options);
    return options;
}

/* What was drawn. */
typedef struct fleck_run_plots_summary {
    size_t files;
    size_t without_data; /* plots that had nothing to show */
} fleck_run_plots_summary;

/*
 * Draw the plots of a run into a folder: ID-sizes.svg, ID-spacing.svg ... with the id as
 * fleck_id_to_file_name gives it; MEASURE@COLUMN-groups.svg and, where the column holds three
 * numbers or more, MEASURE@COLUMN-fit.svg for `by`; MEASURE@COLUMN-chart.svg for `order`. Each file
 * is written whole or not at all.
 *
 * run        a folder that `fleck measure -o` has made
 * summary    out
 *
 * Errors: FLECK_BAD_CALL (no format, an id, column or measure that is not there), FLECK_BAD_INPUT (no run
 * there, a damaged file), FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_run_plots_write(const char *run, const fleck_run_plots_options *options,
                                             fleck_run_plots_summary *summary, fleck_error *err);

#ifdef __cplusplus
}
#endif

#endif
