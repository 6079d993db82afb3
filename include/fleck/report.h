/* SPDX-License-Identifier: GPL-3.0-or-later */
/* One page about a run that needs nothing beside it: HTML with its pictures in it. */
#ifndef FLECK_REPORT_H
#define FLECK_REPORT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"

#ifdef __cplusplus
extern "C" {
#endif

/* How far a measure may lie from the reference, or between groups, and still be the same. */
typedef struct fleck_report_tolerance {
    const char *measure;
    double amount; /* > 0 */
    bool percent;
} fleck_report_tolerance;

/* What the page tells beside the patches themselves. Everything pointed to is borrowed. */
typedef struct fleck_report_options {
    size_t struct_bytes; /* set by fleck_report_options_default */
    const char *title;     /* NULL: from the run's name */
    const char *by;        /* column that makes groups to compare; NULL: none */
    const char *order;     /* column of numbers with each print's place in an edition; NULL: none */
    const char *reference; /* approved patch of this run, or a run of approved prints; NULL: none */
    const char *print;     /* column that names the print; NULL: as fleck_edition_judge and fleck_compare_study take it */
    const char *rescan;    /* column that tells scans of the same print apart; NULL: none */
    size_t edition_size;   /* with order: how many prints of so many to look at; 0: not asked */
    const fleck_report_tolerance *tolerances;
    size_t tolerance_count;
    const char *const *measures; /* columns; the usual ones without */
    size_t measure_count;
    const char *unit; /* column whose patches are averaged before they are compared; NULL: batch */
    bool mixed;       /* take patches of different settings together, and warn */
    uint64_t seed;
    size_t most_bytes; /* of the page; pictures become smaller and fewer until it fits */
} fleck_report_options;

/* Nothing asked; seed 1; 24 MB. */
FLECK_API void fleck_report_options_init(fleck_report_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_report_options fleck_report_options_default(void)
{
    fleck_report_options options;

    fleck_report_options_init(&options, sizeof options);
    return options;
}

/* What became of the page. */
typedef struct fleck_report_summary {
    size_t patches;
    size_t with_pictures; /* patches with a picture of their dots */
    bool reduced;         /* pictures or plots were left out to keep the page small */
} fleck_report_summary;

/*
 * Make the page.
 *
 * run        a folder that `fleck measure -o` has made; its pictures are used where it has them
 * bytes      out: the page, freed with fleck_free(); NULL on failure
 * summary    out
 *
 * The same run and options give the same bytes (on machines with the same fonts and libraries).
 * Nothing that stands in the run can become part of the page's code. The page loads nothing.
 *
 * Errors: those of fleck_compare_study for `by` and fleck_edition_judge for `order`; FLECK_BAD_INPUT (no
 * run there, a damaged file), FLECK_BAD_CALL (most_bytes too small for the page without pictures),
 * FLECK_NO_RESOURCE.
 */
FLECK_API fleck_status fleck_report_make(const char *run, const fleck_report_options *options,
                                         char **bytes, size_t *size, fleck_report_summary *summary,
                                         fleck_error *err);

#ifdef __cplusplus
}
#endif

#endif
