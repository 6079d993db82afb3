/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/t_tests.h"

#include <float.h>
#include <math.h>

#include "stats/noncentral_t.h"

/* Fill in what follows from difference, se and df. scale: the size of the numbers compared. */
static void judge(fleck_t_test *test, double scale, double confidence)
{
    double reach;

    /* a spread this small is the rounding of equal numbers */
    if (!(test->se > 10 * DBL_EPSILON * scale) || !isfinite(test->se)) {
        test->se = test->df = NAN;
        return;
    }
    test->t = test->difference / test->se;
    test->p = fleck_t_two_sided(test->t, test->df);
    reach = fleck_t_two_sided_quantile(1 - confidence, test->df) * test->se;
    test->ci_lo = test->difference - reach;
    test->ci_hi = test->difference + reach;
}

fleck_t_test fleck_welch(const fleck_moments *a, const fleck_moments *b, double confidence)
{
    fleck_t_test test = { b->mean - a->mean, NAN, NAN, NAN, NAN, NAN, NAN };

    if (a->count > 1 && b->count > 1) {
        const double of_a = a->sd * a->sd / (double)a->count;
        const double of_b = b->sd * b->sd / (double)b->count;
        const double share = of_a / (of_a + of_b); /* shares, so that no square overflows */

        test.se = sqrt(of_a + of_b);
        test.df = 1 / (share * share / (double)(a->count - 1) +
                       (1 - share) * (1 - share) / (double)(b->count - 1));
        judge(&test, fmax(fabs(a->mean), fabs(b->mean)), confidence);
    }
    return test;
}

fleck_t_test fleck_paired_t(const fleck_moments *differences, double confidence)
{
    fleck_t_test test = { differences->mean, NAN, NAN, NAN, NAN, NAN, NAN };

    if (differences->count > 1) {
        test.se = differences->sd / sqrt((double)differences->count);
        test.df = (double)(differences->count - 1);
        judge(&test, fabs(differences->mean), confidence);
    }
    return test;
}

double fleck_equivalence_p(const fleck_t_test *test, double margin)
{
    if (!(margin > 0) || isnan(test->se))
        return NAN;
    return fleck_t_above((margin - fabs(test->difference)) / test->se, test->df);
}
