/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The folder of a run: what stands where, written whole or not at all. */
#ifndef FLECK_RECORD_RUN_FOLDER_H
#define FLECK_RECORD_RUN_FOLDER_H

#include <stddef.h>

#include <cjson/cJSON.h>

#include "core/text.h"
#include "fleck/measure.h"
#include "record/patch.h"

typedef struct fleck_run_folder fleck_run_folder;

/*
 * Make the folder, lock it against other processes until the close, and write a run.json without an end, or check that the run in it is the one to go
 * on with.
 *
 * Errors: FLECK_BAD_CALL (another call writes there; there is a run already and options->resume is not set; to be resumed but
 * with other settings or as another slice; its parent is missing), FLECK_NO_RESOURCE.
 */
fleck_status fleck_run_folder_open(const char *path, const fleck_inputs *inputs,
                                   const fleck_measure_options *options, fleck_run_folder **out,
                                   fleck_error *err);

/* The same for a run with the settings of another one's run.json, which must have some. */
fleck_status fleck_run_folder_open_gathered(const char *path, const cJSON *run, bool resume,
                                            fleck_run_folder **out, fleck_error *err);

/*
 * Read the record of a patch in some run's folder, and see that its tables are there.
 * record    the caller's when it was filled, also on failure
 * Errors: FLECK_BAD_INPUT (a file is missing or damaged, naming it), FLECK_NO_RESOURCE.
 */
fleck_status fleck_run_folder_read_patch(const char *run, const char *id, bool has_flecks,
                                         fleck_record *record, fleck_error *err);

/*
 * Copy the tables of a patch from another run's folder.
 * Errors: FLECK_BAD_INPUT (a file cannot be read, naming it), FLECK_NO_RESOURCE.
 */
fleck_status fleck_run_folder_copy_tables(const fleck_run_folder *folder, const char *from,
                                          const char *id, fleck_error *err);

/* Write dots/ID.csv, flecks/ID.csv when asked for, and records/ID.json last: where it is, the tables are. Thread-safe. */
fleck_status fleck_run_folder_write_patch(const fleck_run_folder *folder,
                                          const fleck_record *record,
                                          const fleck_dot_tables *tables,
                                          const fleck_measure_options *options, unsigned threads,
                                          fleck_error *err);

/* A file of a run as text; NULL when it is not there, too large or there is no memory. */
char *fleck_run_folder_read_file(const char *path, size_t *size);

/* Write records/ID.json once more, after a change of its warnings. Thread-safe. */
fleck_status fleck_run_folder_rewrite_record(const fleck_run_folder *folder,
                                             const fleck_record *record, fleck_error *err);

/*
 * Read the record of a patch that an earlier part of the run has measured.
 * mask    of the call, NULL without one
 * Returns true with the record (the caller's) when it is there, whole, and of this scan and mask.
 */
bool fleck_run_folder_find_patch(const fleck_run_folder *folder, const fleck_input *input,
                                 const char *sha256, const fleck_measure_options *options,
                                 const fleck_scan_mask *mask, fleck_record *record);

/* A doubt about some scans of the run. All is borrowed. */
typedef struct fleck_run_warning {
    const char *code;
    const char *message;
    const char *const *scans; /* paths */
    size_t scan_count;
} fleck_run_warning;

/* What a slice's run.json says of its patches. */
typedef struct fleck_run_slice {
    const fleck_inputs *inputs;
    const fleck_text *measured_at, *failed_at; /* places in the whole list, with commas */
} fleck_run_slice;

/*
 * slice       looked at when the folder was opened for one
 * warnings    warning_count of them
 *
 * Write patches.csv, failures.csv (removed when failures is NULL) and the finished run.json.
 */
fleck_status fleck_run_folder_finish(fleck_run_folder *folder, const fleck_text *patches,
                                     const fleck_text *failures, const fleck_run_slice *slice,
                                     const fleck_measure_summary *summary,
                                     const fleck_run_warning *warnings, size_t warning_count,
                                     fleck_error *err);

/* Give up the handle; NULL is allowed. */
void fleck_run_folder_close(fleck_run_folder *folder);

#endif
