/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Scans of a run whose bare paper differs from that of the others, as auto-exposure makes it. */
#ifndef FLECK_RECORD_RUN_PAPERS_H
#define FLECK_RECORD_RUN_PAPERS_H

#include "fleck/inputs.h"
#include "measure/paper_outliers.h"
#include "record/run_folder.h"

typedef struct fleck_run_papers {
    fleck_paper_outliers outliers;
    bool *apart;              /* of each input */
    fleck_warnings sentences; /* about the run, with the code; empty when no paper stands apart */
    fleck_run_warning warning; /* the same for run.json; points into the others */
    const char **scans;       /* each scan once, in the order of the inputs; the inputs' texts */
} fleck_run_papers;

/*
 * Compare the papers of all inputs.
 * level    open paper of each input, NAN where it is not known
 * out      cleared by the caller, also on failure
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_run_papers_find(const fleck_inputs *inputs, const double *level,
                                   fleck_run_papers *out, fleck_error *err);

void fleck_run_papers_clear(fleck_run_papers *papers);

#endif
