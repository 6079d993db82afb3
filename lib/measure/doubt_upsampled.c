/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * A scanner's noise reaches up to the finest detail that pixels can hold; interpolation leaves the
 * top empty, and keeps the noise below. Edges fall off towards the top in true scans too, so the
 * noise alone is looked at, in paper and in ink clear of edges, through two filters on five pixels
 * in a row: (1, 0, -2, 0, 1) sees most at half Nyquist, (1, -4, 6, -4, 1) at Nyquist. White noise
 * passes them with sqrt 6 and sqrt 70 times its own standard deviation. Both are blind to a slope,
 * the first also to most of what is left of an edge's blur. Absolute values, not squares, so that
 * dust weighs little. Noise is alike everywhere, what is left of blur dies away from the edges:
 * when the median in the middle band is next to nothing, or far below the mean, it is blur that is
 * seen.
 */
#include "measure/doubt_upsampled.h"

#include <math.h>
#include <stdlib.h>

enum {
    SPAN_PX = 5,
    LEAST_COUNT = 500 /* the statistic scatters by some 5 % then */
};

/* measured, see docs/doubts.md: white noise gives 1, enlarging by 2 gives at most this */
static const double critical = 0.55;
/* median of the middle band for noise of 0.001 in reflectance: 0.6745 sqrt(6) 65.5 */
static const double least_median = 108;
static const double most_mean =
    2; /* times the median; noise gives 1.18, codes of 8 bits up to 1.7 */

static size_t bits_of(unsigned value)
{
    size_t bits = 0;

    for (size_t step = 16; step > 0; step /= 2) {
        if (value >> step > 0) {
            value >>= step;
            bits += step;
        }
    }
    return bits + value;
}

void fleck_doubt_upsampled_add(fleck_doubt_upsampled_sums *sums, const fleck_clear_rows *clear)
{
    for (size_t phase = 0; phase < 2; phase++) {
        for (size_t i = 0; i < clear->clear_count[phase]; i++) {
            const fleck_run stretch = clear->clear[phase][i];
            const size_t length_px = stretch.end_px - stretch.start_px;
            const uint16_t *q;
            uint64_t middle = 0, top = 0;
            size_t n;

            if (length_px < 2 * clear->reach_px + SPAN_PX)
                continue;
            n = length_px - 2 * clear->reach_px - SPAN_PX + 1;
            q = clear->q + stretch.start_px + clear->reach_px;
            for (size_t x = 0; x < n; x++) {
                const int ends = q[x] + q[x + 4], inner = q[x + 1] + q[x + 3], centre = q[x + 2];
                const unsigned bend = (unsigned)abs(ends - 2 * centre);

                middle += bend;
                sums->sizes[phase][bits_of(bend)]++;
                top += (uint64_t)abs(ends - 4 * inner + 6 * centre);
            }
            sums->middle[phase] += middle;
            sums->top[phase] += top;
            sums->count[phase] += n;
        }
    }
}

static double middle_median(const fleck_doubt_upsampled_sums *sums, size_t phase)
{
    const double half = (double)sums->count[phase] / 2;
    double passed = 0;

    for (size_t bits = 0; bits < FLECK_UPSAMPLED_SIZES; bits++) {
        const double here = (double)sums->sizes[phase][bits];
        const double low = bits > 0 ? ldexp(1, (int)bits - 1) : 0;

        if (passed + here >= half && here > 0)
            return low + low * (half - passed) / here;
        passed += here;
    }
    return 0;
}

static bool has_noise(const fleck_doubt_upsampled_sums *sums, size_t phase)
{
    const double median = middle_median(sums, phase);
    const double mean = (double)sums->middle[phase] / (double)sums->count[phase];

    return median >= least_median && mean <= most_mean * median;
}

fleck_doubt fleck_doubt_upsampled_finish(const fleck_doubt_upsampled_sums *sums)
{
    fleck_doubt doubt = { .statistic = NAN, .critical = critical };

    for (size_t phase = 0; phase < 2; phase++) {
        double ratio;

        if (sums->count[phase] < LEAST_COUNT || !has_noise(sums, phase))
            continue;
        ratio = (double)sums->top[phase] / sqrt(70) / ((double)sums->middle[phase] / sqrt(6));
        if (!(ratio >= doubt.statistic))
            doubt.statistic = ratio;
    }
    doubt.exceeded = doubt.statistic <= critical;
    return doubt;
}

fleck_status fleck_doubt_upsampled_warn(const fleck_doubt *doubt, fleck_warnings *warnings,
                                        fleck_error *err)
{
    if (!doubt->exceeded)
        return FLECK_OK;
    return fleck_warnings_add(warnings, err, "upsampled",
                              "the finest detail the pixels could hold is missing (%.0f %% of the "
                              "noise that belongs there): the scan was enlarged or smoothed, and "
                              "small dots are not what its resolution promises; scan at a "
                              "resolution the scanner truly has, without enlarging",
                              100 * doubt->statistic);
}
