/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The pattern of dots: how their centroids lie to each other at each distance, and whether they are
 * clustered, random or regular for dots of their size.
 */
#ifndef FLECK_PATTERN_H
#define FLECK_PATTERN_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/random_set.h"
#include "fleck/segment.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- functions of a point pattern ---- */

/*
 * Points in a rectangle of width_mm x height_mm, their origin its top left, its border included.
 * What the four functions below share:
 *
 * points       n of them; borrowed; their order changes no digit
 * r_mm         `count` distances above 0, rising
 * out          `count` values; NAN where there is none, as for too few points
 *
 * Errors: FLECK_BAD_CALL (size not > 0, a point outside, distances that do not rise),
 * FLECK_NO_RESOURCE. Thread-safe.
 */

/*
 * Ripley's K with the translation correction: A / (n (n - 1)) times the sum over ordered pairs no
 * farther apart than r of A / ((X - |dx|) (Y - |dy|)). L(r) is sqrt(K / pi): r for random points,
 * below it where points keep apart. Distances must be below the rectangle's shorter side. O(pairs
 * within r). Source: Ripley (1976), J. Appl. Prob. 13; Ohser (1983) for the correction.
 */
FLECK_API fleck_status fleck_pattern_ripley_k(const fleck_point_mm *points, size_t n,
                                              double width_mm, double height_mm, const double *r_mm,
                                              size_t count, double *k_mm2, fleck_error *err);

/*
 * Pair correlation g: density of pairs at a distance over that of random points, which have 1. The
 * Epanechnikov kernel of half width h over the distances, the same correction, 2 pi r below.
 *
 * half_width_mm    h; 0: 0.15 / sqrt(n / A), a rule of Stoyan's. Distances plus h must be below the
 *                  rectangle's shorter side
 *
 * Source: Stoyan & Stoyan (1994), Fractals, Random Shapes and Point Fields, section 15.
 */
FLECK_API fleck_status fleck_pattern_pair_correlation(const fleck_point_mm *points, size_t n,
                                                      double width_mm, double height_mm,
                                                      double half_width_mm, const double *r_mm,
                                                      size_t count, double *g, fleck_error *err);

/*
 * Nearest-neighbour function G: share of points whose nearest neighbour is no farther than r, by
 * the product-limit estimate, for which a distance beyond the border counts as not known. Source:
 * Baddeley & Gill (1997), Ann. Statist. 25, 263-292.
 */
FLECK_API fleck_status fleck_pattern_nearest_g(const fleck_point_mm *points, size_t n,
                                               double width_mm, double height_mm,
                                               const double *r_mm, size_t count, double *g,
                                               fleck_error *err);

/*
 * Empty-space function F: share of places whose nearest point is no farther than r, by the same
 * estimate over the centres of a grid.
 *
 * cells    of the grid along the longer side, 1 to 4096; the shorter has its share
 */
FLECK_API fleck_status fleck_pattern_empty_f(const fleck_point_mm *points, size_t n,
                                             double width_mm, double height_mm, size_t cells,
                                             const double *r_mm, size_t count, double *f,
                                             fleck_error *err);
#ifdef __cplusplus
}
#endif

#endif
