/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Crofton: the boundary length per area is pi/2 times the mean over all directions of the number of
 * crossings per length of scan line. Four directions stand for all: each for the angles nearer to
 * it than to the others. With the diagonal at phi = atan2(py, px) these shares of pi are phi along
 * the rows, pi/2 - phi along the columns, and pi/4 for each diagonal. c crossings along lines a
 * distance delta apart, which have the length area / delta, then add share / 2 * c * delta. For
 * square pixels that is (pi/8) px (c0 + c90 + (c45 + c135) / sqrt 2).
 */
#include "fleck/random_set.h"

#include <math.h>

double fleck_crossings_length_mm(const fleck_crossings *crossings, double pixel_x_mm,
                                 double pixel_y_mm)
{
    static const double pi = 3.14159265358979323846;
    const double phi = atan2(pixel_y_mm, pixel_x_mm);
    const double diagonal_mm = pixel_x_mm * pixel_y_mm / hypot(pixel_x_mm, pixel_y_mm);

    return 0.5 * (phi * pixel_y_mm * (double)crossings->deg0 +
                  (pi / 2 - phi) * pixel_x_mm * (double)crossings->deg90 +
                  pi / 4 * diagonal_mm * (double)(crossings->deg45 + crossings->deg135));
}
