/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How far one of several lies from them all, as a rank. */
#ifndef FLECK_MEASURE_SCATTER_RANK_H
#define FLECK_MEASURE_SCATTER_RANK_H

#include <stddef.h>

enum { FLECK_SCATTER_SIGNS = 16 }; /* at most */

/*
 * Share of all (itself counted) that lie at least as far from their common mean as the first, in
 * the metric of their own scatter (Mahalanobis 1936). Where all come from one law, each share is as
 * likely: a Monte Carlo test (Besag & Diggle 1977).
 *
 * signs    count lists of sign_count values, at most FLECK_SCATTER_SIGNS
 * slack    standard deviation added to each sign's scatter, >= 0; a sign without any does not count
 */
double fleck_scatter_rank(const double *const *signs, size_t count, size_t sign_count,
                          double slack);

#endif
