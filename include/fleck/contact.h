/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Where a baren or press touched: contact area and mean pressure from the trace of carbon paper. */
#ifndef FLECK_CONTACT_H
#define FLECK_CONTACT_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/measure.h"

#ifdef __cplusplus
extern "C" {
#endif

#define FLECK_CONTACT_SCHEMA "fleck-contact"
enum { FLECK_CONTACT_VERSION = 1, FLECK_CONTACT_BANDS = 1000 };

/* How the trace is measured and what lay on the pad. */
typedef struct fleck_contact_options {
    size_t struct_bytes; /* set by fleck_contact_options_default */
    /* area, tone and threshold; what concerns dots plays no part. NULL: the defaults. Borrowed */
    const fleck_measure_options *measure;
    double load_kg;                /* weight on the pad, > 0; has no default */
    size_t bands;                  /* stripes of equal width, 1 to FLECK_CONTACT_BANDS */
    bool across_y;                 /* they lie one below the other instead of side by side */
} fleck_contact_options;

/* Five bands side by side, from left to right; the load is NAN. */
FLECK_API void fleck_contact_options_init(fleck_contact_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_contact_options fleck_contact_options_default(void)
{
    fleck_contact_options options;

    fleck_contact_options_init(&options, sizeof options);
    return options;
}

/* Contact in the whole region or in a band of it. NAN: cannot be given, a warning says why. */
typedef struct fleck_contact_part {
    double from_mm, to_mm; /* of the scan, along the axis of the bands */
    double area_mm2;       /* of its pixels */
    double contact_mm2;    /* of the inked ones */
    double contact_fraction;
    double load_kg;           /* all of it, or the same part of it for each band */
    double mean_pressure_kpa; /* load_kg * 9.80665 / contact_mm2; NAN without contact */
} fleck_contact_part;

/* Contact on one scan. Owns its texts and bands; ended with fleck_contact_clear. */
typedef struct fleck_contact {
    char *path;
    char sha256[65];
    char *channel;   /* that was measured */
    char *threshold; /* as asked for */
    double threshold_reflectance;
    double x_mm, y_mm, width_mm, height_mm; /* of the region */
    bool across_y;
    fleck_contact_part whole;
    fleck_contact_part *bands;
    size_t band_count;
    fleck_warnings warnings;
} fleck_contact;

/*
 * Measure the contact on one scan.
 *
 * Ink is where there was contact. Bands are cut at whole pixels, round(i * width / bands), and
 * share one threshold, so that their areas add up to the whole's exactly.
 *
 * out    ended with fleck_contact_clear, after a failure too
 *
 * Warnings: `no-trace` (nothing stands out: it cannot be told whether all or nothing touched),
 * `no-contact` (a part without any), and those of the scan.
 * Errors: FLECK_BAD_CALL (options, several patches), FLECK_BAD_INPUT (the scan), FLECK_NO_RESOURCE.
 * Source: ISO 80000-3 for standard gravity, 9.80665 m/s2.
 */
FLECK_API fleck_status fleck_contact_measure(const char *scan, const fleck_contact_options *options,
                                             fleck_contact *out, fleck_error *err);

/* Free what it owns and start anew; NULL is allowed. */
FLECK_API void fleck_contact_clear(fleck_contact *contact);

/* What such numbers do not say; sentences, static storage. */
FLECK_API const char *const *fleck_contact_cautions(size_t *count);

/* The result as text, freed with fleck_free(). NULL without memory. */
FLECK_API char *fleck_contact_to_json(const fleck_contact *contact);
/* One row for the whole and one for each band. */
FLECK_API char *fleck_contact_to_csv(const fleck_contact *contact);

#ifdef __cplusplus
}
#endif

#endif
