/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/fieller.h"

#include <math.h>

fleck_fieller fleck_fieller_interval(double top, double bottom, double top_variance,
                                     double covariance, double bottom_variance, double t)
{
    /* a r^2 - 2 b r + c <= 0 */
    const double a = bottom * bottom - t * t * bottom_variance;
    const double b = top * bottom - t * t * covariance;
    const double c = top * top - t * t * top_variance;
    const double inside = b * b - a * c;
    double root, far, one, other;

    if (a == 0 && b == 0)
        return (fleck_fieller){ FLECK_FIELLER_ALL, NAN, NAN };
    if (a < 0 && inside <= 0)
        return (fleck_fieller){ FLECK_FIELLER_ALL, NAN, NAN };
    /* both ends without cancelling: the one of larger size first, the other from their product */
    root = sqrt(fmax(inside, 0));
    far = b >= 0 ? b + root : b - root;
    if (a == 0) {
        one = c / (2 * b);
        return b > 0 ? (fleck_fieller){ FLECK_FIELLER_EXCLUSIVE, -INFINITY, one }
                     : (fleck_fieller){ FLECK_FIELLER_EXCLUSIVE, one, INFINITY };
    }
    one = far / a;
    other = far != 0 ? c / far : 0;
    return (fleck_fieller){ a > 0 ? FLECK_FIELLER_BOUNDED : FLECK_FIELLER_EXCLUSIVE,
                            fmin(one, other), fmax(one, other) };
}
