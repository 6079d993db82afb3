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

enum { FLECK_LEVELS = 65536 }; /* levels of quantised reflectance */

/* What of a colour is measured. */
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

/*
 * Share of ink that a mean reflectance means, between those of paper (0) and solid ink (1):
 * (paper^(1/n) - mean^(1/n)) / (paper^(1/n) - ink^(1/n)). n = 1 is Murray & Davies (1936), the truth
 * for a linear scan; above 1 Yule & Nielsen (1951), for light that spreads in the paper.
 */
FLECK_API double fleck_tone_dot_area(double paper, double ink, double mean, double n);

/* The way from a scan's rows to quantised reflectance. */
typedef struct fleck_tone fleck_tone;

/* What is known of the scanner, see fleck/calibration.h. */
typedef struct fleck_calibration fleck_calibration;

/*
 * Choose the curve for a scan: the calibration's, else an embedded profile, else the PNG sRGB or gAMA
 * chunk, else the sRGB curve with the warning `tone-assumed`. A scan with alpha adds the warning
 * `alpha-composited`. A calibration's evenness and paper are divided out whatever the curve.
 *
 * A profile is read relative to its own white, without black point compensation. An RGB or CMYK
 * profile leads to linear light with the primaries of sRGB, a grey one to relative luminance. A grey
 * scan with an RGB profile is read as R = G = B, with the warning `grey-as-rgb`. Any other profile
 * that cannot be used is an error, never passed over: the scan says it is not sRGB.
 *
 * info        of an open scan; borrowed for the call (the profile's bytes too)
 * calibration    borrowed for the call; NULL: none
 * out         to be ended with fleck_tone_free; NULL on failure
 * warnings    gains what is in doubt; untouched on failure, unless memory ran out
 *
 * Errors: FLECK_BAD_INPUT (damaged profile, profile for another kind of pixels, CMYK without a
 * profile, a calibration for other scans, see fleck_calibration_check), FLECK_BAD_CALL (an info no
 * scan has), FLECK_NO_RESOURCE. Thread-safe.
 * Source: IEC 61966-2-1, ICC.1, PNG specification.
 */
FLECK_API fleck_status fleck_tone_new(const fleck_scan_info *info,
                                      const fleck_calibration *calibration, fleck_tone **out,
                                      fleck_warnings *warnings, fleck_error *err);

/* Where the curve came from. */
FLECK_API fleck_tone_from fleck_tone_get_source(const fleck_tone *tone);

/* Name of the source as it stands in a record: "icc", "png-srgb", "png-gama", "srgb-assumed" ... */
FLECK_API const char *fleck_tone_source_name(fleck_tone_from from);

/*
 * Channels there are to choose from: 1 for a scan of one channel, where the choice has no meaning,
 * FLECK_CHANNELS (luminance, red, green, blue) for colour.
 */
FLECK_API unsigned fleck_tone_channels(const fleck_tone *tone);

/*
 * Quantised reflectance q = floor(65535 R + 1/2) of a stretch of one row, R cut to 0 to 1. Alpha is
 * composited on white in linear light, a R + (1 - a), before rounding. A scan of one channel gives
 * that channel whatever `channel` says.
 *
 * channel     any but FLECK_CHANNEL_AUTO
 * pixels      first pixel of the stretch, laid out and aligned as fleck_scan_read_row gives it
 * count       pixels in the stretch; may be 0
 * q           out: count values
 *
 * A calibration with evenness needs to know where the stretch lies: ask fleck_tone_row_at then.
 *
 * Never fails. Thread-safe, also on one tone.
 */
FLECK_API void fleck_tone_row(const fleck_tone *tone, fleck_channel channel, const void *pixels,
                              size_t count, uint16_t *q);

/* The same for a stretch whose first pixel is (x, y) of the scan. */
FLECK_API void fleck_tone_row_at(const fleck_tone *tone, fleck_channel channel, const void *pixels,
                                 size_t count, size_t x_px, size_t y_px, uint16_t *q);

/*
 * Pixels of a stretch with a sample outside the steps of the calibration's curve, whose reflectance
 * is that of the end step instead; 0 without such a curve.
 */
FLECK_API size_t fleck_tone_count_outside(const fleck_tone *tone, const void *pixels, size_t count);

/*
 * The same for all channels at once, q[0] to q[fleck_tone_channels() - 1] receiving count values
 * each; not for a calibration with evenness. Equal to one call of fleck_tone_row for each; where a
 * profile's tables have to be asked for every pixel, four times as fast.
 */
FLECK_API void fleck_tone_row_all(const fleck_tone *tone, const void *pixels, size_t count,
                                  uint16_t *const q[FLECK_CHANNELS]);

/* Counts the reflectances of a channel; faster than counting them where 8-bit codes alone decide. */
typedef struct fleck_level_counter fleck_level_counter;

/*
 * Start a histogram of nothing.
 *
 * tone     borrowed until fleck_level_counter_free
 * out      to be ended with fleck_level_counter_free; NULL on failure
 *
 * Errors: FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_level_counter_new(const fleck_tone *tone, fleck_channel channel,
                                               fleck_level_counter **out, fleck_error *err);

/*
 * Count pixels first_px to end_px - 1 of a row.
 *
 * pixels    the row, as for fleck_tone_row
 * q         its reflectances, which fleck_tone_row_at gave for the counter's channel
 */
FLECK_API void fleck_level_counter_add(fleck_level_counter *counter, const void *pixels,
                                       const uint16_t *q, size_t first_px, size_t end_px);

/* How many pixels of each of FLECK_LEVELS reflectances were counted so far, into counts. */
FLECK_API void fleck_level_counter_get(const fleck_level_counter *counter, uint64_t *counts);

/* End a counter; NULL is allowed. */
FLECK_API void fleck_level_counter_free(fleck_level_counter *counter);

/* End a tone; NULL is allowed. */
FLECK_API void fleck_tone_free(fleck_tone *tone);

#ifdef __cplusplus
}
#endif

#endif
