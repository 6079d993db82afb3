/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The two-point probability is counted, not transformed: pairs of ink over pairs inside the region,
 * both whole numbers, at each step of a fixed list. With 64 pixels to a word that takes less time
 * than a Fourier transform of the region and its window, whose ratio it equals.
 */
#include "measure/covariance.h"

#include <math.h>

#include "core/memory.h"

static double both_ink(const fleck_pairs *pairs)
{
    return pairs->pairs > 0 ? (double)pairs->both / (double)pairs->pairs : NAN;
}

static fleck_status new_series(fleck_two_point *series, size_t lags, double coverage,
                               fleck_error *err)
{
    series->lag_mm = fleck_alloc_array(lags + 1, sizeof *series->lag_mm);
    series->probability = fleck_alloc_array(lags + 1, sizeof *series->probability);
    if (series->lag_mm == NULL || series->probability == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the covariance; free some memory");
    series->lag_mm[0] = 0;
    series->probability[0] = coverage;
    series->count = lags + 1;
    return FLECK_OK;
}

static fleck_status fill_axis(const fleck_lags *lags, const size_t *steps, size_t count,
                              double coverage, fleck_two_point *series, fleck_error *err)
{
    const fleck_status status = new_series(series, count, coverage, err);

    for (size_t i = 0; status == FLECK_OK && i < count; i++) {
        series->lag_mm[i + 1] = fleck_lag_length_mm(lags, steps[i]);
        series->probability[i + 1] = both_ink(&lags->pairs[steps[i]]);
    }
    return status;
}

static fleck_status fill_radial(const fleck_lags *lags, double coverage, fleck_two_point *series,
                                fleck_error *err)
{
    const fleck_status status = new_series(series, lags->ring_count, coverage, err);

    for (size_t r = 0; status == FLECK_OK && r < lags->ring_count; r++) {
        const fleck_lag_ring *const ring = &lags->rings[r];
        double length_mm = 0, sum = 0;

        for (size_t i = 0; i < ring->members; i++) {
            length_mm += fleck_lag_length_mm(lags, ring->member[i]);
            sum += both_ink(&lags->pairs[ring->member[i]]);
        }
        series->lag_mm[r + 1] = length_mm / (double)ring->members;
        series->probability[r + 1] = sum / (double)ring->members;
    }
    return status;
}

fleck_status fleck_covariance_fill(const fleck_lags *lags, double coverage, fleck_random_set *set,
                                   fleck_error *err)
{
    fleck_status status =
        fill_axis(lags, lags->along_x, lags->x_count, coverage, &set->along_x, err);

    if (status == FLECK_OK)
        status = fill_axis(lags, lags->along_y, lags->y_count, coverage, &set->along_y, err);
    if (status == FLECK_OK)
        status = fill_radial(lags, coverage, &set->radial, err);
    return status;
}

void fleck_two_point_clear(fleck_two_point *series)
{
    fleck_free(series->lag_mm);
    fleck_free(series->probability);
    *series = (fleck_two_point){ 0 };
}
