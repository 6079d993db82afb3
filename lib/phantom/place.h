/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where the discs of a phantom lie. */
#ifndef FLECK_PHANTOM_PLACE_H
#define FLECK_PHANTOM_PLACE_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/phantom.h"
#include "phantom/phantom_options.h"

/* A disc; its place in mm from the picture's top left, perhaps outside it. */
typedef struct fleck_dot {
    double x_mm;
    double y_mm;
    double diameter_mm;
} fleck_dot;

typedef struct fleck_dots {
    fleck_dot *items;
    size_t count;
    size_t capacity;
} fleck_dots;

/* A part of the plane, in mm. */
typedef struct fleck_window {
    double left, top, right, bottom;
} fleck_window;

/* True when a disc has a part inside. */
bool fleck_window_touches(const fleck_window *window, double x, double y, double radius);

/* Append a disc. Errors: FLECK_NO_RESOURCE. */
fleck_status fleck_dots_keep(fleck_dots *dots, double x_mm, double y_mm, double diameter_mm,
                             fleck_error *err);

/* Errors: FLECK_BAD_CALL when so many cannot be drawn. */
fleck_status fleck_dots_check_number(double dots, fleck_error *err);

/* How far a disc lies in the picture. */
bool fleck_dot_reaches(const fleck_dot *dot, const fleck_phantom_frame *frame); /* any part */
bool fleck_dot_is_centred(const fleck_dot *dot, const fleck_phantom_frame *frame);
bool fleck_dot_is_whole(const fleck_dot *dot, const fleck_phantom_frame *frame);

/*
 * All discs that touch the picture widened by margin_mm on each side, from top to bottom.
 *
 * options    checked, of a kind made of discs
 * frame      the picture
 * out        gains the discs; the caller frees items
 *
 * Errors: FLECK_BAD_CALL (too many, no room), FLECK_NO_RESOURCE.
 */
fleck_status fleck_place(const fleck_phantom_options *options, const fleck_phantom_frame *frame,
                         double margin_mm, fleck_dots *out, fleck_error *err);

/* The same for a picture of any size in mm: all discs that touch the window. */
fleck_status fleck_place_in(const fleck_phantom_options *options, const fleck_window *picture,
                            const fleck_window *window, fleck_dots *out, fleck_error *err);

#endif
