/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One libtiff handle on one page, with its messages kept to itself. */
#ifndef FLECK_IO_TIFF_HANDLE_H
#define FLECK_IO_TIFF_HANDLE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include <tiffio.h>

#include "io/ifd.h"

/* Stays where it is while it is open: libtiff holds its address. */
typedef struct fleck_tiff_handle {
    TIFF *tiff;
    const fleck_byte_source *source; /* borrowed */
    uint64_t offset;
    /* the header with the wanted page's directory as the first: libtiff never walks the others */
    uint8_t header[16];
    size_t header_bytes;
    bool decoding;     /* set by the owner: from here on warnings count too */
    bool damaged;      /* libtiff complained of the pixels */
    char message[128]; /* its first words, empty when there were none */
} fleck_tiff_handle;

/*
 * Open the page whose directory stands at `directory`. libtiff may take at most memory_limit bytes
 * at a time. To be ended with fleck_tiff_handle_close, after a failure too.
 * Errors: FLECK_BAD_INPUT, FLECK_NO_RESOURCE.
 */
fleck_status fleck_tiff_handle_open(fleck_tiff_handle *handle, const fleck_ifd_file *file,
                                    uint64_t directory, uint64_t memory_limit, fleck_error *err);

/* Fill *err from libtiff's first message; FLECK_BAD_INPUT. */
fleck_status fleck_tiff_handle_fail(const fleck_tiff_handle *handle, fleck_error *err);

/* A tag of one 16-bit number, or its default in TIFF, or `otherwise`. */
unsigned fleck_tiff_short_tag(TIFF *tiff, uint32_t tag, unsigned otherwise);

/* A handle that was never opened, all zero, is allowed. */
void fleck_tiff_handle_close(fleck_tiff_handle *handle);

#endif
