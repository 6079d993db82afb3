/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is to be measured: scans, folders of scans and manifests become a list of patches. */
#ifndef FLECK_INPUTS_H
#define FLECK_INPUTS_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/scan.h"

#ifdef __cplusplus
extern "C" {
#endif

/* One patch to measure. Owns its texts. */
typedef struct fleck_input {
    char *id;          /* unique among the patches without a failure */
    char *path;        /* scan to open; the manifest where a row names none */
    bool has_region;
    fleck_box_mm region;
    double tilt_deg;   /* by which the region is turned about its centre, anticlockwise; 0 without */
    char **cells;      /* the manifest row's cells, one per column of the list, as they stand there;
                          "" where it has none. One block of memory, freed as a whole */
    size_t source;     /* number of its scan in the list's sources, from 1; 0: the file at path */
    char *failure;     /* why this patch cannot be measured, NULL when it can be tried */
} fleck_input;

/* A name that led to no patch at all: a missing file, a manifest without a column `scan` ... */
typedef struct fleck_input_failure {
    char *path;
    char *message; /* "what is wrong; what to do" */
} fleck_input_failure;

/* A scan that is no file: a PNG, TIFF or JPEG in memory, or rows of the caller's. */
typedef struct fleck_input_source {
    const void *bytes; /* NULL: rows */
    size_t size;
    fleck_row_source rows;
} fleck_input_source;

/*
 * The list of patches. Start from {0}, fill it with the functions below; ended with
 * fleck_inputs_clear.
 */
typedef struct fleck_inputs {
    fleck_input *items;
    size_t count;
    size_t capacity;
    char **columns; /* union of the manifests' columns, in order of first appearance */
    size_t column_count;
    fleck_input_failure *failures;
    size_t failure_count;
    size_t failure_capacity;
    fleck_input_source *sources; /* what they point to is the caller's */
    size_t source_count;
    size_t source_capacity;
    size_t slice, slice_of; /* 1 to slice_of of a list that was cut in slices; 0 and 0: whole */
    size_t whole_count;     /* of a slice: patches of the whole list */
    size_t *places;         /* of a slice: of each patch in the whole list, from 0 */
    char *whole_sha256;     /* of a slice: tells whether slices are of one list */
} fleck_inputs;

/*
 * Gather the patches named by files, folders and manifests.
 *
 * A folder stands for all files below it that are PNG, TIFF or JPEG by content; hidden ones and
 * folders that are symbolic links are left out, and so is what was drawn before: `pictures` and `plots`
 * of a run, and NAME-preview.png beside NAME.csv. A file whose name ends in .csv (any case) is a
 * manifest; any other file is a scan. The list does not depend on the order of names: scans stand in
 * byte order of their paths, a manifest's rows in its own order at the place of the manifest's path.
 * A file named twice, in whatever spelling, is taken once.
 *
 * A manifest needs a column `scan`, a path relative to the manifest's folder; it may have `patch`, an
 * id, `region`, "X Y W H" in mm, and `tilt_deg`, which turns the region about its centre, both with
 * decimal commas where the separator is not a comma. Blanks around these four and around column names do not count. Columns must have names that differ, none
 * of them `id`. Rows without anything in them are passed over; a row with a fault is in the list with
 * its failure. Whether a row's scan is there shows only when it is measured.
 *
 * The id is the manifest's `patch`, else the file's name without its ending. Where two would be the
 * same, folder names from their scans' paths are put before each, the innermost last, the same
 * number before all that share the id and no more than tell them apart: "day1/a", "day2/a". Patches
 * of different scans in one folder have the scan's name between: "sheet1/P1", "sheet2/P1"; scans that
 * differ in nothing but their endings keep these: "a.png", "a.tif". Rows that nothing tells apart
 * get a failure each.
 *
 * out    to be ended with fleck_inputs_clear, also when failures are in it and when the call failed
 *
 * Errors: FLECK_NO_RESOURCE only; what is wrong with a name or a row stands in the list.
 * O(n log n) for n patches.
 */
FLECK_API fleck_status fleck_inputs_gather(const char *const *names, size_t count,
                                           fleck_inputs *out, fleck_error *err);

/*
 * Add a scan that stands in memory as a PNG, TIFF or JPEG, told by its content.
 *
 * inputs    {0}, or what fleck_inputs_gather gave; its regions are split, its slices taken afterwards
 * id        of the patch, which no other may have; stands where a file's path would, too
 * bytes     size of them; borrowed as long as the list is measured
 *
 * Errors: FLECK_BAD_CALL (the id is empty or taken, there is a slice already), FLECK_NO_RESOURCE; the
 * list is as before then. What is wrong with the scan shows when it is measured. O(n) for n patches.
 */
FLECK_API fleck_status fleck_inputs_add_memory(fleck_inputs *inputs, const char *id, const void *bytes,
                                               size_t size, fleck_error *err);

/*
 * Add a scan whose rows the caller hands over while fleck_measure runs, as fleck_scan_open_rows does.
 *
 * Measuring goes through the rows up to three times: for their hash, for channel and threshold, and,
 * where pixels cannot be kept within memory_bytes, for the measures. A source without `start` is read
 * once: its rows are kept within memory_bytes or else in a temporary file, and the list can be measured
 * once. source.sha256 of the record is the hash of all samples as they come, row after row, those of two
 * bytes with the lower byte first.
 *
 * The source's functions are called one at a time, from whatever thread measures the scan, those of
 * different sources at the same time.
 *
 * source    copied; what it points to is borrowed as long as the list is measured
 *
 * The rest as in fleck_inputs_add_memory.
 */
FLECK_API fleck_status fleck_inputs_add_rows(fleck_inputs *inputs, const char *id,
                                             const fleck_row_source *source, fleck_error *err);

/*
 * Give a patch a cell, as a row of a manifest does: a factor of a study, a note.
 *
 * id        of a patch in the list
 * column    not empty and not "id"; one that is new joins the list, where all other patches have ""
 * text      copied; NULL: ""
 *
 * Errors: FLECK_BAD_CALL (no such patch, no such name for a column), FLECK_NO_RESOURCE; the list is as
 * before then. O(n) for n patches.
 */
FLECK_API fleck_status fleck_inputs_set_cell(fleck_inputs *inputs, const char *id, const char *column,
                                             const char *text, fleck_error *err);

/*
 * Measure several regions of each scan: every patch that has no region of its own becomes `count`
 * patches with the ids ID-1, ID-2 ... in the order of the regions. Where such an id is there already,
 * all patches of that id get a failure.
 *
 * regions     count of them, at least 1; borrowed
 * tilt_deg    of all of them
 *
 * After a failure the list is to be ended with fleck_inputs_clear all the same.
 * Errors: FLECK_NO_RESOURCE. O(n log n) for n patches.
 */
FLECK_API fleck_status fleck_inputs_split_regions(fleck_inputs *inputs, const fleck_box_mm *regions,
                                                  size_t count, double tilt_deg, fleck_error *err);

/*
 * Keep one slice of the list, so that several machines can measure a run together, see
 * fleck_gather. Scan after scan, as they first stand in the list, goes to slice 1, 2 ... `of`, 1 ...;
 * all patches of a scan stay together, and ids are those of the whole list. Names that led to no
 * patch go to slice 1. A slice may be empty.
 *
 * After a failure the list is to be ended with fleck_inputs_clear all the same.
 * Errors: FLECK_BAD_CALL (no slice from 1 to `of`, or a slice already), FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_inputs_take_slice(fleck_inputs *inputs, size_t slice, size_t of,
                                               fleck_error *err);

/* Free what the list owns; NULL is allowed. */
FLECK_API void fleck_inputs_clear(fleck_inputs *inputs);

/*
 * An id as part of a file name, a different one for each id.
 *
 * ASCII letters, digits, '-', '_', '.', ' ' and what UTF-8 holds of letters are kept; all other bytes
 * are percent-encoded, a leading '.' too, so that it cannot leave its folder. Of characters beyond
 * ASCII those are encoded that are no letters and could mislead: up to U+00BF, general punctuation
 * with its invisible marks, variation selectors, private and special ones. An empty id gives "%00".
 * A name of more than 150 bytes is cut and ends in '~' and the first 128 bits of the id's SHA-256.
 *
 * Owned by the caller; NULL when there is no memory.
 */
FLECK_API char *fleck_id_to_file_name(const char *id);

#ifdef __cplusplus
}
#endif

#endif
