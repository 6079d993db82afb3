/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A folder that one process at a time writes to. */
#ifndef FLECK_IO_FOLDER_LOCK_H
#define FLECK_IO_FOLDER_LOCK_H

#include "fleck/error.h"

/*
 * Lock a folder for as long as *lock is open; the system gives it free when the process ends, however
 * it ends. Nothing is written into the folder.
 *
 * lock    out: a descriptor for fleck_folder_unlock, -1 on failure and on a file system that has no
 *         locks, where the call succeeds all the same
 *
 * Errors: FLECK_BAD_CALL (another holds it), FLECK_NO_RESOURCE (the folder cannot be opened).
 */
fleck_status fleck_folder_lock(const char *path, int *lock, fleck_error *err);

/* -1 is allowed. */
void fleck_folder_unlock(int lock);

#endif
