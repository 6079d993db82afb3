/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files behind fleck/inputs.h share: the lists under way and small text helpers. */
#ifndef FLECK_RECORD_INPUT_PARTS_H
#define FLECK_RECORD_INPUT_PARTS_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

#include "fleck/error.h"
#include "fleck/inputs.h"

/* A file that was named, or found below a named folder: a scan or a manifest. */
typedef struct fleck_source {
    char *path;
    dev_t device; /* of the folder it lies in, with folder: two spellings of one file are one */
    ino_t folder;
    bool manifest;
} fleck_source;

typedef struct fleck_sources {
    fleck_source *items;
    size_t count;
    size_t capacity;
} fleck_sources;

/* A patch of the list and where it comes from. */
typedef struct fleck_entry {
    fleck_input input;
    const char *manifest; /* its path, NULL for a scan; borrowed */
    size_t line;          /* of the manifest */
    bool named;           /* the id is not taken from the scan's name */
} fleck_entry;

typedef struct fleck_entries {
    fleck_entry *items;
    size_t count;
    size_t capacity;
} fleck_entries;

/* Add a file to a list. Errors: FLECK_NO_RESOURCE. Takes path over, also on failure; NULL is one.
 */
fleck_status fleck_sources_add(fleck_sources *sources, char *path, dev_t device, ino_t folder,
                               bool manifest, fleck_error *err);

/* Add a name that led to no patch. Errors: FLECK_NO_RESOURCE. */
fleck_status fleck_inputs_fail(fleck_inputs *inputs, const char *path, const char *message,
                               fleck_error *err);

/* Free what an input owns. */
void fleck_input_clear(fleck_input *input);

/*
 * Cells of a patch in one block: a copy, with `text` in column `at`; SIZE_MAX: nowhere.
 *
 * cells            NULL: none has anything in it
 * before, count    columns that they have and are to have; the new ones are empty
 *
 * Returns NULL without memory.
 */
char **fleck_input_cells(char *const *cells, size_t before, size_t count, size_t at, const char *text);

/* Every function here that needs memory fails with the same words. */
fleck_status fleck_inputs_no_memory(fleck_error *err);

/*
 * A folder's path and a name with one '/' between, whatever slashes the folder ends in; the name
 * alone when folder_length is 0. NULL when there is no memory.
 */
char *fleck_path_join(const char *folder, size_t folder_length, const char *name);

/*
 * Where a path's last name begins and ends, slashes behind it left out; *stem_end is where its
 * ending (".png") begins, or where the name ends when it has none. A path of nothing but slashes is
 * its own name.
 */
void fleck_path_name(const char *path, size_t *begin, size_t *end, size_t *stem_end);

/* A copy of some bytes as text, NULL when there is no memory. */
char *fleck_copy_bytes(const char *bytes, size_t length);

/* A text without the blanks around it: where it begins, and its length. */
const char *fleck_trimmed(const char *text, size_t *length);

enum { FLECK_SHORT_TEXT_BYTES = 84 };

/* A text short enough for a message: "..." and its last 80 bytes when it is longer. */
const char *fleck_short_text(const char *text, char buffer[FLECK_SHORT_TEXT_BYTES]);

/*
 * Find all scans below a folder. Folders that are symbolic links are not entered, so that there is
 * no way round in circles; symbolic links to files count as files. What cannot be read becomes a
 * failure in inputs, and so does a folder without scans.
 *
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_input_folder(const char *path, fleck_sources *sources, fleck_inputs *inputs,
                                fleck_error *err);

typedef struct fleck_manifest fleck_manifest;

/*
 * Read a manifest and check its header.
 *
 * path    borrowed until fleck_manifest_close
 * out     NULL on failure
 *
 * Errors: FLECK_BAD_INPUT (as fleck_csv_read; no column `scan`, a name that is empty, stands twice
 * or is fleck's own; no rows), FLECK_NO_RESOURCE.
 */
fleck_status fleck_manifest_open(const char *path, fleck_manifest **out, fleck_error *err);

/* Add the manifest's columns to the list's. Errors: FLECK_NO_RESOURCE. */
fleck_status fleck_manifest_add_columns(fleck_manifest *manifest, fleck_inputs *inputs,
                                        fleck_error *err);

/*
 * Add one entry per row, ids not yet told apart; a row with a fault carries it as its failure. Call
 * it when the list has all its columns. Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_manifest_add_rows(const fleck_manifest *manifest, const fleck_inputs *inputs,
                                     fleck_entries *entries, fleck_error *err);

/* Add the entry of a scan without a manifest, with empty cells. Errors: FLECK_NO_RESOURCE. */
fleck_status fleck_scan_add_entry(const char *path, const fleck_inputs *inputs,
                                  fleck_entries *entries, fleck_error *err);

/* End a manifest; NULL is allowed. */
void fleck_manifest_close(fleck_manifest *manifest);

/* Put before equal ids what tells them apart; give those a failure that nothing does. */
fleck_status fleck_input_ids(fleck_entries *entries, fleck_error *err);

#endif
