/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FLECK_CALIBRATE_RESOLUTION_H
#define FLECK_CALIBRATE_RESOLUTION_H

#include "fleck/error.h"
#include "fleck/scan.h"

typedef struct fleck_resolution {
    double ppi_x;
    double ppi_y;
    const char *from; /* "option" or "file"; static storage */
} fleck_resolution;

/*
 * Choose the resolution that lengths rest on: what the caller asks for, else what the file says.
 *
 * asked_ppi_x, asked_ppi_y    0 when not asked for
 * warnings                    gains `resolution-placeholder` for the 72 ppi that programs write
 *                             when they know nothing
 *
 * Errors: FLECK_BAD_INPUT (neither there: no size is ever guessed), FLECK_NO_RESOURCE.
 */
fleck_status fleck_resolution_choose(const fleck_scan_info *info, double asked_ppi_x,
                                     double asked_ppi_y, fleck_resolution *out,
                                     fleck_warnings *warnings, fleck_error *err);

#endif
