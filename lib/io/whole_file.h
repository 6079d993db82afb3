/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Files that are there whole or not at all. */
#ifndef FLECK_IO_WHOLE_FILE_H
#define FLECK_IO_WHOLE_FILE_H

#include <stddef.h>
#include <stdio.h>

#include "fleck/error.h"
#include "fleck/file.h"

typedef struct fleck_whole_file fleck_whole_file;

/*
 * Begin a file under a temporary name beside its final one.
 * Errors: FLECK_NO_RESOURCE (cannot be created there).
 */
fleck_status fleck_whole_file_begin(const char *path, fleck_whole_file **out, fleck_error *err);

/* Where to write; borrowed. */
FILE *fleck_whole_file_stream(fleck_whole_file *file);

/*
 * Flush, sync and rename to the final name, which is replaced in one step; `file` is gone afterwards
 * in any case. Errors: FLECK_NO_RESOURCE (disk full, ...): the final name is as it was before.
 */
fleck_status fleck_whole_file_commit(fleck_whole_file *file, fleck_error *err);

/*
 * Copy a file, which is there whole or not at all.
 * Errors: FLECK_BAD_INPUT (`from` cannot be read), FLECK_NO_RESOURCE. Messages name neither path.
 */
fleck_status fleck_whole_file_copy(const char *from, const char *to, fleck_error *err);

/* Give up: the temporary file is removed; NULL is allowed. */
void fleck_whole_file_abandon(fleck_whole_file *file);

/*
 * Remove the temporary files in a folder that processes left which were killed. No other may be writing
 * there. A folder that is not there or cannot be read is passed over.
 */
void fleck_whole_file_sweep(const char *folder);

#endif
