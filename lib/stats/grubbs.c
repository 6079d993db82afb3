/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "stats/grubbs.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#include "core/memory.h"
#include "stats/moments.h"

enum { FEWEST_TO_REPEAT = 7 };

fleck_grubbs fleck_grubbs_of(const double *values, size_t n)
{
    const fleck_moments moments = fleck_moments_of(values, n);
    const double count = (double)n;
    fleck_grubbs out = { 0, NAN, NAN };
    double rest;

    if (n < 3 || !(moments.sd > 0))
        return out;
    out.g = 0;
    for (size_t i = 0; i < n; i++) {
        const double far = fabs(values[i] - moments.mean) / moments.sd;

        if (far > out.g) {
            out.g = far;
            out.index = i;
        }
    }
    /* G is at most (n - 1) / sqrt n, where all other values are the same */
    rest = (count - 1) * (count - 1) - count * out.g * out.g;
    if (rest <= 0)
        out.p = 0;
    else
        out.p = fmin(1, 2 * count *
                            gsl_cdf_tdist_Q(out.g * sqrt(count * (count - 2) / rest), count - 2));
    return out;
}

fleck_status fleck_grubbs_repeated(const double *values, size_t n, double alpha, size_t *out,
                                   size_t *found, double *p, fleck_error *err)
{
    double *const left = fleck_alloc_array(n + 1, sizeof *left);
    size_t *const index = fleck_alloc_array(n + 1, sizeof *index);
    size_t count = n;

    *found = 0;
    if (left == NULL || index == NULL) {
        fleck_free(left);
        fleck_free(index);
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory to look for outliers among %zu prints; give "
                                                  "fewer",
                          n);
    }
    for (size_t i = 0; i < n; i++) {
        left[i] = values[i];
        index[i] = i;
    }
    for (;;) {
        const fleck_grubbs test = fleck_grubbs_of(left, count);

        if (p != NULL && *found == 0)
            *p = test.p;
        if (!(test.p <= alpha) || (*found > 0 && count < FEWEST_TO_REPEAT))
            break;
        out[(*found)++] = index[test.index];
        count--;
        for (size_t i = test.index; i < count; i++) {
            left[i] = left[i + 1];
            index[i] = index[i + 1];
        }
    }
    fleck_free(left);
    fleck_free(index);
    return FLECK_OK;
}
