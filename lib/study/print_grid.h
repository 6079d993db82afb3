/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The scan of a measured patch, read once more as a grid of ink for registration. */
#ifndef FLECK_STUDY_PRINT_GRID_H
#define FLECK_STUDY_PRINT_GRID_H

#include "fleck/study.h"
#include "study/registration.h"

/*
 * Side of a cell that suits the given rows: 0.15 mm, or three pixels of the coarsest scan.
 */
double fleck_print_grid_cell_mm(const fleck_study *study, const size_t *rows, size_t count);

/*
 * Read the middle of a patch, at most 48 mm by 48 mm at the finest cells, with the threshold, channel and
 * calibration of its record; a local threshold is taken at its mean.
 *
 * The scan is looked for as the record names it, and then from the folder that holds the run.
 *
 * Errors: FLECK_BAD_INPUT (no scan there any more, another one in its place, a patch measured under a mask,
 * without speckle, or too small), FLECK_NO_RESOURCE. The message names the patch. Ended with
 * fleck_ink_grid_clear, on failure too.
 */
fleck_status fleck_print_grid_read(const fleck_study *study, size_t row, double cell_mm,
                                   fleck_ink_grid *grid, fleck_error *err);

#endif
