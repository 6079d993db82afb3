/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reading scans, row by row, through one interface: PNG, TIFF, JPEG, and rows of the caller's own. */
#ifndef FLECK_SCAN_H
#define FLECK_SCAN_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Where pixels come from. */
typedef enum fleck_scan_format {
    FLECK_SCAN_PNG,
    FLECK_SCAN_TIFF,
    FLECK_SCAN_JPEG,
    FLECK_SCAN_ROWS /* rows that a caller hands over */
} fleck_scan_format;

/*
 * What a scan is, after its orientation tag has been applied.
 *
 * A row holds width_px pixels of `channels` colour samples, followed by one alpha sample each when
 * has_alpha is set. A sample is a uint8_t (sample_bytes 1) or a uint16_t in the machine's order
 * (sample_bytes 2). Files of 1, 2 and 4 bits are widened so that full scale is 255; palettes are
 * expanded to RGB; larger always means lighter, save in CMYK, where it means more ink. Samples of a
 * TIFF that are neither colour nor alpha are left out.
 */
typedef struct fleck_scan_info {
    fleck_scan_format format;
    size_t width_px;
    size_t height_px;
    unsigned bits;         /* per sample, or per palette index, as stored: 1, 2, 4, 8 or 16 */
    unsigned sample_bytes; /* 1 or 2 */
    unsigned channels;     /* colour samples: 1 grey, 3 RGB, 4 CMYK */
    bool has_alpha;        /* alpha is straight, not premultiplied */
    double ppi_x;          /* as the file claims it; 0 when it does not, or absurdly */
    double ppi_y;
    const void *icc;       /* embedded profile, NULL when there is none; owned by the scan */
    size_t icc_bytes;
    bool srgb;             /* a PNG sRGB chunk is there */
    double gamma;          /* the PNG gAMA value as an exponent (0.45455), 0 when there is none */
    size_t page;           /* page that is read, from 1 */
    size_t pages;          /* pages in the file, at least 1 */
    unsigned jpeg_quality; /* of JPEG: estimated quality 1 to 100; 0 for other formats */
    bool jpeg_halved_colour; /* of JPEG: colour is kept at a lower resolution than lightness */
} fleck_scan_info;

/* A scan that is being read. */
typedef struct fleck_scan fleck_scan;

/* "png", "tiff", "jpeg" or "rows"; static storage. */
FLECK_API const char *fleck_scan_format_name(fleck_scan_format format);

/*
 * Open a scan and read all that stands before its pixels. The format is told from the content, not
 * from the name. A size that no compression could bring into the file's bytes is refused.
 *
 * path    the file; borrowed for the call
 * page    page of a TIFF from 1; 1 for the others
 * out     the scan, to be ended with fleck_scan_close; NULL on failure
 *
 * Errors: FLECK_BAD_INPUT (not readable, not an image of a known kind, damaged, of a kind that
 * cannot be measured), FLECK_NO_RESOURCE. Thread-safe for different scans.
 */
FLECK_API fleck_status fleck_scan_open(const char *path, size_t page, fleck_scan **out,
                                       fleck_error *err);

/* The same from bytes in memory, which are borrowed until fleck_scan_close. */
FLECK_API fleck_status fleck_scan_open_memory(const void *bytes, size_t size, size_t page,
                                              fleck_scan **out, fleck_error *err);

/*
 * Rows that come from elsewhere than a file: a scanner that is just at it, a camera, a decoder of the
 * caller's own. Pixels are as fleck_scan_info has them.
 */
typedef struct fleck_row_source {
    size_t struct_bytes;     /* set by fleck_row_source_default */
    void *context;           /* handed to both functions */
    size_t width_px;         /* 1 to 2^31 - 1 */
    size_t height_px;        /* likewise */
    unsigned sample_bytes;   /* 1: uint8_t, 255 is full scale; 2: uint16_t in the machine's order, 65535 */
    unsigned channels;       /* 1 grey, 3 RGB; larger is lighter */
    bool has_alpha;          /* one straight alpha sample behind the colours of each pixel */
    double ppi_x;            /* 1 to 1000000 pixels per inch; 0 and 0: not known */
    double ppi_y;
    const void *icc;         /* profile of the samples, NULL: none; borrowed as the source is */
    size_t icc_bytes;
    bool srgb;               /* the samples follow the sRGB curve of IEC 61966-2-1 */
    double gamma;            /* they follow reflectance^gamma, 0.45455 for 1 / 2.2; 0: not known */
    /*
     * Fill the next row, number y_px, 0 at the top: width_px * (channels + alpha) * sample_bytes bytes.
     * What it returns instead of FLECK_OK ends the reading and is handed on with *err, never NULL.
     */
    fleck_status (*read_row)(void *context, size_t y_px, void *row, fleck_error *err);
    /*
     * Begin at row 0: called whenever a scan is opened on the source, also for the first time. Rows must be
     * the same each time. NULL: the rows can be had only once.
     */
    fleck_status (*start)(void *context, fleck_error *err);
} fleck_row_source;

/* 8-bit grey of unknown size, resolution and curve, without functions. */
FLECK_API void fleck_row_source_init(fleck_row_source *source, size_t struct_bytes);

/* The same as a value. */
static inline fleck_row_source fleck_row_source_default(void)
{
    fleck_row_source source;

    fleck_row_source_init(&source, sizeof source);
    return source;
}

/*
 * Open a scan on rows of the caller's. Its functions are called from within the calls on this scan,
 * one at a time.
 *
 * source    copied; what it points to is borrowed until fleck_scan_close
 *
 * Errors: FLECK_BAD_CALL (a member out of range), what source->start returns, FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_scan_open_rows(const fleck_row_source *source, fleck_scan **out,
                                            fleck_error *err);

/* What the scan is; valid until fleck_scan_close. */
FLECK_API const fleck_scan_info *fleck_scan_get_info(const fleck_scan *scan);

/*
 * Bytes that one row of fleck_scan_read_row needs: width_px * (channels + alpha) * sample_bytes.
 */
FLECK_API size_t fleck_scan_row_bytes(const fleck_scan *scan);

/*
 * Read the next row, from top to bottom. Upright images stream; interlaced ones and those turned by
 * a tag are held in memory from the first call on, up to 4 GiB.
 *
 * Checksums and end marks stand behind the pixels: a damaged file may give wrong rows before the
 * call that fails, and is known to be whole only when its last row was read.
 *
 * row    fleck_scan_row_bytes bytes, aligned for uint16_t; owned by the caller
 *
 * Errors: FLECK_BAD_INPUT (file ends early or is damaged; a later call fails in the same way),
 * FLECK_BAD_CALL (no row left), FLECK_NO_RESOURCE. Not thread-safe on one scan.
 */
FLECK_API fleck_status fleck_scan_read_row(fleck_scan *scan, void *row, fleck_error *err);

/* End a scan; NULL is allowed. */
FLECK_API void fleck_scan_close(fleck_scan *scan);

#ifdef __cplusplus
}
#endif

#endif
