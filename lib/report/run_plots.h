/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Plots filled from a run: of a patch, of groups, of an edition. Failures are kept in the plot. */
#ifndef FLECK_REPORT_RUN_PLOTS_H
#define FLECK_REPORT_RUN_PLOTS_H

#include "fleck/edition.h"
#include "fleck/plot.h"
#include "fleck/run_plots.h"
#include "fleck/study.h"
#include "report/run_patch.h"

/* False when the patch has nothing for that plot, which is then untouched. */
bool run_plot_fill_patch(fleck_plot *plot, fleck_run_plot kind, const run_patch *patch);

/* The cells of a column: numbers in their order, else texts in theirs; rows without one are in none. */
typedef struct run_groups {
    size_t count;
    const char **names;   /* owned by the study */
    size_t *of_row;       /* FLECK_STUDY_NONE: in none */
    bool numeric;         /* all cells are numbers */
} run_groups;

/* Errors: FLECK_NO_RESOURCE. Ended with run_groups_clear, on failure too. */
fleck_status run_groups_find(const fleck_study *study, size_t column, run_groups *groups,
                             fleck_error *err);
void run_groups_clear(run_groups *groups);

/* A measure in groups; false when no row has it. */
bool run_plot_fill_groups(fleck_plot *plot, const fleck_study *study, size_t by,
                          const run_groups *groups, size_t measure);

/* A measure against a numeric column; false when fewer than three rows have both. */
bool run_plot_fill_factor(fleck_plot *plot, const fleck_study *study, size_t by, size_t measure);

/* The control chart of a measure of an edition; false when it has none. The study is that of the edition. */
bool run_plot_fill_chart(fleck_plot *plot, const fleck_study *study, const fleck_edition *edition,
                         const fleck_edition_measure *measure, const char *reference_id);

#endif
