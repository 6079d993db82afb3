/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How far points lie from the border of a mask, and how much of it lies farther than distances. */
#ifndef FLECK_MEASURE_BORDER_SURVEY_H
#define FLECK_MEASURE_BORDER_SURVEY_H

#include "fleck/geometry.h"
#include "fleck/segment.h"

/* A distance that equals another one but for rounding does not exceed it. */
#define FLECK_BEYOND_TIE (1 + 1e-12)

/*
 * points          n points in the mask's bounding box, its border included; borrowed
 * distances_mm    n distances, ascending
 * border_mm       out: border distance of each point's pixel, see fleck_mask_distance
 * beyond_px       out: for each distance the pixels whose border distance exceeds it
 *
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_border_survey(const fleck_geometry *geometry, const fleck_mask *mask,
                                 const fleck_point_mm *points, const double *distances_mm, size_t n,
                                 double *border_mm, uint64_t *beyond_px, fleck_error *err);

#endif
