/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The residual sum of squares falls into what repeats scatter around their own mean and what these
 * means lie off the fit. The second part is summed by itself rather than as a difference.
 */
#include "stats/lack_of_fit.h"

#include <math.h>

#include <gsl/gsl_cdf.h>

#include "core/memory.h"

fleck_status fleck_lack_of_fit_test(const fleck_least_squares *fit, const double *y,
                                    const size_t *setting, size_t settings, fleck_lack_of_fit *out,
                                    fleck_error *err)
{
    double *const mean = fleck_alloc_zeroed(settings, sizeof *mean);
    double *const off = fleck_alloc_zeroed(settings, sizeof *off);
    size_t *const count = fleck_alloc_zeroed(settings, sizeof *count);
    double pure = 0, lack = 0;
    size_t used = 0;
    fleck_status status = FLECK_OK;

    *out = (fleck_lack_of_fit){ .pure_sd = NAN, .f = NAN, .p = NAN };
    if (mean == NULL || off == NULL || count == NULL) {
        status = fleck_fail(err, FLECK_NO_RESOURCE, "no memory for repeats; free some memory");
        goto done;
    }
    for (size_t i = 0; i < fit->rows; i++) {
        mean[setting[i]] += y[i];
        off[setting[i]] += fit->residual[i];
        count[setting[i]]++;
    }
    for (size_t k = 0; k < settings; k++) {
        if (count[k] == 0)
            continue;
        used++;
        mean[k] /= (double)count[k];
        lack += off[k] * off[k] / (double)count[k];
    }
    for (size_t i = 0; i < fit->rows; i++)
        pure += (y[i] - mean[setting[i]]) * (y[i] - mean[setting[i]]);
    out->df_pure = fit->rows - used;
    out->df_lack = used > fit->columns ? used - fit->columns : 0;
    if (out->df_pure > 0)
        out->pure_sd = sqrt(pure / (double)out->df_pure);
    if (out->df_pure == 0 || out->df_lack == 0)
        goto done;
    if (pure > 0) {
        out->f = lack / (double)out->df_lack / (pure / (double)out->df_pure);
        out->p = gsl_cdf_fdist_Q(out->f, (double)out->df_lack, (double)out->df_pure);
    } else {
        out->p = lack > 0 ? 0 : 1;
    }
done:
    fleck_free(mean);
    fleck_free(off);
    fleck_free(count);
    return status;
}
