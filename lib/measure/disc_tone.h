/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The ink tone of dots so small that none of their pixels shows it. */
#ifndef FLECK_MEASURE_DISC_TONE_H
#define FLECK_MEASURE_DISC_TONE_H

#include "fleck/shape.h"

typedef struct fleck_disc {
    double contrast; /* in steps of q, above 0 */
    double blur_mm;  /* standard deviation, that of the pixels included */
} fleck_disc;

/*
 * A disc of one tone from three sums over its blurred picture; NAN when they are no disc's.
 *
 * sum_mm2       of the depth below bare paper, over area: contrast times the disc's area
 * square_mm2    mean square of the distance from the centroid, weighted by depth: R^2/2 + 2 s^2
 * peak          mean depth around the centroid, with a Gaussian weight of sd `weight_mm`:
 *               contrast (1 - exp(-R^2 / (2 s^2 + 2 weight_mm^2)))
 */
fleck_disc fleck_disc_from_sums(double sum_mm2, double square_mm2, double peak, double weight_mm);

/*
 * Medians over roundish dots that lie alone, at most some hundred of them, evenly chosen.
 *
 * bare_q       of each dot, NAN where it is not known
 * rim_mm       how far from its ink a dot reaches
 * disc         out: NAN from fewer than 10 dots
 *
 * Errors: FLECK_NO_RESOURCE, what the reader returns.
 */
fleck_status fleck_disc_tone(const fleck_dot_tone_input *input, const double *bare_q,
                             double rim_mm, fleck_disc *disc, fleck_error *err);

#endif
