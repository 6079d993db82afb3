/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/gauge.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#include "stats/two_way.h"
#include "stats/variance.h"

/* Above this p an interaction counts as chance; common practice in gauge studies. */
static const double pooling_p = 0.25;

static void add_up(fleck_gauge *out)
{
    out->var_gauge = out->var_round + out->var_interaction + out->var_repeat;
    out->var_total = out->var_gauge + out->var_part;
    out->share_gauge = out->var_total > 0 ? out->var_gauge / out->var_total : NAN;
}

/* F ratio of two mean squares; without scatter in the lower one there is no test. */
static double upper_tail(double f, double df1, double df2)
{
    return isnan(f) ? NAN : gsl_cdf_fdist_Q(f, df1, df2);
}

fleck_status fleck_gauge_crossed(const double *values, size_t parts, size_t rounds, size_t repeats,
                                 fleck_gauge *out, fleck_error *err)
{
    double error, df, p_interaction = 1;
    fleck_two_way two;
    fleck_status status;

    *out = (fleck_gauge){ .crossed = true };
    if (parts < 2 || rounds < 2 || repeats < 1)
        return fleck_fail(err, FLECK_BAD_CALL,
                          "%zu prints in %zu rounds of scanning; scan at least 2 prints at least twice",
                          parts, rounds);
    if ((status = fleck_two_way_of(values, parts, rounds, repeats, &two, err)) != FLECK_OK)
        return status;
    if (repeats > 1 && two.ms_repeat > 0)
        p_interaction = upper_tail(two.ms_interaction / two.ms_repeat, two.df_interaction,
                                   two.df_repeat);
    if (repeats > 1) {
        out->raw_interaction = (two.ms_interaction - two.ms_repeat) / two.repeats;
        out->pooled = p_interaction > pooling_p;
    } else {
        out->raw_interaction = NAN;
        out->pooled = true;
    }
    out->raw_round = (two.ms_columns - two.ms_interaction) / (two.rows * two.repeats);
    out->raw_part = (two.ms_rows - two.ms_interaction) / (two.columns * two.repeats);
    df = out->pooled ? two.df_interaction + two.df_repeat : two.df_interaction;
    error = out->pooled ? (two.ss_interaction + two.ss_repeat) / df : two.ms_interaction;
    out->var_repeat = out->pooled ? error : two.ms_repeat;
    out->var_interaction = out->pooled ? 0 : fmax(out->raw_interaction, 0);
    out->var_round = fmax((two.ms_columns - error) / (two.rows * two.repeats), 0);
    out->var_part = fmax((two.ms_rows - error) / (two.columns * two.repeats), 0);
    out->df_gauge = df;
    out->f_part = error > 0 ? two.ms_rows / error : NAN;
    out->p_part = upper_tail(out->f_part, two.df_rows, df);
    add_up(out);
    return FLECK_OK;
}

fleck_status fleck_gauge_nested(const double *values, const size_t *part, size_t n, size_t parts,
                                fleck_gauge *out, fleck_error *err)
{
    fleck_one_way way;
    fleck_status status = fleck_one_way_of(values, part, n, parts, &way, err);

    *out = (fleck_gauge){ .raw_interaction = NAN, .raw_round = NAN, .raw_part = NAN };
    if (status != FLECK_OK)
        return status;
    if (way.groups < 2 || !(way.df_within > 0))
        return fleck_fail(err, FLECK_BAD_CALL,
                          "no print was scanned twice; scan at least 2 prints, some of them again");
    out->var_repeat = way.var_within;
    out->var_part = fmax(way.var_between, 0);
    out->raw_part = way.var_between;
    out->f_part = way.f;
    out->p_part = way.p;
    out->df_gauge = way.df_within;
    add_up(out);
    return FLECK_OK;
}
