/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Reading the rows of an area of a scan, with its tone as far as the calibration goes. */
#ifndef FLECK_CALIBRATE_SCAN_AREA_H
#define FLECK_CALIBRATE_SCAN_AREA_H

#include "fleck/calibration.h"

typedef struct fleck_area_reader {
    fleck_scan *scan;
    const fleck_scan_info *info;
    fleck_tone *tone;        /* NULL unless asked for */
    fleck_geometry geometry; /* of the area; pixel sizes NAN when they are not known */
    size_t left_px, top_px;
    size_t next_row_px; /* of the scan */
    unsigned char *row;
    size_t pixel_bytes;
} fleck_area_reader;

typedef enum fleck_area_need {
    FLECK_AREA_CODES,          /* codes are enough */
    FLECK_AREA_CODES_AND_SIZE, /* and the size of a pixel has to be known */
    FLECK_AREA_TONE,
    FLECK_AREA_TONE_AND_SIZE
} fleck_area_need;

/*
 * Open an area for the given part of the calibration, see fleck_calibration_bind; a pixel's size is
 * the calibration's, else the one asked for, else the file's.
 *
 * reader    out: to be ended with fleck_area_close, also on failure
 *
 * Errors: FLECK_BAD_INPUT (the scan, a box outside it, no resolution for a box), FLECK_NO_RESOURCE.
 */
fleck_status fleck_area_open(fleck_calibration *calibration, const fleck_scan_area *area,
                             const char *part, fleck_area_need need, fleck_area_reader *reader,
                             fleck_warnings *warnings, fleck_error *err);

/*
 * Pixels of the area's next row.
 *
 * y_px      out: its row in the scan
 * pixels    out: borrowed until the next call
 */
fleck_status fleck_area_next_row(fleck_area_reader *reader, size_t *y_px,
                                 const unsigned char **pixels, fleck_error *err);

void fleck_area_close(fleck_area_reader *reader);

/* A sample of a row as its code. */
unsigned fleck_area_code(const fleck_area_reader *reader, const unsigned char *pixels, size_t x_px,
                         unsigned sample);

/* First pixel that start to end mm cover, and how many; false when they leave 0 to limit_px, or none is. */
bool fleck_span_to_pixels(double start_mm, double end_mm, double pixel_mm, size_t limit_px,
                          size_t *first, size_t *count);

/* Pixels that a box in mm covers, as a region of a measurement does; false outside the scan. */
bool fleck_box_to_pixels(const fleck_box_mm *box, const fleck_scan_info *info, double pixel_x_mm,
                         double pixel_y_mm, size_t *left_px, size_t *top_px, size_t *width_px,
                         size_t *height_px);

#endif
