/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Speckle has two tones, noise has one. A mixture of two tones in the shares p and q = 1 - p, d
 * apart, has the cumulants k2 = noise + pq d^2, k3 = pq (q - p) d^3 and k4 = pq (1 - 6pq) d^4. So
 * the skewness S is large when one tone is rare, S^2 - K, K the excess kurtosis, when both are
 * common (Pearson 1916: at most 2, for two sharp tones), and K when edges are rare. All are near 0
 * for the noise of paper, ink and scanner and for their sums.
 *
 * For smooth noise the patch holds fewer independent values than it has pixels, and its moments scatter
 * the more. A small patch is therefore also looked at as a whole, see presence_whole.c.
 *
 * Steps of 8-bit codes and of JPEG blocks are two tones too: their variance is added to k2, so they
 * count as noise. The constants come from the simulation in tests/bench/presence_rates.py.
 */
#include "segment/presence_parts.h"

#include <math.h>

#include "segment/main_tone.h"

enum {
    LEAST_LOOKS = 100, /* below them a level is not used: too few to tell a shape */
    FINE_LEVELS = 400, /* from so many tones on the codes are finer than 8 bits */
    DARKEST = 200 /* 0.3 %, ten 8-bit codes: over these a JPEG spreads what was clipped to black */
};

/* of pixels beyond 3 standard deviations; normal noise has 0.00135 there, and dust adds little.
   Below it a cut through the noise would be all that is measured */
static const double least_printed = 0.004;

struct shape {
    double skewness, excess; /* excess kurtosis */
};

/* Of a normal distribution of which a share is clipped to one tone. */
static struct shape clipped_shape(double share)
{
    double low = -10, high = 10, z, density, rest, m1, m2, m3, m4, variance;
    struct shape shape = { 0 };

    if (!(share > 0))
        return shape;
    share = fmin(share, 0.999);
    for (int i = 0; i < 60; i++) {
        z = (low + high) / 2;
        if (erfc(-z / sqrt(2.0)) / 2 < share)
            low = z;
        else
            high = z;
    }
    z = low;
    density = exp(-z * z / 2) / sqrt(2 * acos(-1.0));
    rest = 1 - share;
    m1 = z * share + density;
    m2 = z * z * share + z * density + rest;
    m3 = z * z * z * share + (z * z + 2) * density;
    m4 = z * z * z * z * share + (z * z * z + 3 * z) * density + 3 * rest;
    variance = m2 - m1 * m1;
    shape.skewness = (m3 - 3 * m1 * m2 + 2 * m1 * m1 * m1) / pow(variance, 1.5);
    shape.excess =
        (m4 - 4 * m1 * m3 + 6 * m1 * m1 * m2 - 3 * m1 * m1 * m1 * m1) / (variance * variance) - 3;
    return shape;
}

/* Width of an 8-bit sRGB code at a reflectance, in levels of q. Source: IEC 61966-2-1. */
static double code_width(double reflectance)
{
    const double bright = pow(fmax(reflectance, 0.0031308), 1.4 / 2.4); /* slope of the curve */

    return 65535.0 / 255.0 * fmax(1 / 12.92, 2.4 / 1.055 * bright);
}

/* Variance that the file's own codes and blocks may bring, in levels of q. */
struct file_noise {
    double pixels; /* and small cells */
    double blocks; /* cells of 8 pixels and more, which see the blocks' own tones */
};

static double mean_over(const uint64_t *sums, const uint64_t *counts, size_t i)
{
    return counts[i] > 0 ? (double)sums[i] / (double)counts[i] : 0;
}

