/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The best cut of the first b bins into s stretches ends in the best cut of some shorter beginning
 * into s - 1: dynamic programming, with prefix sums for the variance within a stretch.
 */
#include "calibrate/strip.h"

#include <assert.h>
#include <math.h>

#include "calibrate/calibration.h"
#include "core/memory.h"

/*
 * What a stretch costs by its length alone, for a deviation of its own length from the mean: steps
 * that look the same, as clipped ones do, are cut evenly. A tenth of this moves no boundary between
 * steps that differ by 0.003 of full scale; half of it outweighs the noise. Common practice, no
 * source.
 */
static const double length_cost = 1e-3;

/* Squared deviations from the mean within bins from..to - 1, over all channels. */
static double scatter(const double *sums, const double *squares, unsigned channels, size_t from,
                      size_t to)
{
    double total = 0;

    for (unsigned c = 0; c < channels; c++) {
        const double sum = sums[to * channels + c] - sums[from * channels + c];
        const double square = squares[to * channels + c] - squares[from * channels + c];

        total += square - sum * sum / (double)(to - from);
    }
    return total;
}

fleck_status fleck_strip_cut(const double *profile, size_t bins, unsigned channels, size_t steps,
                             size_t *first, fleck_error *err)
{
    assert(steps > 0 && bins >= 4 * steps && bins <= FLECK_STRIP_BINS);
    const size_t shortest = bins / (2 * steps), longest = (3 * bins + 2 * steps - 1) / (2 * steps);
    const size_t width = bins + 1;
    double *sums = fleck_alloc_zeroed(width * channels, sizeof *sums);
    double *squares = fleck_alloc_zeroed(width * channels, sizeof *squares);
    double *best = fleck_alloc_array(width * (steps + 1), sizeof *best);
    size_t *from = fleck_alloc_zeroed(width * (steps + 1), sizeof *from);
    fleck_status status = FLECK_OK;

    if (sums == NULL || squares == NULL || best == NULL || from == NULL) {
        status = fleck_calibration_no_memory(err);
        goto done;
    }
    for (size_t i = 0; i < bins * channels; i++) {
        sums[channels + i] = sums[i] + profile[i];
        squares[channels + i] = squares[i] + profile[i] * profile[i];
    }
    for (size_t i = 0; i < width * (steps + 1); i++)
        best[i] = INFINITY;
    best[0] = 0;
    for (size_t s = 1; s <= steps; s++) {
        for (size_t end = s * shortest; end <= bins; end++) {
            const size_t lowest = end > longest ? end - longest : 0;

            for (size_t start = lowest; start + shortest <= end; start++) {
                const double before = best[(s - 1) * width + start];
                double total, unequal;

                if (isinf(before))
                    continue;
                unequal = (double)(end - start) * (double)steps / (double)bins - 1;
                total = before + scatter(sums, squares, channels, start, end) +
                        channels * length_cost * unequal * unequal;
                if (total < best[s * width + end]) {
                    best[s * width + end] = total;
                    from[s * width + end] = start;
                }
            }
        }
    }
    first[steps] = bins;
    for (size_t s = steps; s > 0; s--)
        first[s - 1] = from[s * width + first[s]];
done:
    fleck_free(sums);
    fleck_free(squares);
    fleck_free(best);
    fleck_free(from);
    return status;
}
