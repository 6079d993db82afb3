/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Doubt: bare paper that is lighter beside ink than further off, as sharpening makes it. */
#ifndef FLECK_MEASURE_DOUBT_HALO_H
#define FLECK_MEASURE_DOUBT_HALO_H

#include <stdint.h>

#include "fleck/error.h"
#include "measure/clear_rows.h"
#include "measure/doubt.h"

enum { FLECK_HALO_MOST_PX = 40 };

/* Start from {0}. Index: fleck_phase, then distance from the edge less 1. Of near - far, times 4.
 */
typedef struct fleck_doubt_halo_sums {
    uint64_t count[2];
    int64_t sum[2][FLECK_HALO_MOST_PX];
    uint64_t squares[2][FLECK_HALO_MOST_PX];
    size_t unit_px;
} fleck_doubt_halo_sums;

typedef struct fleck_doubt_halo {
    fleck_doubt
        doubt; /* statistic: overshoot of bare paper beside ink, as a share of the contrast */
    double undershoot; /* of ink beside bare paper; NAN when ink is nowhere wide enough. No ground
                          for a doubt: ink pressed to the rim of a dot looks the same */
} fleck_doubt_halo;

/* Take the band that was just completed. */
void fleck_doubt_halo_add(fleck_doubt_halo_sums *sums, const fleck_clear_rows *clear);

/* ink_reflectance, bare_reflectance: means of the classes. NAN without enough room beside edges. */
fleck_doubt_halo fleck_doubt_halo_finish(const fleck_doubt_halo_sums *sums, double ink_reflectance,
                                         double bare_reflectance);

/* Errors: FLECK_NO_RESOURCE. Adds nothing when the doubt is not exceeded. */
fleck_status fleck_doubt_halo_warn(const fleck_doubt_halo *halo, fleck_warnings *warnings,
                                   fleck_error *err);

#endif
