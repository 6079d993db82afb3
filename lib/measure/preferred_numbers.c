/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "measure/preferred_numbers.h"

#include <math.h>

double fleck_preferred_number(int k, int per_decade)
{
    return pow(10, k / (double)per_decade);
}

int fleck_preferred_class(double value, int per_decade)
{
    int k = (int)floor(per_decade * log10(value));

    while (value >= fleck_preferred_number(k + 1, per_decade))
        k++;
    while (value < fleck_preferred_number(k, per_decade))
        k--;
    return k;
}
