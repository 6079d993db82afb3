/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Dots that merge say little about the size of what made them: equal grains of 0.3 mm give a median
 * dot of 0.33 mm at 30 % coverage and of 0.42 mm at 50 %. The Boolean model takes the merging out.
 */
#include "measure/grain.h"

#include <math.h>

#include "measure/grain_fit.h"
#include "measure/grain_test.h"

fleck_status fleck_grain_fill(const fleck_lags *lags, uint64_t inside_px, uint64_t ink_px,
                              const fleck_bit_rows *window, const fleck_bit_rows *inside,
                              double blur_sd_mm, const fleck_random_set_options *options,
                              fleck_grain *out, fleck_error *err)
{
    const double coverage = (double)ink_px / (double)inside_px;
    const double area_mm2 = (double)inside_px * (lags->pixel_x_mm * lags->pixel_y_mm);
    fleck_disc_model *const model = &out->model;
    fleck_grain_verdict verdict;
    fleck_disc_model fit;
    double log_sd;
    fleck_status status;

    *out = (fleck_grain){ NAN, NAN, NAN, NAN, NAN, { NAN, NAN, NAN } };
    if (inside_px == 0 || !fleck_grain_fit(lags, coverage, NULL, &fit) ||
        fit.per_mm2 * area_mm2 < FLECK_GRAIN_LEAST)
        return FLECK_OK;
    status = fleck_grain_test(window, inside, lags->pixel_x_mm, lags->pixel_y_mm, blur_sd_mm, &fit,
                              options, &verdict, err);
    if (status != FLECK_OK)
        return status;
    *model = fleck_disc_model_moved(&fit, verdict.log_cover_shift, verdict.log_mean_shift,
                                    verdict.log_variance_shift);
    log_sd = log(model->gsd);
    out->mean_diameter_mm = fleck_disc_model_mean_mm(model);
    out->sd_diameter_mm = out->mean_diameter_mm * sqrt(exp(log_sd * log_sd) - 1);
    out->per_cm2 = 100 * model->per_mm2;
    out->fit_p = verdict.p;
    /* the whole region says more than the window, as the root of their areas */
    out->mean_diameter_se_mm = out->mean_diameter_mm * verdict.log_mean_sd *
                               sqrt((double)verdict.tested_px / (double)inside_px);
    return FLECK_OK;
}
