/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Do groups of patches differ, by how much, and could this many patches have shown it? */
#ifndef FLECK_COMPARE_H
#define FLECK_COMPARE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "fleck/error.h"
#include "fleck/study.h"

#ifdef __cplusplus
extern "C" {
#endif

#define FLECK_COMPARE_SCHEMA "fleck-compare"
enum { FLECK_COMPARE_VERSION = 1, FLECK_COMPARE_GROUPS = 40 };

/* How far a measure may differ and still count as the same; to be fixed before measuring. */
typedef struct fleck_compare_tolerance {
    const char *measure;
    double value; /* > 0, in the measure's unit, or per cent of the mean of group a */
    bool percent;
} fleck_compare_tolerance;

/* Which groups, which measures, and what counts as the same. Everything pointed to is borrowed. */
typedef struct fleck_compare_options {
    size_t struct_bytes; /* set by fleck_compare_options_default */
    const char *by; /* column that makes the groups; NULL: each run is one */
    const char *const
        *groups; /* the cells or runs to compare, in this order; all, sorted, without */
    size_t group_count;
    const char *const *measures; /* columns of numbers; the default set without */
    size_t measure_count;
    /*
     * Column whose patches are averaged first, such as a batch of paste; "patch": each patch stands
     * for itself. NULL: "batch" where there is such a column and the comparison is not paired.
     */
    const char *unit;
    const char
        *paired; /* column of what patches of both groups share, such as a sheet; NULL: nothing */
    const char *rescan; /* column that tells scans of one print apart; NULL: none */
    const char *print;  /* with rescan: column that names the print; NULL: "print" */
    const fleck_compare_tolerance *tolerances;
    size_t tolerance_count;
    bool mixed; /* compare patches measured with different settings, and warn */
    uint64_t seed;
} fleck_compare_options;

/* Each run is a group; seed 1. */
FLECK_API void fleck_compare_options_init(fleck_compare_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_compare_options fleck_compare_options_default(void)
{
    fleck_compare_options options;

    fleck_compare_options_init(&options, sizeof options);
    return options;
}

/* Three values: a difference that was not found is not sameness. */
typedef enum fleck_verdict {
    FLECK_VERDICT_CANNOT_TELL,
    FLECK_VERDICT_SAME,        /* two one-sided tests put the difference within the tolerance */
    FLECK_VERDICT_NOT_THE_SAME /* p_holm is 0.05 or less */
} fleck_verdict;

/* "cannot tell", "same" or "not the same". */
FLECK_API const char *fleck_verdict_name(fleck_verdict verdict);

/* A group and how much is in it. */
typedef struct fleck_compare_group {
    char *name;     /* the cell's text, or the run */
    size_t patches; /* rows */
    size_t units;   /* what they are averaged to: replicates */
} fleck_compare_group;

/* One measure of two groups. All differences are b less a; a number that cannot be given is NAN. */
typedef struct fleck_comparison {
    size_t measure;          /* index in measures */
    size_t group_a, group_b; /* indices in groups */
    size_t n_a, n_b;         /* units with a value; pairs, when paired */
    double mean_a, mean_b, sd_a, sd_b;
    double difference, ci_lo, ci_hi; /* 95 %, see interval */
    const char *interval;            /* "welch", "paired", "within-patch", or NULL for none */
    double p_welch, p_paired;        /* one of them */
    double p_permutation, p_rank, p_holm;
    double p_least; /* below which p_permutation could not have been with this many patches */
    double hedges_g, g_lo, g_hi;
    double tolerance;     /* in the measure's unit; NAN without */
    double p_equivalence; /* the larger of the two one-sided tests' */
    double detectable;    /* difference that this many patches show 8 times in 10 at p = 0.05 */
    double rescan_limit;  /* difference that scanning alone reaches 1 time in 20 */
    fleck_verdict verdict;
    char *sentence;
} fleck_comparison;

/* Distributions of dot diameters of two groups, each the mean of its units' distributions. */
typedef struct fleck_size_comparison {
    size_t group_a, group_b;
    size_t n_a, n_b; /* units with dots; pairs, when paired */
    double ks_d, wasserstein_mm;
    double p_ks,
        p_permutation; /* by dealing out whole units anew; p_permutation is wasserstein_mm's */
} fleck_size_comparison;

/* A measure over all groups. */
typedef struct fleck_compared_measure {
    char *measure;
    char *label,
        *unit;      /* of the key table; the column's name and "" for a column of the user's own */
    size_t n;       /* units with a value, in all groups */
    size_t patches; /* with a value, of patches_all */
    size_t patches_all;
    double kruskal_p; /* with more than two groups; NAN otherwise */
    double rescan_sd; /* of scans of one print; NAN without rescans */
} fleck_compared_measure;

/* Start from {0}; ended with fleck_compare_clear. */
typedef struct fleck_compare {
    char *by, *unit, *paired, *rescan, *print; /* columns, NULL for none */
    uint64_t seed;
    fleck_compare_group *groups;
    size_t group_count;
    fleck_compared_measure *measures;
    size_t measure_count;
    fleck_comparison
        *comparisons; /* pair of groups after pair, measures in their order within each */
    size_t comparison_count;
    fleck_size_comparison *sizes;
    size_t size_count;
    fleck_warnings warnings;
} fleck_compare;

/*
 * Compare groups of patches.
 *
 * result    out; cleared on failure
 *
 * The unit of replication is the patch, or the unit it is averaged to; with one in a group there
 * are no p-values. A measure that is missing in some patches is compared in the others.
 *
 * Errors: FLECK_BAD_CALL (fewer than two groups, a group or column that is not there, a column that
 * holds text where numbers are needed, groups measured with different settings without `mixed`, a
 * tolerance that is not > 0 or of a measure that is not compared), FLECK_NO_RESOURCE. Sources:
 * Welch (1947), Pitman (1937), Mann & Whitney (1947), Hedges & Olkin (1985), Holm (1979), Kruskal &
 * Wallis (1952), Schuirmann (1987).
 */
FLECK_API fleck_status fleck_compare_study(const fleck_study *study,
                                           const fleck_compare_options *options,
                                           fleck_compare *result, fleck_error *err);

/* Free what it owns and start anew; NULL is allowed. */
FLECK_API void fleck_compare_clear(fleck_compare *result);

/* The document of `--json`, freed with fleck_free(). NULL when there is no memory. */
FLECK_API char *fleck_compare_to_json(const fleck_compare *result);

/* One row for each comparison, freed with fleck_free(). NULL when there is no memory. */
FLECK_API char *fleck_compare_to_csv(const fleck_compare *result);

#ifdef __cplusplus
}
#endif

#endif
