/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a sheet is decoded from: a file, bytes in memory, rows of the caller's. */
#ifndef FLECK_RECORD_SHEET_SOURCE_H
#define FLECK_RECORD_SHEET_SOURCE_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/inputs.h"
#include "fleck/scan.h"
#include "io/file_stamp.h"
#include "io/sha256.h"
#include "record/spool.h"

typedef struct fleck_sheet_source {
    const char *path;                /* of the file */
    const fleck_input_source *given; /* NULL: the file */
    size_t page;

    /* filled when it is identified */
    fleck_file_stamp stamp; /* of the file before it was hashed */
    char sha256[FLECK_SHA256_TEXT_BYTES];

    /* rows that come only once, put aside */
    unsigned char *kept; /* NULL: in the spool */
    fleck_spool *spool;
    size_t row_bytes;
} fleck_sheet_source;

/* Bytes to put aside so that the source can be read again; 0: none, it can by itself. */
size_t fleck_sheet_source_bytes_aside(const fleck_sheet_source *source);

/*
 * Hash the source, and put its rows aside when they come only once.
 *
 * in_memory    so many bytes may be kept; false: they go to a temporary file
 * stop         asked before each row; NULL: never. What it returns ends the reading
 *
 * Errors: those of the scan, FLECK_NO_RESOURCE.
 */
fleck_status fleck_sheet_source_identify(fleck_sheet_source *source, bool in_memory,
                                         fleck_status (*stop)(void *context, fleck_error *err),
                                         void *context, fleck_error *err);

/* Colours of a pixel, without reading any; 0 when the scan cannot be opened. */
unsigned fleck_sheet_source_channels(const fleck_sheet_source *source);

/* A scan from its first row on. The source must stay where it is until the scan is closed. */
fleck_status fleck_sheet_source_open(fleck_sheet_source *source, fleck_scan **out, fleck_error *err);

/*
 * Whether it is still what was hashed. A new stamp of a file alone is no harm (touched, or moved away
 * and back): the bytes decide then. Memory and rows are the caller's care.
 */
bool fleck_sheet_source_is_unchanged(const fleck_sheet_source *source);

/* Free what was put aside. */
void fleck_sheet_source_clear(fleck_sheet_source *source);

#endif
