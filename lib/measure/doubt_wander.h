/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Doubt: the ink's own tone changes from place to place inside a patch. */
#ifndef FLECK_MEASURE_DOUBT_WANDER_H
#define FLECK_MEASURE_DOUBT_WANDER_H

#include "fleck/error.h"
#include "measure/doubt.h"
#include "measure/ink_cells.h"

/* Ink tones of the cells in one field of about 3 x 3 cells, weighted by their pixels. */
typedef struct fleck_wander_field {
    double cells, weight, sum, squares;
} fleck_wander_field;

typedef struct fleck_doubt_wander_sums {
    size_t across, down;        /* fields; the outermost cells belong to none */
    fleck_wander_field *fields; /* `across` of them, the row of fields that is filling */
    double field_count, cell_count, weight, weight_squares;
    double sum, field_squares; /* of field means, weighted */
    double within;             /* sum of squares about the field means */
} fleck_doubt_wander_sums;

typedef struct fleck_doubt_wander {
    fleck_doubt doubt; /* statistic: range of an even slope that scatters as the fields' tones do,
                          less what their sampling error explains, as a share of the contrast */
    double z;          /* of the analysis of variance, as a normal deviate */
} fleck_doubt_wander;

/* False when there is no memory. Ended with fleck_doubt_wander_end, also after a failure. */
bool fleck_doubt_wander_begin(fleck_doubt_wander_sums *sums, const fleck_ink_cells *cells);

/* Take the row of cells that was just completed. */
void fleck_doubt_wander_add(fleck_doubt_wander_sums *sums, const fleck_ink_cells *cells);

/* NAN in regions below 8 mm on a side, and where too few cells have ink wide enough. */
fleck_doubt_wander fleck_doubt_wander_finish(const fleck_doubt_wander_sums *sums,
                                             double ink_reflectance, double bare_reflectance);

void fleck_doubt_wander_end(fleck_doubt_wander_sums *sums);

/* Errors: FLECK_NO_RESOURCE. Adds nothing when the doubt is not exceeded. */
fleck_status fleck_doubt_wander_warn(const fleck_doubt_wander *wander, fleck_warnings *warnings,
                                     fleck_error *err);

#endif
