/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The rows of a sheet, as the scanner sees them before it codes them. */
#ifndef FLECK_PHANTOM_SHEET_ROWS_H
#define FLECK_PHANTOM_SHEET_ROWS_H

#include "phantom/phantom_sheet_internal.h"

typedef struct fleck_sheet_rows fleck_sheet_rows;

/* Begin at the top; the sheet's sums start anew. Errors: FLECK_NO_RESOURCE. */
fleck_status fleck_sheet_rows_new(fleck_phantom_sheet *sheet, fleck_sheet_rows **out,
                                  fleck_error *err);

/* The next row of reflectance, not cut; the last one completes the sheet's sums. */
fleck_status fleck_sheet_rows_next(fleck_sheet_rows *rows, double *reflectance, fleck_error *err);

/* End it; NULL is allowed. */
void fleck_sheet_rows_free(fleck_sheet_rows *rows);

#endif
