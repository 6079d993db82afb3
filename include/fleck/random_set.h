/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A patch as a random set: numbers that hold at any coverage, when dots merge as well. Boundary
 * length, Euler number, two-point covariance, chord lengths, granulometry, and the discs of a
 * Boolean model.
 */
#ifndef FLECK_RANDOM_SET_H
#define FLECK_RANDOM_SET_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/segment.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- boundary length ---- */

/* Ink-bare changes along all lines of pixel centres of four directions, y taken upward. */
typedef struct fleck_crossings {
    uint64_t deg0, deg90, deg45, deg135;
} fleck_crossings;

/*
 * Boundary length by Crofton's formula. For square pixels (pi/8) px (c0 + c90 + (c45 + c135) /
 * sqrt 2); for others each direction has its own line spacing and its share of all angles.
 * Source: Crofton (1868); Legland, Kieu & Devaux (2007) for the discrete form.
 */
FLECK_API double fleck_crossings_length_mm(const fleck_crossings *crossings, double pixel_x_mm,
                                           double pixel_y_mm);

/* ---- two-point covariance ---- */

/* Chance that both of two points are ink, by the step between them; lag 0 comes first. */
typedef struct fleck_two_point {
    size_t count;
    double *lag_mm;
    double *probability; /* pairs of ink over pairs inside: unbiased; NAN without pairs */
} fleck_two_point;

/* ---- chord lengths ---- */

/*
 * Lengths of the chords of one phase along rows and columns, those that are not cut by the border.
 * A chord of l pixels on a line of n counts 1 / (n - l - 1), the inverse of its chance to lie
 * wholly inside, so that long chords are not missed, but for those longer than the region.
 * Source: Miles (1974), in one dimension.
 */
typedef struct fleck_chord_lengths {
    double chords;    /* not cut by the border */
    double cut;       /* cut by it, or by a masked pixel */
    double mean_mm;   /* weighted; NAN without chords */
    double median_mm; /* smallest length at which half the weight is reached */
    double sd_mm;     /* weighted, population form */
    size_t classes;   /* on R10 of ISO 3; 0 without chords */
    double *from_mm;  /* classes + 1 borders: a class holds from <= length < next */
    double *share;    /* of the weight */
} fleck_chord_lengths;

/* ---- granulometry ---- */

/*
 * Share of the ink that openings by discs of growing diameter take away; R20 of ISO 3, from two
 * pixels to the size that leaves nothing, at most 2 mm or a quarter of the window's shorter side.
 * Whether a pixel is taken away is judged only where the border cannot change it.
 * Pixels make sizes low, by some 0.8 of a pixel.
 * Source: Matheron (1975), Serra (1982); distances by Felzenszwalb & Huttenlocher (2012).
 */
typedef struct fleck_granulometry {
    size_t window_width_px, window_height_px; /* the middle of the region, at most window_px */
    size_t count;
    double *diameter_mm;
    double *removed;  /* 0 to 1, never falling */
    double mean_mm;   /* area-weighted, classes at their geometric middle; NAN when more than 5 %
                         are left at the largest disc */
    double median_mm; /* by straight lines on a logarithmic scale; NAN when not reached */
} fleck_granulometry;

/* ---- Boolean model of discs ---- */

/* Discs at Poisson places that may overlap, their diameters lognormal. */
typedef struct fleck_disc_model {
    double per_mm2; /* number of discs */
    double median_diameter_mm;
    double gsd; /* geometric standard deviation, at least 1 */
} fleck_disc_model;

/* Mean diameter by number. */
FLECK_API double fleck_disc_model_mean_mm(const fleck_disc_model *model);

/* Expected coverage: 1 - exp(-per_mm2 pi E[R^2]). */
FLECK_API double fleck_disc_model_covered(const fleck_disc_model *model);

/* Chance that both of two points are ink: 2p - 1 + (1-p)^2 exp(per_mm2 E[overlap]). */
FLECK_API double fleck_disc_model_two_point(const fleck_disc_model *model, double lag_mm);

/* Boundary length per area: (1-p) per_mm2 2 pi E[R]. */
FLECK_API double fleck_disc_model_perimeter_per_mm(const fleck_disc_model *model);

/* Euler number per area, which pixels count too low: (1-p) per_mm2 (1 - per_mm2 pi E[R]^2). */
FLECK_API double fleck_disc_model_euler_per_mm2(const fleck_disc_model *model);

/*
 * The group `grain` of a record: the Boolean model whose covariance is nearest to the patch's. All
 * NAN where none can be fitted: one phase is missing, there are fewer than 20 grains, or they are
 * larger than the longest lag.
 */
