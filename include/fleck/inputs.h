/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is to be measured: scans, folders of scans and manifests become a list of patches. */
#ifndef FLECK_INPUTS_H
#define FLECK_INPUTS_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"
#include "fleck/geometry.h"

#ifdef __cplusplus
extern "C" {
#endif

/* One patch to measure. Owns its texts. */
typedef struct fleck_input {
    char *id;          /* unique in the list */
    char *path;        /* scan to open */
    bool has_region;
    fleck_box_mm region;
    char **cells;      /* the manifest row's cells, one per column of the list; "" where it has none */
    char *failure;     /* why this patch cannot be measured, NULL when it can be tried */
} fleck_input;

/* A name that led to no patch at all: a missing file, a manifest without a column `scan` ... */
typedef struct fleck_input_failure {
    char *path;
    char *message; /* "what is wrong; what to do" */
} fleck_input_failure;

typedef struct fleck_inputs {
    fleck_input *items;
    size_t count;
    size_t capacity;
    char **columns; /* union of the manifests' columns, in order of first appearance */
    size_t column_count;
    fleck_input_failure *failures;
    size_t failure_count;
    size_t failure_capacity;
} fleck_inputs;

/*
 * Gather the patches named by files, folders and manifests.
 *
 * A folder stands for all files below it that are PNG, TIFF or JPEG by content, hidden ones left
 * out. A file whose name ends in .csv (any case) is a manifest; any other file is a scan. The list
 * does not depend on the order of names: scans stand in byte order of their paths, a manifest's rows
 * in its own order at the place of the manifest's path. A scan named twice outside manifests is
 * taken once.
 *
 * The id is the manifest's `patch`, else the file's name without its ending; where two would be the
 * same, as much of the folder path as tells them apart is put before each. Rows that nothing tells
 * apart get a failure each.
 *
 * out    to be ended with fleck_inputs_clear, also when failures are in it
 *
 * Errors: FLECK_NO_RESOURCE only; what is wrong with a name or a row stands in the list.
 */
FLECK_API fleck_status fleck_inputs_gather(const char *const *names, size_t count,
                                           fleck_inputs *out, fleck_error *err);

/* Free what the list owns; NULL is allowed. */
FLECK_API void fleck_inputs_clear(fleck_inputs *inputs);

/*
 * An id as part of a file name: bytes other than ASCII letters, digits, '-', '_', '.', ' ' and those
 * of UTF-8 letters are percent-encoded, a leading '.' too, so that it cannot leave its folder.
 * Long ids are cut and end in a hash of the whole. Owned by the caller; NULL when there is no memory.
 */
FLECK_API char *fleck_id_to_file_name(const char *id);

#ifdef __cplusplus
}
#endif

#endif
