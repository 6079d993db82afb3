/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A folder that holds a slice of a run, as fleck_gather reads it. */
#ifndef FLECK_RECORD_GATHER_SLICE_H
#define FLECK_RECORD_GATHER_SLICE_H

#include <stdbool.h>
#include <stddef.h>

#include <cjson/cJSON.h>

#include "fleck/error.h"
#include "io/csv.h"

/* Starts from {0}. */
typedef struct fleck_slice {
    const char *path;              /* borrowed */
    cJSON *run;                    /* run.json; its settings are an object */
    fleck_csv *patches, *failures; /* failures: NULL without */
    size_t number;                 /* from 1 */
    /* places in the whole list, rising; the last rows of the tables are theirs, in this order */
    size_t *measured_at, *failed_at;
    size_t measured_count, failed_count;
} fleck_slice;

/*
 * path     borrowed until the clear
 * slice    to be cleared on failure too
 * Errors: FLECK_BAD_INPUT (no run, no slice, not finished, damaged), FLECK_BAD_CALL (of another
 * version), FLECK_NO_RESOURCE. Here and below messages name the folders.
 */
fleck_status fleck_slice_read(fleck_slice *slice, const char *path, fleck_error *err);

/* Patches of the whole list. */
size_t fleck_slice_whole_count(const fleck_slice *slice);

/* Whether it has tables of flecks. */
bool fleck_slice_has_flecks(const fleck_slice *slice);

/* Errors: FLECK_BAD_CALL (other settings, another number of slices, another list). */
fleck_status fleck_slices_check_alike(const fleck_slice *first, const fleck_slice *other,
                                      fleck_error *err);

/* Each slice once. Errors: FLECK_BAD_CALL (missing or twice), FLECK_BAD_INPUT, FLECK_NO_RESOURCE.
 */
fleck_status fleck_slices_check_complete(const fleck_slice *slices, size_t count, fleck_error *err);

void fleck_slice_clear(fleck_slice *slice);

#endif
