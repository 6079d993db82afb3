/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "segment/main_tone.h"

#include <math.h>

fleck_main_tone fleck_find_main_tone(const uint64_t *counts, size_t levels, uint64_t n, size_t k)
{
    const uint64_t wanted = (n * 2 + 4) / 5;
    size_t low = 0, best_low = 0, best_high = levels; /* some stretch is shorter */
    uint64_t inside = 0, most = 0, far = 0;
    double sum = 0, squares = 0;
    fleck_main_tone tone = { 0 };

    for (size_t high = 0; high < levels; high++) {
        inside += counts[high];
        while (counts[low] == 0 || inside - counts[low] >= wanted) {
            if (low == high)
                break;
            inside -= counts[low++];
        }
        if (inside < wanted || counts[high] == 0)
            continue;
        if (high - low < best_high - best_low ||
            (high - low == best_high - best_low && inside > most)) {
            best_low = low;
            best_high = high;
            most = inside;
        }
    }
    for (size_t i = best_low; i <= best_high; i++)
        sum += (double)counts[i] * (double)i;
    tone.centre = sum / (double)most;
    for (size_t i = 0; i < levels; i++) {
        const double deviation = (double)i - tone.centre;

        if (counts[i] > 0 && (tone.centre > (double)k ? deviation >= 0 : deviation <= 0)) {
            squares += (double)counts[i] * deviation * deviation;
            far += counts[i];
        }
    }
    tone.sd = far > 0 ? sqrt(squares / (double)far) : 0;
    return tone;
}
