/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Discs that never touch. */
#ifndef FLECK_PHANTOM_SEPARATE_H
#define FLECK_PHANTOM_SEPARATE_H

#include "phantom/place.h"

/*
 * Place separate discs in and around the picture and keep those that touch the window.
 * Errors: FLECK_BAD_CALL (no room, too many), FLECK_NO_RESOURCE.
 */
fleck_status fleck_place_separate(const fleck_phantom_options *options, const fleck_window *picture,
                                  const fleck_window *window, fleck_dots *out, fleck_error *err);

#endif
