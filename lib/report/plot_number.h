/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Numbers as people read them on a plot: rounded, a true minus sign, powers of ten raised. */
#ifndef FLECK_REPORT_PLOT_NUMBER_H
#define FLECK_REPORT_PLOT_NUMBER_H

#include <stdbool.h>
#include <stdint.h>

#include "core/text.h"

/*
 * Add whole * 10^exponent, exactly: "0.25", "-300" (with U+2212), or, when raised, "2.5x10^-1" with
 * the sign of multiplication and raised digits, "10^6" without a factor of 1. 0 is always "0".
 */
void plot_number_add_exact(fleck_text *text, int64_t whole, int exponent, bool raised);

/*
 * Add a value rounded to so many significant digits (1 to 15), without zeros at its end: plain from
 * 0.001 to below a million, else raised. A value that is not finite is a dash.
 */
void plot_number_add(fleck_text *text, double value, int digits);

#endif
