/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Doubt: a scan kept as JPEG. */
#ifndef FLECK_MEASURE_DOUBT_JPEG_H
#define FLECK_MEASURE_DOUBT_JPEG_H

#include "fleck/error.h"
#include "fleck/scan.h"

/*
 * Adds `jpeg` for every JPEG, and `jpeg-halved-colour` when its colour was kept at a lower
 * resolution. Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_doubt_jpeg_warn(const fleck_scan_info *info, fleck_warnings *warnings,
                                   fleck_error *err);

#endif
