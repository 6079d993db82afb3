/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Areas are whole numbers of pixels, and the smallest are few: a continuous law would be rejected
 * for that alone. So shares are compared at the bounds of bins, half a pixel from whole areas; the
 * law is cut at the lower bound of the first.
 *
 * The fit gives the cut normal law of ln d the mean and the variance of the sample, which is
 * maximum likelihood, as both are its sufficient statistics. With y = ln d - ln cut, h = (ln cut -
 * mu) / s and l = phi(h) / (1 - Phi(h)), the mean of y is s (l - h), its variance s^2 (1 - l (l -
 * h)), and variance over squared mean grows with h alone, from 0 to 1: h follows by halving (Cohen
 * 1959).
 *
 * A sample from the fitted law is a count for each bin, drawn one after the other. Its size is the
 * number of equal weights that would give the same error, (sum w)^2 / sum w^2 (Kish 1965).
 */
#include "measure/lognormal_test.h"

#include <math.h>
#include <stdbool.h>

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

#include "core/memory.h"
#include "core/random.h"

enum { MOST_BINS = 2048, SAMPLE_BINS = 1000, LEAST_DOTS = 20, LEAST_SIZES = 4 };

static const double bin_width = 0.125; /* in standard deviations of ln d; a pixel may be more */
static const double tail = 1e-7;       /* of the fitted law may lie beyond the bins */
static const double most_h = 3; /* beyond, a thousandth of the law or less lies above the cut */

struct law {
    double cut;     /* ln d */
    double mu, sd;  /* of ln d, without the cut */
    bool is_at_end; /* most_h was reached: the law is not to be told */
};

struct bins {
    size_t count;
    double ratio;   /* of an area to the one a bin further, where pixels allow */
    double *to;     /* upper bounds, ln d; the last bin has none */
    double *middle; /* ln d */
    double *share;  /* of the sample */
};

static double above(double z)
{
    return 0.5 * erfc(z * 0.70710678118654752);
}

/* l - h: mean of y over s; and l by the way. */
static double mean_over_sd(double h, double *l)
{
    *l = exp(-h * h / 2) * 0.39894228040143268 / above(h);
    return *l - h;
}

/* The law whose ln d beyond the cut has this mean, from the cut on, and variance. */
static struct law law_of(double cut, double mean, double variance)
{
    const double wanted = fmax(variance / (mean * mean), 1e-12);
    double l, low = -1 / sqrt(wanted), high = most_h; /* the ratio is below 1 / h^2 */
    struct law law = { .cut = cut };

    for (int step = 0; step < 48; step++) {
        const double h = (low + high) / 2, m = mean_over_sd(h, &l);

        if (1 - l * m < wanted * m * m)
            low = h;
        else
            high = h;
    }
    law.is_at_end = high == most_h;
    law.sd = mean / mean_over_sd(high, &l);
    law.mu = cut - high * law.sd;
    return law;
}

/*
 * Within a bin of width w the law's slope, - (x - mu) / s^2 of its height, moves the mean by w^2 /
 * 12 times as much, and the variance there is w^2 / 12: the law found without this tells both.
 */
static struct law fit(const struct bins *bins, double cut)
{
    struct law law = { .cut = cut };

    for (int pass = 0; pass < 3; pass++) {
        double mean = 0, squares = 0;

        for (size_t i = 0; i < bins->count; i++) {
            const double half = bins->to[i] - bins->middle[i], within = half * half / 3;
            const double shift =
                pass == 0 ? 0 : within * (law.mu - bins->middle[i]) / (law.sd * law.sd);
            const double from_cut = bins->middle[i] + shift - cut;

            mean += bins->share[i] * from_cut;
            squares += bins->share[i] * (from_cut * from_cut + (pass == 0 ? 0 : within));
        }
        law = law_of(cut, mean, squares - mean * mean);
    }
    return law;
}

/* Share of the cut law above ln d. */
static double share_above(const struct law *law, double ln_d)
{
    return above((ln_d - law->mu) / law->sd) / above((law->cut - law->mu) / law->sd);
}

/* Largest gap between the sample's shares and the law's, at the bounds of bins. */
static double distance(const struct bins *bins, const struct law *law)
{
    double reached = 0, largest = 0;

    for (size_t i = 0; i + 1 < bins->count; i++) {
        reached += bins->share[i];
        largest = fmax(largest, fabs(reached - (1 - share_above(law, bins->to[i]))));
    }
    return largest;
}

static double ln_diameter(double area_px, const fleck_geometry *geometry)
{
    return log(fleck_equivalent_diameter_mm(area_px * fleck_area_mm2(geometry, 1)));
}

/* One more bin, of areas from *area_px on, which moves to the next bin. */
static void add_bin(struct bins *bins, double *area_px, const fleck_geometry *geometry)
{
    const double next_px = fmax(*area_px + 1, ceil(*area_px * bins->ratio));
    const double from = ln_diameter(*area_px - 0.5, geometry);

    bins->to[bins->count] = ln_diameter(next_px - 0.5, geometry);
    bins->middle[bins->count] = (from + bins->to[bins->count]) / 2;
    bins->share[bins->count++] = 0;
    *area_px = next_px;
}

