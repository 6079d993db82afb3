/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Before printing: over what area, how many patches, and in which order. */
#ifndef FLECK_PLAN_H
#define FLECK_PLAN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/measure.h"
#include "fleck/record.h"
#include "fleck/study.h"

#ifdef __cplusplus
extern "C" {
#endif

#define FLECK_PLAN_SCHEMA "fleck-plan"
enum { FLECK_PLAN_VERSION = 1, FLECK_PLAN_PRINTS = 100000 };

/* A number for a measure, in its unit or in per cent of the mean. */
typedef struct fleck_plan_value {
    const char *measure;
    double value; /* > 0 */
    bool percent;
} fleck_plan_value;

/* ---- how many patches ---- */

/* What differences are to be found. Everything pointed to is borrowed. */
typedef struct fleck_plan_options {
    size_t struct_bytes; /* set by fleck_plan_options_default */
    const fleck_plan_value
        *differences; /* that are to be found; none: what each number of patches shows */
    size_t difference_count;
    const fleck_plan_value
        *spreads; /* sd between patches of one kind; they go before the pilot's */
    size_t spread_count;
    const char *const *measures; /* without differences; the default set when there are none */
    size_t measure_count;
    const char
        *by; /* column of the pilot that tells kinds of patches apart; NULL: all are of one kind */
    const char *unit; /* column whose patches are averaged first, as in fleck_compare_options */
    double alpha;     /* level of the test, two-sided, 0.05 */
    double power;     /* chance to find the difference, 0.8 */
} fleck_plan_options;

/* Level 0.05, power 0.8. */
FLECK_API void fleck_plan_options_init(fleck_plan_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_plan_options fleck_plan_options_default(void)
{
    fleck_plan_options options;

    fleck_plan_options_init(&options, sizeof options);
    return options;
}

enum { FLECK_PLAN_SIZES = 8 }; /* of groups in the table of what they would show */

/* One measure. NAN: cannot be given, a warning says why. */
typedef struct fleck_plan_number {
    char *measure;
    bool percent;      /* mean is 100: everything is in per cent of the mean */
    double mean;       /* of the pilot */
    double sd;         /* within a kind */
    double sd_df;      /* degrees of freedom behind it; NAN when it was given */
    double sd_high;    /* 80 % upper confidence limit of sd (Browne 1995); NAN when it was given */
    size_t units;      /* of the pilot */
    double difference; /* wanted */
    double per_group;  /* units per group that find it, a whole number */
    double per_group_cautious;      /* the same with sd_high */
    double reached;                 /* power of per_group */
    double shown[FLECK_PLAN_SIZES]; /* difference that groups of these sizes would show */
} fleck_plan_number;

/* How many patches. Start from {0}; ended with fleck_plan_clear. */
typedef struct fleck_plan {
    char *unit; /* what is counted: the column's name, or "patch" */
    double alpha, power;
    fleck_plan_number *numbers;
    size_t number_count;
    fleck_warnings warnings;
} fleck_plan;

/* The group sizes of fleck_plan_number's `shown`; static storage. */
FLECK_API const size_t *fleck_plan_sizes(void);

/*
 * Patches (or prints, batches: units) per group, for two groups compared by Student's t test.
 *
 * pilot    NULL: the spreads are given
 * out      ended with fleck_plan_clear, after a failure too
 *
 * Warnings: `no-spread` (less than two units of a kind), `few-units` (the spread rests on fewer
 * than 5 degrees of freedom), `measure-missing`, `settings-differ` (in the pilot), `too-small` (a
 * difference). Errors: FLECK_BAD_CALL (no such column, a number not > 0, per cent without a mean,
 * nothing to plan from), FLECK_NO_RESOURCE. The message begins with what it is about. Source: power
 * by the noncentral t distribution; Browne (1995), Stat. Med. 14, 1933-1940, for sd_high.
 */
FLECK_API fleck_status fleck_plan_numbers(const fleck_study *pilot,
                                          const fleck_plan_options *options, fleck_plan *out,
                                          fleck_error *err);

/* Free what it owns and start anew; NULL is allowed. */
FLECK_API void fleck_plan_clear(fleck_plan *plan);

/* ---- over what area ---- */

/* How well each measure is to be known. */
typedef struct fleck_plan_area_options {
    size_t struct_bytes; /* set by fleck_plan_area_options_default */
    const fleck_plan_value
        *tolerances; /* half the width of a 95 % interval; the defaults when there are none */
    size_t tolerance_count;
    double coverage_se; /* wanted standard error of coverage; NAN: not asked for */
} fleck_plan_area_options;

/* ink.coverage 0.02, dots.d50_mm 5 %, dots.per_cm2 10 %; common practice, no source. */
FLECK_API void fleck_plan_area_options_init(fleck_plan_area_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_plan_area_options fleck_plan_area_options_default(void)
{
    fleck_plan_area_options options;

    fleck_plan_area_options_init(&options, sizeof options);
    return options;
}

/* One measure. NAN: cannot be given, a warning says why. */
typedef struct fleck_plan_area {
    char *measure;
    double tolerance; /* in the measure's unit, or in per cent */
    bool percent;
    bool is_se;             /* tolerance is a standard error, not half an interval */
    const char *basis;      /* "integral range", "intervals" or "counts"; static storage */
    size_t patches;         /* of the pilot that tell */
    double mean;            /* over these */
    double pilot_tolerance; /* what the pilot's patches reach, mean in squares */
    double area_mm2;        /* by the mean of their variances */
    double side_mm;         /* of the square */
    double area_worst_mm2;  /* by the patch that varies most */
    double dots;            /* expected in the square; NAN when they are not known */
} fleck_plan_area;

/* How large a patch. Start from {0}; ended with fleck_plan_areas_clear. */
typedef struct fleck_plan_areas {
    fleck_plan_area *areas;
    size_t area_count;
    double side_mm;        /* of the square that does for all; NAN when one cannot be told */
    double pilot_area_mm2; /* mean measured area of the pilot's patches */
    fleck_warnings warnings;
} fleck_plan_areas;

/*
 * The smallest square that gives each measure within its tolerance, from how much it varies within
 * the patches of a pilot: variance falls as one over area.
 *
 * Warnings: `no-intervals` (the pilot does not tell), `told-by-counts` (density without intervals:
 * taken as that of random points), `slow-variance` (sampling.exponent above -0.8 or
 * sampling.evenness above 2: variance falls slower), `far-from-pilot` (more than ten times its
 * area), `small-square` (below 20 integral ranges, or 50 dots: the rule does not hold there).
 * Errors: as fleck_plan_numbers.
 * Source: Kanit et al. (2003), Int. J. Solids Struct. 40, 3647-3679.
 */
FLECK_API fleck_status fleck_plan_areas_study(const fleck_study *pilot,
                                              const fleck_plan_area_options *options,
                                              fleck_plan_areas *out, fleck_error *err);

/* The same from records that are at hand. */
FLECK_API fleck_status fleck_plan_areas_records(const fleck_record *records, size_t count,
                                                const fleck_plan_area_options *options,
                                                fleck_plan_areas *out, fleck_error *err);

/* Free what it owns and start anew; NULL is allowed. */
FLECK_API void fleck_plan_areas_clear(fleck_plan_areas *areas);

/* ---- in which order ---- */

/* A factor and the levels it is tried at; borrowed. */
typedef struct fleck_plan_factor {
    const char *name;
    const char *const *levels; /* as they are to stand in the manifest */
    size_t level_count;
} fleck_plan_factor;

/* A print that is to be made. */
typedef struct fleck_plan_print {
    size_t block;  /* from 0 */
    size_t *level; /* of each factor */
} fleck_plan_print;

/* Prints in the order in which they are to be made. */
typedef struct fleck_plan_order {
    const fleck_plan_factor *factors; /* the caller's */
    size_t factor_count;
    size_t repeats;
    uint64_t seed;
    fleck_plan_print *prints;
    size_t print_count;
    size_t *storage;
} fleck_plan_order;

/*
 * A randomised order in blocks: each block is one repeat of all combinations, shuffled for itself,
 * so that what drifts during the work (moisture, paste, the hand) falls on all combinations alike.
 * The seed alone decides it; more repeats add blocks behind the same first ones.
 *
 * factors    borrowed until fleck_plan_order_clear
 * Errors: FLECK_BAD_CALL (no factor, one level, a name or level twice, a name that the manifest
 * needs for itself, above FLECK_PLAN_PRINTS prints), FLECK_NO_RESOURCE. The message begins with the
 * factor concerned. Source: Fisher (1935), The Design of Experiments, for blocks; Durstenfeld
 * (1964) for the shuffle.
 */
FLECK_API fleck_status fleck_plan_order_make(const fleck_plan_factor *factors, size_t factor_count,
                                             size_t repeats, uint64_t seed, fleck_plan_order *out,
                                             fleck_error *err);

/* Free what it owns and start anew; NULL is allowed. */
FLECK_API void fleck_plan_order_clear(fleck_plan_order *order);

/* ---- as text, freed with fleck_free(); NULL without memory ---- */

/* The parts that there are, others NULL, in one document. */
FLECK_API char *fleck_plan_to_json(const fleck_plan *plan, const fleck_plan_areas *areas,
                                   const fleck_plan_order *order);

/* A row for each number of the plan. */
FLECK_API char *fleck_plan_to_csv(const fleck_plan *plan);

/* A row for each measure and its square. */
FLECK_API char *fleck_plan_areas_to_csv(const fleck_plan_areas *areas);
/* A manifest to fill in: scan and what was measured while printing are empty. */
FLECK_API char *fleck_plan_order_to_csv(const fleck_plan_order *order);

/* What the numbers rest on; sentences, static storage. */
FLECK_API const char *const *fleck_plan_assumptions(size_t *count);

/* The same for areas. */
FLECK_API const char *const *fleck_plan_area_assumptions(size_t *count);

#ifdef __cplusplus
}
#endif

#endif
