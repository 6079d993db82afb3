/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Gauge studies: parts measured again and again, to separate what the parts differ by from what measuring
 * them does. Here the parts are prints, and what an operator is elsewhere is a round of scanning.
 */
#ifndef FLECK_STATS_GAUGE_H
#define FLECK_STATS_GAUGE_H

#include <stdbool.h>
#include <stddef.h>

#include "fleck/error.h"

typedef struct fleck_gauge {
    bool crossed; /* every part in every round; else rounds are repeats within a part */
    bool pooled;  /* crossed: the interaction was no more than chance and counts as repeats */
    /* variance components of one reading, none below 0 */
    double var_part, var_round, var_interaction, var_repeat;
    double var_gauge;    /* all but var_part: what measuring does */
    double var_total;
    double share_gauge;  /* var_gauge / var_total, 0 to 1; NAN without scatter */
    double f_part, p_part; /* do the parts differ by more than measuring scatters */
    double df_gauge;     /* degrees of freedom of the mean square that the parts are judged by */
    /* crossed: the components as the mean squares give them, before pooling; may be below 0 */
    double raw_interaction, raw_round, raw_part;
} fleck_gauge;

/*
 * A crossed study: every part in every round, each `repeats` times.
 *
 * values    parts x rounds x repeats, as for fleck_two_way_of
 * parts, rounds    at least 2
 * repeats   at least 1; with 1 the interaction cannot be told from repeats and counts as such
 *
 * An interaction with p above 0.25 is pooled with the repeats (common practice in such studies).
 * Errors: FLECK_BAD_CALL (fewer), FLECK_NO_RESOURCE. Thread-safe.
 * Source: Montgomery, Introduction to Statistical Quality Control, section on gauge capability; the handbook
 * of the AIAG, Measurement Systems Analysis.
 */
fleck_status fleck_gauge_crossed(const double *values, size_t parts, size_t rounds, size_t repeats,
                                 fleck_gauge *out, fleck_error *err);

/*
 * A nested study: parts measured several times each, as often as happened.
 *
 * values, part    n readings and the part of each, 0 to parts - 1
 *
 * Errors: FLECK_BAD_CALL (fewer than 2 parts, no part measured twice), FLECK_NO_RESOURCE. Thread-safe.
 */
fleck_status fleck_gauge_nested(const double *values, const size_t *part, size_t n, size_t parts,
                                fleck_gauge *out, fleck_error *err);

#endif
