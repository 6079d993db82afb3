/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether one curve may be one of many, and the band in which all of it would then lie. */
#ifndef FLECK_MEASURE_PATTERN_ENVELOPE_H
#define FLECK_MEASURE_PATTERN_ENVELOPE_H

#include <stdbool.h>
#include <stddef.h>

typedef struct fleck_envelope {
    double p;           /* share of all curves that deviate at least as far, the first counted in */
    size_t at;          /* where the first deviates most; the lowest such place */
    int side;           /* +1 above the mean there, -1 below, 0 on it */
    size_t simulations; /* curves that were compared with the first */
} fleck_envelope;

/*
 * Compare the first of some curves with the others.
 *
 * curves        `count` of them, each of `length` values, one after the other; one that starts with
 *               NAN does not count
 * used          of each place whether it is looked at
 * level         share of all curves that may leave the band
 * deviations    room for `count` values
 * low, high     out: `length` values, the band; NAN at places that are not looked at. The first
 *               curve leaves it when p is at most `level`, and only then
 *
 * Returns false when nothing can be said: the first does not count, or no place shows any scatter.
 * Source: Myllymaki, Mrkvicka, Grabarnik, Seijo & Hahn (2017), J. R. Statist. Soc. B 79, 381-404:
 * the studentised maximum absolute deviation.
 */
bool fleck_envelope_find(const double *curves, size_t count, size_t length, const bool *used,
                         double level, double *deviations, double *low, double *high,
                         fleck_envelope *out);

#endif
