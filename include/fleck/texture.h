/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Measures of one patch: dot sizes, spacing, chords and the power spectrum. */
#ifndef FLECK_TEXTURE_H
#define FLECK_TEXTURE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/segment.h"

#ifdef __cplusplus
extern "C" {
#endif

/* ---- sizes of dots (or flecks) ---- */

/*
 * Sizes of the counted components of one phase; the group `dots` (or `flecks`) of a record.
 * Numbers that cannot be given are NAN. All distributions are weighted by the edge correction.
 */
typedef struct fleck_sizes {
    double counted;       /* components at or above the cutoff */
    double below_cutoff;  /* components below it */
    double at_edge;       /* counted components that touch the region's border */
    double per_cm2;       /* edge-corrected number density */
    double mean_area_mm2; /* weighted mean */
    double d10_mm, d50_mm, d90_mm; /* weighted quantiles of the equivalent diameter */
    double span;                   /* (d90 - d10) / d50 */
    double area_d50_mm;            /* median by weight times area */
    double mean_diameter_mm;
    double sd_diameter_mm; /* population form */
    double lognormal_median_mm;
    double lognormal_gsd;
} fleck_sizes;

/* Area of so many pixels: pixels times (pixel x times pixel y), rounded in that order everywhere. */
FLECK_API double fleck_area_mm2(const fleck_geometry *geometry, uint64_t area_px);

/* Equivalent diameter 2 sqrt(area / pi) of an area in mm2. Source: ISO 9276-6. */
FLECK_API double fleck_equivalent_diameter_mm(double area_mm2);

/*
 * Smallest number of pixels, at least 1, whose equivalent diameter (by the two functions above) is at
 * or above the cutoff in mm; UINT64_MAX when no region could hold so many.
 */
FLECK_API uint64_t fleck_cutoff_area_px(const fleck_geometry *geometry, double cutoff_mm);

/*
 * Weight of a component: 1 / ((W - w - 1) (H - h - 1)) per px2, w x h its bounding box and W x H the
 * region; 0 at the edge. Source: Miles (1974), Lantuejoul (1978).
 */
FLECK_API double fleck_edge_weight_per_px2(const fleck_geometry *geometry,
                                           const fleck_component *component);

/*
 * Weights of components in a region of any shape: 1 over the number of places where the bounding box,
 * grown by one pixel on all sides, lies wholly inside the mask. For a rectangle these are the places
 * of fleck_edge_weight_per_px2. A component whose own grown box does not lie inside has weight 0, also
 * one that bends round a hole without touching it: only what the count of places knows may count.
 *
 * mask              of the region's size; NULL: the whole region
 * components        n of them, labelled with the same mask, in any order; borrowed
 * weight_per_px2    out: n weights
 *
 * O(components + pixels of the mask / 64 for each different height of a box); takes one more mask and
 * 16 bytes a component. Errors: FLECK_NO_RESOURCE. Thread-safe.
 * Source: Miles (1974), Lantuejoul (1978).
 */
FLECK_API fleck_status fleck_edge_weights(const fleck_geometry *geometry, const fleck_mask *mask,
                                          const fleck_component *components, size_t n,
                                          double *weight_per_px2, fleck_error *err);

/*
 * Summarise the counted components of one phase.
 *
 * components       n counted components (all at or above the cutoff), in any order; borrowed
 * weights_per_px2  their weights, as fleck_edge_weights gives them; NULL: those of the whole region
 * below_cutoff     number of components that were too small and are not in the list
 * out              quantiles, moments and density; NAN when no component is clear of the edge, but
 *                  per_cm2 is 0 when there is no counted component at all
 *
 * The result does not depend on the order of the list. O(n log n).
 * Errors: FLECK_NO_RESOURCE. Thread-safe. Source: ISO 9276-2, ISO 9276-6.
 */
FLECK_API fleck_status fleck_sizes_summarise(const fleck_component *components,
                                             const double *weights_per_px2, size_t n,
                                             uint64_t below_cutoff, const fleck_geometry *geometry,
                                             fleck_sizes *out, fleck_error *err);

/* Centroid in mm from the region's top left, a pixel's centre being at half its size. */
FLECK_API fleck_point_mm fleck_component_centroid(const fleck_component *component,
                                                  const fleck_geometry *geometry);

/* ---- chords ---- */

/* Counts along rows and columns from which mean chords follow; start from {0}. */
typedef struct fleck_chord_counts {
    uint64_t ink_px;
    uint64_t bare_px;
    uint64_t changes_in_rows;    /* ink-bare changes met along all rows */
    uint64_t changes_in_columns; /* the same along all columns */
} fleck_chord_counts;

/*
 * Add one row. With a mask only inside pixels count, and only changes between two of them: a chord that
 * the mask's border cuts counts as one that the region's border cuts.
 *
 * mask                  of the region's size; NULL: the whole region
 * y_px                  number of the row, from 0
 * runs, run_count       its ink runs, all inside the mask
 * above, above_count    those of the row above; NULL and 0 for row 0
 */
FLECK_API void fleck_chord_counts_add_row(fleck_chord_counts *counts, size_t width_px,
                                          const fleck_mask *mask, size_t y_px,
                                          const fleck_run *runs, size_t run_count,
                                          const fleck_run *above, size_t above_count);

/*
 * Mean chord of a phase: its length along all rows and columns over half the number of changes.
 * NAN without a change. Source: mean intercept, ASTM E1245.
 */
FLECK_API double fleck_mean_chord_mm(const fleck_chord_counts *counts, fleck_phase phase,
                                     const fleck_geometry *geometry);

/* ---- spacing ---- */

/* Nearest-neighbour figures; the group `spacing` of a record. NAN where undefined. */
typedef struct fleck_spacing {
    double nn_mean_raw_mm; /* plain mean over all points */
    double nn_mean_mm;     /* Hanisch (1984): points nearer to a neighbour than to the border */
    double nn_median_mm;   /* the same weights */
    double nn_cv;          /* the same weights, population sd over mean */
    double clark_evans;    /* plain mean over Donnelly's expectation */
    double clark_evans_z;
    double clark_evans_p;  /* two-sided */
} fleck_spacing;

/*
 * Distance from each point to its nearest neighbour, through a tree of halved boxes.
 *
 * points         n points inside the region, its border included; borrowed
 * distance_mm    out: n distances, NAN when n < 2
 *
 * Each distance is the same to the last digit in whatever order the points come.
 * Errors: FLECK_BAD_CALL (size not > 0, point outside), FLECK_NO_RESOURCE. Thread-safe. O(n log n),
 * for crowded points too.
 */
FLECK_API fleck_status fleck_nearest_neighbours(const fleck_point_mm *points, size_t n,
                                                double width_mm, double height_mm,
                                                double *distance_mm, fleck_error *err);

/*
 * Summarise nearest-neighbour distances as they come from fleck_nearest_neighbours.
 *
 * Below 2 points every figure is NAN, which is no error; those of Hanisch are NAN too when no point
 * is nearer to its neighbour than to the border. The order of the points changes no digit. O(n log n).
 * Errors: FLECK_BAD_CALL (size not > 0, distance not >= 0), FLECK_NO_RESOURCE. Thread-safe.
 * Source: Hanisch (1984); Clark & Evans (1954) with Donnelly (1978).
 */
FLECK_API fleck_status fleck_spacing_summarise(const fleck_point_mm *points,
                                               const double *distance_mm, size_t n, double width_mm,
                                               double height_mm, fleck_spacing *out,
                                               fleck_error *err);

/*
 * The same for a region of any shape. A point's distance to the border is that from the centre of its
 * pixel to the centre of the nearest one outside, less half a pixel (of oblong pixels half the larger
 * side); the weight is 1 over the area of the pixels that lie farther than d from the border. Donnelly's
 * expectation takes the mask's area, and its border's length by Crofton's formula (four directions).
 * A mask that is NULL or covers the region gives the numbers of the function above.
 *
 * O(pixels + n log n), and O(log n) more for each pixel that is nearer to the border than the largest
 * distance; memory for n values and a few rows of pixels.
 * Errors: as above; FLECK_BAD_CALL too for a mask of another size.
 * Source: Hanisch (1984), Donnelly (1978).
 */
FLECK_API fleck_status fleck_spacing_summarise_in(const fleck_point_mm *points,
                                                  const double *distance_mm, size_t n,
                                                  const fleck_geometry *geometry,
                                                  const fleck_mask *mask, fleck_spacing *out,
                                                  fleck_error *err);

/* ---- spectrum ---- */

/* Radial power spectra; arrays of `rings` values for ring 1 to rings. */
typedef struct fleck_spectrum {
    size_t tile_px; /* 0 when the region is too small for a spectrum */
    size_t tiles;
    size_t rings;
    double *frequency_per_mm; /* ring r at r * frequency step */
    double *ink_power_mm2;    /* of the 0/1 mask; NULL when no mask was given */
    double *tone_power_mm2;   /* of reflectance q / 65535 */
    uint64_t *samples;        /* points of the frequency plane (both halves) in a ring, one tile */
    double sample_per_mm2;    /* area of the frequency plane that a point stands for */
    /* Of the ink power, without a mask of the tone power; see fleck/spectrum_features.h. */
    double anisotropy, anisotropy_p, direction_deg;
} fleck_spectrum;

/*
 * Side of the tiles for a region: the power of two nearest (on a log scale) to 10.8 mm over the
 * geometric mean pixel, at most the region's shorter side, at least 64; 0 when the shorter side is
 * below 64 px.
 */
FLECK_API size_t fleck_spectrum_tile_px(const fleck_geometry *geometry);

/*
 * The same for a region of any shape: the rule for its bounding box, halved, down to 64, until a tile
 * fits into the mask.
 *
 * mask        of the region's size; NULL: the whole region
 * asked_px    side that is wanted; 0: by the rule
 * tile_px     out: that side, or the one asked for, when a tile of it fits; else 0
 *
 * Errors: FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_spectrum_choose_tile(const fleck_geometry *geometry,
                                                  const fleck_mask *mask, size_t asked_px,
                                                  size_t *tile_px, fleck_error *err);

/*
 * Gathers the spectrum as rows arrive: square tiles with half overlap from the region's top left,
 * the mean of each tile removed, separable periodic Hann window w, S = |DFT|^2 pixel area / sum w^2,
 * averaged over tiles and rings. Keeps at least tile_px rows of each field while they come.
 * Rings are one step of 1 / (tile_px * pixel side) wide, taken in true frequency. Of oblong pixels the
 * larger side counts: rings then end at its Nyquist frequency, up to which all of them are whole.
 * With a mask the tiles are those of the grid that lie wholly inside it, and the grid begins at the
 * place, less than half a tile right of and below the region's top left, that gives most tiles; of
 * equal ones at the topmost, then the leftmost.
 * Source: Welch (1967), IEEE Trans. Audio Electroacoust. 15, 70-73.
 */
typedef struct fleck_spectrum_maker fleck_spectrum_maker;

/*
 * mask        of the region's size, with room for a tile; NULL: the whole region; borrowed until
 *             fleck_spectrum_maker_free
 * tile_px     even, 16 to the region's shorter side, at most 65536
 * with_ink    whether there may be rows of ink
 * threads     threads that share the tiles of a band of rows, at least 1; never changes a number
 *
 * Errors: FLECK_BAD_CALL, FLECK_NO_RESOURCE. Thread-safe for different makers.
 */
FLECK_API fleck_status fleck_spectrum_maker_new(const fleck_geometry *geometry,
                                                const fleck_mask *mask, size_t tile_px,
                                                bool with_ink, unsigned threads,
                                                fleck_spectrum_maker **out, fleck_error *err);

/*
 * Share tiles among so many threads from now on, at least 1 and at most those of the start: for the time
 * in which something else runs beside. Never changes a number.
 */
FLECK_API void fleck_spectrum_maker_set_threads(fleck_spectrum_maker *maker, unsigned threads);

/*
 * Rows after which tiles are transformed, all that have come at once. So that what runs beside has as
 * long to do, hand over as many, or a multiple, in its stead.
 */
FLECK_API size_t fleck_spectrum_maker_rows_at_once(const fleck_spectrum_maker *maker);

/*
 * Hand over the next row, from top to bottom.
 *
 * q               width_px values of quantised reflectance
 * runs, count     the ink runs of the row; ignored without ink
 *
 * Errors: FLECK_BAD_CALL (too many rows), FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_spectrum_maker_row(fleck_spectrum_maker *maker, const uint16_t *q,
                                                const fleck_run *runs, size_t count,
                                                fleck_error *err);

/*
 * The next row of the tone alone: all its rows can be given before the first of the ink, when what is ink
 * is not known sooner. Without rows of ink there is no spectrum of it.
 * Errors: FLECK_BAD_CALL (too many rows, ink without with_ink), FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_spectrum_maker_tone_row(fleck_spectrum_maker *maker, const uint16_t *q,
                                                     fleck_error *err);

/* The same for the ink; runs, count as in fleck_spectrum_maker_row. */
FLECK_API fleck_status fleck_spectrum_maker_ink_row(fleck_spectrum_maker *maker,
                                                    const fleck_run *runs, size_t count,
                                                    fleck_error *err);

/*
 * Spectrum of all rows given; the caller ends it with fleck_spectrum_clear. Fewer rows than tile_px
 * give the empty spectrum, its tile_px 0. Errors: FLECK_BAD_CALL (not as many rows of ink as of tone),
 * FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_spectrum_maker_finish(fleck_spectrum_maker *maker,
                                                   fleck_spectrum *out, fleck_error *err);

/* End a maker; NULL is allowed. */
FLECK_API void fleck_spectrum_maker_free(fleck_spectrum_maker *maker);

/* Free the arrays and leave an empty spectrum; NULL is allowed. */
FLECK_API void fleck_spectrum_clear(fleck_spectrum *spectrum);

/*
 * Two-sided power of one tile on the whole frequency plane, in the order of a DFT (row = y):
 * |DFT(w (x - mean))|^2 pixel area / sum w^2 with the same window. Its sum times the frequency cell
 * is the mean square of w (x - mean) over sum w^2 / N^2 (Parseval). For checks and for callers who
 * want directions.
 *
 * values      side_px * side_px values, row by row; borrowed
 * power_mm2   out: side_px * side_px values
 *
 * Errors: FLECK_BAD_CALL (side odd, below 2 or above 65536), FLECK_NO_RESOURCE. Thread-safe.
 */
FLECK_API fleck_status fleck_spectrum_plane(const double *values, size_t side_px,
                                            double pixel_x_mm, double pixel_y_mm,
                                            double *power_mm2, fleck_error *err);

#ifdef __cplusplus
}
#endif

#endif
