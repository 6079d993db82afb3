/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * ln of the mean is alpha mu + alpha c s^2; mu has the variance s^2 / n and s^2 the variance
 * 2 s^4 / n, which gives the formula.
 */
#include <math.h>

#include <gsl/gsl_cdf.h>

#include "fleck/size_distribution.h"

double fleck_dots_needed(double gsd, double alpha, double beta, double relative_error,
                         double confidence)
{
    const double c = beta + alpha / 2;
    double s2, ratio;

    if (!(gsd >= 1) || !(relative_error > 0) || !(confidence > 0) || !(confidence < 1))
        return NAN;
    s2 = log(gsd) * log(gsd);
    ratio = gsl_cdf_ugaussian_Pinv(0.5 + confidence / 2) / relative_error;
    return ratio * ratio * alpha * alpha * s2 * (2 * c * c * s2 + 1);
}
