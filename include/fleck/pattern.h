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
 * below it where points keep apart. Distances must be below the rectangle's shorter side.
 * O(pairs within r).
 * Source: Ripley (1976), J. Appl. Prob. 13; Ohser (1983) for the correction.
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
 * the product-limit estimate, for which a distance beyond the border counts as not known.
 * Source: Baddeley & Gill (1997), Ann. Statist. 25, 263-292.
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

/* ---- clustered, random or regular ---- */

/* How dots lie to each other, against dots placed at random. */
typedef enum fleck_order {
    FLECK_ORDER_NONE, /* cannot be told; see `why` */
    FLECK_ORDER_CLUSTERED,
    FLECK_ORDER_RANDOM,
    FLECK_ORDER_REGULAR
} fleck_order;

/* "clustered", "random" or "regular", static storage; NULL for none. */
FLECK_API const char *fleck_order_name(fleck_order order);

/* How thoroughly the pattern is tried against chance. */
typedef struct fleck_pattern_options {
    size_t struct_bytes; /* set by fleck_pattern_options_default */
    size_t simulations; /* of dots at random places, 19 or more; 0: no verdict */
    uint64_t seed;
    size_t window_dots;     /* about so many are looked at, 50 or more: the middle of the patch */
    uint64_t least_area_px; /* of a counted dot, see fleck_cutoff_area_px; 1 counts all */
    unsigned threads;       /* at least 1; never changes a number */
} fleck_pattern_options;

/* The only home of the defaults. */
FLECK_API void fleck_pattern_options_init(fleck_pattern_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_pattern_options fleck_pattern_options_default(void)
{
    fleck_pattern_options options;

    fleck_pattern_options_init(&options, sizeof options);
    return options;
}

/* Ended with fleck_pattern_clear. Arrays have `count` values; NULL and 0 below two dots. */
typedef struct fleck_pattern {
    /* where the dots lie that were looked at, from the region's top left */
    double window_x_mm, window_y_mm, window_width_mm, window_height_mm;
    size_t dots; /* with their centroid there */
    size_t count;
    double *r_mm; /* even steps, up to 3 / sqrt(dots per mm2), at most a quarter of the window's
                     shorter side */
    double *l_mm; /* Besag's L(r) - r: 0 for random points */
    double *l_lo_mm, *l_hi_mm; /* where all of l_mm lies in 95 % of random patches; NAN without a
                                  verdict and where it is not tested */
    double *g;                 /* pair correlation; NAN in a window too narrow for its kernel */
    double *nn_g;              /* nearest-neighbour function G */
    double *empty_f;           /* empty-space function F, from 256 cells along the longer side */
    fleck_order order;
    double order_p;       /* NAN without a verdict */
    double decided_at_mm; /* the distance that decided; NAN without a verdict */
    size_t simulations;   /* that order_p rests on */
    const char *why;      /* why there is no verdict, see below; static storage, NULL with one */
    const char *why_text; /* the same as a sentence */
} fleck_pattern;

/*
 * The pattern of a patch's dots and a verdict on it.
 *
 * dots          n components of ink, those from the cutoff on, labelled in the region with its
 *               mask; in any order; borrowed
 * mask          of the region's size; NULL: all of it. What is looked at lies in a box of inside
 *               pixels
 * grains        the Boolean model of discs that fits the patch (grain.model of a fleck_random_set);
 *               NAN in it: there is none
 * blur_sd_mm    as for fleck_random_set_maker_finish; 0 or NAN when it is not known
 * out           ended with fleck_pattern_clear; empty on failure
 *
 * Dots have a size and merge, so that random dots are no random points: their centroids keep apart.
 * They are compared with what they would be at random places: the fitted discs are drawn on the
 * pixels of the window, blurred as the scan is, labelled and cut off at the same size; L(r) - r of
 * their centroids is what random is. p is the share of all curves, the patch's counted in, that
 * deviate at least as far from the mean of all, in standard deviations, at the distance where each
 * deviates most. Distances below 1.3 times the grains' area-weighted median diameter are left out,
 * where sizes and merging rule, and those at which one in twenty of the curves has no pair yet.
 *
 * The verdict is `random` above p = 0.05, else `clustered` when the patch has more pairs than the
 * mean up to the distance where it deviates most, and `regular` when it has fewer. A lattice lacks
 * near pairs, a cluster has too many; of dots that do both at different distances the stronger side
 * is told. Of random patches 5 % are called otherwise.
 *
 * There is no verdict, which is no error, for the reasons
 *   no-simulations   options->simulations is 0
 *   few-dots         below 30 in the window
 *   no-grains        no model of discs could be fitted
 *   too-soft         the blur is a quarter of the grains' size or more
 *   no-window        no box inside the mask leaves a window clear of its border
 *   few-pairs        the model gives too few dots to compare with
 *
 * The order of the dots changes no digit. O(n) and the simulations, whose cost depends on
 * window_dots alone.
 *
 * Errors: FLECK_BAD_CALL (an option out of range, a mask of another size), FLECK_NO_RESOURCE.
 * Thread-safe.
 * Source: Myllymaki, Mrkvicka, Grabarnik, Seijo & Hahn (2017), J. R. Statist. Soc. B 79, 381-404,
 * for the test and its band; Besag (1977), J. R. Statist. Soc. B 39, 193-195, for L.
 */
FLECK_API fleck_status fleck_pattern_find(const fleck_component *dots, size_t n,
                                          const fleck_geometry *geometry, const fleck_mask *mask,
                                          const fleck_disc_model *grains, double blur_sd_mm,
                                          const fleck_pattern_options *options, fleck_pattern *out,
                                          fleck_error *err);

/* Free the arrays; NULL is allowed. */
FLECK_API void fleck_pattern_clear(fleck_pattern *pattern);

#ifdef __cplusplus
}
#endif

#endif
