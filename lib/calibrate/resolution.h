/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FLECK_CALIBRATE_RESOLUTION_H
#define FLECK_CALIBRATE_RESOLUTION_H

#include "fleck/calibration.h"
#include "fleck/error.h"
#include "fleck/scan.h"

typedef struct fleck_resolution {
    double ppi_x;
    double ppi_y;
    const char *from; /* "option", "calibration" or "file"; static storage */
} fleck_resolution;

/*
 * Choose the resolution that lengths rest on: what the caller asks for, else what the calibration
 * measured, else what the file says.
 *
 * asked_ppi_x, asked_ppi_y    0 when not asked for
 * calibration                 NULL: none
 * warnings                    gains `resolution-placeholder` for the 72 ppi that programs write
 *                             when they know nothing, and `resolution-differs` when the file says
 *                             something else than the calibration by more than 1 %
 *
 * Errors: FLECK_BAD_INPUT (neither there: no size is ever guessed), FLECK_NO_RESOURCE.
 */
fleck_status fleck_resolution_choose(const fleck_scan_info *info, double asked_ppi_x,
                                     double asked_ppi_y, const fleck_calibration *calibration,
                                     fleck_resolution *out, fleck_warnings *warnings,
                                     fleck_error *err);

/* Add `resolution-differs` when it applies. Errors: FLECK_NO_RESOURCE. */
fleck_status fleck_resolution_compare(const fleck_scan_info *info,
                                      const fleck_calibration_length *length,
                                      fleck_warnings *warnings, fleck_error *err);

#endif
