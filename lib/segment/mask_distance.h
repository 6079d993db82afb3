/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How far the pixels of a mask lie from its border. */
#ifndef FLECK_SEGMENT_MASK_DISTANCE_H
#define FLECK_SEGMENT_MASK_DISTANCE_H

#include <stdbool.h>

#include "fleck/segment.h"

/*
 * Goes through a mask row by row. A pixel's border distance is that of its centre to the centre of
 * the nearest outside pixel, less half a pixel, of oblong pixels half the larger side: what is left
 * between the centre and the outside pixel where that lies along the larger side, and no more than
 * that elsewhere. It is at most 0 for outside pixels, and may be for inside ones when pixels are
 * oblong.
 *
 * Memory is a few rows. Each row costs O(width), the downward search O(pixels) for all together.
 */
typedef struct fleck_mask_distance fleck_mask_distance;

/*
 * mask                  borrowed until fleck_mask_distance_free
 * beyond_is_outside     whether all pixels beyond the bounding box are outside, or not there
 *
 * Errors: FLECK_NO_RESOURCE. Source: Felzenszwalb & Huttenlocher (2012), Theory of Computing 8.
 */
fleck_status fleck_mask_distance_new(const fleck_mask *mask, double pixel_x_mm, double pixel_y_mm,
                                     bool beyond_is_outside, fleck_mask_distance **out,
                                     fleck_error *err);

/* Border distances of the next row, from the top; INFINITY where there is no outside pixel at all.
 */
const double *fleck_mask_distance_row_mm(fleck_mask_distance *distance);

/* End it; NULL is allowed. */
void fleck_mask_distance_free(fleck_mask_distance *distance);

/*
 * The pixels whose border distance exceeds margin_mm, as a new mask of the same size. Pixels beyond
 * the bounding box are not there. Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_mask_shrink(const fleck_mask *mask, double pixel_x_mm, double pixel_y_mm,
                               double margin_mm, fleck_mask **out, fleck_error *err);

#endif
