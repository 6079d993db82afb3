/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A mask of the tests measured as a random set. */
#ifndef FLECK_TESTS_RANDOM_SET_MASK_H
#define FLECK_TESTS_RANDOM_SET_MASK_H

#include "fleck/random_set.h"
#include "segment/mask.h"

/* Pixels of the given size; inside NULL: all of it. Options without simulations, lags to the limit.
 */
fleck_random_set random_set_of(const struct mask *ink, const struct mask *inside, double pixel_x_mm,
                               double pixel_y_mm);

/* The same with options and a blur. */
fleck_random_set random_set_with(const struct mask *ink, const struct mask *inside,
                                 double pixel_x_mm, double pixel_y_mm,
                                 const fleck_random_set_options *options, double blur_sd_mm);

#endif
