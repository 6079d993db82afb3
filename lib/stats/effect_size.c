/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/effect_size.h"

#include <float.h>
#include <math.h>

#include "stats/noncentral_t.h"

static const fleck_effect_size none = { NAN, NAN, NAN };

/* root_n: what turns g into t */
static fleck_effect_size effect(double difference, double sd, double df, double root_n,
                                double confidence)
{
    const double j = exp(lgamma(df / 2) - lgamma((df - 1) / 2)) / sqrt(df / 2);
    const double tail = (1 - confidence) / 2;
    const double t = difference / sd * root_n;
    const double scale = j / root_n;

    return (fleck_effect_size){ j * difference / sd, scale * fleck_noncentral_t_delta(t, df, tail),
                                scale * fleck_noncentral_t_delta(t, df, 1 - tail) };
}

fleck_effect_size fleck_hedges_g(const fleck_moments *a, const fleck_moments *b, double confidence)
{
    const double of_a = (double)a->count, of_b = (double)b->count;
    double sd;

    if (a->count < 2 || b->count < 2)
        return none;
    sd = sqrt((a->squares + b->squares) / (of_a + of_b - 2));
    if (!(sd > 10 * DBL_EPSILON * fmax(fabs(a->mean), fabs(b->mean))))
        return none;
    return effect(b->mean - a->mean, sd, of_a + of_b - 2, sqrt(of_a * of_b / (of_a + of_b)),
                  confidence);
}

fleck_effect_size fleck_hedges_g_paired(const fleck_moments *differences, double confidence)
{
    const double n = (double)differences->count;

    if (differences->count < 3 || !(differences->sd > 10 * DBL_EPSILON * fabs(differences->mean)))
        return none;
    return effect(differences->mean, differences->sd, n - 1, sqrt(n), confidence);
}
