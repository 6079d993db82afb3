/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Single numbers drawn from a finished spectrum; part of the group `spectrum` of a record. */
#ifndef FLECK_SPECTRUM_FEATURES_H
#define FLECK_SPECTRUM_FEATURES_H

#include "fleck/export.h"
#include "fleck/texture.h"

#ifdef __cplusplus
extern "C" {
#endif

/* Octaves of wavelength, from 0.25 mm to 8 mm: 0.25 2^i to 0.5 2^i mm. */
enum { FLECK_SPECTRUM_OCTAVES = 5 };

/* All from the ink power, of a spectrum without ink from the tone power, but the octaves. */
typedef struct fleck_spectrum_features {
    /*
     * Frequency of the ring that stands out; when none does, of the ring of the largest power. No
     * refinement between rings: for a lattice it can be off by one ring, as the window spreads a line.
     */
    double peak_frequency_per_mm;
    double dominant_spacing_mm;   /* 1 / peak; NAN when no ring stands out by more than chance */
    double peak_p;                /* of the test behind it, all rings counted; at most 1 */
    double mean_frequency_per_mm; /* weighted by power and number of samples */
    /*
     * Standard deviation of reflectance in each octave of wavelength; NAN when the octave reaches
     * beyond the tile's side or the last ring. A ring on the border of two is shared by area.
     */
    double octave_sd[FLECK_SPECTRUM_OCTAVES];
    double anisotropy;    /* 0 to 1: length of the mean of (cos 2t, sin 2t) over the power */
    double anisotropy_p;  /* chance of so much from a texture without a direction */
    double direction_deg; /* the grain runs along it; NAN when anisotropy_p is 0.01 or more */
} fleck_spectrum_features;

/*
 * The features of a spectrum; all NAN for an empty one. What cannot be told is NAN.
 *
 * The test of the peak: of the rings from 4 on (4 spacings in a tile) the one with the largest power,
 * the lower of equal ones, is compared with the mean of the rings at 0.4 to 0.75 of its frequency and
 * with that at 1.35 to 2.5. It stands out when it is above both by F tests at 5 % over the number of
 * rings. A texture without spacing, its power falling from frequency 0 on, passes at most that often.
 * The test of direction takes the tiles' own scatter, so there is none with one tile.
 *
 * Never fails. Thread-safe. O(rings).
 */
FLECK_API void fleck_spectrum_features_find(const fleck_spectrum *spectrum,
                                            fleck_spectrum_features *out);

#ifdef __cplusplus
}
#endif

#endif