typedef struct fleck_grain {
    double mean_diameter_mm; /* by number */
    double sd_diameter_mm;
    double per_cm2;
    double mean_diameter_se_mm; /* spread over simulations of the model; NAN without them */
    /*
     * Share of patches drawn from the model that lie at least as far from their own fit as this
     * one: covariance up to three diameters, its dependence on direction, and Euler number, on the
     * middle of the region. Small: it is no such model. NAN without simulations, below 20 grains in
     * the middle, and where blur is above a quarter of the grains' size.
     */
    double fit_p;
    fleck_disc_model model;
} fleck_grain;

/* ---- all of it, from the rows of a patch ---- */

/* How far, how thoroughly and by how many threads a random set is looked at. */
typedef struct fleck_random_set_options {
    size_t struct_bytes; /* set by fleck_random_set_options_default */
    double
        longest_lag_mm; /* of the covariance, > 0; at most a third of the region's shorter side */
    size_t window_px;   /* granulometry and test look at so many pixels at most; 64 * 64 or more */
    size_t simulations; /* of the fitted model, for fit_p and against blur; 0: neither */
    uint64_t seed;
    unsigned threads; /* at least 1; never changes a number */
} fleck_random_set_options;

/* The only home of the defaults. */
FLECK_API void fleck_random_set_options_init(fleck_random_set_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_random_set_options fleck_random_set_options_default(void)
{
    fleck_random_set_options options;

    fleck_random_set_options_init(&options, sizeof options);
    return options;
}

/* Numbers that cannot be given are NAN. Ended with fleck_random_set_clear. */
typedef struct fleck_random_set {
    uint64_t inside_px, ink_px;
    fleck_crossings crossings;        /* inside the region */
    double perimeter_per_area_per_mm; /* NAN without a pixel inside */
    /*
     * Euler number of 8-connected ink (dots less holes), everything but what lies on the right and
     * the lower border counted, over the region's area. Pixels count it low where dots overlap,
     * whatever the resolution: the sharp notch between two discs gains holes and bridges.
     */
    int64_t euler;
    double euler_per_cm2;
    fleck_two_point along_x, along_y;
    fleck_two_point radial; /* mean over up to eight directions; lag: their mean length */
    fleck_chord_lengths ink_chords, bare_chords;
    fleck_granulometry granulometry;
    fleck_grain grain;
} fleck_random_set;

/* Gathers from rows, from top to bottom; keeps as many rows of bits as the longest lag. */
typedef struct fleck_random_set_maker fleck_random_set_maker;

/*
 * masked    whether rows come with the runs that are inside the region
 * out       ended with fleck_random_set_maker_free; NULL on failure
 *
 * Errors: FLECK_BAD_CALL (an option out of range, a region of more than 2^31 - 1 pixels a side),
 * FLECK_NO_RESOURCE. Thread-safe for different makers.
 */
FLECK_API fleck_status fleck_random_set_maker_new(const fleck_geometry *geometry, bool masked,
                                                  const fleck_random_set_options *options,
                                                  fleck_random_set_maker **out, fleck_error *err);

/*
 * Hand over the next row.
 *
 * ink, ink_count          runs of ink, from left to right; all of them inside
 * inside, inside_count    runs of the row that are inside; not read unless masked
 *
 * Errors: FLECK_BAD_CALL (too many rows, runs that leave the row, ink outside the region).
 */
FLECK_API fleck_status fleck_random_set_maker_row(fleck_random_set_maker *maker,
                                                  const fleck_run *ink, size_t ink_count,
                                                  const fleck_run *inside, size_t inside_count,
                                                  fleck_error *err);

/*
 * After the last row, once.
 *
 * blur_sd_mm    standard deviation of a Gaussian with the softness that the edges of the dots have
 * on the scan (their 10 to 90 % width over 2.563), the pixel's own part included; 0 or NAN when it
 * is not known. `grain` alone uses it: a mask cut from a blurred scan has filled notches, which
 * makes grains look larger (by 5 % at a coverage of 0.6 when the blur is a fifteenth of their size)
 * and the model look wrong
 *
 * Errors: FLECK_BAD_CALL (rows missing, a second call), FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_random_set_maker_finish(fleck_random_set_maker *maker,
                                                     double blur_sd_mm, fleck_random_set *out,
                                                     fleck_error *err);

/* End a maker; NULL is allowed. */
FLECK_API void fleck_random_set_maker_free(fleck_random_set_maker *maker);

/* Free the arrays; NULL is allowed. */
FLECK_API void fleck_random_set_clear(fleck_random_set *set);

#ifdef __cplusplus
}
#endif

#endif
