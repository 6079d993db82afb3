/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The interval of a ratio of two uncertain numbers, which need not be bounded. */
#ifndef FLECK_STATS_FIELLER_H
#define FLECK_STATS_FIELLER_H

typedef enum fleck_fieller_kind {
    FLECK_FIELLER_BOUNDED,   /* from lo to hi */
    FLECK_FIELLER_EXCLUSIVE, /* everything but what lies between lo and hi */
    FLECK_FIELLER_ALL        /* nothing is excluded; lo and hi are NAN */
} fleck_fieller_kind;

typedef struct fleck_fieller {
    fleck_fieller_kind kind;
    double lo, hi; /* lo <= hi; an end may be infinite */
} fleck_fieller;

/*
 * The ratios r for which top - r bottom is no further from 0 than t times its standard error.
 *
 * top_variance, covariance, bottom_variance    of the two numbers, estimated with the degrees of
 *                                              freedom that t belongs to
 *
 * It is bounded when bottom itself is further from 0 than t times its standard error.
 * Source: Fieller (1954), J. R. Statist. Soc. B 16, 175.
 */
fleck_fieller fleck_fieller_interval(double top, double bottom, double top_variance,
                                     double covariance, double bottom_variance, double t);

#endif
