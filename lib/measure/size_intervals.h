/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Intervals for the figures of a size distribution, from its own tiles. */
#ifndef FLECK_MEASURE_SIZE_INTERVALS_H
#define FLECK_MEASURE_SIZE_INTERVALS_H

#include "fleck/size_distribution.h"
#include "measure/sized.h"

/*
 * list, n    as fleck_sized_list gives them
 * mask       NULL: the whole region
 *
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_size_intervals_find(const fleck_sized *list, size_t n,
                                       const fleck_geometry *geometry, const fleck_mask *mask,
                                       const fleck_size_options *options, fleck_size_intervals *out,
                                       fleck_error *err);

#endif
