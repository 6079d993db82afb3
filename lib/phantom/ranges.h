/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FLECK_PHANTOM_RANGES_H
#define FLECK_PHANTOM_RANGES_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"

/* An option and what may be given for it. */
typedef struct fleck_range {
    const char *name;
    double value, low, high;
    bool used; /* false: not checked */
} fleck_range;

/* Errors: FLECK_BAD_CALL for the first that is out of range, or no number. */
fleck_status fleck_ranges_check(const fleck_range *ranges, size_t count, fleck_error *err);

#endif
