/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Mean and scatter at each place are those of all curves, the first included: only then does it
 * stand among the others as one of them, and every rank is as likely.
 */
#include "measure/pattern_envelope.h"

#include <math.h>
#include <stdlib.h>

static int falling(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;

    return (x < y) - (x > y);
}

static bool counts(const double *curve)
{
    return !isnan(curve[0]);
}

static void moments(const double *curves, size_t count, size_t length, size_t at, double *mean,
                    double *sd)
{
    double n = 0, sum = 0, squares = 0;

    for (size_t i = 0; i < count; i++) {
        if (counts(curves + i * length)) {
            n++;
            sum += curves[i * length + at];
        }
    }
    *mean = sum / n;
    for (size_t i = 0; i < count; i++) {
        if (counts(curves + i * length)) {
            const double away = curves[i * length + at] - *mean;

            squares += away * away;
        }
    }
    *sd = sqrt(squares / n);
}

bool fleck_envelope_find(const double *curves, size_t count, size_t length, const bool *used,
                         double level, double *deviations, double *low, double *high,
                         fleck_envelope *out)
{
    size_t valid = 0, most;
    double first = 0, as_far = 0, reach;

    if (count < 2 || length == 0 || !counts(curves))
        return false;
    for (size_t i = 0; i < count; i++)
        deviations[i] = 0;
    for (size_t k = 0; k < length; k++) {
        double mean, sd;

        low[k] = high[k] = NAN;
        if (!used[k])
            continue;
        moments(curves, count, length, k, &mean, &sd);
        if (!(sd > 0))
            continue;
        low[k] = mean; /* widened below, when the width is known */
        high[k] = sd;
        for (size_t i = 0; i < count; i++) {
            const double away = (curves[i * length + k] - mean) / sd;

            if (counts(curves + i * length) && fabs(away) > deviations[i]) {
                deviations[i] = fabs(away);
                if (i == 0) {
                    out->at = k;
                    out->side = away > 0 ? 1 : -1;
                }
            }
        }
    }
    first = deviations[0];
    for (size_t i = 0; i < count; i++) {
        if (counts(curves + i * length)) {
            as_far += deviations[i] >= first;
            deviations[valid++] = deviations[i];
        }
    }
    if (valid < 2)
        return false;
    qsort(deviations, valid, sizeof *deviations, falling);
    if (!(deviations[0] > 0))
        return false;
    /* so many may lie beyond: the next one is the border. 1e-9: 0.05 * 200 must not be 9.99 */
    most = (size_t)floor(level * (double)valid + 1e-9);
    reach = deviations[most < valid ? most : valid - 1];
    for (size_t k = 0; k < length; k++) {
        const double mean = low[k], sd = high[k];

        low[k] = mean - reach * sd;
        high[k] = mean + reach * sd;
    }
    if (!(first > 0)) {
        out->at = 0;
        out->side = 0;
    }
    out->p = as_far / (double)valid;
    out->simulations = valid - 1;
    return true;
}
