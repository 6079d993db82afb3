/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Synthetic speckle whose true numbers are known. */
#ifndef FLECK_PHANTOM_H
#define FLECK_PHANTOM_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef enum fleck_phantom_kind {
    FLECK_PHANTOM_DISCS,     /* Poisson centres, overlaps allowed: a Boolean model */
    FLECK_PHANTOM_SQUARE,    /* discs on a square lattice */
    FLECK_PHANTOM_HEXAGONAL, /* discs on a hexagonal lattice */
    FLECK_PHANTOM_FIELD      /* a Gaussian random field cut at a level */
} fleck_phantom_kind;

typedef enum fleck_phantom_sizes {
    FLECK_PHANTOM_FIXED,    /* every disc has the median diameter */
    FLECK_PHANTOM_LOGNORMAL /* median and geometric standard deviation */
} fleck_phantom_sizes;

typedef struct fleck_phantom_options {
    fleck_phantom_kind kind;
    double width_mm;  /* > 0; the picture has round(width / pixel) pixels */
    double height_mm; /* > 0 */
    double ppi;       /* > 0 */
    double coverage;  /* expected share of ink, 0 to 1; for lattices it sets the pitch when pitch_mm is 0 */
    double diameter_mm; /* median disc diameter, > 0 */
    double gsd;         /* geometric standard deviation, >= 1; 1 means all the same */
    double pitch_mm;    /* of a lattice; 0: from coverage and diameter */
    double angle_deg;   /* turn of a lattice, anticlockwise */
    double correlation_mm; /* of a field: exp(-h^2 / correlation^2) */
    double softness_mm; /* standard deviation of a Gaussian blur of the edges, >= 0 */
    double noise;       /* standard deviation of white noise in reflectance, >= 0 */
    double ink_reflectance;   /* 0 to 1 */
    double paper_reflectance; /* 0 to 1 */
    uint64_t seed;
    unsigned bits; /* 8 or 16 */
} fleck_phantom_options;

/* Defaults: discs, 25.4 x 25.4 mm at 600 ppi, coverage 0.3, 0.3 mm, gsd 1.5, ... */
FLECK_API fleck_phantom_options fleck_phantom_options_default(void);

typedef struct fleck_phantom fleck_phantom;

/*
 * Draw a phantom in memory.
 * Errors: FLECK_BAD_CALL (an option out of range, a picture above 2^31 pixels), FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_phantom_new(const fleck_phantom_options *options, fleck_phantom **out,
                                         fleck_error *err);

/*
 * Write the picture, grey with the sRGB curve and its resolution, as PNG (with an sRGB chunk) or
 * TIFF, told from the ending of the name (.png, .tif, .tiff); whole or not at all.
 * Errors: FLECK_BAD_CALL (another ending), FLECK_NO_RESOURCE (disk).
 */
FLECK_API fleck_status fleck_phantom_write(const fleck_phantom *phantom, const char *path,
                                           fleck_error *err);

/*
 * The truth as JSON text: options, exact coverage of what was drawn, the number of discs, closed
 * forms. Owned by the caller, freed with free(). NULL when there is no memory.
 */
FLECK_API char *fleck_phantom_truth_json(const fleck_phantom *phantom);

/* Pixels of the picture before coding: reflectance 0 to 1, row by row; valid until _free. */
FLECK_API const float *fleck_phantom_reflectance(const fleck_phantom *phantom, size_t *width_px,
                                                 size_t *height_px);

/* End a phantom; NULL is allowed. */
FLECK_API void fleck_phantom_free(fleck_phantom *phantom);

#ifdef __cplusplus
}
#endif

#endif
