/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The record of one patch, and the table of measures that names, explains and prints it. */
#ifndef FLECK_RECORD_H
#define FLECK_RECORD_H

#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/pattern.h"
#include "fleck/print_noise.h"
#include "fleck/sampling.h"
#include "fleck/segment.h"
#include "fleck/shape.h"
#include "fleck/size_distribution.h"
#include "fleck/spectrum_features.h"
#include "fleck/texture.h"

#ifdef __cplusplus
extern "C" {
#endif

#define FLECK_RECORD_SCHEMA "fleck-record"
enum { FLECK_RECORD_VERSION = 1 };

/* A list of numbers of a record; NULL and 0 when it cannot be given. Missing numbers are NAN. */
typedef struct fleck_series {
    double *values;
    size_t count;
} fleck_series;

/* Chord lengths of one phase that are not cut by the border. */
typedef struct fleck_record_chords {
    double median_mm, sd_mm;
    fleck_series from_mm; /* lower ends of the classes */
    fleck_series share;
} fleck_record_chords;

/* What the sizes of one phase are beyond fleck_sizes. */
typedef struct fleck_record_sizes {
    double mean_21_mm, mean_32_mm;
    fleck_lognormal_fit lognormal;
    fleck_size_intervals intervals;
    fleck_series class_from_mm; /* lower ends of the classes */
    fleck_series class_number_share, class_area_share;
} fleck_record_sizes;

/*
 * Everything measured on one patch. Scalars are doubles, NAN when they cannot be given; texts are
 * NULL when they cannot. The key table says what each field means. Owns its texts and arrays.
 */
typedef struct fleck_record {
    char *id;
    char *speckle; /* "present", "flat" or "blank" */
    struct {
        char *path;   /* as given by the caller, or as the manifest resolves it; the id of what is no file */
        char *sha256; /* lower-case hex, of the file's bytes, or as fleck_inputs_add_rows says */
        char *format; /* see fleck_scan_format_name */
        double width_px, height_px, bits, channels, ppi_x, ppi_y;
        char *ppi_from; /* "option", "calibration" or "file" */
    } source;
    struct {
        double x_mm, y_mm, width_mm, height_mm; /* of the box around the pixels measured */
        double area_mm2;                        /* of these pixels */
    } region;
    struct {
        char *channel;      /* as asked for */
        char *channel_used; /* what auto chose, or the same; "grey" for a scan of one channel */
        char *tone_from;
        char *ink;
        char *threshold; /* as asked for */
        double cutoff_mm;
        double margin_mm;
        char *region;    /* "X,Y,W,H" as asked for, NULL for the whole scan */
        double tilt_deg; /* of the region, 0 without */
        char *calibration; /* path as asked for, NULL without */
        char *calibration_sha256;
        double scanner_edge_width_mm; /* of the calibration; NAN when not known */
        char *mask;      /* path as asked for, NULL without */
        char *mask_sha256;
        double tile_px;  /* as asked for, NAN when chosen from the patch */
        double seed;     /* of all that is drawn by chance */
        double simulations; /* for the verdict on the pattern */
        double page;
    } settings;
    struct {
        char *method;
        double threshold_reflectance, separability, ink_reflectance, bare_reflectance;
    } threshold;
    struct {
        double mean_reflectance, sd_reflectance, density, optical_coverage, open_paper_reflectance;
    } tone;
    struct {
        double coverage, coverage_se, counted_coverage, mean_chord_mm;
        double perimeter_per_area_per_mm, euler_per_cm2;
    } ink;
    fleck_sizes dots;
    fleck_record_sizes dots_sizes;
    fleck_shape_summary dots_shape; /* its gap stands in the group spacing */
    struct {
        double depth_mm, parts, per_cm2, d10_mm, d50_mm, d90_mm; /* NAN when it was not asked for */
    } split;
    fleck_spacing spacing;
    struct {
        char *order; /* "clustered", "random" or "regular"; NULL without a verdict */
        double order_p, dots, simulations, decided_at_mm;
        fleck_series r_mm, l_mm, l_lo_mm, l_hi_mm, pair_correlation, nearest_g, empty_f;
    } pattern; /* order stands in the group spacing */
    struct {
        double mean_diameter_mm, per_cm2, fit_p;
    } grain;
    fleck_sizes flecks;
    fleck_record_sizes flecks_sizes;
    fleck_shape_summary flecks_shape;
    double flecks_mean_chord_mm;
    struct {
        fleck_series lag_x_mm, along_x, lag_y_mm, along_y, lag_mm, radial;
    } covariance;
    fleck_record_chords ink_chords, bare_chords;
    struct {
        double mean_mm, median_mm;
        fleck_series diameter_mm, removed;
    } granulometry;
    fleck_sampling sampling;
    double dots_needed; /* in the group sampling */
    fleck_print_noise print_noise;
    struct {
        double coverage_lo, coverage_hi, d50_lo_mm, d50_hi_mm;
    } sensitivity;
    struct {
        double coverage, coverage_limit, per_cm2, per_cm2_limit; /* of the calibration's channel */
    } blank;
    double spectrum_tile_px, spectrum_tiles; /* NAN without a spectrum */
    fleck_spectrum spectrum;                 /* its arrays; empty without a spectrum */
    fleck_spectrum_features spectrum_features;
    fleck_warnings warnings;
} fleck_record;

/* What kind of value a key has. */
typedef enum fleck_key_kind {
    FLECK_KEY_TEXT,
    FLECK_KEY_WHOLE, /* a double that holds a whole number */
    FLECK_KEY_REAL
} fleck_key_kind;

/* One measure: the single home of its name, unit, meaning and source. */
typedef struct fleck_key {
    const char *key;        /* "dots.d50_mm" */
    const char *unit;       /* "mm", "" for a pure number */
    const char *label;      /* for tables, plots and the report: "median dot diameter" */
    const char *definition; /* one sentence */
    const char *source;     /* where the definition comes from */
    fleck_key_kind kind;
    int measure;            /* 1 when it is a column of patches.csv */
    size_t offset;          /* in fleck_record */
} fleck_key;

/* All scalar keys in the order of the record; static storage. */
FLECK_API const fleck_key *fleck_keys(size_t *count);

/* What makes a measure go up or down, in the words of the print shop; NULL for what is no measure. */
FLECK_API const char *fleck_key_moves(const fleck_key *key);

/* When a measure should not be trusted, to be read after "when"; NULL for what is no measure. */
FLECK_API const char *fleck_key_beware(const fleck_key *key);

/* One list of numbers of a record. */
typedef struct fleck_series_key {
    const char *key; /* "covariance.radial" */
    const char *unit;
    const char *label;
    const char *definition;
    const char *source;
    size_t offset; /* of a fleck_series in fleck_record */
} fleck_series_key;

/* All lists but those of the spectrum, in the order of the record; static storage. */
FLECK_API const fleck_series_key *fleck_series_keys(size_t *count);

/* The key of that name, or NULL. */
FLECK_API const fleck_key *fleck_key_find(const char *name);

/* Value of a numeric key in a record; NAN when it cannot be given or the key is a text. */
FLECK_API double fleck_record_number(const fleck_record *record, const fleck_key *key);

/* Value of a text key, NULL when it cannot be given or the key is a number. */
FLECK_API const char *fleck_record_text(const fleck_record *record, const fleck_key *key);

/* The record as JSON text, ending in a newline; freed with fleck_free(). NULL when there is no memory. */
FLECK_API char *fleck_record_to_json(const fleck_record *record);

/* Read a record back. Errors: FLECK_BAD_INPUT (not a record, newer version), FLECK_NO_RESOURCE. */
FLECK_API fleck_status fleck_record_from_json(const char *text, size_t size, fleck_record *out,
                                              fleck_error *err);

/* Set every number to NAN and everything else to nothing. */
FLECK_API void fleck_record_init(fleck_record *record);

/* Free what the record owns; NULL is allowed. */
FLECK_API void fleck_record_clear(fleck_record *record);

#ifdef __cplusplus
}
#endif

#endif
