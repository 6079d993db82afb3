/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/power.h"

#include <math.h>
#include <stdbool.h>

#include "stats/detectable.h"
#include "stats/noncentral_t.h"

#define MOST_GROUP_SIZE 1e7

/* Halving an interval this often leaves nothing of a double between its ends. */
enum { HALVINGS = 100 };

static bool in_range(double alpha, double power)
{
    return alpha > 0 && alpha < power && power < 1;
}

double fleck_power_two_groups(double group_size, double effect, double alpha)
{
    const double df = 2 * group_size - 2;
    const double delta = fabs(effect) * sqrt(group_size / 2);
    double limit;

    if (!(df > 0) || isnan(effect) || !(alpha > 0) || !(alpha < 1))
        return NAN;
    limit = fleck_t_two_sided_quantile(alpha, df);
    return fmin(1, fleck_noncentral_t_above(limit, df, delta) +
                       fleck_noncentral_t_below(-limit, df, delta));
}

double fleck_power_group_size(double effect, double alpha, double power)
{
    double low = 2, high = 2;

    if (!in_range(alpha, power) || isnan(effect))
        return NAN;
    while (fleck_power_two_groups(high, effect, alpha) < power) {
        if (high > MOST_GROUP_SIZE)
            return INFINITY;
        low = high;
        high *= 2;
    }
    for (int i = 0; i < HALVINGS && high - low > 1e-12 * high; i++) {
        const double middle = low + (high - low) / 2;

        if (fleck_power_two_groups(middle, effect, alpha) < power)
            low = middle;
        else
            high = middle;
    }
    return high;
}

double fleck_power_effect(double group_size, double alpha, double power)
{
    if (!in_range(alpha, power) || !(group_size > 1) || isinf(group_size))
        return NAN;
    return fleck_detectable_effect(2 * group_size - 2, alpha, power) * sqrt(2 / group_size);
}
