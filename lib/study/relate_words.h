/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers, columns and measures as a printer reads them. */
#ifndef FLECK_STUDY_RELATE_WORDS_H
#define FLECK_STUDY_RELATE_WORDS_H

#include "core/text.h"

/* How a measure is spoken of: "dots 0.05 mm smaller". */
typedef struct fleck_measure_words {
    const char *subject; /* "dots" */
    const char *unit;    /* "mm", "" for a pure number */
    const char *more, *less;
} fleck_measure_words;

/* Of a measure, or of a column of the user's own, whose name is its subject then. Borrows
 * `measure`. */
fleck_measure_words fleck_measure_words_of(const char *measure);

/* How a factor's column is spoken of: "paste_pct" is paste in %, "press_force_kg" is press force in
 * kg. */
typedef struct fleck_factor_words {
    char name[64];
    const char *unit; /* "" when its name tells none */
} fleck_factor_words;

fleck_factor_words fleck_factor_words_of(const char *column);

/*
 * Add a number with no more decimals than its uncertainty carries: one digit of it, two when it
 * begins with 1. An uncertainty that is not above 0 gives six digits of the number.
 */
void fleck_words_add_rounded(fleck_text *text, double value, double uncertainty);

/* Add a number in up to six digits. */
void fleck_words_add_number(fleck_text *text, double value);

/* Add "p = 0.012" or "p < 0.001". */
void fleck_words_add_p(fleck_text *text, double p);

#endif
