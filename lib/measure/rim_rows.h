/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Rows of a patch with, for each pixel, the dot whose ink is nearest and the distance to the outline. */
#ifndef FLECK_MEASURE_RIM_ROWS_H
#define FLECK_MEASURE_RIM_ROWS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/shape.h"

enum {
    FLECK_OWNER_NONE = -1,   /* no dot within reach */
    FLECK_OWNER_NOBODY = -2, /* nearest is ink that is no blob: a speck, or a blob without runs */
    FLECK_OWNER_MASKED = -3  /* the pixel is not measured */
};

enum { FLECK_RIM_MOST_PX = 120 }; /* squares of larger steps do not fit */

/*
 * One row. A pixel has ink when its tone is on the side of the blobs' phase.
 *
 * owner     the nearest ink's blob, of an ink pixel its own, or one of the above
 * square    of the distance to the nearest pixel of the other kind, times per_mm2; FLECK_RIM_FAR when
 *           that is beyond reach
 */
typedef struct fleck_rim_row {
    size_t y_px;
    const uint16_t *q;
    const int32_t *owner;
    const int16_t *square;
} fleck_rim_row;

enum { FLECK_RIM_FAR = INT16_MAX };

/* Whether a pixel is of the blobs' phase. */
static inline bool fleck_rim_is_ink(const fleck_dot_tone_input *input, uint16_t q)
{
    const bool below = q <= input->cut.k;

    return below == ((input->ink == FLECK_INK_DARK) == (input->phase == FLECK_PHASE_INK));
}

/* Squares per mm2 of distance, for a reach of at most FLECK_RIM_MOST_PX smaller pixel sides. */
double fleck_rim_per_mm2(const fleck_geometry *geometry, double reach_mm);

/* Bands that a region can be visited in side by side, 1 to FLECK_RIM_MOST_BANDS, for so many threads. */
enum { FLECK_RIM_MOST_BANDS = 16 };
size_t fleck_rim_bands(const fleck_geometry *geometry, unsigned threads);

/* First row of a band; of the one behind the last, the region's height. */
size_t fleck_rim_band_row(const fleck_geometry *geometry, size_t bands, size_t band);

/*
 * Call visit for each row of each band, in a band from top to bottom. Bands, at most
 * FLECK_RIM_MOST_BANDS, are visited side by side; into how many there are makes no difference to a row.
 * Errors: FLECK_NO_RESOURCE, what the reader returns.
 */
fleck_status fleck_rim_rows(const fleck_dot_tone_input *input, double reach_mm, size_t bands,
                            void (*visit)(void *context, size_t band, const fleck_rim_row *row),
                            void *context, fleck_error *err);

#endif
