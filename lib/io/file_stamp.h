/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What tells at once that a file is no longer what it was. */
#ifndef FLECK_IO_FILE_STAMP_H
#define FLECK_IO_FILE_STAMP_H

#include <stdbool.h>
#include <stdint.h>
#include <sys/stat.h>
#include <time.h>

typedef struct fleck_file_stamp {
    dev_t device;
    ino_t number;
    off_t bytes;
    struct timespec written, changed;
} fleck_file_stamp;

/* False when the file is not there. */
bool fleck_file_stamp_take(const char *path, fleck_file_stamp *stamp);

bool fleck_file_stamp_same(const fleck_file_stamp *a, const fleck_file_stamp *b);

#endif
