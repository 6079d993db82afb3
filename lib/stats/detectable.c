/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/detectable.h"

#include <math.h>

#include "stats/noncentral_t.h"

double fleck_detectable_effect(double df, double alpha, double power)
{
    double low = 0, high = 1, critical;

    if (!(df > 0) || !(alpha > 0) || !(power > alpha) || !(power < 1))
        return NAN;
    critical = fleck_t_two_sided_quantile(alpha, df);
    while (fleck_noncentral_t_above(critical, df, high) < power && high < 1e6) {
        low = high;
        high *= 2;
    }
    while (high - low > 1e-13 * high) {
        const double middle = low + (high - low) / 2;

        if (middle <= low || middle >= high)
            break;
        if (fleck_noncentral_t_above(critical, df, middle) +
                fleck_noncentral_t_below(-critical, df, middle) <
            power)
            low = middle;
        else
            high = middle;
    }
    return high;
}
