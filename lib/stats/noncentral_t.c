/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/noncentral_t.h"

#include <math.h>
#include <stdbool.h>

#include <gsl/gsl_cdf.h>

/* Halving an interval this often leaves nothing of a double between its ends. */
enum { HALVINGS = 200 };

double fleck_t_two_sided(double t, double df)
{
    const double square = t * t;

    if (isnan(t) || !(df > 0))
        return NAN;
    if (isinf(square))
        return 0;
    /* the smaller of the two shares goes in, so that neither end loses digits */
    if (square < df)
        return gsl_cdf_beta_Q(square / (df + square), 0.5, df / 2);
    return gsl_cdf_beta_P(df / (df + square), df / 2, 0.5);
}

double fleck_t_above(double t, double df)
{
    const double half = fleck_t_two_sided(t, df) / 2;

    return t > 0 ? half : 1 - half;
}

double fleck_t_two_sided_quantile(double p, double df)
{
    double low = 0, high = 1;

    if (!(p > 0) || !(p < 1) || !(df > 0))
        return NAN;
    while (fleck_t_two_sided(high, df) > p && high < 1e300) {
        low = high;
        high *= 2;
    }
    for (int i = 0; i < HALVINGS; i++) {
        const double middle = low + (high - low) / 2;

        if (middle <= low || middle >= high)
            break;
        if (fleck_t_two_sided(middle, df) > p)
            low = middle;
        else
            high = middle;
    }
    return high;
}

/*
 * With x = ln sqrt(V / df) the chance is the mean of the normal tail at t e^x - delta over the
 * density of x, exp(df x - df e^(2x) / 2) times a constant.
 */
static double mean_of_tail(double t, double df, double delta, bool above)
{
    const double spread = 1 / sqrt(2 * df); /* of x, for large df */
    /* a share e^-70 and less is left out on both sides */
    const double low = -12 * spread - 70 / df;
    const double high = fmin(12 * spread, log1p(12 * spread));
    const double sign = above ? 1 : -1;
    const double constant = log(2) + df / 2 * log(df / 2) - lgamma(df / 2);
    double step = fmin(fmin(0.5 * spread, 0.14), 0.5 / (1 + fabs(t)));
    double sum = 0;
    long points;

    /* 0.14: for few degrees the bell is analytic only within pi/4 of the real line. Where t is that
     * large the tail is a step and more points tell little */
    points = lrint(fmin(ceil((high - low) / step), 40000));
    step = (high - low) / (double)points;
    for (long i = 0; i <= points; i++) {
        const double x = low + (double)i * step;
        const double density = exp(constant + df * x - df / 2 * exp(2 * x));

        sum += density * erfc(sign * (t * exp(x) - delta) / sqrt(2)) / 2;
    }
    return fmin(sum * step, 1);
}

double fleck_noncentral_t_above(double t, double df, double delta)
{
    if (isnan(t) || !(df > 0) || isnan(delta))
        return NAN;
    return mean_of_tail(t, df, delta, true);
}

double fleck_noncentral_t_below(double t, double df, double delta)
{
    if (isnan(t) || !(df > 0) || isnan(delta))
        return NAN;
    return mean_of_tail(t, df, delta, false);
}

double fleck_noncentral_t_delta(double t, double df, double above)
{
    double low, high, at_low, at_high, width = 1 + fabs(t);
    int side = 0;

    if (!isfinite(t) || !(df > 0) || !(above > 0) || !(above < 1))
        return NAN;
    low = t - width;
    high = t + width;
    while ((at_low = mean_of_tail(t, df, low, true) - above) > 0 && width < 1e12)
        low -= width *= 2;
    width = 1 + fabs(t);
    while ((at_high = mean_of_tail(t, df, high, true) - above) < 0 && width < 1e12)
        high += width *= 2;
    /* the chance rises with delta: false position, halving the end that stays (Dowell & Jarratt
     * 1971) */
    for (int i = 0; i < HALVINGS && high - low > 1e-13 * (1 + fabs(high)); i++) {
        const double middle = low + (high - low) * (at_low / (at_low - at_high));
        const double at_middle = mean_of_tail(t, df, middle, true) - above;

        if (!(middle > low) || !(middle < high) || at_middle == 0)
            return middle;
        if (at_middle < 0) {
            low = middle;
            at_low = at_middle;
            at_high = side < 0 ? at_high / 2 : at_high;
            side = -1;
        } else {
            high = middle;
            at_high = at_middle;
            at_low = side > 0 ? at_low / 2 : at_low;
            side = 1;
        }
    }
    return low + (high - low) / 2;
}
