/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "io/tiff_handle.h"

#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

enum { SURELY_THERE_BYTES = 64 << 20 };

static tmsize_t on_read(thandle_t handle, void *bytes, tmsize_t count)
{
    fleck_tiff_handle *one = handle;
    const size_t got = fleck_byte_source_read(one->source, one->offset, bytes, (size_t)count);

    for (size_t i = 0; i < got && one->offset + i < one->header_bytes; i++)
        ((uint8_t *)bytes)[i] = one->header[one->offset + i];
    one->offset += got;
    return (tmsize_t)got;
}

static tmsize_t on_write(thandle_t handle, void *bytes, tmsize_t count)
{
    (void)handle;
    (void)bytes;
    (void)count;
    return 0;
}

static toff_t on_seek(thandle_t handle, toff_t offset, int whence)
{
    fleck_tiff_handle *one = handle;

    if (whence == SEEK_CUR)
        offset += one->offset;
    else if (whence == SEEK_END)
        offset += fleck_byte_source_size(one->source);
    one->offset = offset;
    return offset;
}

static int on_close(thandle_t handle)
{
    (void)handle;
    return 0;
}

static toff_t on_size(thandle_t handle)
{
    return fleck_byte_source_size(((fleck_tiff_handle *)handle)->source);
}

/* Keep the first message: those after it are its consequences. */
static void keep_message(fleck_tiff_handle *one, const char *format, va_list arguments)
{
    if (one->message[0] == '\0')
        vsnprintf(one->message, sizeof one->message, format, arguments);
}

static int on_error(TIFF *tiff, void *data, const char *module, const char *format,
                    va_list arguments)
{
    fleck_tiff_handle *one = data;

    (void)tiff;
    (void)module;
    keep_message(one, format, arguments);
    one->damaged = one->decoding;
    return 1;
}

/*
 * While pixels are decoded libtiff only warns where libjpeg or the fax decoder go on with made-up
 * ones. Two of its warnings are harmless: old LZW, and JPEG strips that go on below the last row.
 */
static int on_warning(TIFF *tiff, void *data, const char *module, const char *format,
                      va_list arguments)
{
    fleck_tiff_handle *one = data;

    (void)tiff;
    (void)module;
    if (one->decoding && strncmp(format, "Old-style LZW", 13) != 0 &&
        strncmp(format, "JPEG strip size exceeds", 23) != 0) {
        keep_message(one, format, arguments);
        one->damaged = true;
    }
    return 1;
}

static void write_header(const fleck_ifd_file *file, uint64_t directory, fleck_tiff_handle *handle)
{
    const size_t begin = file->big_tiff ? 8 : 4;
    const size_t count = file->big_tiff ? 8 : 4;

    fleck_byte_source_read(file->source, 0, handle->header, begin);
    for (size_t i = 0; i < count; i++)
        handle->header[begin + (file->big_endian ? count - 1 - i : i)] =
            (uint8_t)(directory >> 8 * i);
    handle->header_bytes = begin + count;
}

/*
 * libtiff tells a lack of memory from a size that a damaged file made up only by its words. Where so little
 * was asked for that any machine has it, memory is short; for all else the file is blamed: a run must
 * not end because of one file.
 */
static bool memory_is_short(const char *message)
{
    static const char *const words[] = { "No space for", "Out of memory", "malloc(sizeof",
                                         "Insertion in tif_map" };
    const char *const size = strrchr(message, '(');
    long long count, bytes;

    for (size_t i = 0; i < sizeof words / sizeof *words; i++) {
        if (strstr(message, words[i]) != NULL)
            return true;
    }
    return strncmp(message, "Failed to allocate memory", 25) == 0 && size != NULL &&
           sscanf(size, "(%lld elements of %lld bytes each)", &count, &bytes) == 2 && count > 0 &&
           bytes > 0 && count <= SURELY_THERE_BYTES / bytes;
}

fleck_status fleck_tiff_handle_fail(const fleck_tiff_handle *handle, fleck_error *err)
{
    if (memory_is_short(handle->message))
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to read a TIFF; free some memory");
    return fleck_fail(err, FLECK_BAD_INPUT,
                      "is a damaged TIFF (%s); copy it from its source or scan it again",
                      handle->message[0] != '\0' ? handle->message : "a part cannot be read");
}

fleck_status fleck_tiff_handle_open(fleck_tiff_handle *handle, const fleck_ifd_file *file,
                                    uint64_t directory, uint64_t memory_limit, fleck_error *err)
{
    TIFFOpenOptions *options = TIFFOpenOptionsAlloc();

    if (options == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to read a TIFF; free some memory");
    *handle = (fleck_tiff_handle){ .source = file->source };
    write_header(file, directory, handle);
    TIFFOpenOptionsSetMaxSingleMemAlloc(options, (tmsize_t)memory_limit);
    TIFFOpenOptionsSetErrorHandlerExtR(options, on_error, handle);
    TIFFOpenOptionsSetWarningHandlerExtR(options, on_warning, handle);
    handle->tiff = TIFFClientOpenExt("scan", "rm", handle, on_read, on_write, on_seek, on_close,
                                     on_size, NULL, NULL, options);
    TIFFOpenOptionsFree(options);
    return handle->tiff != NULL ? FLECK_OK : fleck_tiff_handle_fail(handle, err);
}

unsigned fleck_tiff_short_tag(TIFF *tiff, uint32_t tag, unsigned otherwise)
{
    uint16_t value;

    return TIFFGetFieldDefaulted(tiff, tag, &value) ? value : otherwise;
}

void fleck_tiff_handle_close(fleck_tiff_handle *handle)
{
    if (handle->tiff != NULL)
        TIFFClose(handle->tiff);
    handle->tiff = NULL;
}
