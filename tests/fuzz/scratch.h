/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A folder for the files that a fuzz target needs, gone when the process ends. */
#ifndef FLECK_FUZZ_SCRATCH_H
#define FLECK_FUZZ_SCRATCH_H

#include <stddef.h>

enum { SCRATCH_PATH_BYTES = 256 };

/* Made at the first call, in $TMPDIR or /tmp. Whatever fails here ends the process: it is no finding. */
const char *scratch_folder(void);

/* Write a file of the folder. */
void scratch_put(const char *name, const void *bytes, size_t size);

/* Remove a file or a folder with all in it; one that is not there is passed over. */
void scratch_remove(const char *path);

#endif