static struct file_noise find_file_noise(const fleck_presence *presence, const uint64_t *counts,
                                         double mean_reflectance)
{
    const double code = code_width(mean_reflectance);
    struct file_noise noise = { 0 };
    double sum = 0, square_sum = 0, highest = -1, highest_square = 0, step = 0;
    double others, other_squares, block_noise;
    size_t tones = 0;

    for (size_t i = 0; i < FLECK_LEVELS; i++)
        tones += counts[i] > 0;
    if (tones < FINE_LEVELS)
        noise.pixels = noise.blocks = 0.49 * code * code;
    for (size_t i = 0; i < PRESENCE_BLOCK; i++) {
        const double mean = mean_over(presence->steps, presence->step_count, i);
        const double square = mean_over(presence->step_squares, presence->step_count, i);

        sum += mean;
        square_sum += square;
        if (mean > highest) {
            highest = mean;
            highest_square = square;
        }
    }
    others = (sum - highest) / (PRESENCE_BLOCK - 1);
    other_squares = (square_sum - highest_square) / (PRESENCE_BLOCK - 1);
    /* steps of blocks stand at the same column of each and hardly elsewhere. Where few blocks have one,
       the mean of their squares over their mean is its height. Blocks of a JPEG of quality 30 are 3.4
       codes apart; what is higher is print */
    if (highest > others)
        step = fmax(0, (highest_square - other_squares) / (highest - others));
    block_noise = fmin(0.8 * step * step, 9 * code * code);
    if (highest > 1.5 * others)
        noise.blocks = fmax(noise.blocks, block_noise);
    if (highest > 4 * others)
        noise.pixels = fmax(noise.pixels, block_noise);
    return noise;
}

static void rise(fleck_presence_finding *finding, double statistic, fleck_presence_test test)
{
    if (statistic > finding->statistic) {
        finding->statistic = statistic;
        finding->test = test;
    }
}

/* What counts as noise whatever its shape. */
struct allowance {
    struct file_noise file;
    struct shape clip;
    double least_variance; /* of deviations that can be what parts Otsu's classes */
};

/* Critical values of the three tests, without what clipping adds. */
struct critical {
    double skew, two, edges;
};

static void judge_moments(double m2, double m3, double m4, double file_variance,
                          const struct critical *critical, const struct shape *clip,
                          fleck_presence_finding *finding)
{
    const double k2 = m2 + file_variance;
    const double s = fabs(m3) / pow(k2, 1.5), k = (m4 - 3 * m2 * m2) / (k2 * k2);

    rise(finding, s / (critical->skew + 1.2 * clip->skewness), FLECK_PRESENCE_SKEW);
    rise(finding, (s * s - k) / (critical->two + fmin(0.6 * clip->skewness, 0.3)),
         FLECK_PRESENCE_TWO);
    rise(finding, k / (critical->edges + 1.2 * fmax(0, clip->excess)), FLECK_PRESENCE_EDGES);
}

/*
 * value_px    side of what is compared with the windows
 * windows     how many; values of one window count as one
 * smoothest   what has less than this part of the second differences of noise is a shade
 */
static void judge_deviations(const struct deviations *sums, size_t value_px, uint64_t windows,
                             double smoothest, const struct allowance *allowance, fleck_presence_finding *finding)
{
    const long double n = (long double)sums->looks;
    const double few = 1 / sqrt((double)windows);
    /* 1.2 is what pixels of uniform noise have for `two`; their means come close to normal noise */
    const struct critical critical = {
        .skew = (value_px == 1 ? 0.75 : 0.45) + 5 * few,
        .two = (value_px == 1 ? 1.25 : 0.35) + 4.5 * few,
        .edges = 2 + 20 * few,
    };
    long double mean, m2, m3, m4;

    if (windows < LEAST_LOOKS || sums->looks == 0)
        return;
    mean = (long double)sums->sum / n;
    m2 = (long double)sums->squares / n;
    m3 = (long double)sums->cubes / n;
    m4 = (long double)sums->fourths / n;
    m4 += mean * (-4 * m3 + mean * (6 * m2 - 3 * mean * mean));
    m3 += mean * (-3 * m2 + 2 * mean * mean);
    m2 -= mean * mean;
    /* the second differences of noise have 6 times its variance, both axes 12 times */
    if (!(m2 > 0) || (double)m2 < allowance->least_variance ||
        (double)((long double)sums->bends / n) < smoothest * 12 * (double)m2)
        return;
    judge_moments((double)m2, (double)m3, (double)m4,
                  value_px < PRESENCE_BLOCK ? allowance->file.pixels : allowance->file.blocks,
                  &critical, &allowance->clip, finding);
}

