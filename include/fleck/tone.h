/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From code values to linear reflectance, and from colour to one channel. */
#ifndef FLECK_TONE_H
#define FLECK_TONE_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/scan.h"

#ifdef __cplusplus
extern "C" {
#endif

typedef enum fleck_channel {
    FLECK_CHANNEL_LUMINANCE, /* 0.2126 R + 0.7152 G + 0.0722 B in linear light */
    FLECK_CHANNEL_RED,
    FLECK_CHANNEL_GREEN,
    FLECK_CHANNEL_BLUE,
    FLECK_CHANNEL_AUTO /* to be decided from the patches' histograms */
} fleck_channel;

enum { FLECK_CHANNELS = 4 }; /* the channels that can be read: all but auto */

/* "luminance", "red", "green", "blue" or "auto"; static storage. */
FLECK_API const char *fleck_channel_name(fleck_channel channel);

/* Where the curve of a scan comes from. */
typedef enum fleck_tone_from {
    FLECK_TONE_FROM_CALIBRATION,
    FLECK_TONE_FROM_ICC,
    FLECK_TONE_FROM_SRGB_CHUNK,
    FLECK_TONE_FROM_GAMMA_CHUNK,
    FLECK_TONE_ASSUMED_SRGB
} fleck_tone_from;

/* sRGB code value (0 to 1) to linear light (0 to 1). Source: IEC 61966-2-1. */
FLECK_API double fleck_tone_srgb_decode(double code);

/* Linear light (0 to 1) to sRGB code value (0 to 1). Source: IEC 61966-2-1. */
FLECK_API double fleck_tone_srgb_encode(double linear);

/* Lightness L* (0 to 100) of a luminance factor relative to white (0 to 1). Source: CIE 15. */
FLECK_API double fleck_tone_lightness(double reflectance);

/* Optical density -log10 R; NAN when R is not above 0. Source: ISO 5-4. */
FLECK_API double fleck_tone_density(double reflectance);

/* The way from a scan's rows to quantised reflectance. */
typedef struct fleck_tone fleck_tone;

/*
 * Choose the curve for a scan: an embedded profile, else the PNG sRGB or gAMA chunk, else the sRGB
 * curve with the warning `tone-assumed`. A scan with alpha adds the warning `alpha-composited`.
 *
 * info        of an open scan; borrowed for the call (the profile's bytes too)
 * out         to be ended with fleck_tone_free; NULL on failure
 * warnings    gains what is in doubt
 *
 * Errors: FLECK_BAD_INPUT (damaged profile, profile for another kind of pixels, CMYK without a
 * profile), FLECK_NO_RESOURCE. Thread-safe.
 */
FLECK_API fleck_status fleck_tone_new(const fleck_scan_info *info, fleck_tone **out,
                                      fleck_warnings *warnings, fleck_error *err);

/* Where the curve came from. */
FLECK_API fleck_tone_from fleck_tone_get_source(const fleck_tone *tone);

/* Name of the source as it stands in a record: "icc", "png-srgb", "png-gama", "srgb-assumed" ... */
FLECK_API const char *fleck_tone_source_name(fleck_tone_from from);

/*
 * Quantised reflectance q = round(65535 R) of a stretch of one row. Alpha is composited on white in
 * linear light. A scan of one channel gives that channel whatever `channel` says.
 *
 * channel     any but FLECK_CHANNEL_AUTO
 * pixels      first pixel of the stretch, laid out as fleck_scan_read_row gives it
 * count       pixels in the stretch
 * q           out: count values
 *
 * Never fails. Thread-safe.
 */
FLECK_API void fleck_tone_row(const fleck_tone *tone, fleck_channel channel, const void *pixels,
                              size_t count, uint16_t *q);

/* End a tone; NULL is allowed. */
FLECK_API void fleck_tone_free(fleck_tone *tone);

#ifdef __cplusplus
}
#endif

#endif
