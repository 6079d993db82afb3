/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * What is measured on each single dot (or fleck): outline, Feret diameters, tone, edge, the gap to the
 * next dot, and the parts it splits into. All of it from the runs of the dots, without a label image.
 */
#ifndef FLECK_SHAPE_H
#define FLECK_SHAPE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/segment.h"

#ifdef __cplusplus
extern "C" {
#endif

/*
 * A counted component with its runs, as fleck_labeller_get_runs gives them. Without runs (NULL and 0,
 * for a component too large to keep them) every number below but its share of the ink is NAN, and it is
 * no dot's neighbour.
 */
typedef struct fleck_blob {
    fleck_component component;
    const fleck_blob_run *runs; /* by row, then from left to right */
    size_t run_count;
} fleck_blob;

/* Runs above which a component should lose them: 48 MB, and outlines of some metres. */
enum { FLECK_BLOB_MOST_RUNS = 4000000 };

/* ---- outline ---- */

/* NAN where undefined. Angles are anticlockwise from the x axis, y taken upward. */
typedef struct fleck_outline {
    double perimeter_mm;    /* Crofton, four directions, all else bare; holes count */
    double circularity;     /* sqrt(4 pi area) / perimeter, at most 1 */
    double feret_max_mm;    /* largest and smallest distance between parallel tangents, */
    double feret_min_mm;    /* of the corners of the pixels: exact */
    double aspect;          /* feret_min / feret_max */
    double solidity;        /* area over that of the convex hull of the pixels' corners */
    double orientation_deg; /* of the longest axis by second moments, 0 <= angle < 180; NAN when no
                               axis is the longest, as in a disc or square */
    double holes;           /* components of the other phase that it encloses */
} fleck_outline;

/*
 * Outlines of n blobs of one phase, holes of an 8-connected dot being 4-connected and the other way
 * round. A pixel beyond the region's border is bare.
 *
 * out    n outlines
 *
 * O(runs). Errors: FLECK_NO_RESOURCE. Thread-safe.
 * Source: ISO 9276-6 (circularity, aspect ratio, solidity), ISO 13322-1 (Feret diameters); Crofton's
 * formula as in fleck_crossings_length_mm; rotating calipers: Shamos (1978), Toussaint (1983); moments
 * of square pixels, each with its own 1/12.
 */
FLECK_API fleck_status fleck_outlines(const fleck_blob *blobs, size_t n, fleck_phase phase,
                                      const fleck_geometry *geometry, fleck_outline *out,
                                      fleck_error *err);

/* ---- gaps ---- */

/*
 * Bare paper between each dot and the nearest other one: the shortest distance between the centres of
 * a pixel of this and a pixel of any other dot, less one pixel. Of oblong pixels the pixel is
 * measured along that distance: distance / hypot(step in columns, step in rows); of equally short
 * distances the one that leaves least counts.
 *
 * gap_mm    out: n gaps, NAN for a blob without runs or when no other has any
 *
 * Each gap is the same to the last digit in whatever order the blobs come.
 * O(n log n) for dots of a few runs, n the number of runs. Errors: FLECK_NO_RESOURCE. Thread-safe.
 */
FLECK_API fleck_status fleck_gaps(const fleck_blob *blobs, size_t n,
                                  const fleck_geometry *geometry, unsigned threads,
                                  double *gap_mm, fleck_error *err);

/* ---- tone and edges ---- */

/*
 * Reads row y_px of the region, width_px values of quantised reflectance, into q. Rows are asked for
 * some three times, mostly from top to bottom.
 */
typedef fleck_status (*fleck_row_reader)(void *context, size_t y_px, uint16_t *q,
                                         fleck_error *err);

/* What tones of dots are taken from. */
typedef struct fleck_dot_tone_input {
    const fleck_geometry *geometry;
    const fleck_mask *mask; /* of that size; NULL: the whole region */
    const fleck_blob *blobs;       /* n of them, all of one phase */
    const fleck_outline *outlines; /* theirs, as fleck_outlines gives them */
    size_t n;
    fleck_phase phase;
    fleck_cut cut; /* of the patch */
    fleck_ink ink;
    double ink_reflectance; /* of the blobs' phase, when known from elsewhere; else NAN */
    double scanner_edge_width_mm; /* 10 to 90 % width the scanner gives a hard edge; NAN: not known */
    fleck_row_reader read; /* called by several threads at once when there are some */
    void *context;
    unsigned threads; /* that rows are shared among, where memory allows; 0 is 1; never changes a number */
} fleck_dot_tone_input;

/* Where the ink tone comes from, best first. */
typedef enum fleck_ink_tone_from {
    FLECK_INK_TONE_GIVEN,
    FLECK_INK_TONE_CORES, /* pixels deeper in dots than the edge is wide */
    FLECK_INK_TONE_DISCS, /* too few of them: small round dots as blurred discs of one tone */
    FLECK_INK_TONE_DARKEST /* nor those: the darkest twentieth of all ink, which blur has lightened:
                              areas come out somewhat too large */
} fleck_ink_tone_from;

/* What holds for all dots of a patch. */
typedef struct fleck_patch_tone {
    double ink_reflectance;
    double bare_reflectance; /* away from dots; the local one is used where there is enough */
    fleck_ink_tone_from ink_from;
    double rim_mm;  /* width of the soft rim that is taken to belong to the dot */
    bool rim_is_cut; /* edges are softer than the rim may be wide (or dots too near to each other to
                        see bare paper): areas come out too small */
    bool ink_is_beyond; /* discs would have ink darker than black (or lighter than white), and black was
                           taken: they are too few pixels wide, or the blur is far from Gaussian. Areas
                           come out small by the ink's own reflectance over that of the paper */
} fleck_patch_tone;

/* Tone and edge of one dot. */
typedef struct fleck_dot_tone {
    double mean_reflectance; /* of the dot's pixels */
    double density;          /* -log10 of it, ISO 5-4; NAN for 0 */
    double tone_area_mm2;    /* sum of (bare - R) / (bare - ink) times pixel area, dot and rim */
    double edge_width_mm; /* reflectance from 10 to 90 % between the dot's own deepest tone and the
                             local bare one: area between these two levels over length of outline */
} fleck_dot_tone;

/*
 * Tones of all dots. What is said of ink and bare paper holds the other way round for flecks.
 *
 * A pixel that is no ink belongs to the rim of the dot whose ink is nearest, when that is nearer
 * than the rim is wide; what lies just behind the rim is that dot's local bare paper. Rims are three
 * times as wide as the blur's standard deviation and one pixel. Where dots are smaller than their
 * edges are wide, they have no solid core: their edge widths are then those of what is seen.
 * With a known width of the scanner's edge, edges are sqrt(width^2 - scanner's^2), 0 below it. A dot cut
 * by the border has the edge width of what is left of its outline; one cut by a mask has none.
 *
 * tones    out: n tones
 * patch    out
 *
 * Memory: some rows of 11 bytes a pixel (at most twice 120 and some 100 more), 12 bytes a run, 280 a dot
 * and 2 MB. O(pixels), and more where edges are soft: 35 million pixels take about half a second with
 * a rim of 3 pixels.
 * Errors: FLECK_BAD_CALL (a mask of another size), FLECK_NO_RESOURCE, what the reader returns.
 */
FLECK_API fleck_status fleck_dot_tones(const fleck_dot_tone_input *input, fleck_dot_tone *tones,
                                       fleck_patch_tone *patch, fleck_error *err);

/* ---- splitting ---- */

/* Parts of dots that touch; numbers beside those of the dots, never instead of them. */
typedef struct fleck_split_part {
    size_t blob;      /* index of the dot it is a part of */
    uint64_t area_px; /* all parts of a dot add up to its area */
} fleck_split_part;

/* All parts of all dots; ended with fleck_split_clear. */
typedef struct fleck_split {
    fleck_split_part *parts; /* by dot, then by the first pixel of their deepest point */
    size_t count;
    size_t too_large; /* dots that were left whole: without runs or in a box above 2^23 pixels */
} fleck_split;

/*
 * Depth that separates grains rather than bumps of the outline: 0.75 pixels (geometric mean side), at
 * least 0.01 mm. Ellipses of any shape stay whole with it, and pairs of equal discs 0.85 diameters
 * apart come apart from radii of 6 pixels on; 0.5 pixels part ellipses, 1 pixel joins small discs.
 * Three discs that fill the gap between them look like one.
 */
FLECK_API double fleck_split_depth_mm(const fleck_geometry *geometry);

/*
 * Split dots where they narrow: watershed on the map of distances to bare paper (in steps of 1/32
 * pixel), from its highest to its lowest level. Two parts stay apart when the lower of their peaks
 * rises at least depth_mm above the pass between them.
 *
 * out    ended with fleck_split_clear
 *
 * O(pixels of the dots' boxes). Errors: FLECK_BAD_CALL (depth not > 0), FLECK_NO_RESOURCE. Thread-safe.
 * Source: Vincent & Soille (1991), IEEE Trans. PAMI 13, 583-598 (immersion); Grimaud (1992), Proc.
 * SPIE 1769 (dynamics); Soille (2003), Morphological Image Analysis (h-maxima).
 */
FLECK_API fleck_status fleck_split_dots(const fleck_blob *blobs, size_t n,
                                        const fleck_geometry *geometry, double depth_mm,
                                        fleck_split *out, fleck_error *err);

/* Free the parts; NULL is allowed. */
FLECK_API void fleck_split_clear(fleck_split *split);

/* ---- one row a dot, and their summary ---- */

/* All of the above for one dot. */
typedef struct fleck_dot_shape {
    fleck_outline outline;
    fleck_dot_tone tone;
    double gap_mm;
} fleck_dot_shape;

/* NAN where undefined. */
typedef struct fleck_shape_summary {
    double mean_circularity;   /* weighted by the edge correction */
    double mean_edge_width_mm; /* plain mean over the dots that have one */
    double tone_d50_mm; /* as d50_mm, from tone_area_mm2; dots without a tone area left out */
    double largest_share; /* area of the largest dot over that of all ink */
    double gap_mean_mm;   /* plain mean over the dots that have one */
} fleck_shape_summary;

/*
 * weight_per_px2    edge weights of the blobs, see fleck_edge_weights
 * ink_px            pixels of all ink (or of the phase), also of what is not counted
 *
 * The order of the blobs changes no digit of the median; sums run in their order.
 * Errors: FLECK_NO_RESOURCE. Thread-safe.
 */
FLECK_API fleck_status fleck_shapes_summarise(const fleck_blob *blobs,
                                              const fleck_dot_shape *shapes,
                                              const double *weight_per_px2, size_t n,
                                              uint64_t ink_px, fleck_shape_summary *out,
                                              fleck_error *err);

#ifdef __cplusplus
}
#endif

#endif