/* Bins that hold the sample; *area_px becomes the first area beyond. */
static void fill_bins(struct bins *bins, const fleck_sized *list, size_t n,
                      const fleck_geometry *geometry, double total, double *area_px)
{
    const double range = log(list[n - 1].diameter_mm) - ln_diameter(*area_px - 0.5, geometry);
    double mean = 0, squares = 0;
    size_t i = 0;

    for (; i < n; i++)
        mean += list[i].weight_per_px2 * log(list[i].diameter_mm) / total;
    for (i = 0; i < n; i++) {
        const double off = log(list[i].diameter_mm) - mean;

        squares += list[i].weight_per_px2 * off * off / total;
    }
    bins->ratio = exp(2 * fmax(bin_width * sqrt(squares), range / SAMPLE_BINS));
    for (i = 0; i < n;) {
        double sum = 0;

        add_bin(bins, area_px, geometry);
        for (; i < n && (double)list[i].area_px < *area_px; i++)
            sum += list[i].weight_per_px2;
        bins->share[bins->count - 1] = sum / total;
    }
}

static void set_state(void *state, unsigned long int seed)
{
    *(uint64_t *)state = seed;
}

static double get_uniform(void *state)
{
    return fleck_random_uniform(state);
}

static unsigned long int get_word(void *state)
{
    return (unsigned long int)(fleck_random_uniform(state) * 4294967296.0);
}

/* fleck's own generator, in the shape in which GSL takes one. */
static const gsl_rng_type generator = { .name = "splitmix64",
                                        .max = 0xffffffffUL,
                                        .min = 0,
                                        .size = sizeof(uint64_t),
                                        .set = set_state,
                                        .get = get_word,
                                        .get_double = get_uniform };

/* Counts for all bins, from their chances, as shares. */
static void draw(struct bins *bins, const double *chance, unsigned n, const gsl_rng *random)
{
    unsigned left = n;
    double chance_left = 1;

    for (size_t i = 0; i < bins->count; i++) {
        /* the last bin takes what is left, and so does one whose rest is lost in rounding */
        const bool is_last = i + 1 == bins->count || !(chance[i] < chance_left);
        const unsigned here =
            is_last ? left : gsl_ran_binomial(random, chance[i] / chance_left, left);

        bins->share[i] = here / (double)n;
        left -= here;
        chance_left -= chance[i];
    }
}

static double chance_of_farther(struct bins *bins, const struct law *law, double measured,
                                unsigned n, const fleck_size_options *options, double *chance)
{
    uint64_t state = options->seed;
    const gsl_rng random = { &generator, &state };
    double before = 1;
    size_t farther = 0;

    for (size_t i = 0; i < bins->count; i++) {
        const double beyond = i + 1 < bins->count ? share_above(law, bins->to[i]) : 0;

        chance[i] = before - beyond;
        before = beyond;
    }
    for (size_t r = 0; r < options->resamples; r++) {
        struct law own;

        draw(bins, chance, n, &random);
        own = fit(bins, law->cut);
        farther += distance(bins, &own) >= measured;
    }
    return (double)(farther + 1) / (double)(options->resamples + 1);
}

fleck_status fleck_lognormal_test(const fleck_sized *list, size_t n, const fleck_geometry *geometry,
                                  double cutoff_mm, const fleck_size_options *options,
                                  fleck_lognormal_fit *out, fleck_error *err)
{
    double *room = NULL, total = 0, squares = 0, area_px;
    struct bins bins;
    struct law law;
    size_t sizes = 0;
    unsigned effective;

    *out = (fleck_lognormal_fit){ NAN, NAN, NAN, NAN };
    for (size_t i = 0; i < n; i++) {
        total += list[i].weight_per_px2;
        squares += list[i].weight_per_px2 * list[i].weight_per_px2;
        sizes += i == 0 || list[i].area_px != list[i - 1].area_px;
    }
    effective = n > 0 ? (unsigned)fmin(4e9, total * total / squares * (1 + 1e-12)) : 0;
    if (effective < LEAST_DOTS || sizes < LEAST_SIZES)
        return FLECK_OK;
    room = fleck_alloc_array(MOST_BINS, 4 * sizeof *room);
    if (room == NULL)
        return fleck_fail(err, FLECK_NO_RESOURCE, "no memory for the sizes; free some memory");
    bins = (struct bins){ 0, NAN, room, room + MOST_BINS, room + 2 * MOST_BINS };
    area_px = (double)fleck_cutoff_area_px(geometry, cutoff_mm);
    law.cut = ln_diameter(area_px - 0.5, geometry);
    fill_bins(&bins, list, n, geometry, total, &area_px);
    law = fit(&bins, law.cut);
    if (!law.is_at_end) {
        while (bins.count < MOST_BINS && share_above(&law, bins.to[bins.count - 1]) > tail)
            add_bin(&bins, &area_px, geometry);
        out->median_mm = exp(law.mu);
        out->gsd = exp(law.sd);
        out->distance = distance(&bins, &law);
        if (options->resamples > 0)
            out->p = chance_of_farther(&bins, &law, out->distance, effective, options,
                                       room + 3 * MOST_BINS);
    }
    fleck_free(room);
    return FLECK_OK;
}
