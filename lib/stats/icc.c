/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/icc.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#include "stats/two_way.h"

static double f_limit(double tail, double df1, double df2)
{
    return gsl_cdf_fdist_Qinv(tail, df1, df2);
}

/* Limits of ICC(1,1) and (3,1) from those of their F ratio; of the averages likewise. */
static void from_ratio(double ratio, double df1, double df2, double k, double tail, fleck_icc *single,
                       fleck_icc *average)
{
    const double low = ratio / f_limit(tail, df1, df2), high = ratio * f_limit(tail, df2, df1);

    *single = (fleck_icc){ (ratio - 1) / (ratio + k - 1), (low - 1) / (low + k - 1),
                           (high - 1) / (high + k - 1) };
    *average = (fleck_icc){ 1 - 1 / ratio, 1 - 1 / low, 1 - 1 / high };
}

static double stepped_up(double single, double k)
{
    return k * single / (1 + (k - 1) * single);
}

/* Judges drawn at random, p. 424 of the source; v is its Satterthwaite number of degrees of freedom. */
static void random_judges(fleck_icc_table *out, double n, double k, double tail)
{
    const double b = out->ms_targets, j = out->ms_judges, e = out->ms_error;
    const double icc = (b - e) / (b + (k - 1) * e + k * (j - e) / n);
    const double ratio = j / e, u = n * (1 + (k - 1) * icc) - k * icc;
    const double top = (k - 1) * (n - 1) * pow(k * icc * ratio + u, 2);
    const double v = top / ((n - 1) * k * k * icc * icc * ratio * ratio + u * u);
    const double up = f_limit(tail, n - 1, v), down = f_limit(tail, v, n - 1);
    const double rest = k * j + (k * n - k - n) * e;

    out->single[1] = (fleck_icc){ icc, n * (b - up * e) / (up * rest + n * b),
                                  n * (down * b - e) / (rest + n * down * b) };
    out->average[1] = (fleck_icc){ (b - e) / (b + (j - e) / n), stepped_up(out->single[1].lo, k),
                                   stepped_up(out->single[1].hi, k) };
}

fleck_status fleck_icc_of_table(const double *values, size_t targets, size_t judges,
                                double confidence, fleck_icc_table *out, fleck_error *err)
{
    const fleck_icc none = { NAN, NAN, NAN };
    const double n = (double)targets, k = (double)judges, tail = (1 - confidence) / 2;
    fleck_two_way two;
    fleck_status status;

    *out = (fleck_icc_table){ NAN, NAN, NAN, NAN, { none, none, none }, { none, none, none },
                              NAN, NAN, NAN, NAN };
    if (targets < 2 || judges < 2 || !(confidence > 0 && confidence < 1))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%zu targets and %zu readings of each at a confidence of %g; give 2 of both or "
                          "more, and a confidence between 0 and 1",
                          targets, judges, confidence);
    if ((status = fleck_two_way_of(values, targets, judges, 1, &two, err)) != FLECK_OK)
        return status;
    out->ms_targets = two.ms_rows;
    out->ms_judges = two.ms_columns;
    out->ms_error = two.ms_interaction;
    out->ms_within = (two.ss_columns + two.ss_interaction) / (n * (k - 1));
    if (!(out->ms_error > 0))
        return FLECK_OK;
    out->f_1 = out->ms_targets / out->ms_within;
    out->p_1 = gsl_cdf_fdist_Q(out->f_1, n - 1, n * (k - 1));
    out->f_3 = out->ms_targets / out->ms_error;
    out->p_3 = gsl_cdf_fdist_Q(out->f_3, n - 1, (n - 1) * (k - 1));
    if (!(out->ms_targets > 0))
        return FLECK_OK;
    from_ratio(out->f_1, n - 1, n * (k - 1), k, tail, &out->single[0], &out->average[0]);
    from_ratio(out->f_3, n - 1, (n - 1) * (k - 1), k, tail, &out->single[2], &out->average[2]);
    random_judges(out, n, k, tail);
    return FLECK_OK;
}
