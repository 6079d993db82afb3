/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The sizes of dots (or flecks) as a whole distribution: classes, mean diameters, whether it is a
 * lognormal one, and how far its figures can be trusted from one patch.
 */
#ifndef FLECK_SIZE_DISTRIBUTION_H
#define FLECK_SIZE_DISTRIBUTION_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/segment.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Both ends belong to it; NAN when it cannot be given. */
typedef struct fleck_interval {
    double lo, hi;
} fleck_interval;

/*
 * 95 % intervals for the figures of fleck_sizes, this patch being taken as a sample of an even
 * texture without end. They tell nothing about other prints. By a bootstrap of tiles: the patch is
 * cut into some 36 tiles, as many are drawn with replacement, and the figures taken anew. Dots near
 * to each other may thus resemble each other, as long as that ends within a tile. The levels are
 * widened for the number of tiles, as Student's t widens an interval.
 *
 * On simulated patches of 100 to 2000 dots 93 to 97 of 100 intervals hold the truth, whether the
 * dots overlap or keep apart. In clusters of 5 it is 91 for per_cm2. Diameters are those of whole
 * numbers of pixels, and where the pixel is coarse for the dots up to 99 of 100 intervals of d10
 * hold the truth. Measured by tests/bench/size_intervals.c.
 *
 * NAN with less than 20 dots clear of the edge, or with dots in less than 10 tiles.
 * Source: Kuensch (1989), Ann. Stat. 17, 1217-1241; Lahiri (2003), Resampling Methods for Dependent
 * Data; Hesterberg (2015), Am. Stat. 69, 371-386, for the levels.
 */
typedef struct fleck_size_intervals {
    size_t tiles; /* 0 when there are no intervals */
    fleck_interval d10_mm, d50_mm, d90_mm;
    fleck_interval area_d50_mm;
    fleck_interval mean_diameter_mm;
    fleck_interval per_cm2;
} fleck_size_intervals;

/*
 * The lognormal law whose part above the cutoff fits best, and whether it fits.
 *
 * Unlike lognormal_median_mm and lognormal_gsd of fleck_sizes, which describe what was counted,
 * these reach below the cutoff. What is tested: that ln d above the cutoff follows a normal law cut
 * there, dots of n pixels being taken as n - 1/2 to n + 1/2, each counting by its weight, all of
 * them independent. p is the share of samples, drawn from the fitted law, as large, cut and fitted
 * in the same way, that lie as far or farther from their own fit. With many dots small departures
 * give a small p: `distance` tells whether they matter. Dots whose sizes resemble those beside them
 * make p too small.
 *
 * All NAN with less than 20 dots clear of the edge, with fewer than 4 sizes, or when the cutoff
 * lies so high that the law below it cannot be told: 3 standard deviations above the median and
 * beyond. Source: Cohen (1959), Technometrics 1, 217-237, for the fit; Lilliefors (1967), J. Am.
 * Stat. Assoc. 62, 399-402, for the test.
 */
typedef struct fleck_lognormal_fit {
    double median_mm;
    double gsd;      /* geometric standard deviation, exp of the sd of ln d */
    double distance; /* largest gap between the shares of dots up to a size, measured and fitted */
    double p;
} fleck_lognormal_fit;

/* Size distribution of one phase, weighted by the edge correction. NAN where undefined. */
typedef struct fleck_size_distribution {
    /*
     * Class i holds from_mm[i] <= d < from_mm[i + 1]; the bounds are R10 of ISO 3 by its
     * theoretical values, 10 to a decade. The first class is the one of the cutoff, which may cut
     * it.
     */
    size_t classes;       /* 0 when no component is clear of the edge */
    double *from_mm;      /* classes + 1 bounds */
    double *number_share; /* of the dots, together 1 */
    double *area_share;   /* of their area, together 1 */
    /*
     * Mean diameters D[p,q] = (sum d^p / sum d^q)^(1 / (p - q)) over the dots, from the moments of
     * the distribution by number. Source: ISO 9276-2.
     */
    double mean_10_mm; /* by number */
    double mean_20_mm; /* of the dot that has the mean area */
    double mean_21_mm; /* by diameter: what lines across the patch meet */
    double mean_32_mm; /* by area: what a point of the ink belongs to */
    fleck_lognormal_fit lognormal;
    fleck_size_intervals intervals;
} fleck_size_distribution;

/* How intervals and the test against a lognormal law are drawn. */
typedef struct fleck_size_options {
    size_t struct_bytes; /* set by fleck_size_options_default */
    uint64_t seed;
    size_t resamples; /* of the intervals and of the test, at least 99; 0: neither is made */
} fleck_size_options;

/* Seed 1, 999 resamples. */
FLECK_API void fleck_size_options_init(fleck_size_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_size_options fleck_size_options_default(void)
{
    fleck_size_options options;

    fleck_size_options_init(&options, sizeof options);
    return options;
}

/*
 * Describe the sizes of the counted components of one phase.
 *
 * counted            n components at or above the cutoff, in any order; borrowed
 * weights_per_px2    their weights, as fleck_edge_weights gives them; NULL: those of the whole region
 * mask               of the region's size; NULL: the whole region
 * cutoff_mm          the equivalent diameter from which components were counted, >= 0
 * out                to be ended with fleck_size_distribution_clear; empty on failure
 *
 * The order of the list changes no digit, and the seed gives the same numbers each time.
 * O(n log n + resamples sqrt n). Errors: FLECK_BAD_CALL (options, size, cutoff), FLECK_NO_RESOURCE.
 * Thread-safe.
 */
FLECK_API fleck_status fleck_size_distribution_fill(const fleck_component *counted,
                                                    const double *weights_per_px2, size_t n,
                                                    const fleck_geometry *geometry,
                                                    const fleck_mask *mask, double cutoff_mm,
                                                    const fleck_size_options *options,
                                                    fleck_size_distribution *out, fleck_error *err);

/* Free the arrays and leave it empty; an empty one is allowed. */
FLECK_API void fleck_size_distribution_clear(fleck_size_distribution *distribution);

/*
 * Number of dots from which the mean of d^alpha over the distribution weighted by d^beta is known
 * with a wanted precision, when sizes are lognormal, independent, and the mean is taken from the
 * fitted median and gsd: n = (u / delta)^2 alpha^2 s^2 (2 c^2 s^2 + 1), s = ln gsd, c = beta +
 * alpha / 2. (1, 0) is the mean diameter, (2, 0) the mean area, (1, 2) the mean diameter by area; c
 * = 0, that is (1, -1/2), the median.
 *
 * gsd               >= 1
 * relative_error    delta, > 0
 * confidence        above 0, below 1; u is the normal deviate that leaves half of the rest on each side
 *
 * Returns a number that is not rounded; NAN for arguments out of their range.
 * Source: Masuda & Iinoya (1971), J. Chem. Eng. Japan 4, 60-66; ISO 13322-1.
 */
FLECK_API double fleck_dots_needed(double gsd, double alpha, double beta, double relative_error,
                                   double confidence);

#ifdef __cplusplus
}
#endif

#endif
