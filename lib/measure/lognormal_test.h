/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Does a size distribution, cut below, follow a lognormal law? */
#ifndef FLECK_MEASURE_LOGNORMAL_TEST_H
#define FLECK_MEASURE_LOGNORMAL_TEST_H

#include "fleck/size_distribution.h"
#include "measure/sized.h"

/*
 * list, n    as fleck_sized_list gives them
 *
 * Errors: FLECK_NO_RESOURCE.
 */
fleck_status fleck_lognormal_test(const fleck_sized *list, size_t n, const fleck_geometry *geometry,
                                  double cutoff_mm, const fleck_size_options *options,
                                  fleck_lognormal_fit *out, fleck_error *err);

#endif
