/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/real_roots.h"

#include <assert.h>
#include <math.h>

double fleck_polynomial(const double *c, size_t degree, double x)
{
    double sum = c[degree];

    for (size_t k = degree; k-- > 0;)
        sum = sum * x + c[k];
    return sum;
}

/* The crossing between lo and hi, whose values have different signs. */
static double bisect(const double *c, size_t degree, double lo, double hi)
{
    const double sign_lo = fleck_polynomial(c, degree, lo);

    for (;;) {
        const double middle = lo + (hi - lo) / 2;
        const double value = fleck_polynomial(c, degree, middle);

        if (value == 0 || middle <= lo || middle >= hi)
            return middle;
        if ((value < 0) == (sign_lo < 0))
            lo = middle;
        else
            hi = middle;
    }
}

size_t fleck_real_roots(const double *c, size_t degree, double lo, double hi, double *roots)
{
    double slope[FLECK_ROOTS_DEGREE + 1], bends[FLECK_ROOTS_DEGREE + 2];
    size_t bend_count = 0, count = 0;

    assert(degree <= FLECK_ROOTS_DEGREE);
    while (degree > 0 && c[degree] == 0)
        degree--;
    if (degree == 0)
        return 0;
    for (size_t k = 1; k <= degree; k++)
        slope[k - 1] = (double)k * c[k];
    bends[0] = lo;
    bend_count = 1 + fleck_real_roots(slope, degree - 1, lo, hi, bends + 1);
    bends[bend_count++] = hi;
    for (size_t i = 0; i + 1 < bend_count && count < degree; i++) {
        const double from = fleck_polynomial(c, degree, bends[i]);
        const double to = fleck_polynomial(c, degree, bends[i + 1]);

        if (from == 0) {
            if (count == 0 || roots[count - 1] < bends[i])
                roots[count++] = bends[i];
        } else if (to != 0 && (from < 0) != (to < 0)) {
            roots[count++] = bisect(c, degree, bends[i], bends[i + 1]);
        }
    }
    if (count < degree && fleck_polynomial(c, degree, hi) == 0 &&
        (count == 0 || roots[count - 1] < hi))
        roots[count++] = hi;
    return count;
}
