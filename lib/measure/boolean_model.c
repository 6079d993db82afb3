/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A disc overlaps itself, moved by h, in a share f(h / 2R) of its area. The mean of the overlap
 * over all discs, divided by the mean area, is the mean of f over the area-weighted sizes, which
 * for a lognormal law is a lognormal law again: median times exp(2 s^2), same s (Hatch & Choate
 * 1929). Source of the closed forms: Matheron (1975), Chiu, Stoyan, Kendall & Mecke (2013),
 * section 3.1.
 */
#include "measure/boolean_model.h"

#include <math.h>

static const double pi = 3.14159265358979323846;

/* Overlap of a disc of diameter 1 with itself moved by u, over its area. */
static double disc_overlap(double u)
{
    return u >= 1 ? 0 : 2 / pi * (acos(u) - u * sqrt(1 - u * u));
}

void fleck_boolean_overlaps(double radius_mm, double log_variance, const double *lag_mm, size_t count,
                            double *overlap)
{
    /* trapezia over the standard normal law; no kink of f is worse than (1 - u)^1.5: error 1e-4 */
    enum { STEPS = 20, ALL = 2 * STEPS + 1 };
    const double width = 4.5 / STEPS, s = sqrt(log_variance);
    const bool all_one_size = s <= 0;
    double weight[ALL], shrink[ALL], weights = 0;

    for (int i = 0; !all_one_size && i < ALL; i++) {
        const double z = (i - STEPS) * width;

        weight[i] = exp(-0.5 * z * z);
        shrink[i] = exp(-s * z);
        weights += weight[i];
    }
    for (size_t n = 0; n < count; n++) {
        const double u = lag_mm[n] / (2 * radius_mm);
        double sum = 0;

        for (int i = 0; !all_one_size && i < ALL; i++)
            sum += weight[i] * disc_overlap(u * shrink[i]);
        overlap[n] = all_one_size ? disc_overlap(u) : sum / weights;
    }
}

double fleck_boolean_overlap(double radius_mm, double log_variance, double lag_mm)
{
    double overlap;

    fleck_boolean_overlaps(radius_mm, log_variance, &lag_mm, 1, &overlap);
    return overlap;
}

double fleck_disc_model_mean_mm(const fleck_disc_model *model)
{
    const double s = log(model->gsd);

    return model->median_diameter_mm * exp(s * s / 2);
}

double fleck_disc_model_covered(const fleck_disc_model *model)
{
    const double s = log(model->gsd), radius_mm = model->median_diameter_mm / 2;

    return 1 - exp(-model->per_mm2 * pi * radius_mm * radius_mm * exp(2 * s * s));
}

double fleck_disc_model_two_point(const fleck_disc_model *model, double lag_mm)
{
    const double bare = 1 - fleck_disc_model_covered(model), s = log(model->gsd);
    const double overlap =
        fleck_boolean_overlap(model->median_diameter_mm / 2 * exp(2 * s * s), s * s, lag_mm);

    /* bare * bare * exp(-log(bare) * overlap) is the chance that both points are bare */
    return 1 - 2 * bare + bare * bare * exp(-log(bare) * overlap);
}

double fleck_disc_model_perimeter_per_mm(const fleck_disc_model *model)
{
    return (1 - fleck_disc_model_covered(model)) * model->per_mm2 * pi *
           fleck_disc_model_mean_mm(model);
}

double fleck_disc_model_euler_per_mm2(const fleck_disc_model *model)
{
    const double mean_radius_mm = fleck_disc_model_mean_mm(model) / 2;

    return (1 - fleck_disc_model_covered(model)) * model->per_mm2 *
           (1 - model->per_mm2 * pi * mean_radius_mm * mean_radius_mm);
}
