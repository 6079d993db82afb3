/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What theory says of each kind of phantom. */
#ifndef FLECK_PHANTOM_CLOSED_FORMS_H
#define FLECK_PHANTOM_CLOSED_FORMS_H

#include "fleck/phantom.h"
#include "phantom/size_law.h"

/* Numbers of the endless model, not of one picture; NAN where the kind has none. */
typedef struct fleck_expected {
    double coverage;
    double intensity_per_mm2; /* discs per mm^2 */
    double mean_radius_mm;
    double mean_radius_sq_mm2;
    double d10_mm, d50_mm, d90_mm; /* of the discs as drawn, overlaps not merged */
    double perimeter_per_area_per_mm;
    double euler_per_cm2;
    double ink_mean_chord_mm;
    double bare_mean_chord_mm;
    double integral_range_mm2;
    double nn_mean_mm; /* between the centres */
    double pitch_mm;
    double first_peak_per_mm; /* lowest frequency of a lattice's spectrum */
    double level;             /* field: ink is where the field is at or below it */
} fleck_expected;

fleck_expected fleck_expect(const fleck_phantom_options *options);

/* Discs per mm^2 that give the coverage when they may overlap (discs) or may not (separate). */
double fleck_disc_intensity(const fleck_phantom_options *options);

/* Pitch of a lattice: as asked for, else from the coverage. */
double fleck_lattice_pitch_mm(const fleck_phantom_options *options);

/* Level of a Gaussian field from the coverage. */
double fleck_field_level(const fleck_phantom_options *options);

#endif
