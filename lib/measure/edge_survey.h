/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A first look at a patch: about how dark, how light, and how soft. */
#ifndef FLECK_MEASURE_EDGE_SURVEY_H
#define FLECK_MEASURE_EDGE_SURVEY_H

#include "fleck/shape.h"

typedef struct fleck_edge_survey {
    double ink_q, bare_q; /* quartiles of both kinds that lie farther apart */
    double lightest_q;    /* of bare paper, that a twentieth lies beyond: farthest from the ink */
    double blur_mm; /* standard deviation of the blur, that of the pixels included; NAN without outline */
} fleck_edge_survey;

/*
 * Looks at some 4 million pixels in blocks of rows, evenly spread.
 * Errors: FLECK_NO_RESOURCE, what the reader returns.
 */
fleck_status fleck_edge_survey_take(const fleck_dot_tone_input *input, fleck_edge_survey *out,
                                    fleck_error *err);

#endif
