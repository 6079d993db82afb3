/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One run out of the slices that several machines have measured. */
#ifndef FLECK_GATHER_H
#define FLECK_GATHER_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"
#include "fleck/inputs.h"
#include "fleck/record.h"

#ifdef __cplusplus
extern "C" {
#endif

/* How slices are put together. */
typedef struct fleck_gather_options {
    size_t struct_bytes; /* set by fleck_gather_options_default */
    bool resume;         /* the folder may hold a run with the same settings: a gathering that was
                            interrupted */
} fleck_gather_options;

/* A new folder. */
FLECK_API void fleck_gather_options_init(fleck_gather_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_gather_options fleck_gather_options_default(void)
{
    fleck_gather_options options;

    fleck_gather_options_init(&options, sizeof options);
    return options;
}

/* Told about the course of a call; members may be NULL. Calls come from the caller's thread. */
typedef struct fleck_gather_observer {
    size_t struct_bytes; /* set by fleck_gather_observer_default */
    void *context;
    /*
     * All slices are found to belong together. `whole` is the list; of each patch it has id and
     * path, and the row's cells or the failure. Borrowed until after `end`. What is returned
     * instead of FLECK_OK ends the call with nothing written.
     */
    fleck_status (*begin)(void *context, const fleck_inputs *whole, fleck_error *err);
    /* a patch that is in the run now, in the order of the whole list */
    void (*record)(void *context, const fleck_record *record);
    /* one that could not be measured */
    void (*failure)(void *context, const char *path, const char *message);
    /* what only the run as a whole puts in doubt, as fleck_measure_observer has it */
    void (*warning)(void *context, const char *path, const char *code, const char *message);
    /*
     * A patch before its record is handed on, for what else its slice's folder holds of it, such as
     * pictures. What is returned instead of FLECK_OK ends the call.
     */
    fleck_status (*copy)(void *context, const char *slice, const fleck_input *input,
                         const fleck_record *record, fleck_error *err);
    /* the run is whole */
    void (*end)(void *context);
} fleck_gather_observer;

/* Nothing is told. */
FLECK_API void fleck_gather_observer_init(fleck_gather_observer *observer, size_t struct_bytes);

/* The same as a value. */
static inline fleck_gather_observer fleck_gather_observer_default(void)
{
    fleck_gather_observer observer;

    fleck_gather_observer_init(&observer, sizeof observer);
    return observer;
}

/* What a gathered run holds. */
typedef struct fleck_gather_summary {
    size_t slices, measured, failed;
} fleck_gather_summary;

/*
 * Gather slices, all of them and each once, into one run folder. It holds the same bytes as one of
 * the whole list measured at once, but for the times in its run.json; pictures are left to the
 * observer. The slices are left as they are. Whether anything is wrong with them shows before
 * anything is written.
 *
 * runs        folders of runs measured from a list that went through fleck_inputs_take_slice
 * options     NULL: the defaults
 * out_run     made, or holding no run yet
 * observer    may be NULL
 * summary     out
 *
 * Errors: FLECK_BAD_CALL (a slice is missing, there twice, of another list or measured with other
 * settings, another calibration or mask, or by another version; the folder holds a run),
 * FLECK_BAD_INPUT (no slice of a run, not finished, damaged), FLECK_NO_RESOURCE. The message names
 * the folders. O(n log n) for n patches, whose records are in memory.
 */
FLECK_API fleck_status fleck_gather(const char *const *runs, size_t count,
                                    const fleck_gather_options *options, const char *out_run,
                                    const fleck_gather_observer *observer,
                                    fleck_gather_summary *summary, fleck_error *err);

#ifdef __cplusplus
}
#endif

#endif
