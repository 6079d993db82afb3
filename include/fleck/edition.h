/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Is the texture reproducible across an edition: the same numbers, and the same spots in the same places? */
#ifndef FLECK_EDITION_H
#define FLECK_EDITION_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"
#include "fleck/study.h"

#ifdef __cplusplus
extern "C" {
#endif

#define FLECK_EDITION_SCHEMA "fleck-edition"
enum { FLECK_EDITION_VERSION = 1 };

/* How far prints may lie from the reference, set before they are looked at. */
typedef struct fleck_edition_tolerance {
    const char *measure;
    double amount; /* > 0, to either side */
    bool percent;  /* of the reference's value */
} fleck_edition_tolerance;

/*
 * Which prints, in which order, and what they are held against. Everything pointed to is borrowed.
 */
typedef struct fleck_edition_options {
    size_t struct_bytes; /* set by fleck_edition_options_default */
    const char *order;  /* column of numbers: the place in the edition; required */
    const char *print;  /* column that names the print; NULL: patches of the same order are one print */
    const char *rescan; /* column that tells scans of the same print apart; NULL: none */
    const char *reference_id; /* approved patch, not counted as a print of the edition; NULL: none */
    size_t reference_run; /* run of the study that holds the approved prints; FLECK_STUDY_NONE: none */
    const fleck_edition_tolerance *tolerances;
    size_t tolerance_count;
    const char *const *measures; /* columns; the default set when there are none, with the tolerances' */
    size_t measure_count;
    bool mixed;          /* take patches of different settings together, and warn */
    bool pattern;        /* read the scans again and look for spots in the same places */
    size_t edition_size; /* for the plan of how many to look at; 0: none wanted */
    double confidence;   /* of the plan and the limits that hold most prints, 0 to 1 */
} fleck_edition_options;

/* No order yet; pattern wanted; confidence 0.95. */
FLECK_API void fleck_edition_options_init(fleck_edition_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_edition_options fleck_edition_options_default(void)
{
    fleck_edition_options options;

    fleck_edition_options_init(&options, sizeof options);
    return options;
}

/* Three values: what cannot be told is undecided. */
typedef enum fleck_edition_verdict {
    FLECK_EDITION_UNDECIDED,
    FLECK_EDITION_REPRODUCIBLE,
    FLECK_EDITION_NOT_REPRODUCIBLE
} fleck_edition_verdict;

/* "undecided", "reproducible", "not reproducible"; static storage. */
FLECK_API const char *fleck_edition_verdict_name(fleck_edition_verdict verdict);

/* A print and its place in the edition. */
typedef struct fleck_edition_print {
    double order;
    char *name;     /* the print column's text, else the order's */
    char *id;       /* of its first patch */
    size_t patches; /* all scans counted */
} fleck_edition_print;

/* Prints by their place in fleck_edition.prints. */
typedef struct fleck_edition_list {
    size_t *items;
    size_t count;
} fleck_edition_list;

/* A run on the control chart, from a print to another. */
typedef struct fleck_edition_signal {
    const char *rule, *meaning, *source; /* static storage */
    size_t first, last;
} fleck_edition_signal;

/*
 * One measure over the edition. In its own unit where nothing else is said; NAN: cannot be given.
 */
typedef struct fleck_edition_measure {
    char *measure;
    size_t n; /* prints that have it */
    double mean, sd, cv; /* of the prints, each the mean of its patches */
    double within_sd;    /* of one patch within its print; NAN when nothing tells */
    double between_sd;   /* of the prints without that; NAN when nothing tells */
    double repeatability_limit; /* 2.8 sd: two prints differ by more once in 20 times */
    double icc;                 /* ICC(1,1); NAN without repeated patches a print */
    double trend_tau, trend_p;  /* Mann-Kendall along the order */
    double slope;               /* Sen's, a unit of the order */
    double step_p;              /* Pettitt */
    double centre, lcl, ucl, range_ucl; /* chart of individuals and moving ranges */
    fleck_edition_list out_of_limits;
    fleck_edition_signal *signals;
    size_t signal_count;
    fleck_edition_list outliers; /* Grubbs at 5 %, the farthest first */
    double change_p;             /* drift, step or outlier: twice the smaller p, Holm over the measures */
    size_t change_first;         /* print from which the shape found departs; 0 for a drift all along */
    const char *change; /* "step", "drift", "bend", "outlier": what change_p is from; NULL without. Static */
    double change_before, change_after, change_slope;
    double hold_lo, hold_hi; /* limits that hold 90 % of all prints with the confidence asked for */
    double reference;        /* NAN without */
    double tolerance;        /* in the measure's unit; NAN without */
    double difference, difference_lo, difference_hi; /* mean less reference, with its 90 % interval */
    double equivalence_p;    /* two one-sided tests */
    fleck_edition_list outside; /* prints outside the tolerance */
    double scan_sd, print_sd, scan_share, scan_p; /* of --rescan: NAN without */
    bool scan_crossed; /* every print in every round of scanning */
    fleck_edition_verdict verdict;
    char *sentence; /* why, in words */
} fleck_edition_measure;

/* Two neighbouring prints laid over each other. */
typedef struct fleck_edition_pair {
    size_t first, second;
    double correlation, se;
    double shift_x_mm, shift_y_mm, turn_deg;
} fleck_edition_pair;

/*
 * Whether spots lie in the same places on neighbouring prints, as a worn plate or screen leaves
 * them.
 */
typedef struct fleck_edition_pattern {
    double correlation, lo, hi; /* mean of the pairs with its 95 % interval; NAN when none could be laid */
    fleck_edition_pair *pairs;
    size_t pair_count;
    char *sentence; /* NULL when it was not asked for */
} fleck_edition_pattern;

/* How many prints to look at so that all of them being good shows that at least `share` are. */
typedef struct fleck_edition_plan {
    double share;
    size_t sample;         /* of an edition of the size asked for */
    size_t sample_endless; /* of one without end */
} fleck_edition_plan;

enum { FLECK_EDITION_PLANS = 2 };

/* An edition judged. Start from {0}; ended with fleck_edition_clear. */
typedef struct fleck_edition {
    char *order; /* column */
    fleck_edition_print *prints; /* by order */
    size_t print_count;
    double *missing; /* places of a regular order at which there is no print */
    size_t missing_count;
    char *reference; /* what prints were held against; NULL without */
    fleck_edition_measure *measures;
    size_t measure_count;
    fleck_edition_pattern pattern;
    size_t edition_size;
    double confidence;
    fleck_edition_plan plans[FLECK_EDITION_PLANS];
    fleck_edition_verdict verdict;
    char *sentence; /* the edition as a whole */
    fleck_warnings warnings;
} fleck_edition;

/*
 * Judge an edition.
 *
 * study    holds the run, and the reference's when that is another one
 * out      ended with fleck_edition_clear, on failure too
 *
 * A print's value is the mean of its patches, of each scan first. Without a tolerance no measure is ever
 * `reproducible`; with one it is when the mean lies within it by two one-sided tests at 5 % and the prints do.
 * `not reproducible` without a tolerance needs a drift, a step or an outlier that holds at 5 % over all
 * measures; an outlier counts from 7 prints on.
 *
 * Errors: FLECK_BAD_CALL (a column that is not there or no number, a tolerance without reference or for a
 * measure without value there, patches of different settings without `mixed`), FLECK_BAD_INPUT (fewer than 3
 * prints), FLECK_NO_RESOURCE. Scans that cannot be read any more are a warning.
 * The same study gives the same result whatever the order of its rows.
 */
FLECK_API fleck_status fleck_edition_judge(const fleck_study *study,
                                           const fleck_edition_options *options, fleck_edition *out,
                                           fleck_error *err);

/* Free what it owns and start anew; NULL is allowed. */
FLECK_API void fleck_edition_clear(fleck_edition *edition);

/* The plan with number i, below FLECK_EDITION_PLANS, in words; freed with fleck_free(). NULL without memory. */
FLECK_API char *fleck_edition_plan_sentence(const fleck_edition *edition, size_t i);

/* The result as JSON, and as a table with a row for each measure; freed with fleck_free(). NULL without memory. */
FLECK_API char *fleck_edition_to_json(const fleck_edition *edition);

/* A row for each measure; freed with fleck_free(). NULL without memory. */
FLECK_API char *fleck_edition_to_csv(const fleck_edition *edition);

#ifdef __cplusplus
}
#endif

#endif
