/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Texture against process factors, and the recipe: which setting gives a wanted texture. */
#ifndef FLECK_RELATE_H
#define FLECK_RELATE_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"
#include "fleck/study.h"

#ifdef __cplusplus
extern "C" {
#endif

#define FLECK_RELATE_SCHEMA "fleck-relate"
enum { FLECK_RELATE_VERSION = 1 };

enum {
    FLECK_RELATE_FACTORS = 16,
    FLECK_RELATE_TERMS = 48, /* with the intercept */
    FLECK_RELATE_TARGETS = 16,
    FLECK_RELATE_SOLVED = 4, /* factors that a recipe may solve for at once */
    FLECK_RELATE_ANSWERS = 8,
    FLECK_RELATE_STRETCHES = 8
};

/* A factor held at a value while others are solved for; a level of a category stands as its text.
 */
typedef struct fleck_relate_held {
    const char *column;
    const char *value;
} fleck_relate_held;

/* A texture that is wanted. */
typedef struct fleck_relate_target {
    const char *measure;
    double value;
} fleck_relate_target;

/* A direction that was named beforehand. */
typedef struct fleck_relate_expectation {
    const char *measure; /* NULL: all measures */
    const char *factor;
    int sign; /* 1 or -1 */
} fleck_relate_expectation;

/* What is related to what. Everything pointed to is borrowed. */
typedef struct fleck_relate_options {
    size_t struct_bytes; /* set by fleck_relate_options_default */
    const char *const *factors; /* columns of numbers */
    size_t factor_count;
    const char *const
        *categories; /* columns of texts: each level against the first in sorted order */
    size_t category_count;
    const char *const *terms; /* further terms: "paste_pct^2", "paste_pct*force_kg" */
    size_t term_count;
    const char *const
        *measures; /* columns; the default set when there are none, with the targets */
    size_t measure_count;
    const char
        *unit;  /* column whose patches are averaged first; NULL: "batch" where there is one */
    bool mixed; /* take patches of different settings together, and warn */
    const fleck_relate_target *targets; /* for the recipe; none without */
    size_t target_count;
    const char *const *solve; /* factors to solve for; all that are not held when there are none */
    size_t solve_count;
    const fleck_relate_held *held; /* others stand at their means */
    size_t held_count;
    const fleck_relate_expectation *expected;
    size_t expected_count;
    /*
     * A factor paste_pct, in g per 100 ml, from the volumes of stock and water: NULL without.
     * 100 * stock_ml * stock_g_per_ml / (stock_ml + water_ml)
     */
    const char *stock_ml_column, *water_ml_column;
    double stock_g_per_ml;
} fleck_relate_options;

/* No factors yet. */
FLECK_API void fleck_relate_options_init(fleck_relate_options *options, size_t struct_bytes);

/* The defaults as a value. */
static inline fleck_relate_options fleck_relate_options_default(void)
{
    fleck_relate_options options;

    fleck_relate_options_init(&options, sizeof options);
    return options;
}

/* One term of a fit. */
typedef struct fleck_relate_term {
    char *name; /* "intercept", a column, "paper=rough", "paste_pct^2", "paste_pct*force_kg" */
    double coefficient, se, t, p, ci_lo, ci_hi; /* 95 % */
} fleck_relate_term;

/* Which way a measure goes when a factor rises. */
typedef enum fleck_relate_direction {
    FLECK_RELATE_CANNOT_TELL,
    FLECK_RELATE_RISES,
    FLECK_RELATE_FALLS
} fleck_relate_direction;

/*
 * What a factor does to a measure over the range tried, the others at their means: for a straight
 * line the slope is its coefficient, for a curve the mean slope. For a level of a category it is
 * the difference from the first level; ranks and the change have no meaning then and are NAN.
 */
typedef struct fleck_relate_effect {
    char *factor;
    bool is_level;
    double slope, slope_se, slope_p, slope_lo, slope_hi;
    double spearman_rho, spearman_p, kendall_tau_b, kendall_p;
    double detectable_slope;  /* that this many patches show 8 times in 10 */
    double detectable_change; /* span of the factor over which the slope found is shown 8 times in
                                 10 */
    int expected_sign;        /* 0 without an expectation */
    double expected_p;        /* one-sided, for the named sign */
    fleck_relate_direction direction; /* at 5 %, of the slope */
    char *sentence;
} fleck_relate_effect;

/* A patch or unit that pulls the fit. */
typedef struct fleck_relate_influence {
    char *name;
    double leverage, cook;
    bool high_leverage, high_cook;
} fleck_relate_influence;

/* The fit of one measure. */
typedef struct fleck_relate_measure {
    char *measure;
    bool fitted; /* false: too few patches or nothing to fit; a warning says why */
    size_t n;    /* units used */
    size_t df;
    double r2, r2_adjusted, residual_sd;
    fleck_relate_term *terms;
    size_t term_count;
    fleck_relate_effect *effects;
    size_t effect_count;
    double lack_f, lack_p; /* NAN without repeats or settings to spare */
    size_t lack_df, repeat_df;
    double repeat_sd; /* of patches of the same setting */
    fleck_relate_influence *influences;
    size_t influence_count;
} fleck_relate_measure;

/* A factor as it was tried. */
typedef struct fleck_relate_factor {
    char *column;
    bool is_category;
    double lo, hi, mean; /* NAN for a category */
    char **levels;       /* of a category, sorted */
    size_t level_count;  /* of a number: how many different values */
} fleck_relate_factor;

/* One mix of stock and water. */
typedef struct fleck_relate_mix {
    double stock_ml, water_ml, paste_pct;
    size_t patches;
    char *sentence; /* the arithmetic */
} fleck_relate_mix;

/* Whether there is a setting that gives the wanted texture. */
typedef enum fleck_relate_verdict {
    FLECK_RELATE_ONE_SETTING,
    FLECK_RELATE_SEVERAL_SETTINGS,
    FLECK_RELATE_NO_SETTING,    /* none within the range tried */
    FLECK_RELATE_UNSURE_SETTING /* the data do not settle it */
} fleck_relate_verdict;

/* A value with its interval. */
typedef struct fleck_relate_interval {
    double value, lo, hi;
} fleck_relate_interval;

/* A setting that should give the wanted texture. */
typedef struct fleck_relate_answer {
    fleck_relate_interval setting[FLECK_RELATE_SOLVED]; /* of each factor solved for, 95 % */
    fleck_relate_interval
        expected[FLECK_RELATE_TARGETS]; /* of each target; lo, hi: one further patch */
} fleck_relate_answer;

/* The fit turned round: settings for a wanted texture. */
typedef struct fleck_relate_recipe {
    bool asked;
    fleck_relate_verdict verdict;
    size_t solved_count;
    char *solved[FLECK_RELATE_SOLVED];
    double tried_lo[FLECK_RELATE_SOLVED], tried_hi[FLECK_RELATE_SOLVED];
    size_t held_count;
    char *held[FLECK_RELATE_FACTORS]; /* columns */
    char *held_value[FLECK_RELATE_FACTORS];
    bool held_at_mean[FLECK_RELATE_FACTORS];
    size_t target_count;
    char *target[FLECK_RELATE_TARGETS];
    double wanted[FLECK_RELATE_TARGETS];
    size_t n;            /* units the recipe rests on */
    size_t answer_count; /* 0 unless the verdict is one or several settings */
    fleck_relate_answer answer[FLECK_RELATE_ANSWERS];
    size_t stretch_count; /* for one factor and one target: settings in the range that are not
                             excluded */
    double stretch_lo[FLECK_RELATE_STRETCHES], stretch_hi[FLECK_RELATE_STRETCHES];
    double
        misfit_p; /* for more targets than factors: can one setting give them all? NAN otherwise */
    char *sentence;
} fleck_relate_recipe;

/* Start from {0}; ended with fleck_relate_clear. */
typedef struct fleck_relate {
    size_t patches, units;
    char *unit; /* column by which patches were averaged, NULL when each stands for itself */
    fleck_relate_factor *factors;
    size_t factor_count;
    fleck_relate_mix *mixes;
    size_t mix_count;
    fleck_relate_measure *measures;
    size_t measure_count;
    fleck_relate_recipe recipe;
    fleck_warnings warnings;
} fleck_relate;

/*
 * Relate measures to factors by least squares, and turn the fit round when there are targets.
 *
 * result    out; cleared on failure
 *
 * A measure that is missing in some patches is fitted to the others. Patches without a value of a
 * factor are left out, with a warning.
 *
 * Errors: FLECK_BAD_CALL (no factor; a column that is not there, is constant, is text or follows
 * from others; a term that cannot be read; different settings without `mixed`; more factors to
 * solve for than targets; a held value outside the range tried), FLECK_BAD_INPUT (fewer units than
 * terms need), FLECK_NO_RESOURCE. Sources: Draper & Smith, Applied Regression Analysis; Fieller
 * (1954) for the recipe of one factor.
 */
FLECK_API fleck_status fleck_relate_study(const fleck_study *study,
                                          const fleck_relate_options *options, fleck_relate *result,
                                          fleck_error *err);

/* Free what it owns and start anew; NULL is allowed. */
FLECK_API void fleck_relate_clear(fleck_relate *result);

/* The document of `--json`, freed with fleck_free(). NULL when there is no memory. */
FLECK_API char *fleck_relate_to_json(const fleck_relate *result);

/* One row for each term of each measure, freed with fleck_free(). NULL when there is no memory. */
FLECK_API char *fleck_relate_to_csv(const fleck_relate *result);

/* "rises", "falls" or "cannot tell". */
FLECK_API const char *fleck_relate_direction_name(fleck_relate_direction direction);

/* "one setting", "several settings", "no setting in the tried range" or "cannot tell". */
FLECK_API const char *fleck_relate_verdict_name(fleck_relate_verdict verdict);

#ifdef __cplusplus
}
#endif

#endif
