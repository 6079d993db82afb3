/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Synthetic speckle whose true numbers are known. */
#ifndef FLECK_PHANTOM_H
#define FLECK_PHANTOM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"

#ifdef __cplusplus
extern "C" {
#endif

#define FLECK_PHANTOM_SCHEMA "fleck-phantom-truth"
enum { FLECK_PHANTOM_VERSION = 1 };

/* What is drawn. */
typedef enum fleck_phantom_kind {
    FLECK_PHANTOM_DISCS,     /* Poisson centres, overlaps allowed: a Boolean model */
    FLECK_PHANTOM_SEPARATE,  /* discs that never touch, by random sequential addition */
    FLECK_PHANTOM_SQUARE,    /* equal discs on a square lattice */
    FLECK_PHANTOM_HEXAGONAL, /* equal discs on a hexagonal lattice */
    FLECK_PHANTOM_FIELD,     /* a Gaussian random field cut at a level */
    FLECK_PHANTOM_PLAIN      /* no dots: paper (coverage 0) or solid ink (coverage 1) */
} fleck_phantom_kind;
enum { FLECK_PHANTOM_KINDS = 6 };

/* How the diameters of discs are spread. */
typedef enum fleck_phantom_sizes {
    FLECK_PHANTOM_FIXED,     /* every disc has the median diameter */
    FLECK_PHANTOM_LOGNORMAL, /* median and geometric standard deviation */
    FLECK_PHANTOM_UNIFORM    /* evenly from median - half range to median + half range */
} fleck_phantom_sizes;
enum { FLECK_PHANTOM_SIZE_LAWS = 3 };

/*
 * What to draw. Ranges stand behind each field; a field that the kind does not use is not checked.
 * Discs and fields depend on the seed and the place alone: a larger picture, a finer resolution or
 * softer edges show the same pattern (of kind `separate`: for the same picture size).
 */
typedef struct fleck_phantom_options {
    size_t struct_bytes; /* set by fleck_phantom_options_default */
    fleck_phantom_kind kind;
    double width_mm;  /* > 0 to 10000; the picture has round(width / pixel) pixels */
    double height_mm; /* > 0 to 10000 */
    double ppi;       /* 1 to 100000 */
    double coverage;  /* expected share of ink; discs 0 to 0.99, separate 0 to 0.5, lattices (when
                         pitch_mm is 0) 0.001 to 0.99, field 0.001 to 0.999, plain 0 or 1 */
    fleck_phantom_sizes sizes;    /* discs, separate; lattices have one size */
    double diameter_mm;           /* median disc diameter, 0.0001 to 1000 */
    double gsd;                   /* lognormal: geometric standard deviation, 1 to 3 */
    double diameter_half_range_mm; /* uniform: 0 to diameter_mm */
    double gap_mm;     /* separate: least distance between outlines, 0 to 1000 */
    bool keep_inside;  /* separate: no dot is cut by the border, which makes their number exact */
    double pitch_mm;   /* lattices: 0.0001 to 10000, or 0: from coverage and diameter */
    double angle_deg;  /* lattices: turn, anticlockwise, -360 to 360 */
    double correlation_mm; /* field: covariance exp(-h^2 / correlation^2), 2 pixels to 1000 */
    bool antialias;        /* true: a pixel holds the share of its area that is ink; false: it is
                              ink or paper as its centre is, so that the mask is known exactly */
    double softness_mm; /* standard deviation of a Gaussian blur of the ink, 0 to 0.5 */
    double noise;       /* standard deviation of white noise in reflectance, 0 to 1 */
    double fibre;       /* texture of the paper where it is bare: standard deviation of a Gaussian
                           field in reflectance, before the blur, 0 to 0.5 */
    double fibre_length_mm; /* its covariance is exp(-h^2 / length^2), 2 pixels to 1000 */
    double ink_reflectance;   /* 0 to 1 */
    double paper_reflectance; /* 0 to 1 */
    uint64_t seed;
    unsigned bits; /* 8 or 16 per pixel of the file */
} fleck_phantom_options;

/* The only home of the defaults. */
FLECK_API void fleck_phantom_options_init(fleck_phantom_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_phantom_options fleck_phantom_options_default(void)
{
    fleck_phantom_options options;

    fleck_phantom_options_init(&options, sizeof options);
    return options;
}

/* "discs", "separate", "square", "hexagonal", "field", "plain"; static storage. */
FLECK_API const char *fleck_phantom_kind_name(fleck_phantom_kind kind);

/* "fixed", "lognormal", "uniform"; static storage. */
FLECK_API const char *fleck_phantom_sizes_name(fleck_phantom_sizes sizes);

/* A picture drawn in memory, with its truth. */
typedef struct fleck_phantom fleck_phantom;

/*
 * Draw a phantom in memory: 4 bytes a pixel and 24 a dot.
 *
 * out    to be ended with fleck_phantom_free; NULL on failure
 *
 * The same options give the same reflectances in every process; two machines may differ in the last
 * bit of a float where their mathematical libraries do.
 *
 * Errors: FLECK_BAD_CALL (an option out of range, named with its range; more than 2^31 pixels or
 * 5e7 dots; separate dots that find no room), FLECK_NO_RESOURCE. Thread-safe.
 */
FLECK_API fleck_status fleck_phantom_new(const fleck_phantom_options *options, fleck_phantom **out,
                                         fleck_error *err);

/*
 * Write the picture, grey with the sRGB curve and its resolution, as PNG (with an sRGB chunk) or
 * TIFF, told from the ending of the name (.png, .tif, .tiff); whole or not at all. Reflectances
 * below 0 and above 1 are clipped.
 * Errors: FLECK_BAD_CALL (another ending), FLECK_NO_RESOURCE (disk).
 */
FLECK_API fleck_status fleck_phantom_write(const fleck_phantom *phantom, const char *path,
                                           fleck_error *err);

/*
 * The truth as JSON text, schema fleck-phantom-truth, ending in a newline; freed with fleck_free(); NULL
 * when there is no memory.
 *
 * options     all of them, null where the kind does not use one
 * picture     width_px, height_px, pixel_mm
 * drawn       exact_coverage: mean ink of the pixels before blur and noise; dots_touching: dots
 *             with a part inside the picture; dots_inside: with their centre inside; dots_whole: with
 *             all of them inside; dots_per_cm2: from dots_inside
 * expected    closed forms of the model, null where there is none
 */
FLECK_API char *fleck_phantom_truth_json(const fleck_phantom *phantom);

/*
 * The dots that touch the picture, as CSV text with the columns x_mm, y_mm (from the picture's top
 * left) and diameter_mm, from top to bottom; the header alone for field and plain. Freed with
 * fleck_free(); NULL when there is no memory.
 */
FLECK_API char *fleck_phantom_dots_csv(const fleck_phantom *phantom);

/* Pixels before coding: reflectance, not clipped, row by row; valid until _free. */
FLECK_API const float *fleck_phantom_reflectance(const fleck_phantom *phantom, size_t *width_px,
                                                 size_t *height_px);

/* Mean ink of the pixels before blur and noise, 0 to 1. */
FLECK_API double fleck_phantom_exact_coverage(const fleck_phantom *phantom);

/* End a phantom; NULL is allowed. */
FLECK_API void fleck_phantom_free(fleck_phantom *phantom);

#ifdef __cplusplus
}
#endif

#endif
