/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The terms of a fit: products of powers of the numbers that it rests on. */
#ifndef FLECK_STUDY_RELATE_MODEL_H
#define FLECK_STUDY_RELATE_MODEL_H

#include "stats/curve_inverse.h"
#include "study/relate_data.h"

typedef struct fleck_model_term {
    char *name;
    unsigned char power[FLECK_RELATE_BASES]; /* of each base; all 0 for the intercept */
} fleck_model_term;

typedef struct fleck_relate_model {
    fleck_model_term term[FLECK_RELATE_TERMS];
    size_t count; /* with the intercept, which is the first */
} fleck_relate_model;

/*
 * The intercept, every base, then the further terms in their order.
 *
 * A further term is a product of factors joined by '*', each with a power behind '^' up to
 * FLECK_CURVE_DEGREE: "paste_pct^2", "paste_pct*force_kg". One factor of a product may be a
 * category, which gives a term for each of its levels but the first.
 *
 * model    out: ended with fleck_relate_model_clear, on failure too
 * Errors: FLECK_BAD_CALL (a term that cannot be read or stands twice, too many), FLECK_NO_RESOURCE.
 */
fleck_status fleck_relate_model_make(const fleck_relate_data *data, const fleck_relate *result,
                                     const char *const *terms, size_t term_count,
                                     fleck_relate_model *model, fleck_error *err);

void fleck_relate_model_clear(fleck_relate_model *model);

/* The terms at a setting: `count` numbers. base: of each base */
void fleck_relate_model_row(const fleck_relate_model *model, size_t base_count, const double *base,
                            double *row);

/* Their derivatives by one base. */
void fleck_relate_model_slope(const fleck_relate_model *model, size_t base_count,
                              const double *base, size_t by, double *row);

/*
 * The terms as polynomials in u, the base `along` being middle + half u: rows[k * count + j] u^k,
 * k up to the degree returned.
 * rows    room for (FLECK_CURVE_DEGREE + 1) * count numbers
 */
size_t fleck_relate_model_along(const fleck_relate_model *model, size_t base_count,
                                const double *base, size_t along, double middle, double half,
                                double *rows);

/* Whether a base stands in a term by a power above 1. */
bool fleck_relate_model_bends(const fleck_relate_model *model, size_t base);

#endif
