/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "io/file_stamp.h"

bool fleck_file_stamp_take(const char *path, fleck_file_stamp *stamp)
{
    struct stat about;

    if (stat(path, &about) != 0)
        return false;
    *stamp = (fleck_file_stamp){ about.st_dev, about.st_ino, about.st_size, about.st_mtim,
                                 about.st_ctim };
    return true;
}

static bool same_time(struct timespec a, struct timespec b)
{
    return a.tv_sec == b.tv_sec && a.tv_nsec == b.tv_nsec;
}

bool fleck_file_stamp_same(const fleck_file_stamp *a, const fleck_file_stamp *b)
{
    return a->device == b->device && a->number == b->number && a->bytes == b->bytes &&
           same_time(a->written, b->written) && same_time(a->changed, b->changed);
}
