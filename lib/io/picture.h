/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Writing pictures: PNG and TIFF, grey, RGB or by a palette, 8 or 16 bits, whole or not at all. */
#ifndef FLECK_IO_PICTURE_H
#define FLECK_IO_PICTURE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"

typedef enum fleck_picture_format { FLECK_PICTURE_PNG, FLECK_PICTURE_TIFF } fleck_picture_format;

typedef struct fleck_picture {
    fleck_picture_format format;
    size_t width_px;   /* 1 to 1000000 */
    size_t height_px;  /* 1 to 1000000 */
    unsigned channels; /* 1 grey, 3 RGB */
    unsigned bits;     /* 8 or 16 per sample */
    double ppi_x;      /* 0 for both: the file says nothing of its resolution */
    double ppi_y;
    bool srgb; /* PNG only: say that the samples follow the sRGB curve */
    /* PNG of 8 bits and 1 channel only: samples are places in this list of RGB colours; borrowed */
    const uint8_t (*palette)[3];
    size_t palette_count; /* 0 for no palette, else 1 to 256 */
} fleck_picture;

/*
 * Gives row y, from 0 downward, once each: width_px * channels samples, uint8_t or, with 16 bits,
 * uint16_t in the machine's order.
 */
typedef fleck_status (*fleck_picture_row)(void *context, size_t y, void *samples, fleck_error *err);

/* Format told from the ending of the name (.png, .tif, .tiff, any case); false for another one. */
bool fleck_picture_format_from_name(const char *path, fleck_picture_format *format);

/*
 * Write a picture row by row. PNG keeps its resolution as whole pixels per metre (600 ppi becomes
 * 599.9988), TIFF as a fraction. Rows are packed without loss (deflate).
 *
 * row, context    where the rows come from; a failing row ends the writing with its status
 *
 * Errors: FLECK_BAD_CALL (size, channels, bits or ppi out of range), FLECK_NO_RESOURCE (memory,
 * disk); the file of that name is then as it was before. Thread-safe for different paths.
 */
fleck_status fleck_picture_write(const char *path, const fleck_picture *picture,
                                 fleck_picture_row row, void *context, fleck_error *err);

/* The same from samples in memory, row by row without gaps; borrowed. */
fleck_status fleck_picture_write_samples(const char *path, const fleck_picture *picture,
                                         const void *samples, fleck_error *err);

#endif
