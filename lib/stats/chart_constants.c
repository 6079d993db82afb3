/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * With the range's distribution function F(w) = n times the integral of phi(x) (Phi(x + w) - Phi(x))^(n - 1),
 * E W is the integral of 1 - F and E W^2 that of 2 w (1 - F). Both integrals by Gauss and Legendre.
 */
#include "stats/chart_constants.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_integration.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_sf_gamma.h>
#include <math.h>

enum { NODES = 128, LARGEST_GROUP = 25 };

/* Beyond, a normal density is below 1e-16, and so is the chance of a range among 25 values. */
static const double far_end = 8.5, widest_range = 13;

static double range_above(double w, double n, const gsl_integration_glfixed_table *table)
{
    double sum = 0, x, weight;

    for (size_t i = 0; i < NODES; i++) {
        gsl_integration_glfixed_point(-far_end, far_end, i, &x, &weight, table);
        sum += weight * gsl_ran_ugaussian_pdf(x) *
               pow(gsl_cdf_ugaussian_P(x + w) - gsl_cdf_ugaussian_P(x), n - 1);
    }
    return 1 - n * sum;
}

fleck_status fleck_chart_constants_of(size_t n, fleck_chart_constants *out, fleck_error *err)
{
    const double count = (double)n;
    gsl_integration_glfixed_table *table;
    double mean = 0, square = 0;

    if (n < 2 || n > LARGEST_GROUP)
        return fleck_fail(err, FLECK_BAD_CALL, "a chart of groups of %zu; take groups of 2 to %d", n,
                          LARGEST_GROUP);
    table = gsl_integration_glfixed_table_alloc(NODES);
    if (table == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for a chart; free some memory");
    for (size_t i = 0; i < NODES; i++) {
        double w, weight, above;

        gsl_integration_glfixed_point(0, widest_range, i, &w, &weight, table);
        above = range_above(w, count, table);
        mean += weight * above;
        square += weight * 2 * w * above;
    }
    gsl_integration_glfixed_table_free(table);
    out->d2 = mean;
    out->d3 = sqrt(square - mean * mean);
    out->c4 = sqrt(2 / (count - 1)) *
              exp(gsl_sf_lngamma(count / 2) - gsl_sf_lngamma((count - 1) / 2));
    out->range_lo = fmax(0, 1 - 3 * out->d3 / out->d2);
    out->range_hi = 1 + 3 * out->d3 / out->d2;
    out->mean_by_range = 3 / (out->d2 * sqrt(count));
    out->one_by_range = 3 / out->d2;
    out->mean_by_sd = 3 / (out->c4 * sqrt(count));
    out->sd_lo = fmax(0, 1 - 3 * sqrt(1 - out->c4 * out->c4) / out->c4);
    out->sd_hi = 1 + 3 * sqrt(1 - out->c4 * out->c4) / out->c4;
    return FLECK_OK;
}
