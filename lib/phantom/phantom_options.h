/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FLECK_PHANTOM_OPTIONS_H
#define FLECK_PHANTOM_OPTIONS_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/phantom.h"

/* Size of the picture in pixels. */
typedef struct fleck_phantom_frame {
    size_t width_px;
    size_t height_px;
    double pixel_mm;
} fleck_phantom_frame;

bool fleck_phantom_has_discs(fleck_phantom_kind kind);
bool fleck_phantom_is_lattice(fleck_phantom_kind kind);

/* Errors: FLECK_BAD_CALL, naming the option and what may be given. */
fleck_status fleck_phantom_check(const fleck_phantom_options *options, fleck_phantom_frame *frame,
                                 fleck_error *err);

#endif
