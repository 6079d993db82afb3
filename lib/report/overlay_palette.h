/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The colours of an overlay: greys for the patch and the texts, some colours for the lines. */
#ifndef FLECK_REPORT_OVERLAY_PALETTE_H
#define FLECK_REPORT_OVERLAY_PALETTE_H

#include <stdbool.h>
#include <stdint.h>

#include "report/overlay_classes.h"

/* Steps of 4 codes: below a scanner's noise, and half the bytes of 256 greys. */
enum {
    OVERLAY_GREYS = 64,
    OVERLAY_WHITE = OVERLAY_GREYS - 1,
    OVERLAY_INNER = OVERLAY_GREYS, /* the second line of a double one, on ink */
    OVERLAY_COLOURS = OVERLAY_GREYS + OVERLAY_CLASSES
};

/* The place of a line's colour: the area's for OVERLAY_BARE, a dot's for its class from there on. */
static inline uint8_t overlay_colour(unsigned class)
{
    return (uint8_t)(OVERLAY_GREYS + class);
}

/* Whether the ink of a record is the lighter of the two. */
bool overlay_is_light(const fleck_record *record);

/* Grey of the margin round the patch, on which the lines are seen as on the paper. */
static inline uint8_t overlay_ground(bool light_ink)
{
    return light_ink ? 0 : OVERLAY_WHITE;
}

/* light_ink: lines lie on dark paper and are light */
void overlay_palette_fill(bool light_ink, uint8_t palette[OVERLAY_COLOURS][3]);

/* Grey of each quantised reflectance, by the sRGB curve: FLECK_LEVELS bytes, freed with fleck_free(). */
uint8_t *overlay_grey_table(void);

#endif
