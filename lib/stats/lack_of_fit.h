/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Whether a fitted line or curve has the wrong shape: told by patches printed twice at one setting.
 */
#ifndef FLECK_STATS_LACK_OF_FIT_H
#define FLECK_STATS_LACK_OF_FIT_H

#include <stddef.h>

#include "fleck/error.h"
#include "stats/least_squares.h"

typedef struct fleck_lack_of_fit {
    size_t df_lack, df_pure; /* settings less terms, rows less settings */
    double pure_sd;          /* scatter among repeats; NAN without */
    double f, p;             /* NAN without repeats or without settings to spare */
} fleck_lack_of_fit;

/*
 * setting    of each row of the fit, 0 to settings - 1; rows of one setting have the same x
 *
 * p is 1 when repeats and fit are both without scatter, 0 when the repeats alone are.
 * Errors: FLECK_NO_RESOURCE. Source: Draper & Smith, Applied Regression Analysis, section 2.1.
 */
fleck_status fleck_lack_of_fit_test(const fleck_least_squares *fit, const double *y,
                                    const size_t *setting, size_t settings, fleck_lack_of_fit *out,
                                    fleck_error *err);

#endif
