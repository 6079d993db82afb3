/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the parts of calibrating share. */
#ifndef FLECK_CALIBRATE_CALIBRATION_H
#define FLECK_CALIBRATE_CALIBRATION_H

#include "fleck/calibration.h"

/* Two resolutions are the same to 1 %. */
bool fleck_ppi_agree(double a, double b);

/* "luminance", "red", "green", "blue", or "grey" for grey scans. */
const char *fleck_calibration_channel_name(const fleck_calibration *calibration, unsigned channel);

/*
 * Let a scan take part: the first one decides what the calibration is for, the others must fit.
 * The scan is noted with its SHA-256, once for each part.
 */
fleck_status fleck_calibration_bind(fleck_calibration *calibration, const fleck_scan_info *info,
                                    const char *path, const char *part, fleck_warnings *warnings,
                                    fleck_error *err);

/* Below this share of the mean light a field is no evenness any more. */
#define FLECK_LEAST_FIELD 0.2

/* Field at a place, x and y from -1 to 1. */
double fleck_field_at(const double coefficients[FLECK_FIELD_TERMS], double x, double y);

/* The terms of the field there, in the order of the coefficients. */
void fleck_field_terms(double x, double y, double terms[FLECK_FIELD_TERMS]);

fleck_status fleck_calibration_no_memory(fleck_error *err);

#endif
