/* SPDX-License-Identifier: GPL-3.0-or-later */
#define _DEFAULT_SOURCE /* flock, which belongs to the open file and not to the whole process */
#include "io/folder_lock.h"

#include <errno.h>
#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

fleck_status fleck_folder_lock(const char *path, int *lock, fleck_error *err)
{
    int held;

    *lock = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (*lock < 0)
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "cannot be opened; check the disk and the folder's permissions");
    do
        held = flock(*lock, LOCK_EX | LOCK_NB);
    while (held != 0 && errno == EINTR);
    if (held == 0)
        return FLECK_OK;
    if (errno == EWOULDBLOCK) {
        fleck_folder_unlock(*lock);
        *lock = -1;
        return fleck_fail(err, FLECK_BAD_CALL,
                          "is being written to by another call; wait for its end, or give another "
                          "folder with -o");
    }
    /* some network file systems have no locks: one who works there alone must not be stopped */
    fleck_folder_unlock(*lock);
    *lock = -1;
    return FLECK_OK;
}

void fleck_folder_unlock(int lock)
{
    if (lock >= 0)
        close(lock);
}
