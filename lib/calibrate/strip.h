/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Finding the steps of a grey scale along a strip. */
#ifndef FLECK_CALIBRATE_STRIP_H
#define FLECK_CALIBRATE_STRIP_H

#include <stddef.h>

#include "fleck/error.h"

enum { FLECK_STRIP_BINS = 1500 }; /* a profile is no longer than this */

/*
 * Cut a profile into `steps` level stretches: the cut that leaves the least variance within them,
 * each stretch being 0.5 to 1.5 times as long as the mean one; what looks the same is cut evenly.
 *
 * profile    bins * channels values from 0 to 1, channels of a bin side by side; borrowed
 * bins       4 * steps to FLECK_STRIP_BINS
 * first      out: steps + 1 bins; stretch i is first[i] to first[i + 1] - 1
 *
 * Errors: FLECK_NO_RESOURCE. O(bins^2 * channels). Source: Fisher (1958), J. Am. Stat. Assoc. 53.
 */
fleck_status fleck_strip_cut(const double *profile, size_t bins, unsigned channels, size_t steps,
                             size_t *first, fleck_error *err);

#endif
