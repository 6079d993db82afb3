/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What is known of a scanner: true lengths, true tones, paper, ink, and how even its light is. */
#ifndef FLECK_CALIBRATION_H
#define FLECK_CALIBRATION_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"
#include "fleck/geometry.h"
#include "fleck/scan.h"
#include "fleck/tone.h"

#ifdef __cplusplus
extern "C" {
#endif

#define FLECK_CALIBRATION_SCHEMA "fleck-calibration"
enum { FLECK_CALIBRATION_VERSION = 1 };

enum {
    FLECK_COLOURS = 3,      /* samples of a pixel: 1 of them in use for grey */
    FLECK_FIELD_TERMS = 10, /* 1, x, y, x2, xy, y2, x3, x2y, xy2, y3 */
    FLECK_DIGEST_TEXT_BYTES = 65
};

/* A known distance between two points of a scan, as the eye places them. */
typedef struct fleck_length_mark {
    double length_mm;
    double x1_px, y1_px, x2_px, y2_px; /* pixel (i, j) covers i to i + 1, j to j + 1 */
    double residual_mm;                /* out: distance by the fitted ppi less length_mm */
} fleck_length_mark;

/* Resolution of the scanner, from distances that were measured on a target. */
typedef struct fleck_calibration_length {
    double ppi_x, ppi_y;       /* NAN without this part */
    double ppi_x_se, ppi_y_se; /* standard errors; NAN from two marks, which fit exactly */
    fleck_length_mark *marks;
    size_t mark_count;
} fleck_calibration_length;

/* Whether a tone lies beyond what the scanner could record. */
typedef enum fleck_clip {
    FLECK_CLIP_NONE,
    FLECK_CLIP_DARK, /* too many pixels at code 0 */
    FLECK_CLIP_LIGHT /* too many pixels at full scale */
} fleck_clip;

/* A step of a grey scale. Codes are shares of full scale, 0 to 1, one for each colour sample. */
typedef struct fleck_tone_step {
    double density;
    double reflectance;
    double code[FLECK_COLOURS];
    double code_sd[FLECK_COLOURS];
    fleck_clip clipped[FLECK_COLOURS]; /* a clipped step is not part of the curve */
    /* density by the curve through all other steps less this one's; NAN at the ends and when
     * clipped */
    double residual_density[FLECK_COLOURS];
} fleck_tone_step;

/*
 * From code to reflectance: Steffen's monotone cubic through (code, square root of reflectance),
 * squared. Below and above the points the first and last reflectance are held.
 */
typedef struct fleck_tone_curve {
    double *code;        /* rising */
    double *reflectance; /* rising */
    size_t count;
    double low_code,
        high_code; /* beyond these a pixel lies outside: the end steps and their noise */
} fleck_tone_curve;

/* What codes mean, from a grey scale of known densities. */
typedef struct fleck_calibration_tone {
    fleck_tone_step *steps; /* from light to dark */
    size_t step_count;      /* 0 without this part */
    fleck_tone_curve curves[FLECK_COLOURS];
} fleck_calibration_tone;

/*
 * Evenness of the light: reflectance of a blank sheet over its mean, a cubic in x and y that run
 * from -1 to 1 over the scan's width and height. Of each channel that can be read.
 */
typedef struct fleck_calibration_evenness {
    size_t width_px, height_px; /* of the blank scan; 0 without this part */
    double coefficients[FLECK_CHANNELS][FLECK_FIELD_TERMS];
    double before_sd[FLECK_CHANNELS]; /* of block means over their mean */
    double after_sd[FLECK_CHANNELS];  /* the same once the field is divided out */
    double blocks;
    double blocks_left_out[FLECK_CHANNELS]; /* dust */
} fleck_calibration_evenness;

/* Paper white or ink black, for each channel that can be read. */
typedef struct fleck_calibration_area {
    bool present;
    double
        reflectance[FLECK_CHANNELS];  /* mean, relative to the scanner's white or the grey scale */
    double sd[FLECK_CHANNELS];        /* between pixels */
    double quantised[FLECK_CHANNELS]; /* mean of q / 65535 as a measurement sees the same pixels */
} fleck_calibration_area;

/* What blank paper gives when it is measured like a patch. NAN where ink and paper do not differ.
 */
typedef struct fleck_calibration_blank {
    double boxes;    /* 0 without this part */
    double area_cm2; /* of all boxes */
    double cutoff_mm;
    double coverage_mean[FLECK_CHANNELS], coverage_sd[FLECK_CHANNELS];
    double coverage_limit[FLECK_CHANNELS]; /* limit of detection: mean + 3 sd */
    double per_cm2_mean[FLECK_CHANNELS], per_cm2_sd[FLECK_CHANNELS];
    double per_cm2_limit[FLECK_CHANNELS];
} fleck_calibration_blank;

/* A straight hard edge as the scanner gives it. */
typedef struct fleck_blur_edge {
    double angle_deg; /* of the line, anticlockwise from the x axis, 0 to 180 */
    double length_mm;
    double edge_width_mm[FLECK_CHANNELS]; /* 10 to 90 %; NAN in a channel that does not show it */
} fleck_blur_edge;

/* The scanner's own blur. */
typedef struct fleck_calibration_blur {
    bool present;
    double edge_width_mm[FLECK_CHANNELS]; /* root mean square over the edges; NAN when not known */
    fleck_blur_edge *edges; /* none when the width was not measured but written into the file */
    size_t edge_count;
} fleck_calibration_blur;

/* A scan that went into the calibration. */
typedef struct fleck_calibration_scan {
    char *part; /* "length", "tone", "evenness", "blur", "paper", "ink" or "blank" */
    char *path;
    char sha256[FLECK_DIGEST_TEXT_BYTES];
} fleck_calibration_scan;

/*
 * A calibration. Start with fleck_calibration_init; each part may be missing. It fits scans of one
 * kind only, which the first scan that goes into it decides.
 */
struct fleck_calibration {
    unsigned bits;                       /* of a decoded sample, 8 or 16; 0 before the first scan */
    unsigned channels;                   /* 1 grey, 3 RGB */
    double claimed_ppi_x, claimed_ppi_y; /* what the scans say of themselves; 0 when nothing */
    bool has_tone_from;                  /* without a curve: where the scans' own curve came from */
    fleck_tone_from tone_from;
    fleck_calibration_length length;
    fleck_calibration_tone tone;
    fleck_calibration_evenness evenness;
    fleck_calibration_area paper, ink;
    bool
        relative_to_paper; /* reflectance is divided by the paper's: so unless the ink is lighter */
    fleck_calibration_blank blank;
    fleck_calibration_blur blur;
    fleck_calibration_scan *scans;
    size_t scan_count, scan_capacity;
    char sha256[FLECK_DIGEST_TEXT_BYTES]; /* of the file it was read from or written to, else "" */
    double asked_ppi_x, asked_ppi_y; /* while calibrating: for boxes in mm on scans that say nothing
                                        and without a length; 0 when not given; not in the file */
};

/* Nothing known yet. */
FLECK_API void fleck_calibration_init(fleck_calibration *calibration);

/* Free what it owns and start anew; NULL is allowed. */
FLECK_API void fleck_calibration_clear(fleck_calibration *calibration);

/*
 * Read a calibration file.
 *
 * out    ended with fleck_calibration_clear; as after _init on failure
 *
 * Errors: FLECK_BAD_INPUT (not readable, no calibration, made by a newer fleck, damaged),
 * FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_calibration_read(const char *path, fleck_calibration *out,
                                              fleck_error *err);

/* The same from bytes in memory, which are borrowed for the call. */
FLECK_API fleck_status fleck_calibration_read_memory(const void *bytes, size_t size,
                                                     fleck_calibration *out, fleck_error *err);

/* The calibration as JSON text, ending in a newline; freed with fleck_free(). NULL without memory. */
FLECK_API char *fleck_calibration_to_json(const fleck_calibration *calibration);

/*
 * Write the file, whole or not at all, and note its SHA-256 in the calibration. A file of that name
 * is replaced only when it is a calibration this version can read.
 * Errors: FLECK_BAD_CALL (something else has that name), FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_calibration_write(fleck_calibration *calibration, const char *path,
                                               fleck_error *err);

/*
 * Whether a scan fits: bits and channels as decoded, ppi as claimed to 1 %, and with evenness the
 * size to 1 %. A scan or calibration without a claim gets the warning `calibration-unproved`.
 * Errors: FLECK_BAD_INPUT naming what differs, FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_calibration_check(const fleck_calibration *calibration,
                                               const fleck_scan_info *info,
                                               fleck_warnings *warnings, fleck_error *err);

/* Channels that can be read of its scans: 1 for grey, else FLECK_CHANNELS. */
FLECK_API unsigned fleck_calibration_channels(const fleck_calibration *calibration);

/* Light at the centre of pixel (x, y) relative to its mean; 1 without evenness. */
FLECK_API double fleck_calibration_field(const fleck_calibration *calibration,
                                         fleck_channel channel, double x_px, double y_px);

/*
 * (paper - mean) / (paper - ink): the coverage that a mean of q / 65535 means. 0 for the paper's
 * own pixels and 1 for the ink's. NAN without both, and in a channel in which they do not differ by
 * more than their noise. Source: Murray & Davies (1936).
 */
FLECK_API double fleck_calibration_optical_coverage(const fleck_calibration *calibration,
                                                    fleck_channel channel, double mean_reflectance);

/* The scanner's own 10 to 90 % edge width in that channel; NAN when it is not known. */
FLECK_API double fleck_calibration_edge_width_mm(const fleck_calibration *calibration,
                                                 fleck_channel channel);

/* Reflectance of a code (0 to 1) by a curve; the end values are held. `count` is 2 or more. */
FLECK_API double fleck_tone_curve_at(const fleck_tone_curve *curve, double code);

/* ---- making one: each call adds a part, in the order in which they stand here ---- */

/* An area of a scan. */
typedef struct fleck_scan_area {
    const char *path;
    size_t page;  /* of a TIFF, from 1 */
    bool has_box; /* false: the whole scan */
    fleck_box_mm box;
} fleck_scan_area;

/*
 * ppi along x and y from known lengths, by least squares of the lengths in mm.
 *
 * marks    at least one more along x than along y, or the other way round, so that both can be
 * told; copied, with their residuals scan     the scan they were read from
 *
 * Warnings: `length-exact` (two marks fit whatever they say), `length-misfit` (a mark off by more
 * than 1 %), `resolution-differs` (the scan claims another ppi by more than 1 %).
 * Errors: FLECK_BAD_CALL (marks at the same point, outside the scan, of length 0; only one
 * direction), FLECK_BAD_INPUT (the scan), FLECK_NO_RESOURCE; the calibration keeps what it had.
 */
FLECK_API fleck_status fleck_calibrate_length(fleck_calibration *calibration,
                                              const fleck_length_mark *marks, size_t count,
                                              const fleck_scan_area *scan, fleck_warnings *warnings,
                                              fleck_error *err);

/* Where the steps of a grey scale are. */
typedef struct fleck_tone_target {
    const char *steps_csv; /* density or reflectance; x, y, width, height in mm; scan */
    fleck_scan_area
        scan;           /* for steps that name none; path NULL: all name one. Its box is not used */
    bool has_strip;     /* for steps without boxes: the line along which they lie */
    double strip_mm[4]; /* x1, y1, x2, y2: from the outer edge of the first to that of the last */
} fleck_tone_target;

/*
 * Curve of each colour sample from a scan of steps of known density. Boxes are taken in their
 * middle 60 %; without boxes the steps are found as level stretches along the strip or, without
 * that, along the longer side of the whole scan.
 *
 * Warnings: `step-clipped` for each end that is not part of the curve; `steps-reversed` (the strip
 * lies the other way round); `step-misfit` (a step off by more than 0.05 in density).
 * Errors: FLECK_BAD_INPUT (a table or scan that cannot be read, fewer than 4 steps that can be
 * used, codes that do not rise with reflectance), FLECK_BAD_CALL, FLECK_NO_RESOURCE. Source: ISO
 * 14524 (curve), ISO 5-3 and 5-4 (density); Steffen (1990), Astron. Astrophys. 239.
 */
FLECK_API fleck_status fleck_calibrate_tone(fleck_calibration *calibration,
                                            const fleck_tone_target *target,
                                            fleck_warnings *warnings, fleck_error *err);

/*
 * Evenness from a scan of a blank sheet that covers the whole area. Fitted to the means of the
 * middle half of each block's pixels, and again without the blocks that stand out: dust does not
 * count.
 *
 * Warnings: `evenness-clipped` (the sheet is at full scale).
 * Errors: FLECK_BAD_INPUT (too small, too dark, too uneven), FLECK_BAD_CALL (a box),
 * FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_calibrate_evenness(fleck_calibration *calibration,
                                                const fleck_scan_area *blank,
                                                fleck_warnings *warnings, fleck_error *err);

/*
 * The scanner's own blur from straight hard edges (a razor blade, foil, a laser print), measured by
 * the code that measures the edges of dots, over the known length of a straight line. It takes part
 * in no other number than the edge widths of dots and flecks.
 *
 * areas    boxes of 4 million pixels at most, each with one edge that runs through it and has at least
 *          twice its width of either tone beside it. The blur of a scanner may differ along x and y: the
 *          mean of squares over two edges at right angles, or one near 45 degrees, is what dots meet
 *
 * Warnings, each a doubt: `blur-edge-short`, `blur-edge-crooked`, `blur-edge-one-sided` (soft on one
 * side), `blur-edge-noisy`, `blur-edge-clipped`, `blur-edge-in-line` (along the rows, columns or
 * diagonals of pixels and hardly wider than these), `blur-edge-one-direction`.
 * Errors: FLECK_BAD_INPUT (no edge, or several, none that is straight; the scan), FLECK_BAD_CALL (no
 * areas), FLECK_NO_RESOURCE; the calibration keeps what it had.
 * Source: ISO 12233 for the slanted edge; mean of squares: variances of blur add, and those along two
 * directions at right angles have the same mean as those along all.
 */
FLECK_API fleck_status fleck_calibrate_blur(fleck_calibration *calibration,
                                            const fleck_scan_area *areas, size_t count,
                                            fleck_warnings *warnings, fleck_error *err);

/* Paper white: from now on reflectance is relative to it. Errors: FLECK_BAD_INPUT (black, the
 * scan). */
FLECK_API fleck_status fleck_calibrate_paper(fleck_calibration *calibration,
                                             const fleck_scan_area *paper, fleck_warnings *warnings,
                                             fleck_error *err);

/*
 * Solid ink. When it is lighter than the paper, reflectance stays as it is, since pale ink would
 * otherwise be cut off at the paper's white, with the warning `not-relative-to-paper`.
 *
 * paper    as given to fleck_calibrate_paper, read once more for pale ink
 * Errors: FLECK_BAD_CALL (no paper yet), FLECK_BAD_INPUT (no different from the paper, the scan).
 */
FLECK_API fleck_status fleck_calibrate_ink(fleck_calibration *calibration,
                                           const fleck_scan_area *ink, const fleck_scan_area *paper,
                                           fleck_warnings *warnings, fleck_error *err);

/*
 * Blank value: areas of blank paper measured like patches, at the threshold half-way between paper
 * and ink.
 *
 * areas        two or more, or one, which is cut into 3 x 3
 * cutoff_mm    equivalent diameter from which a dot counts, > 0
 *
 * Errors: FLECK_BAD_CALL (no paper or ink yet), FLECK_BAD_INPUT, FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_calibrate_blank(fleck_calibration *calibration,
                                             const fleck_scan_area *areas, size_t count,
                                             double cutoff_mm, fleck_warnings *warnings,
                                             fleck_error *err);

#ifdef __cplusplus
}
#endif

#endif
