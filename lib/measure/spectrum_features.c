/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Single numbers of a radial spectrum. Whether a ring stands out is an F test of its mean power
 * against that of rings on both sides. A texture of random places has its most power at frequency 0,
 * and the side lobes that dots of one size give are far below it, so that the largest ring of it does
 * not stand above lower ones; a texture with a spacing has little power below that frequency.
 */
#include "fleck/spectrum_features.h"

#include <math.h>

static const double SHORTEST_MM = 0.25;

enum { FIRST_RING = 4 };

/*
 * Degrees of freedom for each sample of the plane and tile. 1/2: (f) and (-f) are the same, and each
 * pair has two degrees. 0.897: half-overlapping tiles (Welch 1967). 1 / 2.4: the Hann window makes
 * neighbours on the plane alike (power correlations 4/9 at 1, 1/36 at 2 steps, summed along a ring of
 * one step's width).
 */
static const double FREEDOM_PER_SAMPLE = 2 * 0.5 * 0.897 / 2.4;

static const double CHANCE = 0.05;

/* Mean power over rings and its degrees of freedom. */
struct level {
    double power;
    double freedom;
};

static struct level band_level(const fleck_spectrum *spectrum, const double *power, double first,
                               double last)
{
    struct level level = { 0, 0 };
    double samples = 0;

    for (size_t r = first < 1 ? 1 : (size_t)ceil(first); r <= spectrum->rings && (double)r <= last;
         r++) {
        level.power += power[r - 1] * (double)spectrum->samples[r - 1];
        samples += (double)spectrum->samples[r - 1];
    }
    level.power /= samples; /* NAN for no ring */
    level.freedom = samples * (double)spectrum->tiles * FREEDOM_PER_SAMPLE;
    return level;
}

/* Chance that a level is above another as far as this, by Paulson's (1942) normal form of F. */
static double chance_above(struct level high, struct level low)
{
    const double h = 2 / (9 * high.freedom), l = 2 / (9 * low.freedom);
    const double root = cbrt(high.power / low.power);

    if (!(high.power > low.power))
        return 1;
    if (isinf(root))
        return 0;
    return erfc(((1 - l) * root - (1 - h)) / sqrt(l * root * root + h) / sqrt(2)) / 2;
}

static size_t largest_ring(const fleck_spectrum *spectrum, const double *power, size_t first)
{
    size_t largest = first;

    for (size_t r = first; r <= spectrum->rings; r++) {
        if (power[r - 1] > power[largest - 1])
            largest = r;
    }
    return largest;
}

static void find_peak(const fleck_spectrum *spectrum, const double *power,
                      fleck_spectrum_features *out)
{
    const size_t any = largest_ring(spectrum, power, 1);

    if (!(power[any - 1] > 0))
        return;
    out->peak_frequency_per_mm = spectrum->frequency_per_mm[any - 1];
    if (spectrum->rings > FIRST_RING) {
        const size_t ring = largest_ring(spectrum, power, FIRST_RING);
        const double r = (double)ring;
        const struct level at = band_level(spectrum, power, r, r);
        const double below = chance_above(at, band_level(spectrum, power, 0.4 * r, 0.75 * r));
        const double above = chance_above(at, band_level(spectrum, power, 1.35 * r, 2.5 * r));
        const double tried = (double)(spectrum->rings - FIRST_RING + 1);

        out->peak_p = fmin(1, fmax(below, above) * tried);
        if (out->peak_p < CHANCE) {
            out->peak_frequency_per_mm = spectrum->frequency_per_mm[ring - 1];
            out->dominant_spacing_mm = 1 / out->peak_frequency_per_mm;
        }
    }
}

static double mean_frequency(const fleck_spectrum *spectrum, const double *power)
{
    double sum = 0, weights = 0;

    for (size_t i = 0; i < spectrum->rings; i++) {
        const double weight = power[i] * (double)spectrum->samples[i];

        sum += weight * spectrum->frequency_per_mm[i];
        weights += weight;
    }
    return weights > 0 ? sum / weights : NAN;
}

/* Square of a length, of a negative one 0. */
static double square(double length)
{
    return length > 0 ? length * length : 0;
}

static double octave_sd(const fleck_spectrum *spectrum, double shortest_mm, double longest_mm)
{
    const double step = spectrum->frequency_per_mm[0];
    const double first = 1 / longest_mm / step, last = 1 / shortest_mm / step;
    double variance = 0;

    if (first < 1 || last > (double)spectrum->rings + 0.5)
        return NAN;
    for (size_t i = 0; i < spectrum->rings; i++) {
        const double inner = (double)i + 0.5, outer = inner + 1;
        const double share =
            (square(fmin(outer, last)) - square(fmax(inner, first))) /
            (square(outer) - square(inner));

        if (share > 0)
            variance += share * spectrum->tone_power_mm2[i] * (double)spectrum->samples[i];
    }
    return sqrt(variance * spectrum->sample_per_mm2);
}

void fleck_spectrum_features_find(const fleck_spectrum *spectrum, fleck_spectrum_features *out)
{
    const double *const power =
        spectrum->ink_power_mm2 != NULL ? spectrum->ink_power_mm2 : spectrum->tone_power_mm2;

    *out = (fleck_spectrum_features){ .peak_frequency_per_mm = NAN,
                                      .dominant_spacing_mm = NAN,
                                      .peak_p = NAN,
                                      .mean_frequency_per_mm = NAN,
                                      .anisotropy = NAN,
                                      .anisotropy_p = NAN,
                                      .direction_deg = NAN };
    for (size_t i = 0; i < FLECK_SPECTRUM_OCTAVES; i++)
        out->octave_sd[i] = NAN;
    if (spectrum->tiles == 0 || spectrum->rings == 0)
        return;
    find_peak(spectrum, power, out);
    out->mean_frequency_per_mm = mean_frequency(spectrum, power);
    for (size_t i = 0; i < FLECK_SPECTRUM_OCTAVES; i++) {
        const double shortest_mm = ldexp(SHORTEST_MM, (int)i);

        out->octave_sd[i] = octave_sd(spectrum, shortest_mm, 2 * shortest_mm);
    }
    out->anisotropy = spectrum->anisotropy;
    out->anisotropy_p = spectrum->anisotropy_p;
    out->direction_deg = spectrum->direction_deg;
}