static void judge_whole(const fleck_presence *presence, const struct allowance *allowance,
                        fleck_presence_finding *finding)
{
    struct whole_shape shape;
    struct critical critical;

    if (!fleck_presence_whole(presence, &shape) || shape.cells < LEAST_LOOKS ||
        shape.m2 < allowance->least_variance || shape.roughness < 0.2 * 6 * shape.m2)
        return;
    /* paper is not quite normal: what windows allow for its shape is the least here too */
    critical.skew = fmax(0.45, 0.2 + 6.5 * sqrt(shape.third / shape.cells));
    critical.two = 0.42 + 4.5 * sqrt(shape.fourth / shape.cells);
    critical.edges = fmax(2, 1.8 + 30 * sqrt(shape.fourth / shape.cells));
    judge_moments(shape.m2, shape.m3, shape.m4, allowance->file.pixels, &critical, &allowance->clip,
                  finding);
}

static void judge_level(const struct level *level, size_t cell_px, const struct allowance *allowance,
                        fleck_presence_finding *finding)
{
    judge_deviations(&level->cells, cell_px, level->cells.looks, 0.1, allowance, finding);
    /* wide windows leave more of a shade, and fine values of print are rough over a cell's width */
    judge_deviations(&level->finer, (size_t)1 << level->fine_shift / 2, level->cells.looks,
                     cell_px == 2 ? 0.1 : 0.25, allowance, finding);
}

/* Share of pixels more than 3 standard deviations from the main tone, on the side that has more. */
static double share_beyond(const uint64_t *counts, uint64_t n, double centre, double sd)
{
    uint64_t below = 0, above = 0;

    for (size_t i = 0; i < FLECK_LEVELS; i++) {
        below += (double)i < centre - 3 * sd ? counts[i] : 0;
        above += (double)i > centre + 3 * sd ? counts[i] : 0;
    }
    return (double)(below > above ? below : above) / (double)n;
}

static void judge_cut(const uint64_t *counts, uint64_t n, unsigned k, double variance,
                      fleck_presence_finding *finding)
{
    const fleck_main_tone tone = fleck_find_main_tone(counts, FLECK_LEVELS, n, k);
    const double sd = sqrt(tone.sd * tone.sd + variance);
    const double distance = fabs((double)k + 0.5 - tone.centre);

    finding->cut_distance = sd > 0 ? distance / sd : INFINITY;
    finding->cut_in_noise = finding->cut_distance < 1.5;
    finding->only_specks =
        finding->cut_in_noise && share_beyond(counts, n, tone.centre, sd) < least_printed;
}

fleck_presence_finding fleck_presence_decide(const fleck_presence *presence, const uint64_t *counts,
                                             const fleck_cut *cut)
{
    fleck_presence_finding finding = { .critical = 1,
                                       .test = FLECK_PRESENCE_APART,
                                       .cut_distance = NAN };
    struct allowance allowance = { 0 };
    uint64_t n = 0, largest = 0, dark = 0;
    double between, total, apart;

    for (size_t i = 0; i < FLECK_LEVELS; i++) {
        n += counts[i];
        largest = counts[i] > largest ? counts[i] : largest;
    }
    if (n == 0 || largest == n)
        return finding;
    allowance.file = find_file_noise(presence, counts, cut->mean_reflectance);
    for (size_t i = 0; i <= DARKEST; i++)
        dark += counts[i];
    allowance.clip = clipped_shape(
        (double)(dark > counts[FLECK_LEVELS - 1] ? dark : counts[FLECK_LEVELS - 1]) / (double)n);
    between = cut->between_variance * 65535.0 * 65535.0;
    total = cut->sd_reflectance * cut->sd_reflectance * 65535.0 * 65535.0;
    apart = (cut->bare_reflectance - cut->ink_reflectance) * 65535.0;
    allowance.least_variance = 0.03 * 0.03 * apart * apart;
    for (size_t i = 0; i < presence->levels; i++)
        judge_level(&presence->level[i], (size_t)2 << i, &allowance, &finding);
    judge_whole(presence, &allowance, &finding);
    /* normal noise has 0.64 of its variance between Otsu's classes, clipped noise up to 0.77, an
       even shade 0.75 and a wave 0.81 */
    total += allowance.file.pixels;
    rise(&finding, between / total / 0.83, FLECK_PRESENCE_APART);
    judge_cut(counts, n, cut->k, allowance.file.pixels, &finding);
    finding.present = finding.statistic >= finding.critical && !finding.only_specks;
    return finding;
}
