/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One run out of the slices that several machines have measured. */
#ifndef FLECK_GATHER_H
#define FLECK_GATHER_H

#include <stddef.h>

#include "fleck/error.h"
#include "fleck/inputs.h"
#include "fleck/record.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Told about the course of a call; members may be NULL. Calls come from the caller's thread. */
typedef struct fleck_gather_observer {
    size_t struct_bytes; /* set by fleck_gather_observer_default */
    void *context;
    /* a patch that is in the run now, in the order of the whole list, with its row's cells */
    void (*record)(void *context, const fleck_inputs *columns, const fleck_input *input,
                   const fleck_record *record);
    /* one that could not be measured */
    void (*failure)(void *context, const char *path, const char *message);
    /* what only the run as a whole puts in doubt, as fleck_measure_observer has it */
    void (*warning)(void *context, const char *path, const char *code, const char *message);
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

typedef struct fleck_gather_summary {
    size_t slices, measured, failed;
} fleck_gather_summary;

/*
 * Gather slices, all of them and each once, into a new run folder. It holds the same bytes as one of
 * the whole list measured at once, but for the times in its run.json and for pictures, which stay with
 * their slices. The slices are left as they are.
 *
 * runs        folders of runs measured from a list that went through fleck_inputs_take_slice
 * out_run     made, or holding no run yet
 * observer    may be NULL
 * summary     out
 *
 * Errors: FLECK_BAD_CALL (a slice is missing, there twice, of another list or measured with other
 * settings or by another version; the folder holds a run), FLECK_BAD_INPUT (no slice of a run, not
 * finished, damaged), FLECK_NO_RESOURCE. O(n log n) for n patches.
 */
FLECK_API fleck_status fleck_gather(const char *const *runs, size_t count, const char *out_run,
                                    const fleck_gather_observer *observer,
                                    fleck_gather_summary *summary, fleck_error *err);

#ifdef __cplusplus
}
#endif

#endif
