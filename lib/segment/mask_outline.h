/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The length of a mask's border. */
#ifndef FLECK_SEGMENT_MASK_OUTLINE_H
#define FLECK_SEGMENT_MASK_OUTLINE_H

#include "fleck/segment.h"

/*
 * Length of the border between inside and outside, all beyond the bounding box being outside:
 * Crofton's formula with four directions, pi/8 times the sum of changes along all lines of pixel
 * centres in a direction times the distance of these lines. Of a long straight side it gives 0.95
 * times the length where the side runs along rows or columns or at 45 degrees, and 1.03 in between.
 * Source: Crofton's formula; Legland, Kieu & Devaux (2007), Image Anal. Stereol. 26.
 */
double fleck_mask_outline_mm(const fleck_mask *mask, double pixel_x_mm, double pixel_y_mm);

#endif
