/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the parts of the page share. Each part adds its HTML to a text, which keeps its failure. */
#ifndef FLECK_REPORT_REPORT_PARTS_H
#define FLECK_REPORT_REPORT_PARTS_H

#include <cairo.h>

#include "core/text.h"
#include "fleck/compare.h"
#include "fleck/edition.h"
#include "fleck/plot.h"
#include "fleck/record.h"
#include "fleck/relate.h"
#include "fleck/report.h"
#include "fleck/study.h"
#include "report/run_plots.h"

typedef struct report_data {
    const fleck_report_options *options;
    const char *run;
    fleck_study *study;   /* of the run */
    fleck_study *judged;  /* with the reference's run, or the same as `study` */
    size_t count;         /* patches */
    fleck_record *records; /* without their lists */
    size_t by;             /* column, FLECK_STUDY_NONE without */
    run_groups groups;     /* of that column */
    bool compared, related, edited;
    fleck_compare compare;
    fleck_relate relate;
    fleck_edition edition;
    const char *reference_id; /* NULL: none in this run */
    const char **measures;    /* that the table of patches shows, of those that are there */
    size_t *measure_columns;
    size_t measure_count;
    size_t *factors; /* columns of the user's own that the table shows */
    size_t factor_count;
    char *program_version, *started, *finished; /* of run.json; NULL when it does not tell */
    double failed;                              /* NAN when it does not tell */
    cairo_surface_t *sheet;                     /* the contact sheet; NULL: none that can be read */
} report_data;

/* How much of each patch is shown. */
typedef struct report_level {
    size_t thumb_px;
    size_t overlay_px; /* 0: no picture of the dots */
    size_t detail_px;  /* a part of it at full size; 0: none */
    size_t plots;      /* of the list in report_patch.c */
    int quality;
} report_level;

/* ---- report_data.c ---- */

/* Read and study the run; ended with report_clear, on failure too. */
fleck_status report_read(report_data *report, const char *run, const fleck_report_options *options,
                         fleck_error *err);
void report_clear(report_data *report);

/* ---- report_words.c ---- */

/* Label and unit of a measure, for reading: "median dot diameter", "mm". */
const char *report_label(const char *measure);
const char *report_unit(const char *measure);
/* "mm2" as mm with a raised 2, and so on; other units as they are. */
const char *report_pretty_unit(const char *unit);

/* A number to three digits; a dash for NAN. */
void report_add_number(fleck_text *text, double value);
/* A number with the decimals that its uncertainty leaves; a dash for NAN. */
void report_add_rounded(fleck_text *text, double value, double uncertainty);
void report_add_p(fleck_text *text, double p);
/* "1 patch", "3 patches" */
void report_add_count(fleck_text *text, size_t count, const char *one, const char *several);
/* A factor's column as words with its unit: "paste (%)". */
void report_add_factor(fleck_text *text, const char *column);

/* Mean and sample standard deviation of the values of a column that are there; their number. */
size_t report_spread(const report_data *report, size_t column, double *mean, double *sd, double *least,
                     double *greatest);

/*
 * Add a figure with a plot as a picture and its caption as text; clears the plot.
 * alt    what it shows, put before the caption in the text instead of the picture
 */
fleck_status report_add_plot(fleck_text *text, fleck_plot *plot, const char *alt, fleck_error *err);

/* ---- parts of the page, in its order ---- */

void report_add_answer(fleck_text *text, const report_data *report);
void report_add_sheet(fleck_text *text, const report_data *report);
void report_add_doubts(fleck_text *text, const report_data *report);
fleck_status report_add_comparisons(fleck_text *text, const report_data *report, fleck_error *err);
fleck_status report_add_edition(fleck_text *text, const report_data *report, fleck_error *err);
void report_add_table(fleck_text *text, const report_data *report);
/* One patch, folded. pictured: out, whether there is a picture of its dots */
fleck_status report_add_patch(fleck_text *text, const report_data *report, size_t row,
                              const report_level *level, bool *pictured, fleck_error *err);
void report_add_methods(fleck_text *text, const report_data *report);
void report_add_provenance(fleck_text *text, const report_data *report);

/* Lines, ended by NULL: one literal of all of them would be longer than C promises to take. */
extern const char *const report_style[];
extern const char *const report_script[];

#endif
