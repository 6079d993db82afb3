/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/moments.h"

#include <math.h>

void fleck_sum_add(fleck_sum *sum, double value)
{
    const double total = sum->high + value;

    if (fabs(sum->high) >= fabs(value))
        sum->low += (sum->high - total) + value;
    else
        sum->low += (value - total) + sum->high;
    sum->high = total;
}

double fleck_sum_value(const fleck_sum *sum)
{
    return sum->high + sum->low;
}

fleck_moments fleck_moments_of(const double *values, size_t n)
{
    fleck_moments moments = { 0, NAN, NAN, NAN };
    fleck_sum sum = { 0, 0 }, residue = { 0, 0 }, squares = { 0, 0 };
    double centre, count;

    for (size_t i = 0; i < n; i++) {
        if (isnan(values[i]))
            continue;
        fleck_sum_add(&sum, values[i]);
        moments.count++;
    }
    if (moments.count == 0)
        return moments;
    count = (double)moments.count;
    centre = fleck_sum_value(&sum) / count;
    for (size_t i = 0; i < n; i++) {
        const double deviation = values[i] - centre;

        if (isnan(values[i]))
            continue;
        fleck_sum_add(&residue, deviation);
        fleck_sum_add(&squares, deviation * deviation);
    }
    /* `centre` is off by its rounding; the deviations still know by how much */
    fleck_sum_add(&squares, -fleck_sum_value(&residue) * fleck_sum_value(&residue) / count);
    moments.mean = centre + fleck_sum_value(&residue) / count;
    moments.squares = fmax(fleck_sum_value(&squares), 0);
    if (moments.count > 1)
        moments.sd = sqrt(moments.squares / (count - 1));
    return moments;
}
