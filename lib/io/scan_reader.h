/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What scan.c asks of each format, and what the formats share. */
#ifndef FLECK_IO_SCAN_READER_H
#define FLECK_IO_SCAN_READER_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/scan.h"
#include "io/byte_source.h"

/* An image as its file stores it. */
typedef struct fleck_scan_stored {
    fleck_scan_info info; /* width_px and the like before the orientation is applied */
    unsigned orientation; /* 1 to 8, as in TIFF and Exif */
    bool at_once;         /* interlaced: there is no first row before the last byte was read */
} fleck_scan_stored;

/*
 * One format. open reads what stands before the pixels and allocates nothing that grows with the
 * size the file claims; scan.c judges that size before the first row is asked for. After a failure
 * only close is called.
 */
typedef struct fleck_scan_kind {
    fleck_status (*open)(const fleck_byte_source *source, size_t page, fleck_scan_stored *stored,
                         void **reader, fleck_error *err);
    fleck_status (*read_row)(void *reader, void *row, fleck_error *err);
    /* all rows, each row_bytes long; called only where at_once is set, may be NULL else */
    fleck_status (*read_all)(void *reader, void *rows, size_t row_bytes, fleck_error *err);
    void (*close)(void *reader); /* NULL is allowed */
    /* see fleck_scan_block_rows; NULL: there are no blocks */
    fleck_status (*block_rows)(void *reader, size_t *rows, fleck_error *err);
    /* go on with the first row of a block; called only where the one above has told of blocks */
    void (*go_on_at)(void *reader, size_t row);
} fleck_scan_kind;

extern const fleck_scan_kind fleck_scan_png;
extern const fleck_scan_kind fleck_scan_tiff;
extern const fleck_scan_kind fleck_scan_jpeg;
extern const fleck_scan_kind fleck_scan_rows; /* opened by the function below, on no bytes */

/* Take over a source of rows when all in it is in range. Errors: FLECK_BAD_CALL. */
fleck_status fleck_scan_rows_take(const fleck_row_source *source, fleck_row_source *known,
                                  fleck_error *err);

/* Check a source of rows, start it and tell what its scan is. Errors: as fleck_scan_open_rows. */
fleck_status fleck_scan_rows_open(const fleck_row_source *source, fleck_scan_stored *stored,
                                  void **reader, fleck_error *err);

enum { FLECK_SCAN_ICC_LIMIT = 64 << 20 }; /* bytes; printer profiles have some 3 MB */

#define FLECK_SCAN_SIDE_LIMIT 0x7fffffffu /* pixels; what PNG allows */

/*
 * The most memory that a file of this many bytes may make us take: a small file that claims a huge
 * image is damaged or hostile.
 */
uint64_t fleck_scan_memory_limit(uint64_t file_bytes);

/* The same for what is decoded at once: a row, a strip or a row of tiles. */
uint64_t fleck_scan_band_limit(uint64_t file_bytes);

/*
 * Pixels per inch of a resolution with its TIFF unit (1 none, 2 inch, 3 cm); 0 when there is no
 * unit, or the number is absurd: no scanner has less than 1 or more than a million.
 */
double fleck_scan_ppi(double resolution, double unit);

#endif
