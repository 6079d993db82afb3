/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What every maker asks of its region. */
#ifndef FLECK_MEASURE_REGION_CHECK_H
#define FLECK_MEASURE_REGION_CHECK_H

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/segment.h"

/* Errors: FLECK_BAD_CALL for a region without a size, and for a mask of another one. */
fleck_status fleck_region_check(const fleck_geometry *geometry, const fleck_mask *mask,
                                fleck_error *err);

#endif
