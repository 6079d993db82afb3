/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a few prints say of the rest: limits that hold most of them, and how many to look at. */
#ifndef FLECK_STATS_TOLERANCE_LIMITS_H
#define FLECK_STATS_TOLERANCE_LIMITS_H

#include <stddef.h>

#include "fleck/error.h"

/*
 * Factor k for which mean -+ k sd of n normal values holds at least `share` of all values with the given
 * confidence.
 *
 * n                    at least 2; more than 100 000 count as so many, which is on the safe side
 * share, confidence    between 0 and 1
 *
 * NAN for anything else. Exact, to some 9 digits. Thread-safe.
 * Source: ISO 16269-6, annex on exact factors; Odeh & Owen (1980), Tables for Normal Tolerance Limits.
 */
double fleck_tolerance_factor(size_t n, double share, double confidence);

/*
 * How many pieces must all be good to show that at least `share` of the whole are.
 *
 * lot    pieces there are; 0 for no end of them
 *
 * Without end it is the smallest n with share^n <= 1 - confidence. Of a lot it is the smallest n for which a
 * lot with one bad piece more than may be would pass with a chance of at most 1 - confidence
 * (hypergeometric). 0 for a share or confidence that is not between 0 and 1. Thread-safe.
 * Source: ISO 16269-6 (one-sided, distribution-free); ISO 2859-2 for isolated lots.
 */
size_t fleck_all_pass_sample(size_t lot, double share, double confidence);

#endif
