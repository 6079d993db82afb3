/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "record/spool.h"

#include <errno.h>
#include <stdio.h>
#include <unistd.h>

#include "core/memory.h"

struct fleck_spool {
    FILE *stream;
    int file;
};

fleck_status fleck_spool_new(fleck_spool **out, fleck_error *err)
{
    fleck_spool *spool = fleck_alloc_zeroed(1, sizeof *spool);

    *out = NULL;
    if (spool == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a temporary file; free some memory");
    spool->stream = tmpfile();
    if (spool->stream == NULL) {
        fleck_free(spool);
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "no temporary file can be made for pixels that --memory does not allow to "
                          "be kept; allow more, or make room on the disk");
    }
    spool->file = fileno(spool->stream);
    *out = spool;
    return FLECK_OK;
}

/* pwrite and pread as one kind of function; bytes are only read by the first */
typedef ssize_t (*mover)(int file, void *bytes, size_t size, off_t offset);

static ssize_t write_at(int file, void *bytes, size_t size, off_t offset)
{
    return pwrite(file, bytes, size, offset);
}

static ssize_t read_at(int file, void *bytes, size_t size, off_t offset)
{
    return pread(file, bytes, size, offset);
}

static fleck_status move(const fleck_spool *spool, mover moved, uint64_t offset_bytes, void *bytes,
                         size_t size, fleck_error *err)
{
    unsigned char *next = bytes;

    while (size > 0) {
        const ssize_t count = moved(spool->file, next, size, (off_t)offset_bytes);

        if (count < 0 && errno == EINTR)
            continue;
        if (count <= 0)
            return fleck_fail(err, FLECK_NO_RESOURCE,
                              "a temporary file for pixels cannot be used; make room on the disk, or "
                              "allow more --memory");
        next += count;
        size -= (size_t)count;
        offset_bytes += (uint64_t)count;
    }
    return FLECK_OK;
}

fleck_status fleck_spool_put(fleck_spool *spool, uint64_t offset_bytes, const void *bytes,
                             size_t size, fleck_error *err)
{
    return move(spool, write_at, offset_bytes, (void *)(uintptr_t)bytes, size, err);
}

fleck_status fleck_spool_get(fleck_spool *spool, uint64_t offset_bytes, void *bytes, size_t size,
                             fleck_error *err)
{
    return move(spool, read_at, offset_bytes, bytes, size, err);
}

void fleck_spool_free(fleck_spool *spool)
{
    if (spool == NULL)
        return;
    fclose(spool->stream);
    fleck_free(spool);
}
