/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Lognormal moments: E[r^k] = median^k exp(k^2 s^2 / 2), s = ln gsd (Hatch & Choate 1929; ISO
 * 9276-5). The overlap of a disc with its own copy is gamma_r(h) = 2 r^2 acos(h / 2r) -
 * (h / 2) sqrt(4 r^2 - h^2).
 */
#include "phantom/size_law.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

static const double pi = 3.14159265358979323846;

fleck_size_law fleck_size_law_of(const fleck_phantom_options *options)
{
    fleck_size_law law = { .kind = options->sizes, .median_mm = options->diameter_mm };

    if (options->kind != FLECK_PHANTOM_DISCS && options->kind != FLECK_PHANTOM_SEPARATE)
        law.kind = FLECK_PHANTOM_FIXED;
    if (law.kind == FLECK_PHANTOM_LOGNORMAL)
        law.log_gsd = log(options->gsd);
    if (law.kind == FLECK_PHANTOM_UNIFORM)
        law.half_range_mm = options->diameter_half_range_mm;
    if (law.log_gsd == 0 && law.half_range_mm == 0)
        law.kind = FLECK_PHANTOM_FIXED;
    return law;
}

double fleck_size_law_mean_radius(const fleck_size_law *law)
{
    return law->median_mm / 2 * exp(law->log_gsd * law->log_gsd / 2);
}

double fleck_size_law_mean_radius_sq(const fleck_size_law *law)
{
    const double radius = law->median_mm / 2, half = law->half_range_mm / 2;

    /* only one of the two spreads is above 0 */
    return radius * radius * exp(2 * law->log_gsd * law->log_gsd) + half * half / 3;
}

double fleck_size_law_quantile(const fleck_size_law *law, double share)
{
    return law->median_mm * exp(law->log_gsd * gsl_cdf_ugaussian_Pinv(share)) +
           law->half_range_mm * (2 * share - 1);
}

double fleck_size_law_largest(const fleck_size_law *law, double z)
{
    return law->median_mm * exp(law->log_gsd * z) + law->half_range_mm;
}

double fleck_size_law_draw(const fleck_size_law *law, double z, fleck_dice *dice)
{
    double pair[2];

    if (law->kind == FLECK_PHANTOM_FIXED)
        return law->median_mm;
    if (law->kind == FLECK_PHANTOM_UNIFORM)
        return law->median_mm + law->half_range_mm * (2 * fleck_dice_uniform(dice) - 1);
    do {
        fleck_dice_normal_pair(dice, pair);
    } while (fabs(pair[0]) > z);
    return law->median_mm * exp(law->log_gsd * pair[0]);
}

double fleck_simpson(double (*f)(const void *context, double x), const void *context, double from,
                     double to, int pairs)
{
    const double step = (to - from) / (2 * pairs);
    double odd = 0, even = 0;

    for (int i = 1; i < 2 * pairs; i += 2)
        odd += f(context, from + step * i);
    for (int i = 2; i < 2 * pairs; i += 2)
        even += f(context, from + step * i);
    return (f(context, from) + f(context, to) + 4 * odd + 2 * even) * step / 3;
}

double fleck_disc_overlap(double radius, double h)
{
    const double cosine = h / (2 * radius);

    if (cosine >= 1)
        return 0;
    return 2 * radius * radius * (acos(cosine) - cosine * sqrt(1 - cosine * cosine));
}

struct overlap {
    const fleck_size_law *law;
    double h_mm;
    double from; /* least radius, or least normal number, that still overlaps */
};

/*
 * The overlap begins like (r - h/2)^(3/2). With r - h/2 = v^2 the integrand has no corner left, and
 * Simpson's rule converges as fast as it can.
 */
static double lognormal_overlap(const void *context, double v)
{
    const struct overlap *overlap = context;
    const double z = overlap->from + v * v;
    const double radius = overlap->law->median_mm / 2 * exp(overlap->law->log_gsd * z);

    return fleck_disc_overlap(radius, overlap->h_mm) * exp(-z * z / 2) / sqrt(2 * pi) * 2 * v;
}

static double uniform_overlap(const void *context, double v)
{
    const struct overlap *overlap = context;

    return fleck_disc_overlap(overlap->from + v * v, overlap->h_mm) * 2 * v /
           overlap->law->half_range_mm;
}

double fleck_size_law_mean_overlap(const fleck_size_law *law, double h_mm)
{
    struct overlap overlap = { .law = law, .h_mm = h_mm };
    const double radius = law->median_mm / 2;

    if (law->kind == FLECK_PHANTOM_LOGNORMAL) {
        const double to = 8 + 2 * law->log_gsd; /* r^2 moves the weight up by 2 s */

        overlap.from = h_mm > 0 ? log(h_mm / (2 * radius)) / law->log_gsd : -8;
        if (overlap.from < -8)
            overlap.from = -8;
        if (overlap.from >= to)
            return 0;
        return fleck_simpson(lognormal_overlap, &overlap, 0, sqrt(to - overlap.from), 200);
    }
    if (law->kind == FLECK_PHANTOM_UNIFORM) {
        const double to = radius + law->half_range_mm / 2;

        overlap.from = fmax(radius - law->half_range_mm / 2, h_mm / 2);
        if (overlap.from >= to)
            return 0;
        return fleck_simpson(uniform_overlap, &overlap, 0, sqrt(to - overlap.from), 200);
    }
    return fleck_disc_overlap(radius, h_mm);
}
