/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "io/byte_source.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "core/memory.h"

struct fleck_byte_source {
    int descriptor;       /* -1 for memory */
    const uint8_t *bytes; /* NULL for a file */
    uint64_t size;
};

static fleck_status fail_open(int code, fleck_error *err)
{
    char reason[128];

    switch (code) {
    case ENOENT:
    case ENOTDIR:
        return fleck_fail(err, FLECK_BAD_INPUT, "does not exist; check the name");
    case EACCES:
    case EPERM:
        return fleck_fail(err, FLECK_BAD_INPUT, "may not be read; check its permissions");
    case EMFILE:
    case ENFILE:
    case ENOMEM:
        return fleck_fail(err, FLECK_NO_RESOURCE,
                          "cannot be opened, too many files are open or memory is short; close "
                          "other programs");
    default:
        if (strerror_r(code, reason, sizeof reason) != 0)
            memcpy(reason, "unknown reason", sizeof "unknown reason");
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "cannot be opened (%s); check the name and the disk", reason);
    }
}

static fleck_status check_kind(mode_t mode, fleck_error *err)
{
    if (S_ISDIR(mode))
        return fleck_fail(err, FLECK_BAD_INPUT, "is a folder, not an image; give a file in it");
    if (!S_ISREG(mode))
        return fleck_fail(err, FLECK_BAD_INPUT,
                          "is not a plain file; save the scan to a file and give that");
    return FLECK_OK;
}

static fleck_status new_source(int descriptor, const uint8_t *bytes, uint64_t size,
                               fleck_byte_source **out, fleck_error *err)
{
    fleck_byte_source *source = fleck_alloc_zeroed(1, sizeof *source);

    if (source == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to open a scan; free some memory");
    source->descriptor = descriptor;
    source->bytes = bytes;
    source->size = size;
    *out = source;
    return FLECK_OK;
}

fleck_status fleck_byte_source_open(const char *path, fleck_byte_source **out, fleck_error *err)
{
    struct stat about;
    fleck_status status;
    /* O_NONBLOCK: a named pipe must be refused, not waited for */
    const int descriptor = open(path, O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK);

    *out = NULL;
    if (descriptor < 0)
        return fail_open(errno, err);
    if (fstat(descriptor, &about) != 0)
        status = fail_open(errno, err);
    else
        status = check_kind(about.st_mode, err);
    if (status == FLECK_OK)
        status = new_source(descriptor, NULL, (uint64_t)about.st_size, out, err);
    if (status != FLECK_OK)
        close(descriptor);
    return status;
}

fleck_status fleck_byte_source_open_memory(const void *bytes, size_t size, fleck_byte_source **out,
                                           fleck_error *err)
{
    *out = NULL;
    return new_source(-1, bytes, size, out, err);
}

uint64_t fleck_byte_source_size(const fleck_byte_source *source)
{
    return source->size;
}

size_t fleck_byte_source_read(const fleck_byte_source *source, uint64_t offset, void *buffer,
                              size_t count)
{
    size_t done = 0;

    if (offset >= source->size)
        return 0;
    if (count > source->size - offset)
        count = (size_t)(source->size - offset);
    if (source->descriptor < 0) {
        memcpy(buffer, source->bytes + offset, count);
        return count;
    }
    while (done < count) {
        const ssize_t got = pread(source->descriptor, (uint8_t *)buffer + done, count - done,
                                  (off_t)(offset + done));

        if (got > 0)
            done += (size_t)got;
        else if (got == 0 || errno != EINTR)
            break;
    }
    return done;
}

void fleck_byte_source_close(fleck_byte_source *source)
{
    if (source == NULL)
        return;
    if (source->descriptor >= 0)
        close(source->descriptor);
    fleck_free(source);
}

bool fleck_byte_cursor_take(fleck_byte_cursor *cursor, void *bytes, size_t count)
{
    uint8_t *out = bytes;

    while (count > 0) {
        const size_t ready = cursor->filled - cursor->at;
        const size_t now = ready < count ? ready : count;

        memcpy(out, cursor->buffer + cursor->at, now);
        cursor->at += now;
        out += now;
        count -= now;
        if (count == 0)
            break;
        cursor->at = 0;
        cursor->filled = fleck_byte_source_read(cursor->source, cursor->offset, cursor->buffer,
                                                sizeof cursor->buffer);
        cursor->offset += cursor->filled;
        if (cursor->filled == 0)
            return false;
    }
    return true;
}
