/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How far the coverage of one patch can be trusted, from how it scatters over smaller areas. */
#ifndef FLECK_SAMPLING_H
#define FLECK_SAMPLING_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/segment.h"

#ifdef __cplusplus
extern "C" {
#endif

/* The group `sampling` of a record, and the standard error of coverage. NAN where undefined. */
typedef struct fleck_sampling {
    double integral_range_mm2; /* lim A Var(coverage over A) / (p (1 - p)) as A grows */
    double coverage_se;        /* sqrt(p (1 - p) integral range / area of the region) */
    double area_for_1pct_mm2;  /* area at which that is 0.01 */
    /*
     * Slope of ln Var over ln A for the larger blocks: -1 for a texture that has an integral range
     * (some -0.9 in a finite patch), nearer to 0 for long fibres and strata.
     */
    double exponent;
    bool exponent_is_slow; /* the slope is clearly above -1: coverage_se is then too small */
    double tiles_cv;       /* sample sd of the tiles' coverage over their mean; from 2 tiles on */
    double evenness; /* variance of the tiles' coverage over what smaller areas foretell; 4 tiles on */
} fleck_sampling;

/*
 * Gathers ink in square cells as rows arrive, and then the variance of coverage over blocks of
 * cells. The texture's own length l = p (1 - p) / (ink runs per mm), along rows and columns, is
 * measured too; blocks from 2.5 l to 8 l, at most a quarter of the region's shorter side, give the
 * integral range by a fit with the corrections for the blocks' border and for the mean of the patch.
 * Takes at most 16 MB, and a row of runs.
 * Source: Matheron (1971), The Theory of Regionalized Variables; Kanit et al. (2003), Int. J. Solids
 * Struct. 40, 3647-3679.
 */
typedef struct fleck_cell_counts fleck_cell_counts;

/*
 * mask       of the region's size; NULL: the whole region; borrowed until _free. Cells and tiles that
 *            are not wholly inside do not count
 * tile_px    side of the tiles (of oblong pixels too, as in the spectrum) of tiles_cv and evenness,
 *            side by side from the region's top left; 0: no tiles
 * out        to be ended with fleck_cell_counts_free; NULL on failure
 *
 * Errors: FLECK_BAD_CALL, FLECK_NO_RESOURCE. Thread-safe for different handles.
 */
FLECK_API fleck_status fleck_cell_counts_new(const fleck_geometry *geometry, const fleck_mask *mask,
                                             size_t tile_px, fleck_cell_counts **out,
                                             fleck_error *err);

/*
 * Hand over the next row, from top to bottom, as its ink runs, all inside the mask.
 * Errors: FLECK_BAD_CALL (too many rows, a run that leaves the row). O(runs + ink cells).
 */
FLECK_API fleck_status fleck_cell_counts_row(fleck_cell_counts *counts, const fleck_run *runs,
                                             size_t count, fleck_error *err);

/* The figures; once, after the last row. Errors: FLECK_BAD_CALL (rows missing, a second call). */
FLECK_API fleck_status fleck_cell_counts_finish(fleck_cell_counts *counts, fleck_sampling *out,
                                                fleck_error *err);

/* End it; NULL is allowed. */
FLECK_API void fleck_cell_counts_free(fleck_cell_counts *counts);

#ifdef __cplusplus
}
#endif

#endif
