/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One scan with all its patches: decoded once for them together. */
#ifndef FLECK_RECORD_SHEET_H
#define FLECK_RECORD_SHEET_H

#include <pthread.h>
#include <stdbool.h>
#include <stddef.h>

#include "record/patch.h"
#include "record/sheet_source.h"

/* Bytes of pixels that may be kept between the two passes, shared by the threads of a call. */
typedef struct fleck_budget fleck_budget;

fleck_budget *fleck_budget_new(size_t bytes);
void fleck_budget_free(fleck_budget *budget);

/* A patch of a sheet. */
typedef struct fleck_sheet_patch {
    size_t index; /* in the list of inputs */
    const fleck_input *input;
    fleck_patch *patch;  /* NULL before the survey, after a failure and when skipped */
    fleck_error failure; /* status FLECK_OK as long as all is well */
    bool skip;           /* set by the caller: not to be measured */
    unsigned char *kept; /* its pixels, when the budget allowed */
} fleck_sheet_patch;

typedef struct fleck_sheet {
    fleck_sheet_source source;
    const fleck_measure_options *options;
    const fleck_calibration *calibration; /* NULL: none */
    fleck_pool *pool;                     /* NULL: no threshold is pooled */
    const fleck_scan_mask *mask; /* NULL: none */
    const fleck_measure_observer *observer; /* its members `patch`, `stop` and `note` alone are called */
    pthread_mutex_t *lock;                  /* held while `note` is called */
    fleck_budget *budget;
    fleck_sheet_patch *patches;
    size_t patch_count;

    /* filled by the survey */
    fleck_scan_info info; /* without the profile's bytes */
    fleck_resolution resolution;
    fleck_tone *tone;
    fleck_warnings warnings; /* of the scan, for each of its patches */
    size_t kept_bytes;
    size_t aside_bytes; /* of rows that come only once, of the budget */
} fleck_sheet;

/* What a failure says that comes of the observer's wish to stop. */
extern const char fleck_stopped[];

/* Open the scan and hash it. On failure all patches carry the error. With fleck_sheet_clear at the end. */
void fleck_sheet_identify(fleck_sheet *sheet);

/*
 * First pass over all patches not skipped. A failure stays with the patch it belongs to.
 * threads    at least 1; never changes a number
 */
void fleck_sheet_survey(fleck_sheet *sheet, unsigned threads);

/*
 * Whether its patches will wait for a channel that all patches of the call choose: a look at the head of the
 * file, before anything else is done. False for a scan that cannot be opened.
 */
bool fleck_sheet_will_await_channel(const fleck_sheet *sheet);

/* Whether a patch waits for what all patches of the call decide. */
bool fleck_sheet_awaits_others(const fleck_sheet *sheet);

/*
 * Second pass. done(context, worker-safe) is called once for each patch not skipped, from one of
 * `threads` threads: with a record and its tables (owned by the callee from then on), or with the
 * failure in patch->failure and NULL.
 */
void fleck_sheet_measure(fleck_sheet *sheet, const fleck_decision *decision, unsigned threads,
                         void (*done)(void *context, fleck_sheet_patch *patch,
                                      fleck_record *record, fleck_dot_tables *tables),
                         void *context);

/* Free what the sheet holds, give the budget back; the patches' array is the caller's. */
void fleck_sheet_clear(fleck_sheet *sheet);

#endif
