/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Graininess and mottle in the manner of ISO/IEC 13660, which office printers are judged by. They
 * are given for reference alone: they were made for areas meant to be even, and on a speckled print
 * they tell the speckle itself; and a scanner's light and optics are not those of the standard.
 */
#ifndef FLECK_PRINT_NOISE_H
#define FLECK_PRINT_NOISE_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/segment.h"

#ifdef __cplusplus
extern "C" {
#endif

/* NAN where undefined: no tile; for mottle less than 2; pixels that cannot make a reading of 42 um.
 */
typedef struct fleck_print_noise {
    double graininess; /* root of the mean variance of density within tiles */
    double mottle;     /* sd of the tiles' mean density, sample form */
    double tiles;      /* the standard asks for 12.7 mm on a side at least, that is 100 */
    double reading_x_mm, reading_y_mm; /* what one reading of density covers */
} fleck_print_noise;

/*
 * Gathers readings of density as rows arrive. A reading is the block of whole pixels that comes
 * nearest to 1.27 mm / 30 = 42.3 um on each side, its density -log10 of the block's mean
 * reflectance, black being taken as half a level; beyond a third more or less than 42.3 um nothing
 * is given (below 450 ppi). Tiles of as many readings as come nearest to 1.27 mm lie side by side
 * from the region's top left. Takes a few numbers for each tile across; nothing grows with the
 * height. Source: ISO/IEC 13660:2001, its definitions of graininess and mottle.
 */
typedef struct fleck_print_noise_maker fleck_print_noise_maker;

/*
 * mask    of the region's size; NULL: the whole region; borrowed until _free. Tiles that are not
 *         wholly inside do not count
 * out     to be ended with fleck_print_noise_maker_free; NULL on failure
 *
 * Errors: FLECK_BAD_CALL, FLECK_NO_RESOURCE. Thread-safe for different makers.
 */
FLECK_API fleck_status fleck_print_noise_maker_new(const fleck_geometry *geometry,
                                                   const fleck_mask *mask,
                                                   fleck_print_noise_maker **out, fleck_error *err);

/*
 * Hand over the next row, from top to bottom: quantised reflectance, width_px values.
 * Errors: FLECK_BAD_CALL (too many rows). O(width_px).
 */
FLECK_API fleck_status fleck_print_noise_maker_row(fleck_print_noise_maker *maker,
                                                   const uint16_t *q, fleck_error *err);

/* The figures, after the last row. Errors: FLECK_BAD_CALL (rows missing). */
FLECK_API fleck_status fleck_print_noise_maker_finish(const fleck_print_noise_maker *maker,
                                                      fleck_print_noise *out, fleck_error *err);

/* End it; NULL is allowed. */
FLECK_API void fleck_print_noise_maker_free(fleck_print_noise_maker *maker);

#ifdef __cplusplus
}
#endif

#endif
