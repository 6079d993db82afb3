/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Given that the mean is off by z / sqrt n, the limits hold the share as soon as k s is at least r, the
 * half-width that does so around a mean that is off; s^2 is chi-squared. The confidence is the mean of
 * that chance over z, and k is where it is the one wanted.
 */
#include "stats/tolerance_limits.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <math.h>

enum { NODES = 161, HALVINGS = 60, MOST_VALUES = 100000 };

/* Offsets of the mean beyond this have no weight in double precision. */
static const double far_end = 8;

/* Half-width around an offset of d that holds the share of a standard normal distribution. */
static double half_width(double d, double share)
{
    double low = 0, high = d + gsl_cdf_ugaussian_Pinv((1 + share) / 2) + 1;

    for (int i = 0; i < HALVINGS; i++) {
        const double r = (low + high) / 2;

        if (gsl_cdf_ugaussian_P(d + r) - gsl_cdf_ugaussian_P(d - r) < share)
            low = r;
        else
            high = r;
    }
    return (low + high) / 2;
}

/* The trapezoidal rule, whose error on such a bell is below any power of its step. */
static double confidence_at(double k, double df, const double *widths)
{
    const double step = 2 * far_end / (NODES - 1);
    double sum = 0;

    for (int i = 0; i < NODES; i++) {
        const double z = i * step - far_end, ratio = widths[i] / k;

        sum += gsl_ran_ugaussian_pdf(z) * gsl_cdf_chisq_Q(df * ratio * ratio, df);
    }
    return sum * step;
}

double fleck_tolerance_factor(size_t n, double share, double confidence)
{
    const double count = (double)(n < MOST_VALUES ? n : MOST_VALUES);
    double widths[NODES], low = 0, high = 1;

    if (n < 2 || !(share > 0 && share < 1) || !(confidence > 0 && confidence < 1))
        return NAN;
    for (int i = 0; i < NODES; i++) {
        const double z = 2 * far_end * i / (NODES - 1) - far_end;

        widths[i] = half_width(fabs(z) / sqrt(count), share);
    }
    while (confidence_at(high, count - 1, widths) < confidence)
        high *= 2;
    for (int i = 0; i < HALVINGS; i++) {
        const double k = (low + high) / 2;

        if (confidence_at(k, count - 1, widths) < confidence)
            low = k;
        else
            high = k;
    }
    return (low + high) / 2;
}

size_t fleck_all_pass_sample(size_t lot, double share, double confidence)
{
    double pass = 1;
    size_t bad, n = 0;

    if (!(share > 0 && share < 1) || !(confidence > 0 && confidence < 1))
        return 0;
    if (lot == 0) {
        /* a ratio that should be whole must not be pushed over by its rounding */
        const double exact = log1p(-confidence) / log(share);

        return (size_t)ceil(exact - 1e-9 * exact);
    }
    /* 1e-9: 10 % of 50 pieces are 5, however 0.9 is rounded */
    bad = (size_t)floor((double)lot * (1 - share) + 1e-9) + 1;
    while (n < lot && pass > 1 - confidence) {
        if (lot - n <= bad)
            pass = 0;
        else
            pass *= (double)(lot - n - bad) / (double)(lot - n);
        n++;
    }
    return n;
}
